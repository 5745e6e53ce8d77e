"""The server under the dashboard: many connections at once, and nothing large from a reader nobody knows.

Connections that say nothing take no thread, only a descriptor each. The body of a request goes to a file
before the app sees it: how long it may be is decided by the ticket in the request's headers.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import Any, Final

from flask import Flask
from waitress import create_server
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser

from dashboard.security import LARGEST_REQUEST_BYTES

MAX_CONNECTIONS: Final = 2000
MAX_UNKNOWN_BODY_BYTES: Final = 16_384  # the login page sends some hundred bytes
THREADS: Final = 8
_IDLE_S: Final = 60
_LONGEST_ANSWER_BYTES: Final = 32 * 1024 * 1024


def make_wsgi_server(
    server: Flask, host: str, port: int, known: Callable[[str], bool] | None, cookie: str
) -> Any:
    """Return a server, bound but not yet running.

    Parameters
    ----------
    known : callable, optional
        Whether a ticket is a known reader's; without it everybody is known.
    cookie : str
        The cookie that holds the ticket.
    """
    serving = create_server(
        server,
        host=host,
        port=port,
        threads=THREADS,
        ident=None,
        max_request_body_size=LARGEST_REQUEST_BYTES,
        # An answer that waits for a slow reader stays in memory; past this it would go through a file.
        outbuf_overflow=_LONGEST_ANSWER_BYTES,
        connection_limit=MAX_CONNECTIONS,
        asyncore_use_poll=True,  # `select` takes no descriptor past 1023
        channel_timeout=_IDLE_S,
        cleanup_interval=10,
    )
    if known is not None:
        for one in serving.map.values() if hasattr(serving, "map") else [serving]:
            one.channel_class = _channel_for(known, cookie)
    return serving


def _channel_for(known: Callable[[str], bool], cookie: str) -> type[HTTPChannel]:
    class Parser(HTTPRequestParser):  # type: ignore[misc]
        """Bounds a body by who sends it, as soon as the headers are there."""

        def parse_header(self, header_plus: bytes) -> None:
            super().parse_header(header_plus)
            if not known(_value_of(self.headers.get("COOKIE", ""), cookie)):
                self.adj = copy.copy(self.adj)
                self.adj.max_request_body_size = MAX_UNKNOWN_BODY_BYTES

    class Channel(HTTPChannel):  # type: ignore[misc]
        parser_class = Parser

    return Channel


def _value_of(header: str, cookie: str) -> str:
    try:
        found = SimpleCookie(header).get(cookie)
    except CookieError:
        return ""
    return found.value if found is not None else ""
