"""Who may come in, and who may write."""

from collections.abc import Callable
from functools import wraps
from urllib.parse import urlsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

_VISITORS_READ = "Visitors read; ask the owner to make you an inspector."
_READING = ("GET", "HEAD", "OPTIONS")


class SignInFirst(LoginRequiredMiddleware):
    """Sends whoever is not signed in to sign in, with the whole page and back to it, and lets no
    visitor send anything that a view has not been marked to take from them.

    Without the first an answer meant for a corner of the page would hold the sign-in page, and
    after signing in people would land on an address that takes only posts.
    """

    def process_view(self, request: HttpRequest, view_func, view_args, view_kwargs):
        answer = super().process_view(request, view_func, view_args, view_kwargs)
        if answer is not None or request.method in _READING or not request.user.is_authenticated:
            return answer
        if not request.user.may_write and not getattr(view_func, "takes_from_visitors", False):
            raise PermissionDenied(_VISITORS_READ)
        return None

    def handle_no_permission(self, request: HttpRequest, view_func) -> HttpResponse:
        if request.headers.get("HX-Request") != "true":
            if request.method == "GET":
                return super().handle_no_permission(request, view_func)
            return redirect_to_login("/", self.get_login_url(view_func))
        try:
            page = urlsplit(request.headers.get("HX-Current-URL", "/"))
        except ValueError:  # no browser sends such an address
            page = urlsplit("/")
        back = f"/{page.path.lstrip('/')}" + (f"?{page.query}" if page.query else "")
        answer = HttpResponse(status=204)
        answer["HX-Redirect"] = redirect_to_login(back, self.get_login_url(view_func)).url
        return answer


def writers_only(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view for owners and inspectors; a visitor is refused in words."""

    @wraps(view)
    def guarded(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if not request.user.may_write:
            raise PermissionDenied(_VISITORS_READ)
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


def visitors_too(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view whose posts are taken from visitors: what concerns nobody but themselves."""
    view.takes_from_visitors = True
    return view
