"""How often somebody may ask: buckets that fill up again, waits that double; clocks passed in."""

import ipaddress
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

Seconds = Callable[[], float]
"""A clock that only goes forwards, like `time.monotonic`."""

_MOST_KEPT = 4096


def whose(address: str) -> str:
    """Whom an address counts for: of IPv6 its network of 64 bits, which one machine has whole."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address[:64]
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))


@dataclass
class _Level:
    tokens: float
    at: float


class Rate:
    """So many requests at once, and so many a second in the long run, for each who asks.

    Parameters
    ----------
    burst : float
        How many may come at once.
    per_second : float
        How many come back each second.
    clock : callable
    """

    def __init__(self, burst: float, per_second: float, clock: Seconds):
        self._burst, self._per_second, self._clock = burst, per_second, clock
        self._levels: OrderedDict[str, _Level] = OrderedDict()
        self._lock = threading.Lock()  # pages are made on threads

    def allows(self, who: str, cost: float = 1.0) -> bool:
        """Whether `who` may ask now; if so it is counted."""
        with self._lock:
            level = self._filled(who)
            allowed = level.tokens >= cost
            if allowed:
                level.tokens -= cost
            return allowed

    def has(self, who: str, cost: float = 1.0) -> bool:
        """Whether `who` might ask now; nothing is counted."""
        with self._lock:
            return self._filled(who).tokens >= cost

    def _filled(self, who: str) -> _Level:
        now = self._clock()
        level = self._levels.pop(who, None) or _Level(self._burst, now)
        filled = level.tokens + (now - level.at) * self._per_second
        level.tokens, level.at = min(self._burst, filled), now
        _keep(self._levels, who, level)
        return level


@dataclass
class _Failures:
    count: int
    until: float
    last: float


class Patience:
    """Guessing gets slower: after some failures in a row each makes the next wait twice as long.

    Parameters
    ----------
    free : int
        Failures that cost nothing: hands slip.
    first_s, longest_s : float
        The first wait, and the longest.
    clock : callable
    forget_s : float
        After so long without a failure all is forgotten.
    """

    def __init__(
        self, free: int, first_s: float, longest_s: float, clock: Seconds, forget_s: float = 86_400
    ):
        self._free, self._first_s, self._longest_s = free, first_s, longest_s
        self._clock, self._forget_s = clock, forget_s
        self._failures: OrderedDict[str, _Failures] = OrderedDict()

    def wait_s(self, who: str) -> float:
        """How long `who` has to wait before the next try; 0 for not at all."""
        known = self._failures.get(who)
        return max(0.0, known.until - self._clock()) if known else 0.0

    def failed(self, who: str) -> None:
        """A wrong guess."""
        now = self._clock()
        known = self._failures.pop(who, None)
        if known is None or now - known.last > self._forget_s:
            known = _Failures(0, 0.0, now)
        known.count, known.last = known.count + 1, now
        beyond = known.count - self._free
        if beyond > 0:
            wait = min(self._longest_s, self._first_s * 2.0 ** min(beyond - 1, 30))
            known.until = now + wait
        _keep(self._failures, who, known)

    def succeeded(self, who: str) -> None:
        """A right one: all is forgotten."""
        self._failures.pop(who, None)


def _keep(kept: OrderedDict, who: str, value: object) -> None:
    kept[who] = value
    while len(kept) > _MOST_KEPT:  # a flood of addresses must not fill the memory
        kept.popitem(last=False)
