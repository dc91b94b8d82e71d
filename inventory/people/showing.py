"""What one's own page and the owner's page about a person both show."""

from __future__ import annotations

import ipaddress

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.http.request import split_domain_port
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from inventory.drawing.qr import code_on_screen
from inventory.people.devices import roughly
from inventory.people.links import QUARTER_HOUR, LinkRefused, sign_in_path
from inventory.people.models import Device, Person


def devices_of(person: Person, session_key: str | None) -> list[tuple[Device, str, bool]]:
    """Where a person is signed in: the device, when it was seen, whether it is this one."""
    now = timezone.now()
    return [
        (device, roughly(device.seen_at, now), device.session_key == session_key)
        for device in person.devices.signed_in(now).select_related("link_by")
    ]


def link_page(request: HttpRequest, person: Person) -> HttpResponse:
    """Make a sign-in link for a person and show it, this once, as text and as a QR code."""
    is_me = person == request.user
    try:
        path = sign_in_path(person, made_by=request.user, lives=QUARTER_HOUR)
    except LinkRefused as refused:
        messages.error(request, str(refused))
        return redirect("people:preferences" if is_me else reverse_of(person))
    address = request.build_absolute_uri(path)
    here = is_loopback(request.get_host())
    return render(
        request,
        "people/link.html",
        {
            "person": person,
            "is_me": is_me,
            "address": address,
            "host": request.get_host(),
            "is_loopback": here,
            "code": None
            if here
            else code_on_screen(address, title=f"Sign-in address of {person}"),
            "minutes": int(QUARTER_HOUR.total_seconds() // 60),
        },
    )


def reverse_of(person: Person) -> str:
    return reverse("people:person", args=[person.pk])


def is_loopback(host: str) -> bool:
    """Whether a host, as a browser names it, means the machine that the browser runs on.

    RFC 6761, 6.3: localhost and the names below it; RFC 1122, 3.2.1.3: 127/8; RFC 4291: ::1.
    0.0.0.0 and ::, which some browsers take for it, count too.
    """
    name = split_domain_port(host)[0].rstrip(".")
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        address = ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    return address.is_loopback or address.is_unspecified
