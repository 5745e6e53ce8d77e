"""The door of a dashboard on the local network: nobody in without a ticket, no change without its token."""

from __future__ import annotations

import math
import threading
from typing import Final
from urllib.parse import quote

from flask import Flask, Response, g, has_request_context, make_response, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from dashboard.auth.login_page import BECAUSE, login_page
from dashboard.auth.passphrase import Passphrase
from dashboard.auth.rate_limit import RateLimiter
from dashboard.auth.tokens import LASTS_S, TokenStore

COOKIE: Final = "reciprocal-reader"
TOKEN_COOKIE: Final = "_csrf_token"  # Dash's own name: its pages send it back as the header below
TOKEN_HEADER: Final = "X-CSRFToken"
_SAFE: Final = frozenset({"GET", "HEAD", "OPTIONS"})
_ASSETS: Final = "_dash_assets.static"  # read only; what the page before all others is made of
_LARGEST_LOGIN_BYTES: Final = 8_000


def reader_of_request() -> str:
    """Name the reader whose request is being answered, as the door found it."""
    return str(g.reader)


class AuthMiddleware:
    """Asks for the passphrase once, and for the ticket ever after.

    Parameters
    ----------
    passphrase : Passphrase
    attempts : RateLimiter, optional
        Tests pass their own.
    """

    def __init__(self, passphrase: Passphrase, attempts: RateLimiter | None = None) -> None:
        self._passphrase = passphrase
        self._tickets = TokenStore(passphrase.key)
        self._attempts = attempts or RateLimiter()
        # One guess at a time: each takes as much memory as its cost says.
        self._one_guess = threading.Lock()

    def hang(self, server: Flask) -> None:
        """Put the door before everything that a server answers."""
        server.before_request(self._admit)
        server.add_url_rule("/login", "login", self._ask, methods=["GET"])
        server.add_url_rule("/login", "log-in", self._log_in, methods=["POST"])
        server.add_url_rule("/logout", "log-out", self._log_out, methods=["POST"])

    def token(self) -> str:
        """Return the token for a form on a page for the reader of this request."""
        # Dash builds the page for nobody too, to look at its parts: at its start and before its first answer.
        reader = g.get("reader", "") if has_request_context() else ""
        return self._tickets.token(reader) if reader else ""

    def _admit(self) -> AnyResponse | None:
        if request.endpoint == _ASSETS:
            return None
        ticket = request.cookies.get(COOKIE)
        why = ""
        try:
            g.reader = self._tickets.reader(ticket) if ticket else ""
        except PermissionError as refused:
            g.reader, why = "", str(refused)
        if request.path == "/login":
            return None
        if not g.reader:
            return _turned_away(why)
        if request.method not in _SAFE:
            token = request.headers.get(TOKEN_HEADER) or request.form.get("token", "")
            if not self._tickets.is_token(token, g.reader):
                return _plain("This change did not come from a page of yours. Load the page again.", 403)
        return None

    def _ask(self) -> AnyResponse:
        after = _inside(request.args.get("next", "/"))
        if g.reader:
            return redirect(after, 303)
        because = request.args.get("because", "")
        return _page(login_page(after, BECAUSE.get(because, "")), 200)

    def _log_in(self) -> AnyResponse:
        request.max_content_length = _LARGEST_LOGIN_BYTES
        after = _inside(request.form.get("next", "/"))
        address = request.remote_addr or ""
        with self._one_guess:
            wait_s = self._attempts.begin(address)
            if wait_s > 0.0:
                answer = _page(login_page(after, _wait_text(wait_s), wrong=True), 429)
                answer.headers["Retry-After"] = str(math.ceil(wait_s))
                return answer
            if not self._passphrase.is_said(request.form.get("passphrase", "")):
                return _page(login_page(after, "That is not the passphrase.", wrong=True), 403)
            self._attempts.right(address)
        ticket = self._tickets.give()
        in_ = redirect(after, 303)
        in_.set_cookie(COOKIE, ticket, max_age=LASTS_S, httponly=True, samesite="Strict")
        token = self._tickets.token(self._tickets.reader(ticket))
        # A page's script has to read this one; by itself it opens nothing.
        in_.set_cookie(TOKEN_COOKIE, token, max_age=LASTS_S, samesite="Strict")
        return in_

    def _log_out(self) -> AnyResponse:
        self._tickets.end(g.reader)
        return _without_cookies(redirect("/login?because=left", 303))


def _turned_away(why: str) -> AnyResponse:
    """Send a person to the login page; tell a page's script, or a program, in a sentence."""
    said = BECAUSE.get(why, "Log in first.")
    if request.method == "GET" and not request.path.startswith("/_"):
        query = f"next={quote(request.full_path.rstrip('?'), safe='')}" + (f"&because={why}" if why else "")
        return _without_cookies(redirect(f"/login?{query}", 303))
    return _without_cookies(_plain(said, 401))


def _without_cookies(answer: AnyResponse) -> AnyResponse:
    for name in (COOKIE, TOKEN_COOKIE):
        answer.delete_cookie(name, samesite="Strict")
    return answer


def _page(text: str, status: int) -> Response:
    answer = make_response(text, status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _plain(text: str, status: int) -> Response:
    answer = _page(text, status)
    answer.mimetype = "text/plain"
    return answer


def _inside(path: str) -> str:
    """Return a path of this server, whatever somebody wrote into an address."""
    inside = path.startswith("/") and not path.startswith("//") and "\\" not in path
    return path if inside and path.isprintable() else "/"


def _wait_text(wait_s: float) -> str:
    seconds = math.ceil(wait_s)
    left = f"{seconds} s" if seconds < 120 else f"{math.ceil(seconds / 60)} minutes"
    return f"Too many wrong tries. Wait {left}, then try again."
