"""Who may use a dashboard that listens on the local network: a passphrase, a signed cookie, a slow door.

Plain HTTP: whoever can listen on the network can read along, the passphrase included. It keeps people apart
on a network that is trusted, and is no help on one that is not.
"""

from dashboard.auth.lan_addresses import greeting
from dashboard.auth.middleware import Door, reader_of_request
from dashboard.auth.passphrase import Passphrase
from dashboard.auth.passphrase_source import settled_passphrase
from dashboard.auth.rate_limit import Attempts
from dashboard.auth.tokens import Tickets

__all__ = [
    "Attempts",
    "Door",
    "Passphrase",
    "Tickets",
    "greeting",
    "reader_of_request",
    "settled_passphrase",
]
