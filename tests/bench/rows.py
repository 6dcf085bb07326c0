"""What every benchmark tells the table: one row a stage.

A module of `tests.bench` with a function ``rows(quick: bool) -> Iterator[Row]`` is found by
``python -m tests.bench`` and run in a process of its own; `quick` asks for a small smoke of it, a
few seconds. One that needs more than the checkout says so in a constant ``NEEDS`` (a string) and is
left out, with that as the reason, unless it is asked for by name. `main` stays each module's own.

    python -m tests.bench.rows MODULE [--quick]     # one module's rows as lines of JSON
"""

import importlib
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Protocol


@dataclass(frozen=True)
class Row:
    """One line of the table.

    Attributes
    ----------
    stage : str
        What was run, with how much of it: "measuring, 12 megapixels".
    beside : str
        What it is compared with in the same run: "decoding in full".
    ratio : float or None
        How many times as much time it took.
    at_most : float or None
        The bar of the ratio.
    memory_mb : float or None
        Most memory held by the process that did it (VmHWM), in MB of a million bytes.
    memory_at_most_mb : float or None
        The bound of that.
    tenfold : float or None
        How many times the time that ten times the work takes: 10 grows in proportion, 1 not at all.
    told : str
        Anything else worth a few words: "2.1 s of processor".
    failed : bool
        Whether it could not be done at all, and `told` says why.
    """

    stage: str
    beside: str = ""
    ratio: float | None = None
    at_most: float | None = None
    memory_mb: float | None = None
    memory_at_most_mb: float | None = None
    tenfold: float | None = None
    told: str = ""
    failed: bool = False

    @property
    def is_kept(self) -> bool:
        """Whether no bar is crossed; without a bar there is none to cross."""
        pairs = ((self.ratio, self.at_most), (self.memory_mb, self.memory_at_most_mb))
        return not self.failed and all(None in pair or pair[0] <= pair[1] for pair in pairs)


class Benchmark(Protocol):
    """A module that tells rows."""

    def rows(self, quick: bool) -> Iterator[Row]:
        """Its rows, each as soon as it is known."""


def tenfold(one: float, other: float, times: float) -> float:
    """What ten times the work would take, if `times` as much took `other` instead of `one`.

    By the power law through both; for ten times the work measured, it is what was measured.
    """
    from math import log

    return 10 ** (log(other / one) / log(times))


def main() -> None:
    """Print one module's rows as they come."""
    module: Benchmark = importlib.import_module(f"tests.bench.{sys.argv[1]}")
    for row in module.rows("--quick" in sys.argv[2:]):
        print(json.dumps(asdict(row)), flush=True)


if __name__ == "__main__":
    main()
