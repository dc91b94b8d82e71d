"""Who may come in, and who may write."""

from collections.abc import Callable
from functools import wraps
from urllib.parse import urlsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse


class SignInFirst(LoginRequiredMiddleware):
    """Sends whoever is not signed in to sign in, with the whole page and back to it.

    Without this an answer meant for a corner of the page would hold the sign-in page, and after
    signing in people would land on an address that takes only posts.
    """

    def handle_no_permission(self, request: HttpRequest, view_func) -> HttpResponse:
        if request.headers.get("HX-Request") != "true":
            if request.method == "GET":
                return super().handle_no_permission(request, view_func)
            return redirect_to_login("/", self.get_login_url(view_func))
        page = urlsplit(request.headers.get("HX-Current-URL", "/"))
        back = page.path + (f"?{page.query}" if page.query else "")
        answer = HttpResponse(status=204)
        answer["HX-Redirect"] = redirect_to_login(back, self.get_login_url(view_func)).url
        return answer


def writers_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view for owners and inspectors; a visitor is refused in words."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if not request.user.may_write:
            raise PermissionDenied("Visitors read; ask the owner to make you an inspector.")
        return view(request, *args, **kwargs)

    return guarded


def owners_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view for owners: what concerns the whole record, and people."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if not request.user.is_owner:
            raise PermissionDenied("That is for the owner; ask whoever owns the record.")
        return view(request, *args, **kwargs)

    return guarded
