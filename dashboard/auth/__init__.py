"""Who may use a dashboard that listens on the local network: a passphrase, a signed cookie, a slow door.

Plain HTTP: whoever can listen on the network can read along, the passphrase included. It keeps people apart
on a network that is trusted, and is no help on one that is not.
"""

from dashboard.auth.lan_addresses import greeting
from dashboard.auth.middleware import AuthMiddleware, reader_of_request
from dashboard.auth.passphrase import Passphrase
from dashboard.auth.passphrase_source import settled_passphrase
from dashboard.auth.rate_limit import RateLimiter
from dashboard.auth.tokens import TokenStore

__all__ = [
    "AuthMiddleware",
    "Passphrase",
    "RateLimiter",
    "TokenStore",
    "greeting",
    "reader_of_request",
    "settled_passphrase",
]
