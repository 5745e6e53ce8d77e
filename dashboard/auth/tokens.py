"""The cookie that a reader who said the passphrase shows: a signed number, with an end."""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

from itsdangerous import BadSignature, SignatureExpired, URLSafeTimedSerializer

from telemetry.core.paths import atomic_write, home_folder

LASTS_S: Final = 12 * 3600  # a day at the water


class TokenStore:
    """Gives tickets out, knows its own again, and ends them.

    A ticket that was ended stays ended over a restart: those that would still be valid are listed in a file
    beside the passphrase.

    Parameters
    ----------
    key : bytes
        Signs them.
    """

    def __init__(self, key: bytes) -> None:
        self._key = key
        how = {"digest_method": hashlib.sha256, "key_derivation": "hmac"}
        self._signer = URLSafeTimedSerializer(key, salt="reciprocal-ticket", signer_kwargs=how)
        self._lock = threading.Lock()
        self._ended: dict[str, float] = {}
        with suppress(OSError, ValueError, AttributeError):
            told = json.loads(_file().read_text(encoding="utf-8"))
            self._ended = {str(reader): float(until) for reader, until in told.items()}

    def give(self) -> str:
        """Return a new reader's ticket."""
        return str(self._signer.dumps(secrets.token_urlsafe(18)))

    def reader(self, ticket: str) -> str:
        """Return whose ticket it is.

        Raises
        ------
        PermissionError
            If it was not given out here, has ended, or is too old; the message says which.
        """
        try:
            reader = self._signer.loads(ticket, max_age=LASTS_S)
        except SignatureExpired:
            raise PermissionError("expired") from None
        except BadSignature:
            raise PermissionError("foreign") from None
        if not isinstance(reader, str) or reader in self._ended:
            raise PermissionError("expired")
        return reader

    def token(self, reader: str) -> str:
        """Return what the reader's own pages say with each change, and no other site's page can know."""
        return hmac.new(self._key, f"reciprocal-token {reader}".encode(), hashlib.sha256).hexdigest()

    def is_token(self, token: str, reader: str) -> bool:
        """Tell whether a token is this reader's."""
        return hmac.compare_digest(token.encode(errors="replace"), self.token(reader).encode())

    def end(self, reader: str) -> None:
        """Make a reader's ticket worthless from now on."""
        with self._lock:
            now_s = time.time()
            self._ended = {one: until for one, until in self._ended.items() if until > now_s}
            self._ended[reader] = now_s + LASTS_S
            # Without a place to write, it is forgotten with this run of the program at worst.
            with suppress(OSError), atomic_write(_file(), private=True) as stream:
                stream.write(json.dumps(self._ended).encode())


def _file() -> Path:
    return home_folder() / "ended_tickets.json"
