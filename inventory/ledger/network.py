"""How phones in the house reach this machine, and what must not be before they may."""

from __future__ import annotations

import ipaddress
import os
import re
import socket
import stat
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Thread

Address = ipaddress.IPv4Address | ipaddress.IPv6Address

#: Every network that this machine is in, as a server binds to it.
EVERYWHERE = str(ipaddress.IPv4Address(0))

#: What a browser may send as a host and Django takes: no underscore, no blank.
HOST_NAME = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*")

#: Nothing is ever sent to these. The system is only asked from which of its own addresses it
#: would: a documentation address (RFC 5737) for the way out, and the private networks (RFC 1918)
#: for a house without one.
ASKED_ABOUT = ("192.0.2.1", "10.255.255.254", "172.31.255.254", "192.168.255.254")


def is_loopback(address: str) -> bool:
    """Whether only this machine itself reaches a server bound to an address."""
    return _address(address).is_loopback


def _address(text: str) -> Address:
    return ipaddress.ip_address(text.split("%")[0])


def bracketed(host: str) -> str:
    """A host as it stands in an address of the web: IPv6 in brackets."""
    return f"[{host}]" if ":" in host else host


def own_addresses() -> list[str]:
    """The addresses by which others in the house reach this machine: IPv4, the usual one first."""
    found: list[str] = []
    for asked in ASKED_ABOUT:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((asked, 9))
            found.append(probe.getsockname()[0])
    with suppress(OSError, UnicodeError):
        found += _resolved(socket.gethostname())
    return _others_reach(found)


def _others_reach(found: Iterable[str]) -> list[str]:
    """Each once, without those of the machine for itself (127.0.0.1, 0.0.0.0, 169.254...)."""
    kept = []
    for each in found:
        address = _address(each)
        if address.is_loopback or address.is_unspecified or address.is_link_local:
            continue
        if each not in kept:
            kept.append(each)
    return kept


def _resolved(name: str) -> list[str]:
    return [
        entry[4][0] for entry in socket.getaddrinfo(name, None, socket.AF_INET, socket.SOCK_STREAM)
    ]


def own_name(addresses: Sequence[str], *, seconds: float = 3) -> str | None:
    """This machine's name.local, if it leads to one of its addresses; None if it does not.

    Asking takes long where nothing answers, so it is given up after `seconds`.
    """
    name = f"{socket.gethostname().split('.')[0].lower()}.local"
    if not HOST_NAME.fullmatch(name):
        return None
    answers: list[str] = []

    def ask() -> None:
        with suppress(OSError, UnicodeError):
            answers.extend(_resolved(name))

    asking = Thread(target=ask, daemon=True)
    asking.start()
    asking.join(seconds)
    return name if set(answers) & set(addresses) else None


def reached_by(bound_to: str) -> list[str]:
    """The names, as hosts, by which phones in the house reach a server: the best first.

    `bound_to` is the address of its socket, 0.0.0.0 or :: for all. Empty if nobody reaches it.
    """
    if is_loopback(bound_to):
        return []
    addresses = own_addresses() if _address(bound_to).is_unspecified else [bound_to]
    name = own_name(addresses)
    return [*([name] if name else []), *addresses]


# --- What must not be -------------------------------------------------------------------------


def dangers(
    *,
    debug: bool,
    data: Path,
    https: bool,
    trusted_proxy: str,
    reached: Sequence[str],
) -> list[str]:
    """Why the record must not be opened to the house as it is: each in words, with its remedy."""
    found = []
    if debug:
        found.append(
            "CARKNOCKER_DEBUG is 1: its error pages show the inside of the program and of the "
            "record to everybody. Leave it out."
        )
    found += _open_to_other_accounts(data)
    found += [
        f"{each} is an address of the whole internet, not of a house, and nothing here is "
        "encrypted. Put a web server with TLS in front (see DEVELOPERS.md), or name an address "
        "of the house with --host."
        for each in reached
        if _is_of_the_internet(each)
    ]
    if https and (not trusted_proxy or is_loopback(trusted_proxy)):
        found.append(
            "CARKNOCKER_HTTPS is 1, so people come through the web server in front, which is on "
            "this machine; phones that come past it would be sent away. Leave out --network, or "
            "say with CARKNOCKER_TRUSTED_PROXY on which other machine the web server is."
        )
    return found


def is_loose(host: str) -> bool:
    """Whether an allowed host stands for names that nobody here owns: *, or all under .local."""
    return "*" in host or (host.startswith(".") and "." not in host.strip("."))


def _is_of_the_internet(host: str) -> bool:
    try:
        address = _address(host)
    except ValueError:
        return False  # a name
    # Houses give their machines global IPv6 addresses and keep strangers out at the router.
    return address.version == 4 and address.is_global


def _open_to_other_accounts(data: Path) -> list[str]:
    """Windows keeps a person's files from other accounts by itself; elsewhere the mode says."""
    if os.name != "posix":
        return []
    found = []
    key, own = data / "secret-key", stat.S_IRWXG | stat.S_IRWXO
    if key.exists() and key.stat().st_mode & own:
        found.append(
            f"{key} can be read by other accounts of this machine, who could sign in as anybody "
            f"with it. Close it: chmod 600 {key}"
        )
    for path, mode in ((data, 700), (data / "record.sqlite3", 600)):
        if path.exists() and path.stat().st_mode & stat.S_IWOTH:
            found.append(
                f"{path} can be changed by every account of this machine. "
                f"Close it: chmod {mode} {path}"
            )
    return found
