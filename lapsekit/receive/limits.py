"""How much is taken: pictures a day, sendings at once, guesses of codes."""

import asyncio
import threading
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
        self._one_by_one = threading.Lock()  # both are asked before either is charged

    def takes(self, who: str, pictures: int) -> bool:
        """Whether so many more may come now; if so they are counted."""
        with self._one_by_one:
            if not (self._each.has(who, pictures) and self._all.has("", pictures)):
                return False
            return self._each.allows(who, pictures) and self._all.allows("", pictures)


class Slots:
    """Sendings that are read and worked on at once; others wait.

    Whoever sends slowly holds up their own address alone: what is common to all is held while this
    machine works, and never while it waits for a body.
    """

    def __init__(self) -> None:
        self._all = asyncio.Semaphore(AT_ONCE)
        self._each: dict[str, asyncio.Semaphore] = {}
        self._asking: Counter[str] = Counter()

    @asynccontextmanager
    async def one(self, who: str) -> AsyncIterator[None]:
        """Hold one of an address while a sending is read, and until it is answered."""
        own = self._each.setdefault(who, asyncio.Semaphore(AT_ONCE_OF_ONE))
        self._asking[who] += 1
        try:
            async with own:
                yield
        finally:
            self._asking[who] -= 1
            if not self._asking[who]:
                del self._asking[who], self._each[who]

    @asynccontextmanager
    async def work(self) -> AsyncIterator[None]:
        """Hold one of all while a sending that was read is worked on."""
        async with self._all:
            yield


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
