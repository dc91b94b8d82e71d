"""Where somebody is signed in, seen and ended.

A `Device` stands beside each of Django's sessions and is found from it, so that a page asks for
nothing more than before. It is written when somebody signs in and then at most every five minutes,
never on every page; that writing renews the session, so that a phone in use stays signed in and a
forgotten one does not.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta

from django.contrib.auth import SESSION_KEY
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.contrib.sessions.models import Session
from django.db import OperationalError, transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from inventory.people.models import Device, DeviceQuerySet, Person, SignInLink

SEEN_EVERY = timedelta(minutes=5)
_DEVICE, _SEEN = "device", "seen"
"""What a session keeps: the key of its device, and when that was last written, in seconds."""


# --- Kept -------------------------------------------------------------------------------------


def begin(request: HttpRequest, person: Person) -> Device:
    """Keep that this person is signed in in this session from now on."""
    now, session = timezone.now(), request.session
    with transaction.atomic():
        _tidy(now)
        session[_SEEN] = int(now.timestamp())
        if session.session_key is None:
            session.create()
        device = Device.objects.filter(pk=session.get(_DEVICE), person=person).first()
        device = device or Device(person=person, begun_at=now)
        device.session_key, device.seen_at = session.session_key, now
        device.words = described(request.META.get("HTTP_USER_AGENT", ""))
        Device.objects.filter(session_key=session.session_key).exclude(pk=device.pk).delete()
        device.save()
        session[_DEVICE] = device.pk
    return device


def _tidy(now: datetime) -> None:
    """Remove sessions that are over, and devices without a session."""
    Session.objects.filter(expire_date__lt=now).delete()
    Device.objects.exclude(session_key__in=Session.objects.values("session_key")).delete()


def note_link(request: HttpRequest, link: SignInLink) -> None:
    """Keep that this device came in by a link, and who made it."""
    device = Device.objects.filter(pk=request.session.get(_DEVICE))
    device.update(by_link=True, link_by=link.made_by)


def follow(request: HttpRequest) -> None:
    """The session of this device has got another key, as it does when a password is set."""
    device = Device.objects.filter(pk=request.session.get(_DEVICE))
    device.update(session_key=request.session.session_key)


def note_seen(request: HttpRequest) -> None:
    """Keep that this device was seen, unless that is not five minutes old."""
    session, now = request.session, time.time()
    if _DEVICE in session and now - session.get(_SEEN, 0) < SEEN_EVERY.total_seconds():
        return
    mine = Device.objects.filter(
        pk=session.get(_DEVICE), session_key=session.session_key, person=request.user
    )
    if mine.update(seen_at=timezone.now()):
        session[_SEEN] = int(now)
    else:  # signed in before devices were kept
        begin(request, request.user)


class SeenMiddleware:
    """Keeps when a device was last seen. Where that cannot be written, the page goes on."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            # The page may be read all the same; a write in it says itself what is wrong.
            with suppress(OperationalError):
                note_seen(request)
        return self.get_response(request)


def _on_sign_in(sender, request: HttpRequest, user: Person, **kwargs) -> None:
    begin(request, user)


def _on_sign_out(sender, request: HttpRequest, user: Person | None, **kwargs) -> None:
    Device.objects.filter(session_key=request.session.session_key).delete()


user_logged_in.connect(_on_sign_in)
user_logged_out.connect(_on_sign_out)


# --- Ended ------------------------------------------------------------------------------------


@transaction.atomic
def end(devices: DeviceQuerySet) -> int:
    """Sign these devices out; how many there were."""
    keys = list(devices.values_list("session_key", flat=True))
    Session.objects.filter(session_key__in=keys).delete()
    Device.objects.filter(session_key__in=keys).delete()
    return len(keys)


@transaction.atomic
def end_all(person: Person, *, but: str | None = None) -> int:
    """Sign a person out everywhere, but perhaps for the session of a key; how many there were."""
    n_ended = end(person.devices.exclude(session_key=but))
    # Sessions from before devices were kept name their person only inside.
    unknown = Session.objects.exclude(session_key__in=Device.objects.values("session_key"))
    for session in unknown.exclude(session_key=but or ""):
        if session.get_decoded().get(SESSION_KEY) == str(person.pk):
            session.delete()
            n_ended += 1
    return n_ended


# --- In words ---------------------------------------------------------------------------------

#: Looked for in this order, since most browsers also name those that they descend from.
_BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("FxiOS/", "Firefox"),
    ("Firefox/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
_MACHINES = (
    ("iPhone", "an iPhone"),
    ("iPad", "an iPad"),
    ("Android", "an Android tablet"),
    ("Windows", "Windows"),
    ("CrOS", "a Chromebook"),
    ("Macintosh", "a Mac"),
    ("Linux", "Linux"),
)


def described(user_agent: str) -> str:
    """A browser and its machine in plain words, as far as it says what it is."""
    browser = next((name for sign, name in _BROWSERS if sign in user_agent), "A browser")
    machine = next((name for sign, name in _MACHINES if sign in user_agent), "some device")
    if machine == "an Android tablet" and "Mobile" in user_agent:
        machine = "an Android phone"
    return f"{browser} on {machine}"


def roughly(moment: datetime, now: datetime) -> str:
    """How long ago, no finer than is kept."""
    ago = now - moment
    if ago < 2 * SEEN_EVERY:
        return "just now"
    if ago < timedelta(hours=1):
        return "within the hour"
    if ago < timedelta(days=1):
        return "within a day"
    days = ago.days
    return f"{days} day{'' if days == 1 else 's'} ago"
