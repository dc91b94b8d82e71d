"""A question to the interface: who asks, what exactly, and the answer with its tag.

It only reads. Whoever is signed in may ask, or a script by a reading token. What is wrong is said
as RFC 9457 has it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.views.decorators.csrf import csrf_exempt

from inventory.people.models import Person
from inventory.reader.answers import Endpoint, NotThere, Unasked
from inventory.reader.openapi import description
from inventory.reader.tokens import reader_by

READS = ("GET", "HEAD")


def problem(status: HTTPStatus, detail: str, **headers: str) -> HttpResponse:
    """What is wrong, for programs and in words (RFC 9457)."""
    said = {
        "type": "about:blank",
        "title": status.phrase,
        "status": status.value,
        "detail": detail,
    }
    answer = HttpResponse(
        _dumped(said), content_type="application/problem+json", status=status.value
    )
    for name, value in headers.items():
        answer[name.replace("_", "-")] = value
    answer["Cache-Control"] = "no-store"
    patch_vary_headers(answer, ("Authorization", "Cookie"))
    return answer


def _dumped(said: Any) -> str:
    return json.dumps(said, ensure_ascii=False, allow_nan=False)


def _asker(request: HttpRequest) -> Person | HttpResponse:
    """Who asks, or the answer that refuses."""
    given = request.headers.get("Authorization", "")
    if not given:
        if request.user.is_authenticated:
            return request.user
        return problem(
            HTTPStatus.UNAUTHORIZED,
            "Say who you are: send “Authorization: Bearer” with a reading token, which you make "
            "under Set-up, or sign in.",
            WWW_Authenticate='Bearer realm="Carknocker"',
        )
    how, _, token = given.partition(" ")
    person = reader_by(token.strip()) if how.lower() == "bearer" else None
    if person is None:
        return problem(
            HTTPStatus.UNAUTHORIZED,
            "This reading token opens nothing: it was mistyped, ended, or its person may sign in "
            "no more. Make another under Set-up.",
            WWW_Authenticate='Bearer realm="Carknocker", error="invalid_token"',
        )
    return person


def reads(answer: Callable[..., Any]) -> Callable[..., HttpResponseBase]:
    """A view that only reads: `answer` takes the request and the parts of the address, and gives
    what is sent as JSON. Raises in it become problems."""

    @csrf_exempt  # it never writes
    @login_not_required  # it asks itself
    def view(request: HttpRequest, **parts: Any) -> HttpResponseBase:
        if request.method not in READS:
            return problem(
                HTTPStatus.METHOD_NOT_ALLOWED,
                f"{request.method} is not taken: this interface only reads. Write by the pages.",
                Allow=", ".join(READS),
            )
        who = _asker(request)
        if isinstance(who, HttpResponse):
            return who
        try:
            said = answer(request, **parts)
        except NotThere as nothing:
            return problem(HTTPStatus.NOT_FOUND, str(nothing))
        except Unasked as unclear:
            return problem(HTTPStatus.BAD_REQUEST, str(unclear))
        return _tagged(request, _dumped(said))

    # A visitor's post comes as far as the others', to be refused in the same words.
    view.takes_from_visitors = True
    view.answers_programs = True
    return view


def _tagged(request: HttpRequest, body: str) -> HttpResponseBase:
    """The answer with a tag of its content, or 304 for whoever has it already.

    There is no Last-Modified: the record does not keep when everything in an answer was last
    changed, and a date that is not so is worse than none.
    """
    tag = f'"{hashlib.sha256(body.encode()).hexdigest()[:32]}"'
    answer = HttpResponse(body, content_type="application/json")
    answer["ETag"] = tag
    answer["Cache-Control"] = "private, no-cache"
    answer["X-Content-Type-Options"] = "nosniff"
    patch_vary_headers(answer, ("Authorization", "Cookie"))
    return get_conditional_response(request, etag=tag, response=answer)


def asked_of(request: HttpRequest, endpoint: Endpoint) -> dict[str, Any]:
    """The parameters of a question, understood. Raises Unasked for one that is not known, stands
    twice or cannot be read."""
    known = {each.name: each for each in endpoint.parameters}
    found = {}
    for name, values in request.GET.lists():
        if name not in known:
            some = ", ".join(known) or "none"
            raise Unasked(f"“{name[:60]}” is no parameter here; there are: {some}.")
        if len(values) > 1:
            raise Unasked(f"{name}: it stands twice; send it once.")
        found[name] = known[name].value(values[0])
    return found


def view_of(endpoint: Endpoint) -> Callable[..., HttpResponseBase]:
    """The view of an endpoint."""

    def answer(request: HttpRequest, **parts: Any) -> dict[str, Any]:
        return endpoint.find(asked_of(request, endpoint), **parts)

    return reads(answer)


@reads
def openapi(request: HttpRequest) -> dict[str, Any]:
    """The description of the interface."""
    return description(request.build_absolute_uri("/api/").rstrip("/"))


@reads
def nothing_here(request: HttpRequest, rest: str) -> dict[str, Any]:
    """Every other address below the interface."""
    hint = "" if rest.endswith("/") else " Addresses end with a slash."
    raise NotThere(f"There is nothing at “{rest[:80]}”.{hint} /api/ lists what there is.")
