"""A record that cannot be written: locked by somebody else's long writing, or its disk is full."""

import errno
from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

#: What SQLite and PostgreSQL say of a full disk.
_NO_ROOM = ("disk is full", "No space left")


class BusyMiddleware:
    """Says in words that nothing was kept, and why, instead of breaking."""

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
    if isinstance(problem, OperationalError):
        return any(words in str(problem) for words in _NO_ROOM)
    return isinstance(problem, OSError) and problem.errno == errno.ENOSPC
