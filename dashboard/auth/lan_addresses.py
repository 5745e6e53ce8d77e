"""Where a dashboard on the local network is found: as text, and as a QR code for a phone."""

from __future__ import annotations

import io
import ipaddress
import socket
from typing import Final

import ifaddr
import segno

# Nothing is sent to it: a UDP socket that is connected only asks the routing table. TEST-NET-1, RFC 5737.
_SOMEWHERE: Final = ("192.0.2.1", 9)


def own_addresses() -> list[str]:
    """List this machine's IPv4 addresses on its networks, the one towards the network's exit first."""
    found = []
    for adapter in ifaddr.get_adapters():
        for one in adapter.ips:
            if one.is_IPv4 and not ipaddress.ip_address(one.ip).is_loopback:
                found.append(str(one.ip))
    # One that the machine gave itself, since nobody answered, is the least likely to be reached.
    found.sort(key=lambda ip: (ip != _towards_the_exit(), ipaddress.ip_address(ip).is_link_local))
    return list(dict.fromkeys(found))


def _towards_the_exit() -> str | None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_SOMEWHERE)
            return str(asking.getsockname()[0])
        except OSError:  # no way out, as on a hotspot of one's own
            return None


def url(host: str, port: int) -> str:
    """Write the address for a browser.

    Examples
    --------
    >>> url("fd00::2", 8050)
    'http://[fd00::2]:8050'
    """
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"


def greeting(host: str, port: int, *, picture: bool) -> str:
    """Write what is printed when a dashboard begins to listen on the local network.

    Parameters
    ----------
    host : str
        Where it listens; ``0.0.0.0`` is every address of this machine.
    port : int
    picture : bool
        Whether to draw the first address as a QR code, which needs a terminal to look at.
    """
    addresses = own_addresses() if host in {"0.0.0.0", "::"} else [host]
    urls = [url(one, port) for one in addresses or ["127.0.0.1"]]
    lines = [f"Reciprocal is at {' or '.join(urls)} - stop it with Ctrl+C"]
    if not addresses:
        lines.append("This machine is on no network now; join one, or open a hotspot, and start again.")
    if picture:
        drawn = io.StringIO()
        segno.make(urls[0], error="m", micro=False).terminal(drawn, border=2, compact=True)
        lines += ["", drawn.getvalue().rstrip("\n"), ""]
    lines.append(
        "It asks for the passphrase. Plain HTTP: whoever else is on this network can read along. Use it on a "
        "network that you trust, and nowhere else."
    )
    return "\n".join(lines)
