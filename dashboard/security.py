"""What every answer of the server carries, and what it refuses to hear."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from flask import Flask, Response, abort, request

LARGEST_REQUEST_BYTES: Final = 96_000_000  # 64 MB of logs, which base64 makes a third longer, and some room
_LOOPBACK: Final = frozenset({"127.0.0.1", "localhost", "[::1]"})


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
        Whether only this machine is served: then a foreign host name means that some other site's name was
        pointed at this machine, and the request is refused.
    """
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_REQUEST_BYTES

    @server.before_request
    def refuse_foreign() -> None:
        if loopback and request.host.rpartition(":")[0] not in _LOOPBACK and request.host not in _LOOPBACK:
            abort(403, "This server answers only under the name of this machine.")
        if request.method != "GET" and request.headers.get("Sec-Fetch-Site", "none") not in {
            "same-origin",
            "none",
        }:
            abort(403, "Another site asked for this.")

    @server.after_request
    def add_headers(response: Response) -> Response:
        # A page of its own, such as a statement, comes with a stricter policy.
        response.headers.setdefault("Content-Security-Policy", content_policy(script_hashes()))
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Frame-Options"] = "DENY"
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return response

    @server.errorhandler(413)
    def too_large(_error: Exception) -> tuple[str, int]:
        return f"More than {LARGEST_REQUEST_BYTES // 1_000_000} MB at once. Drop fewer files at a time.", 413
