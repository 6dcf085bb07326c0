"""How often somebody may ask: buckets that fill up again, waits that double; clocks passed in."""

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

Seconds = Callable[[], float]
"""A clock that only goes forwards, like `time.monotonic`."""

_MOST_KEPT = 4096


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

    def allows(self, who: str, cost: float = 1.0) -> bool:
        """Whether `who` may ask now; if so it is counted."""
        now = self._clock()
        level = self._levels.pop(who, None) or _Level(self._burst, now)
        filled = level.tokens + (now - level.at) * self._per_second
        level.tokens, level.at = min(self._burst, filled), now
        allowed = level.tokens >= cost
        if allowed:
            level.tokens -= cost
        _keep(self._levels, who, level)
        return allowed


@dataclass
class _Failures:
    count: int
    until: float


class Patience:
    """Guessing gets slower: after some failures in a row each makes the next wait twice as long.

    Parameters
    ----------
    free : int
        Failures that cost nothing: hands slip.
    first_s, longest_s : float
        The first wait, and the longest.
    clock : callable
    """

    def __init__(self, free: int, first_s: float, longest_s: float, clock: Seconds):
        self._free, self._first_s, self._longest_s = free, first_s, longest_s
        self._clock = clock
        self._failures: OrderedDict[str, _Failures] = OrderedDict()

    def wait_s(self, who: str) -> float:
        """How long `who` has to wait before the next try; 0 for not at all."""
        known = self._failures.get(who)
        return max(0.0, known.until - self._clock()) if known else 0.0

    def failed(self, who: str) -> None:
        """A wrong guess."""
        known = self._failures.pop(who, None) or _Failures(0, 0.0)
        known.count += 1
        beyond = known.count - self._free
        if beyond > 0:
            wait = min(self._longest_s, self._first_s * 2.0 ** min(beyond - 1, 30))
            known.until = self._clock() + wait
        _keep(self._failures, who, known)

    def succeeded(self, who: str) -> None:
        """A right one: all is forgotten."""
        self._failures.pop(who, None)


def _keep(kept: OrderedDict, who: str, value: object) -> None:
    kept[who] = value
    while len(kept) > _MOST_KEPT:  # a flood of addresses must not fill the memory
        kept.popitem(last=False)
