"""Making, finding and ending reading tokens."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from inventory.people.models import Person
from inventory.reader.models import ReadingToken

#: By this a token is known as one wherever it turns up.
PREFIX = "ck_"
#: How exactly it is noted when a token was last used: a write for every read would be too much.
NOTED_EVERY = timedelta(minutes=5)


class TokenRefused(Exception):
    """A token that cannot be made; says why, in words."""


def _digest(token: str) -> str:
    """The SHA-256 of a token. It is random and long enough that no salt or slowness is needed."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()


def make_token(*, person: Person, name: str, moment: datetime | None = None) -> str:
    """A new token of a person, to be shown once; only its digest is kept.

    Raises TokenRefused without a name, or where one of that name is in use.
    """
    name = " ".join(name.split())
    if not name or len(name) > 60:
        raise TokenRefused("Name: say in at most 60 letters what the token is for.")
    if ReadingToken.objects.filter(person=person, name=name, ended_at__isnull=True).exists():
        raise TokenRefused(f"Name: you have a token “{name}” already; end it or name this apart.")
    token = PREFIX + secrets.token_urlsafe(32)
    ReadingToken.objects.create(
        person=person, name=name, digest=_digest(token), made_at=moment or timezone.now()
    )
    return token


def end_token(*, token: ReadingToken, moment: datetime | None = None) -> None:
    """Let a token open nothing any more."""
    ReadingToken.objects.filter(pk=token.pk, ended_at__isnull=True).update(
        ended_at=moment or timezone.now()
    )


def reader_by(token: str, moment: datetime | None = None) -> Person | None:
    """Whose token it is, and note that it was used; None for one that opens nothing."""
    now = moment or timezone.now()
    found = (
        ReadingToken.objects.select_related("person")
        .filter(digest=_digest(token), ended_at__isnull=True, person__is_active=True)
        .first()
    )
    if found is None:
        return None
    due = Q(last_used_at__isnull=True) | Q(last_used_at__lt=now - NOTED_EVERY)
    if found.last_used_at is None or found.last_used_at < now - NOTED_EVERY:
        ReadingToken.objects.filter(due, pk=found.pk).update(last_used_at=now)
    return found.person
