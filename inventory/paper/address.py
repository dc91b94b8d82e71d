"""The address in a code: which host a telephone in the house would have to reach."""

from __future__ import annotations

import ipaddress
import re
import uuid
from dataclasses import dataclass

from django.conf import settings
from django.http import HttpRequest
from django.http.request import split_domain_port, validate_host
from django.urls import reverse

MOST_HOST = 80
_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]*[a-z0-9])?(?:\.[a-z0-9](?:[a-z0-9-]*[a-z0-9])?)*\.?")


class HostRefused(ValueError):
    """What was typed is no host name; says what is wrong and what to type."""


@dataclass(frozen=True)
class House:
    """Where this record is found: scheme and host, such as http and 192.168.1.20:8000.

    warning: why a telephone in the house may not get there, in words; empty where nothing is
    known against it.
    """

    scheme: str
    host: str
    warning: str = ""

    def to(self, path: str) -> str:
        return f"{self.scheme}://{self.host}{path}"

    def vehicle(self, uid: uuid.UUID) -> str:
        """The short address of a vehicle, which lasts as long as its uid."""
        return self.to(reverse("vehicle-by-uid", args=[uid]))


def house_of(request: HttpRequest, typed: str = "") -> House:
    """The host that was typed, or the one that the person is on. Raises HostRefused."""
    typed = typed.strip().lower()
    scheme, _, rest = typed.rpartition("://")
    host = host_from(rest) if rest else request.get_host()
    scheme = scheme if scheme in ("http", "https") else request.scheme
    return House(scheme, host, _warning(host))


def host_from(typed: str) -> str:
    """A host, with its port where it has one. Raises HostRefused."""
    host = typed.strip().lower().rstrip("/")
    if len(host) > MOST_HOST:
        raise HostRefused(
            f"The host is {len(host)} characters long; a code takes {MOST_HOST} at most."
        )
    if host.startswith("["):
        address, _, after = host[1:].partition("]")
        name, port = address, after[1:] if after.startswith(":") else after
        is_known = not after or after.startswith(":")
        is_known = is_known and _is_address(address, 6)
    else:
        name, colon, port = host.partition(":")
        is_known = bool(_NAME.fullmatch(name)) and (not colon or bool(port))
        if re.fullmatch(r"[0-9.]+", name):
            is_known = is_known and _is_address(name, 4)
    if not is_known or (
        port and not (port.isascii() and port.isdigit() and 0 < int(port) < 65536)
    ):
        raise HostRefused(
            f"“{typed.strip()[:60]}” is no host name; type one such as 192.168.1.20:8000 or "
            "workshop.local:8000."
        )
    return host


def _is_address(text: str, version: int) -> bool:
    try:
        return ipaddress.ip_address(text).version == version
    except ValueError:
        return False


def is_loopback(host: str) -> bool:
    """Whether a host means the very machine that asks for it."""
    name = split_domain_port(host)[0].strip("[]").rstrip(".")
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified


def _warning(host: str) -> str:
    if is_loopback(host):
        return (
            f"The codes would say {host}, and a phone in the house cannot reach this: start with "
            "--network and print from there, or type below how this computer is called in the "
            "house."
        )
    name = split_domain_port(host)[0]
    if not validate_host(name, settings.ALLOWED_HOSTS):
        return (
            f"This computer does not answer to {name} yet: name it in CARKNOCKER_HOSTS, or start "
            "with --network, before anybody reads the codes."
        )
    return ""


class UidConverter:
    """A vehicle's uid in an address, as 32 hexadecimal digits; with dashes it is taken too."""

    regex = "[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{12}"

    def to_python(self, value: str) -> uuid.UUID:
        return uuid.UUID(value)

    def to_url(self, value: uuid.UUID | str) -> str:
        return uuid.UUID(str(value)).hex
