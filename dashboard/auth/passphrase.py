"""The passphrase at rest: a salted scrypt hash and the key that signs cookies, readable by the user alone."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import unicodedata
from base64 import b64decode, b64encode
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from telemetry.core.errors import CallError, SavedColumnsError
from telemetry.core.paths import atomic_write, home_folder

SHORTEST: Final = 12
LONGEST: Final = 200

_SALT_BYTES: Final = 16
_HASH_BYTES: Final = 32
_KEY_BYTES: Final = 32


@dataclass(frozen=True, slots=True)
class Cost:
    """What one guess costs: scrypt's own parameters (RFC 7914, 2).

    Notes
    -----
    The default is one of the equal choices of OWASP's Password Storage Cheat Sheet (from memory: N = 2^15,
    r = 8, p = 3): 32 MiB and about a third of a second on a laptop.
    """

    n: int = 2**15
    r: int = 8
    p: int = 3

    def __post_init__(self) -> None:
        """Refuse what a damaged file could make of it: no memory, or all of it."""
        power_of_two = 2 <= self.n <= 2**17 and self.n & (self.n - 1) == 0
        if not (power_of_two and 1 <= self.r <= 16 and 1 <= self.p <= 16):
            raise ValueError("scrypt's parameters make no sense")

    def digest(self, passphrase: bytes, salt: bytes, length: int) -> bytes:
        """Return the hash."""
        room = 256 * self.r * (self.n + self.p)
        return hashlib.scrypt(passphrase, salt=salt, n=self.n, r=self.r, p=self.p, dklen=length, maxmem=room)


@dataclass(frozen=True, slots=True)
class Passphrase:
    """What is kept of a passphrase.

    Attributes
    ----------
    salt, hashed : bytes
        Its scrypt hash with a salt of its own.
    key : bytes
        Signs cookies; a new passphrase brings a new key, so that old cookies end with it.
    cost : Cost
    """

    salt: bytes
    hashed: bytes
    key: bytes
    cost: Cost

    @classmethod
    def of(cls, text: str, cost: Cost | None = None) -> Passphrase:
        """Make what is kept of a new passphrase.

        Raises
        ------
        CallError
            If it is too short, or too long to be meant.
        """
        if len(_normal(text).strip()) < SHORTEST:
            raise CallError(
                f"the passphrase has fewer than {SHORTEST} characters", hint="take four words, or more"
            )
        if len(text) > LONGEST:
            raise CallError(f"the passphrase has more than {LONGEST} characters", hint="take a shorter one")
        cost = cost or Cost()
        salt = secrets.token_bytes(_SALT_BYTES)
        hashed = cost.digest(_normal(text).encode(), salt, _HASH_BYTES)
        return cls(salt, hashed, secrets.token_bytes(_KEY_BYTES), cost)

    def is_said(self, text: str) -> bool:
        """Tell whether a text is the passphrase; takes as long whatever it is."""
        said = self.cost.digest(_normal(text[:LONGEST]).encode(errors="replace"), self.salt, len(self.hashed))
        return hmac.compare_digest(said, self.hashed) and len(text) <= LONGEST

    def keep(self) -> None:
        """Write it into the user's folder, readable by the user alone.

        Raises
        ------
        SavedColumnsError
            If it cannot be written.
        """
        told = {
            "schema": "reciprocal-passphrase/1",
            "scrypt": {"n": self.cost.n, "r": self.cost.r, "p": self.cost.p},
            "salt": b64encode(self.salt).decode(),
            "hash": b64encode(self.hashed).decode(),
            "key": b64encode(self.key).decode(),
        }
        try:
            with atomic_write(file(), private=True) as stream:
                stream.write(json.dumps(told, indent=2).encode() + b"\n")
        except OSError as error:
            raise SavedColumnsError(
                f"the passphrase cannot be kept: {error.strerror or error}",
                file=str(file()),
                hint="check the folder, or set RECIPROCAL_HOME to one that may be written",
            ) from None

    @classmethod
    def kept(cls) -> Passphrase | None:
        """Read what is kept; None where nothing is.

        Raises
        ------
        SavedColumnsError
            If the file is damaged, cannot be read, or can be read by others.
        """
        try:
            if os.name == "posix" and file().stat().st_mode & 0o077:
                raise SavedColumnsError(
                    "the kept passphrase may be read by others",
                    file=str(file()),
                    hint="choose another one with --new-passphrase",
                )
            told: dict[str, Any] = json.loads(file().read_text(encoding="utf-8"))
            salt, hashed, key = (b64decode(told[name], validate=True) for name in ("salt", "hash", "key"))
            if len(salt) < _SALT_BYTES or len(hashed) < _HASH_BYTES or len(key) < _KEY_BYTES:
                raise ValueError("it is cut")
            return cls(salt, hashed, key, Cost(**told["scrypt"]))
        except FileNotFoundError:
            return None
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise SavedColumnsError(
                f"the kept passphrase cannot be read ({type(error).__name__})",
                file=str(file()),
                hint="choose another one with --new-passphrase",
            ) from None


def file() -> Path:
    """Find the file of the passphrase; it may not be there yet."""
    return home_folder() / "passphrase.json"


def _normal(text: str) -> str:
    """Write a text as the same code points whatever keyboard typed it."""
    return unicodedata.normalize("NFKC", text)
