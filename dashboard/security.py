"""What every answer of the server carries, and what it refuses to hear."""

from __future__ import annotations

import ipaddress
import os
import socket
from collections.abc import Callable, Iterable, Mapping
from pathlib import PurePath
from typing import Any, Final

from flask import Flask, Response, abort, has_request_context, request
from werkzeug.exceptions import HTTPException

from dashboard.ui.links import BACKUP, EXPORT
from telemetry.core.errors import ReciprocalError

LARGEST_REQUEST_BYTES: Final = 96_000_000  # 64 MB of logs, which base64 makes a third longer, and some room
_LOOPBACK: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})
_LOOPBACK_ADDRESSES: Final = frozenset({"127.0.0.1", "::1"})
_OWN_SITES: Final = frozenset({"same-origin", "none"})
DOWNLOADS: Final = frozenset({BACKUP, EXPORT})
_COMPONENTS: Final = "/_dash-component-suites/"
_UPDATE: Final = "/_dash-update-component"
_SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})


def content_policy(script_hashes: Iterable[str]) -> str:
    """Write the content security policy: everything from this server, no inline script but the hashed ones.

    Mantine and plotly write style elements of their own while they run, so inline style stays allowed; plotly
    shows its pictures as data and blob addresses.
    """
    return "; ".join(
        [
            "default-src 'self'",
            f"script-src 'self' {' '.join(script_hashes)}",
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self'",
            "connect-src 'self'",
            "object-src 'none'",
            "base-uri 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        ]
    )


def at_this_machine() -> bool:
    """Check whether the reader of this request sits at the serving machine: only they see its paths."""
    return request.remote_addr in _LOOPBACK_ADDRESSES and _is_loopback(request.host)


def error_shown(error: ReciprocalError) -> str:
    """Return an error's sentence; a reader elsewhere learns no folder of this host."""
    text = str(error)
    if not has_request_context() or at_this_machine() or not error.file:
        return text
    if "://" in error.file:
        return text.replace(error.file, "the logbook")
    folder = str(PurePath(error.file).parent)
    return (
        text if folder in (".", "/") else text.replace(f"{folder}{os.sep}", "").replace(folder, "the folder")
    )


def protect(server: Flask, script_hashes: Callable[[], Iterable[str]], *, loopback: bool) -> None:
    """Give a server its limits, its headers and its ear for forged requests.

    Parameters
    ----------
    server : Flask
        Changed in place.
    script_hashes : callable
        Returns the hashes of the inline scripts that may run; asked at every answer, since Dash adds the
        pages' own script at the first request.
    loopback : bool
        Whether only this machine is served. A host name that is not this machine's means that some other
        site's name was pointed at it, and the request is refused.
    """
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST_BYTES

    @server.before_request
    def refuse_foreign() -> None:
        if not (_is_loopback(request.host) or (not loopback and _is_own(request.host))):
            abort(403, "This server answers only under the name of this machine.")
        if request.method in _SAFE_METHODS:
            # A download costs the server a whole file; a link on another site must not start one.
            if request.path in DOWNLOADS and request.headers.get("Sec-Fetch-Site", "none") not in _OWN_SITES:
                abort(403, "Another site asked for this.")
            return
        # Older browsers send no Sec-Fetch-Site, and none does over plain HTTP beyond loopback.
        foreign = request.headers.get("Sec-Fetch-Site", "none") not in _OWN_SITES
        origin = request.headers.get("Origin")
        if foreign or (origin is not None and origin != f"{request.scheme}://{request.host}"):
            abort(403, "Another site asked for this.")

    @server.after_request
    def add_headers(response: Response) -> Response:
        # A page of its own, such as a statement, comes with a stricter policy.
        response.headers.setdefault("Content-Security-Policy", content_policy(script_hashes()))
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        # Under `no-referrer` a browser says of no form where it comes from.
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        if _is_loopback(request.host):  # elsewhere plain HTTP is not trusted with it, and browsers complain
            response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        return response

    @server.errorhandler(Exception)
    def fail(error: Exception) -> Exception | tuple[str, int]:
        if isinstance(error, HTTPException):
            return error
        if request.path.startswith(_COMPONENTS):  # Dash raises of a package or file that it does not have
            return "There is no such file.", 404
        raise error

    @server.errorhandler(413)
    def too_large(_error: Exception) -> tuple[str, int]:
        return f"More than {LARGEST_REQUEST_BYTES // 1_000_000} MB at once. Drop fewer files at a time.", 413


def refuse_malformed(server: Flask, callbacks: Mapping[str, Any]) -> None:
    """Refuse calls that no page of this app makes, once the reader is known.

    Parameters
    ----------
    server : Flask
        Changed in place.
    callbacks : mapping of str to dict
        Dash's own, by the key of their outputs; it may still be filled.
    """

    @server.before_request
    def refuse() -> None:
        if request.path == _UPDATE and request.method == "POST":
            body = request.get_json(silent=True)
            if not _is_call(body, callbacks):
                abort(400, "This page does not ask so.")


def _is_call(body: Any, callbacks: Mapping[str, Any]) -> bool:
    """Check whether a body calls a callback that there is, with as many inputs and states as it takes."""
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    spec = callbacks.get(body["output"])
    if spec is None or not isinstance(body.get("outputs"), dict | list):
        return False
    changed = body.get("changedPropIds", [])
    if not isinstance(changed, list) or not all(isinstance(one, str) for one in changed):
        return False
    return all(_fits(body.get(part, []), spec[part]) for part in ("inputs", "state"))


def _fits(sent: Any, taken: list[Any]) -> bool:
    if not isinstance(sent, list) or len(sent) != len(taken):
        return False
    return all(
        isinstance(part, dict) and isinstance(part.get("property"), str) and "id" in part
        for one in sent
        for part in (one if isinstance(one, list) else [one])
    )


def _without_port(host: str) -> str:
    name, colon, port = host.rpartition(":")
    return name if colon and port.isdecimal() else host


def _is_loopback(host: str) -> bool:
    return _without_port(host) in _LOOPBACK


def _is_own(host: str) -> bool:
    """Tell whether a host is an address, which no name server can point here, or this machine's own name."""
    name = _without_port(host).lower()
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        own = socket.gethostname().lower()
        return name in {own, f"{own.partition('.')[0]}.local"}
    return True
