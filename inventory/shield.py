"""What every answer tells a browser to refuse, and words for ways of asking that nothing takes."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.shortcuts import render

#: Scripts, styles and pictures come from this server and from nowhere else, and none stands in a
#: page itself; so what somebody typed into the record is never run, even if it were not escaped.
CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)

#: A photo is taken by the phone's own camera through a file field, which needs none of these.
PERMISSIONS_POLICY = ", ".join(
    f"{each}=()"
    for each in (
        "accelerometer",
        "browsing-topics",
        "camera",
        "display-capture",
        "geolocation",
        "gyroscope",
        "hid",
        "magnetometer",
        "microphone",
        "midi",
        "payment",
        "serial",
        "usb",
    )
)

METHODS = ("GET", "HEAD", "POST")
#: Below it programs ask, and are refused in words for programs.
FOR_PROGRAMS = "/api/"

Answering = Callable[[HttpRequest], HttpResponse]


class Shield:
    """Puts the headers on every answer, the files of the pages and errors among them.

    What a page says is for the one who is signed in: no browser and nothing between keeps it,
    unless the view says otherwise.
    """

    def __init__(self, get_response: Answering) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        answer = self.get_response(request)
        if not (settings.DEBUG and answer.status_code >= 400):  # Django's own pages have styles
            answer.headers.setdefault("Content-Security-Policy", CONTENT_SECURITY_POLICY)
        answer.headers.setdefault("Permissions-Policy", PERMISSIONS_POLICY)
        answer.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        answer.headers.setdefault("Cache-Control", "private, no-store")
        return _without_body(answer) if request.method == "HEAD" else answer


def _without_body(answer: HttpResponse) -> HttpResponse:
    """The answer to HEAD. The server sends whatever it is given, and the next answer on the same
    connection would begin with this page."""
    if not answer.streaming:
        answer.headers.setdefault("Content-Length", str(len(answer.content)))
        answer.content = b""
        return answer
    bare = HttpResponse(status=answer.status_code, headers=dict(answer.headers))
    bare.cookies = answer.cookies
    answer.close()
    return bare


class MethodsInWords:
    """Refuses what no page takes, and gives the refusals of single pages their words.

    Stands after whoever knows who is signed in, because the page that it shows has the menu.
    """

    def __init__(self, get_response: Answering) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.method in METHODS or request.path_info.startswith(FOR_PROGRAMS):
            answer = self.get_response(request)
        else:
            answer = HttpResponseNotAllowed(METHODS)
        if answer.status_code != 405 or answer.streaming or answer.content:
            return answer
        page = render(request, "405.html", status=405)
        page["Allow"] = answer["Allow"]
        return page
