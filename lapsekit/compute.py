"""Where work runs: in this process, or on its threads.

The heavy parts of ours (OpenCV, numpy) let other threads run while they work, so threads use
both cores without a second copy of the libraries in memory, and nothing is left running when
the process is killed.
"""

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def spread(
    function: Callable[[Item], Result], items: Iterable[Item], workers: int | None = None
) -> Iterator[Result]:
    """Results of `function` for each item, in the order of the items.

    At most two items a worker are under way, so that memory does not grow with their number.

    Parameters
    ----------
    function : callable
        Called with one item.
    items : iterable
        What to work on.
    workers : int, optional
        How many run at once; all cores by default, 1 for none beside this thread.

    Yields
    ------
    object
        One result an item.
    """
    workers = workers or os.cpu_count() or 1
    if workers == 1:
        yield from map(function, items)
        return
    with ThreadPoolExecutor(workers) as pool:
        under_way: deque = deque()
        try:
            for item in items:
                under_way.append(pool.submit(function, item))
                if len(under_way) >= 2 * workers:
                    yield under_way.popleft().result()
            while under_way:
                yield under_way.popleft().result()
        finally:
            for future in under_way:
                future.cancel()
