"""Requests that are too large, and those that would take the server from everybody else.

Slow requests are WSTG 4.2's denial of service by resource (its -BUSL-05 and the guide on slow
HTTP); the numbers of seconds are ours.
"""

from __future__ import annotations

import re
import socket
import time
from contextlib import ExitStack

import pytest

from inventory.ledger.serving import (
    HEADER_SECONDS,
    MOST_BODY_BYTES,
    MOST_HEADER_BYTES,
    SLOWEST_BODY,
    Patience,
)
from tests.asking import Client
from tests.security.conftest import copied, signed_in_by_address
from tests.servers import Server

MEGABYTE = 1024 * 1024


@pytest.fixture(scope="module")
def served(demo_record, tmp_path_factory):
    """A server of these tests' own, since they bother it."""
    started = Server(copied(demo_record, tmp_path_factory.mktemp("bothered") / "record"))
    yield started
    started.stop()


@pytest.fixture(scope="module")
def person(served) -> Client:
    return signed_in_by_address(served)


def multipart(fields: dict[str, str], *files: bytes, name: str = "photos") -> tuple[str, bytes]:
    """The kind and the body of a form with files, as RFC 7578 has it."""
    edge = "edge-of-a-part"
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
        for key, value in fields.items()
    ]
    for each in files:
        head = f'Content-Disposition: form-data; name="{name}"; filename="a.jpg"\r\n'
        parts.append(f"--{edge}\r\n{head}Content-Type: image/jpeg\r\n\r\n".encode())
        parts.append(each + b"\r\n")
    return f"multipart/form-data; boundary={edge}", b"".join(parts) + f"--{edge}--\r\n".encode()


def report_with(person: Client, *files: bytes):
    form = next(
        each
        for each in person.ask("/trouble/railways/1/report/").page.forms
        if "happened" in each.values or "where" in each.values
    )
    token = form.values["csrfmiddlewaretoken"]
    kind, body = multipart({"csrfmiddlewaretoken": token}, *files)
    return person.ask(
        "/trouble/railways/1/report/",
        method="POST",
        body=body,
        headers={"Content-Type": kind},
        seconds=120,
    )


# --- Large: WSTG-BUSL-08, -09 -------------------------------------------------------------------


def test_files_as_large_as_photos_and_imports_may_be_reach_the_form(person):
    for n_megabytes in (30, 60):
        answer = report_with(person, b"\xff\xd8\xff" + bytes(n_megabytes * MEGABYTE - 3))
        assert answer.status == 422, n_megabytes  # taken in, read, and refused by the form
        assert "problem" in answer.text


def test_body_that_says_it_is_larger_than_anything_is_refused_before_it_is_sent(served):
    with socket.create_connection(("127.0.0.1", served.port), timeout=10) as link:
        link.sendall(
            b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            b"Content-Length: %d\r\n\r\n" % (MOST_BODY_BYTES + 1)
        )
        said = b""
        while piece := link.recv(4096):
            said += piece
    assert said.startswith(b"HTTP/1.1 413")
    assert b"Send fewer files at once" in said
    assert b"waitress" not in said.lower()


def test_body_in_pieces_that_never_end_is_cut_off(served):
    piece = b"10000\r\n" + bytes(0x10000) + b"\r\n"
    sent = 0
    with socket.create_connection(("127.0.0.1", served.port), timeout=60) as link:
        link.sendall(
            b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        with pytest.raises(OSError, match=r"."):
            while sent < 2 * MOST_BODY_BYTES:
                link.sendall(piece)
                sent += 0x10000
    assert sent < 2 * MOST_BODY_BYTES


def test_form_with_far_too_much_text_or_too_many_fields_is_refused_in_words(person):
    for body in (b"x=" + b"y" * 3_000_000, b"&".join(b"f%d=1" % i for i in range(6000))):
        answer = person.ask(
            "/preferences/",
            method="POST",
            body=body,
            headers={"Content-Type": "application/x-www-form-urlencoded"},
        )
        assert answer.status == 400
        assert "far more was sent than any form here holds" in answer.text


def test_headers_that_are_too_large_are_refused(served, person):
    answer = person.ask("/stock/", headers={"X-Long": "x" * (MOST_HEADER_BYTES + 100)})
    assert answer.status == 431
    assert person.ask("/stock/").status == 200
    assert Client(served.port).ask("/" + "a" * 40_000).status in (400, 414, 431)


# --- Requests that two readers would split differently: WSTG-INPV-15 ----------------------------

SMUGGLED = [
    b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n",
    b"Content-Length: 5\r\nContent-Length: 6\r\n",
    b"Transfer-Encoding: xchunked\r\n",
    b"Transfer-Encoding : chunked\r\n",
    b"Content-Length: +5\r\n",
    b"Content-Length: 0x5\r\n",
    b"X: a\nTransfer-Encoding: chunked\r\n",
]


@pytest.mark.parametrize("head", SMUGGLED)
def test_request_of_unclear_length_ends_the_connection(served, head):
    """Whatever is answered, what follows in the same connection is not taken for a request."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=10) as link:
        link.sendall(
            b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\n"
            + head
            + b"\r\n0\r\n\r\nGET /smuggled/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"
        )
        said = b""
        link.settimeout(3)
        try:
            while piece := link.recv(65536):
                said += piece
        except TimeoutError:
            pass
    statuses = re.findall(rb"HTTP/1\.[01] (\d+)", said)
    assert b"404" not in statuses, statuses
    assert b"302" not in statuses, statuses


# --- Slow ---------------------------------------------------------------------------------------


def test_twenty_slow_connections_leave_the_server_to_the_others(served, person):
    """Ten never finish their headers, ten never their bodies; each sends a byte now and then."""
    with ExitStack() as opened:
        slow = []
        for i in range(20):
            link = opened.enter_context(socket.create_connection(("127.0.0.1", served.port)))
            if i % 2:
                link.sendall(b"GET /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
            else:
                link.sendall(
                    b"POST /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 50000000\r\n"
                    b"Content-Type: application/x-www-form-urlencoded\r\n\r\nx="
                )
            slow.append(link)
        slowest = 0.0
        for _ in range(5):
            for link in slow:
                link.sendall(b"a")
            began = time.perf_counter()
            assert person.ask("/preferences/", seconds=10).status == 200
            slowest = max(slowest, time.perf_counter() - began)
            time.sleep(0.3)
        assert slowest < 2


def test_header_that_drips_is_cut_off(served):
    """The drip never idles, so that it is the patience with the header which ends it."""
    with socket.create_connection(("127.0.0.1", served.port), timeout=5) as link:
        link.sendall(b"GET /sign-in/ HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ")
        began = time.monotonic()
        try:
            while time.monotonic() - began < HEADER_SECONDS + 40:
                link.sendall(b"a")
                time.sleep(1)
        except OSError:
            pass
        assert HEADER_SECONDS <= time.monotonic() - began < HEADER_SECONDS + 25


class Unfinished:
    """What the patience looks at of a request."""

    def __init__(self, *, header_is_read: bool, n_bytes: int = 0) -> None:
        self.headers_finished, self.body_bytes_received = header_is_read, n_bytes


class Line:
    def __init__(self, request: Unfinished | None) -> None:
        self.request, self.requests = request, []


def test_patience_ends_with_slow_bodies_and_not_with_a_phone_far_away():
    patience = Patience()
    drip = Line(Unfinished(header_is_read=True, n_bytes=100))
    far = Line(Unfinished(header_is_read=True, n_bytes=0))
    for line in (drip, far, Line(None)):
        assert not patience.is_worn_out(line, 1000.0)
    for second in range(0, 600, 5):
        far.request.body_bytes_received = SLOWEST_BODY * (second + 1) * 4  # 2 kB a second
        assert not patience.is_worn_out(far, 1000.0 + second)
    assert not patience.is_worn_out(drip, 1000.0 + HEADER_SECONDS)
    assert patience.is_worn_out(drip, 1000.0 + HEADER_SECONDS + 1)
    drip.requests.append(drip.request)  # being answered: no more of its business
    assert not patience.is_worn_out(drip, 5000.0)
