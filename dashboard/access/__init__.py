"""Who may use a dashboard that listens on the local network: a passphrase, a signed cookie, a slow door.

Plain HTTP: whoever can listen on the network can read along, the passphrase included. It keeps people apart
on a network that is trusted, and is no help on one that is not.
"""

from dashboard.access.addresses import greeting
from dashboard.access.asking import settled_passphrase
from dashboard.access.attempts import Attempts
from dashboard.access.door import Door, reader_of_request
from dashboard.access.passphrase import Passphrase
from dashboard.access.tickets import Tickets

__all__ = [
    "Attempts",
    "Door",
    "Passphrase",
    "Tickets",
    "greeting",
    "reader_of_request",
    "settled_passphrase",
]
