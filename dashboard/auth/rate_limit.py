"""Guessing made slow: after a few wrong passphrases each further one has to wait, longer every time."""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

_MAX_ADDRESSES: Final = 1000


@dataclass(frozen=True, slots=True)
class Backoff:
    """How waiting grows.

    Attributes
    ----------
    free : int
        How many wrong tries cost nothing.
    first_s, longest_s : float
        The wait after the next one, which doubles with each up to the longest [s].
    forgotten_s : float
        After so long without a wrong try all is forgotten [s].
    """

    free: int
    first_s: float
    longest_s: float
    forgotten_s: float = 3600.0

    def wait_s(self, wrong: int) -> float:
        """Return the wait after so many wrong tries [s].

        Examples
        --------
        >>> [Backoff(3, 2.0, 900.0).wait_s(wrong) for wrong in (2, 3, 4, 5, 60)]
        [0.0, 2.0, 4.0, 8.0, 900.0]
        """
        if wrong < self.free:
            return 0.0
        return float(min(self.longest_s, self.first_s * 2.0 ** min(wrong - self.free, 60)))


# One address is a person who mistypes or somebody guessing; all together are somebody with many addresses,
# who must not be able to lock everybody out for long either. Our own choice, no source.
_EACH: Final = Backoff(free=3, first_s=2.0, longest_s=900.0)
_ALL: Final = Backoff(free=20, first_s=1.0, longest_s=30.0)


@dataclass(slots=True)
class _Wrong:
    count: int = 0
    last_s: float = 0.0


class RateLimiter:
    """The wrong tries of late, by address and in all.

    Parameters
    ----------
    clock : callable
        Seconds that only grow; tests pass their own.
    each, together : Backoff
        For one address, and for all.
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, each: Backoff = _EACH, together: Backoff = _ALL
    ) -> None:
        self._clock = clock
        self._each = each
        self._together = together
        self._lock = threading.Lock()
        self._addresses: OrderedDict[str, _Wrong] = OrderedDict()
        self._all = _Wrong()

    def begin(self, address: str) -> float:
        """Ask for a try: 0 grants it and counts it as wrong until :meth:`right`, else how long to wait [s].

        A try is counted before its passphrase is looked at, so that many at once are no way round it.
        """
        with self._lock:
            now_s = self._clock()
            mine = self._of(_network(address))
            waits = ((mine, self._each), (self._all, self._together))
            left_s = max(self._left_s(wrong, pace, now_s) for wrong, pace in waits)
            if left_s > 0.0:
                return left_s
            for wrong in (mine, self._all):
                wrong.count += 1
                wrong.last_s = now_s
            return 0.0

    def right(self, address: str) -> None:
        """Forget an address's wrong tries: its last was right."""
        with self._lock:
            mine = self._addresses.pop(_network(address), _Wrong())
            self._all.count = max(0, self._all.count - mine.count)

    def _of(self, network: str) -> _Wrong:
        mine = self._addresses.setdefault(network, _Wrong())
        self._addresses.move_to_end(network)
        while len(self._addresses) > _MAX_ADDRESSES:
            self._addresses.popitem(last=False)
        return mine

    @staticmethod
    def _left_s(wrong: _Wrong, pace: Backoff, now_s: float) -> float:
        since_s = now_s - wrong.last_s
        if wrong.count and since_s > pace.forgotten_s:
            wrong.count = 0
        return max(0.0, pace.wait_s(wrong.count) - since_s)


def _network(address: str) -> str:
    """Take an IPv6 address by its /64, whose 2^64 addresses one device may take in turn."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    return str(ipaddress.ip_network((parsed, 64), strict=False)) if parsed.version == 6 else address
