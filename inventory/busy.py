"""A record that cannot be written: locked by somebody else, or out of room on the disk."""

import errno
from collections.abc import Callable

from django.db import DatabaseError, OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

#: What a system says that has no room; not every one has a word for a used-up quota.
_FULL = tuple(
    getattr(errno, name) for name in ("ENOSPC", "EFBIG", "EDQUOT") if hasattr(errno, name)
)


class BusyMiddleware:
    """Says in words that nothing was kept and why, instead of breaking."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, problem: Exception) -> HttpResponse | None:
        if isinstance(problem, OperationalError) and "locked" in str(problem):
            return render(request, "503.html", status=503)
        if _is_out_of_room(problem):
            return render(request, "507.html", status=507)
        return None


def _is_out_of_room(problem: Exception) -> bool:
    if isinstance(problem, DatabaseError):
        # By SQLite when the disk is full or a file may not grow, by PostgreSQL likewise.
        words = str(problem).lower()
        return any(each in words for each in ("disk is full", "disk i/o error", "no space left"))
    return isinstance(problem, OSError) and problem.errno in _FULL
