"""Who may write."""

from collections.abc import Callable
from functools import wraps

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse


def writers_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view for owners and inspectors; a visitor is refused in words."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if not request.user.may_write:
            raise PermissionDenied("Visitors read; ask the owner to make you an inspector.")
        return view(request, *args, **kwargs)

    return guarded
