"""The server with its limits: how large a request may be, and how slow."""

from __future__ import annotations

import select
import socket
import warnings
from collections.abc import Callable, Iterable
from weakref import WeakKeyDictionary

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import BaseWSGIServer, create_server
from waitress.utilities import RequestEntityTooLarge

MEGABYTE = 1024 * 1024

#: An import of 60 MB, or twelve photos as phones take them, with what a form puts around them.
MOST_BODY_BYTES = 200 * MEGABYTE
TOO_LARGE = (
    f"More than {MOST_BODY_BYTES // MEGABYTE} MB was sent, and nothing was kept. Send fewer files "
    "at once. A larger backup is put beside the record and restored with manage.py restore."
)
#: Far more than our longest address and cookies.
MOST_HEADER_BYTES = 32 * 1024
#: Connections at once. A browser opens up to six; Windows can watch 512.
MOST_CONNECTIONS = 300
#: Seconds after which a connection on which nothing moves is closed.
IDLE_SECONDS = 60
#: Seconds within which a request has said what it wants, and from when its body has to move on.
HEADER_SECONDS = 20
#: Bytes a second of a body, on average. A phone at the far end of a garden sends a hundred times
#: as many.
SLOWEST_BODY = 500
#: Pages made at once. The others wait; bodies are received beside them, by one loop for all.
THREADS = 8


def server_of(
    application: Callable[..., Iterable[bytes]],
    listener: socket.socket,
    *,
    trusted_proxy: str = "",
) -> BaseWSGIServer:
    """A server on a listening socket; its run() serves until Ctrl-C.

    `trusted_proxy` is the address of the web server in front, which alone may say that the
    person came by https and from where; from anybody else such headers are dropped.
    """
    proxy = (
        {
            "trusted_proxy": trusted_proxy,
            "trusted_proxy_headers": {"x-forwarded-proto", "x-forwarded-for"},
        }
        if trusted_proxy
        else {}
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        server = create_server(
            application,
            sockets=[listener],
            threads=THREADS,
            ident="",  # nobody has to know what serves
            connection_limit=MOST_CONNECTIONS,
            channel_timeout=IDLE_SECONDS,
            cleanup_interval=5,
            recv_bytes=65536,
            max_request_body_size=MOST_BODY_BYTES,
            max_request_header_size=MOST_HEADER_BYTES,
            asyncore_use_poll=hasattr(select, "poll"),
            clear_untrusted_proxy_headers=True,
            log_socket_errors=False,  # a phone that went to sleep is no error
            **proxy,
        )
    server.channel_class = Strict
    patience = Patience()
    closing_the_idle = server.maintenance

    def maintenance(now: float) -> None:
        closing_the_idle(now)
        for channel in list(server.active_channels.values()):
            if patience.is_worn_out(channel, now):
                channel.will_close = True

    server.maintenance = maintenance
    return server


class _Strict(HTTPRequestParser):
    """Refuses what is too large in words, and a request that gives its length in two ways.

    A web server in front might go by the other length, and take the end of one person's request
    for the beginning of the next person's (RFC 9112, 6.3).
    """

    def received(self, data: bytes) -> int:
        taken = super().received(data)
        if isinstance(self.error, RequestEntityTooLarge):
            self.error.body = TOO_LARGE
        return taken

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        if self.chunked and "CONTENT_LENGTH" in self.headers:
            raise ParsingError("Both a length and pieces are announced")


class Strict(HTTPChannel):
    """A connection whose requests are held to the rules above."""

    parser_class = _Strict


class Patience:
    """Knows since when each unfinished request is being received.

    A connection on which one byte comes now and then never idles, and some hundred of them would
    take every place from the people of the house.
    """

    def __init__(self) -> None:
        self._since: WeakKeyDictionary[HTTPRequestParser, float] = WeakKeyDictionary()

    def is_worn_out(self, channel: HTTPChannel, now: float) -> bool:
        """Whether a connection has been sending one request for too long at time `now`, in s."""
        request = channel.request
        if request is None or channel.requests:
            return False
        seconds = now - self._since.setdefault(request, now)
        if seconds <= HEADER_SECONDS:
            return False
        return not request.headers_finished or request.body_bytes_received < SLOWEST_BODY * seconds
