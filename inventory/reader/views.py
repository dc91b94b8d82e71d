"""The pages about the interface: what it answers, and the tokens of a person."""

from __future__ import annotations

import json

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.people.access import writers_only
from inventory.reader.answers import ENDPOINTS, MOST, USUAL
from inventory.reader.forms import TokenForm
from inventory.reader.models import ReadingToken
from inventory.reader.openapi import plain_path
from inventory.reader.tokens import TokenRefused, end_token, make_token


@require_safe
def index(request: HttpRequest) -> HttpResponse:
    """What the interface answers, with examples."""
    shown = [
        {
            "endpoint": each,
            "path": plain_path(each),
            "example": json.dumps(each.answer.example, ensure_ascii=False, indent=1),
        }
        for each in ENDPOINTS
    ]
    server = request.build_absolute_uri("/api/")
    return render(
        request,
        "reader/index.html",
        {"endpoints": shown, "server": server, "most": MOST, "usual": USUAL},
    )


@writers_only
@never_cache
@require_http_methods(["GET", "POST"])
def tokens(request: HttpRequest) -> HttpResponse:
    """A person's reading tokens, and a new one, which is shown this once."""
    form, fresh = TokenForm(request.POST or None), None
    if request.method == "POST" and form.is_valid():
        try:
            fresh = make_token(person=request.user, name=form.cleaned_data["name"])
            form = TokenForm()
        except TokenRefused as refused:
            form.add_error("name", str(refused))
    return render(
        request,
        "reader/tokens.html",
        {
            "form": form,
            "fresh": fresh,
            "tokens": request.user.reading_tokens.order_by("ended_at", "made_at", "pk"),
            "server": request.build_absolute_uri("/api/"),
        },
        status=422 if form.errors else 200,
    )


@writers_only
@require_POST
def end(request: HttpRequest, pk: int) -> HttpResponse:
    """End one of a person's own tokens."""
    token = get_object_or_404(ReadingToken, pk=pk, person=request.user)
    end_token(token=token)
    messages.success(request, f"The token “{token.name}” opens nothing any more.")
    return redirect("reader:tokens")
