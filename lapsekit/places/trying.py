"""Trying again over a poor line, and sending in parts that fit its limits."""

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from lapsekit import settings
from lapsekit.errors import LapsekitError, TransferError

ATTEMPTS, FIRST_WAIT_S, WAIT_FACTOR = 4, 5.0, 4.0
"""A poor line is tried again after 5, 20 and 80 seconds."""

BATCH_FILES, BATCH_BYTES = 200, 20e6
"""Files and bytes sent between two updates of what is known to be there."""

T = TypeVar("T")


class Tries:
    """Calls something again, after longer and longer waits, where it failed on the way.

    Parameters
    ----------
    wait : callable
        Waits, told how many seconds.
    tell : callable
        Told in words of an attempt that failed.
    give_up : callable
        Makes the error to raise after the last, of that attempt's words.

    Attributes
    ----------
    failed : list of str
        Attempts that failed.
    """

    def __init__(
        self,
        wait: Callable[[float], None],
        tell: Callable[[str], None],
        give_up: Callable[[str], LapsekitError],
    ):
        self.failed: list[str] = []
        self._wait, self._tell, self._give_up = wait, tell, give_up

    def __call__(self, do: Callable[[], T]) -> T:
        """What `do` gives, at the first attempt that goes well."""
        pause = FIRST_WAIT_S
        for attempt in range(1, ATTEMPTS + 1):
            try:
                return do()
            except TransferError as error:
                self.failed.append(str(error))
                if attempt == ATTEMPTS:
                    raise self._give_up(f"{error} ({ATTEMPTS} attempts") from error
                self._tell(f"{error}; trying again in {pause:.0f} s")
                self._wait(pause)
                pause *= WAIT_FACTOR
        raise AssertionError("unreachable")


def most_bytes(model: settings.FarTable) -> float:
    """So much is sent in a quarter of the time limit by the bandwidth allowed."""
    if model.bandwidth_kb_s is None:
        return BATCH_BYTES
    return min(BATCH_BYTES, model.bandwidth_kb_s * 1000 * model.time_limit_s / 4)


def batches(
    names: Iterable[str], size: Callable[[str], int], most: float
) -> Iterator[tuple[str, ...]]:
    """Names in their order, as many at once as the limits allow, at least one.

    Parameters
    ----------
    names : iterable of str
    size : callable
        Bytes of a file.
    most : float
        Bytes to send at once.
    """
    batch, summed = [], 0
    for name in names:
        more = size(name)
        if batch and (len(batch) == BATCH_FILES or summed + more > most):
            yield tuple(batch)
            batch, summed = [], 0
        batch.append(name)
        summed += more
    if batch:
        yield tuple(batch)
