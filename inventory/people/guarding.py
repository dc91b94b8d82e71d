"""How often somebody may try to sign in.

Five failures for a name or twenty from an address within a quarter of an hour, and the next has to
wait a quarter of an hour. OWASP ASVS 4.0, 2.2.1, allows at most 100 failures an hour for one
account (from memory); these come to twenty an hour. An attempt that is refused is not counted, so
that whoever goes on knocking does not keep the door shut for good, and one-time links work
throughout: nobody guesses those.
"""

from __future__ import annotations

import ipaddress
import math
import unicodedata
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.http import HttpRequest
from django.utils import timezone
from django.utils.crypto import salted_hmac

from inventory.people.models import SignInTally

WITHIN = REFUSED_FOR = timedelta(minutes=15)
MOST_FOR_A_NAME = 5
MOST_FROM_AN_ADDRESS = 20
_KEPT = WITHIN + REFUSED_FOR


class TooMany(Exception):
    """Too many sign-ins failed. `seconds` are to be waited."""

    def __init__(self, seconds: float) -> None:
        self.seconds = math.ceil(seconds)
        minutes = math.ceil(seconds / 60)
        super().__init__(
            f"Too many sign-ins failed. Wait {minutes} minute{'' if minutes == 1 else 's'} before "
            "the next. A one-time sign-in address works at once: Carknocker prints one when it "
            "starts, and an owner can make one for you."
        )


@dataclass(frozen=True)
class Attempt:
    """A sign-in that counts as failed until it is said to have succeeded."""

    name_key: str | None
    address_key: str
    second: float

    @transaction.atomic
    def succeeded(self) -> None:
        """Nothing stands against the name any more; of the address only this attempt is dropped,
        or whoever can sign in as one could try the passwords of all the others."""
        if self.name_key is not None:
            SignInTally.objects.filter(key=self.name_key).delete()
        tally = SignInTally.objects.select_for_update().filter(key=self.address_key).first()
        if tally is not None and self.second in tally.moments:
            tally.moments.remove(self.second)
            if len(tally.moments) < MOST_FROM_AN_ADDRESS:
                tally.refused_until = None
            tally.save()


def begin_attempt(*, name: str | None, address: str, moment: datetime | None = None) -> Attempt:
    """Count an attempt before its password is looked at, so that a hundred at once count too.

    name: as typed; None where no name is given, as with a one-time link.

    Raises TooMany, and counts nothing, where it is refused.
    """
    now = moment or timezone.now()
    _sweep(now)
    attempt = Attempt(
        None if name is None else _name_key(name), f"address:{address}", now.timestamp()
    )
    limits = [(attempt.name_key, MOST_FOR_A_NAME), (attempt.address_key, MOST_FROM_AN_ADDRESS)]
    with transaction.atomic():
        # Always the name before the address, so that no two wait for each other.
        tallies = [(_locked(key, now), most) for key, most in limits if key is not None]
        waits = [
            (tally.refused_until - now).total_seconds()
            for tally, _ in tallies
            if tally.refused_until is not None and tally.refused_until > now
        ]
        if waits:
            raise TooMany(max(waits))
        for tally, most in tallies:
            _count(tally, most, now)
    return attempt


def _locked(key: str, now: datetime) -> SignInTally:
    rows = SignInTally.objects.select_for_update()
    return rows.get_or_create(key=key, defaults={"last_at": now})[0]


def _count(tally: SignInTally, most: int, now: datetime) -> None:
    since = (now - WITHIN).timestamp()
    tally.moments = [*(each for each in tally.moments if each > since), now.timestamp()]
    tally.refused_until = now + REFUSED_FOR if len(tally.moments) >= most else None
    tally.last_at = now
    tally.save()


def _sweep(now: datetime) -> None:
    """Remove what is over, row by row: one statement for all could wait for another's two."""
    old = SignInTally.objects.filter(last_at__lt=now - _KEPT)
    for pk in list(old.values_list("pk", flat=True)[:100]):
        old.filter(pk=pk).delete()


def _name_key(name: str) -> str:
    plain = unicodedata.normalize("NFKC", name).strip().casefold()
    return (
        f"name:{salted_hmac('inventory.people.guarding', plain, algorithm='sha256').hexdigest()}"
    )


def address_of(request: HttpRequest) -> str:
    """Where a request comes from: an IPv4 address, or the /64 of an IPv6 one, since one machine
    may take any address within that (RFC 4291, 2.5.4)."""
    try:
        address = ipaddress.ip_address(request.META.get("REMOTE_ADDR", ""))
    except ValueError:
        return "unknown"
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((address, 64), strict=False))
    return str(address)
