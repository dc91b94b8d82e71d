"""A record that is locked by somebody else's long writing."""

from collections.abc import Callable

from django.db import OperationalError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


class BusyMiddleware:
    """Says in words that nothing was kept because the record was busy, instead of breaking."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, problem: Exception) -> HttpResponse | None:
        if isinstance(problem, OperationalError) and "locked" in str(problem):
            return render(request, "503.html", status=503)
        return None
