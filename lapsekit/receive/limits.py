"""How much is taken: pictures a day, sendings at once, guesses of codes."""

import asyncio
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from lapsekit.web.limits import Patience, Rate, Seconds

_DAY_S = 86_400.0
AT_ONCE, AT_ONCE_OF_ONE = 8, 4


class Allowance:
    """Pictures that may still come today, of one address and in all.

    Parameters
    ----------
    a_day, a_day_each : int
    clock : callable
    """

    def __init__(self, a_day: int, a_day_each: int, clock: Seconds):
        self._all = Rate(a_day, a_day / _DAY_S, clock)
        self._each = Rate(a_day_each, a_day_each / _DAY_S, clock)

    def takes(self, who: str, pictures: int) -> bool:
        """Whether so many more may come now; if so they are counted."""
        if not self._each.allows(who, pictures):
            return False
        return self._all.allows("", pictures)


class Slots:
    """Sendings that are read at once; others wait, and their bodies with them."""

    def __init__(self) -> None:
        self._all = asyncio.Semaphore(AT_ONCE)
        self._each: dict[str, asyncio.Semaphore] = {}
        self._asking: Counter[str] = Counter()

    @asynccontextmanager
    async def one(self, who: str) -> AsyncIterator[None]:
        """Hold one while a sending of an address is read."""
        own = self._each.setdefault(who, asyncio.Semaphore(AT_ONCE_OF_ONE))
        self._asking[who] += 1
        try:
            async with own, self._all:
                yield
        finally:
            self._asking[who] -= 1
            if not self._asking[who]:
                del self._asking[who], self._each[who]


class Guesses:
    """Who may try a take-down code.

    Sixteen letters are not guessed; but each try costs this machine some work.

    Parameters
    ----------
    clock : callable
    """

    def __init__(self, clock: Seconds):
        self._each = Patience(free=6, first_s=2, longest_s=3600, clock=clock)
        self._all = Rate(burst=60, per_second=1, clock=clock)

    def wait_s(self, who: str) -> float:
        """How long an address has to wait; 0 if it may try now, which is counted then."""
        wait = self._each.wait_s(who)
        return wait if wait > 0 or self._all.allows("") else 10.0

    def ended(self, who: str, was_right: bool) -> None:
        """How a try ended."""
        if was_right:
            self._each.succeeded(who)
        else:
            self._each.failed(who)
