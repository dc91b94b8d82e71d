"""Sign-in addresses that work once: printed by `start`, shown to a phone as a QR code.

Figures, from memory of the advice named: the token carries 160 random bits (RFC 6749, 10.10, wants
a guess to succeed with no more than 2^-128 and better 2^-160), only a digest is kept (OWASP
Application Security Verification Standard 4.0, 2.4 and 2.7), it dies with its first use, and lives
for a quarter of an hour (10 minutes are what 2.7 allows a code that is sent, and RFC 6749, 4.1.2;
somebody who walks to another room with a phone gets five more).
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from inventory.people.models import Person, SignInLink

QUARTER_HOUR, HOUR = timedelta(minutes=15), timedelta(hours=1)
MOST_MADE = 20
"""Links that one person may make in a quarter of an hour: a club evening, not a machine."""
_TOKEN_BYTES = 20
_KEPT = timedelta(days=1)


class LinkRefused(Exception):
    """A link is not made, and why, in words."""


def sign_in_path(
    person: Person,
    *,
    made_by: Person | None = None,
    lives: timedelta = HOUR,
    moment: datetime | None = None,
) -> str:
    """The path of an address that signs this person in once; it takes the place of an earlier one.

    made_by: None for the program itself, which the number of links does not limit.

    Raises LinkRefused for a person who has been put out, and after MOST_MADE.
    """
    now = moment or timezone.now()
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    with transaction.atomic():
        # Locked, so that two made at once are still one after the other.
        locked = Person.objects.select_for_update().order_by("pk")
        concerned = {each.pk: each for each in locked.filter(pk__in=_keys(person, made_by))}
        if not concerned[person.pk].is_active:
            raise LinkRefused(f"{person} has been put out; let {person} in again first.")
        if made_by is not None:
            _limit(made_by, now)
        take_back(person, now)
        SignInLink.objects.filter(expires_at__lt=now - _KEPT).delete()
        SignInLink.objects.create(
            person=person,
            digest=_digest(token),
            made_by=made_by,
            made_at=now,
            expires_at=now + lives,
        )
    return reverse("people:arrive", args=[token])


def _keys(person: Person, made_by: Person | None) -> set[int]:
    return {person.pk} if made_by is None else {person.pk, made_by.pk}


def _limit(made_by: Person, now: datetime) -> None:
    since = now - QUARTER_HOUR
    if SignInLink.objects.filter(made_by=made_by, made_at__gt=since).count() >= MOST_MADE:
        raise LinkRefused(
            f"{MOST_MADE} sign-in links in a quarter of an hour are enough. Wait a while, then "
            "make the next."
        )


def _digest(token: str) -> str:
    # A plain digest is enough for what is random throughout: there is nothing to try out.
    return hashlib.sha256(token.encode()).hexdigest()


def living_link(person: Person, moment: datetime | None = None) -> SignInLink | None:
    """The link that would sign this person in now, if there is one."""
    now = moment or timezone.now()
    waiting = person.links.filter(used_at=None, expires_at__gt=now)
    found = waiting.select_related("person", "made_by").order_by("-pk")
    return next((link for link in found if link.is_good(now)), None)


def take_back(person: Person, moment: datetime | None = None) -> int:
    """Let whatever links of this person are still good expire now; how many there were."""
    now = moment or timezone.now()
    return person.links.filter(used_at=None, expires_at__gt=now).update(expires_at=now)


def look_up(token: str) -> SignInLink | None:
    """The link of a token, good or used up; None if there never was one, or long ago."""
    links = SignInLink.objects.select_related("person", "made_by")
    return links.filter(digest=_digest(token)).first()


@transaction.atomic
def use(token: str, moment: datetime | None = None) -> SignInLink | None:
    """Use a link up and give it, or None if it is not good (any more).

    The row is locked: of two who press the button at once, one comes in.
    """
    now = moment or timezone.now()
    rows = SignInLink.objects.select_for_update(of=("self",)).select_related("person", "made_by")
    link = rows.filter(digest=_digest(token)).first()
    if link is None or not link.is_good(now):
        return None
    link.used_at = now
    link.save(update_fields=["used_at"])
    return link
