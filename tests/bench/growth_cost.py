"""What working out a season's growth costs as the season gets longer: processor time.

    python -m tests.bench.growth_cost [--days 30 60 120 240 365] [--regions 8] [--json]

A made-up season grows day by day, with daily values alone; at each age `work_out` runs on it anew,
as it does every morning. Each figure is the least of `--times` runs, and ratios are within one run
of this program, so that others on the machine do not count.
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from lapsekit.reporting import work_out
from lapsekit.season import Season
from tests.bench.rows import Row, tenfold
from tests.site.made_season import Kind, add_values, empty

DAYS = (30, 60, 120, 240, 365)
MOST_S = 4.0
"""Processor time that the longest season may take."""

MOST_TIMES_THE_DAYS = 1.5
"""By how much the cost may grow faster than the days, from the shortest season to the longest."""


def costs(folder: Path, days: Sequence[int], regions: int, times: int = 3) -> dict[int, float]:
    """Processor seconds of `work_out` at each age in days, rising."""
    kind = Kind(regions)
    season = empty(folder, max(days), kind)
    found, age = {}, 0
    for wanted in days:
        for number in range(age, wanted):
            add_values(season, number, kind)
        age = wanted
        found[wanted] = min(_once(folder) for _ in range(times))
    season.catalogue.close()
    return found


def _once(folder: Path) -> float:
    season = Season(folder)
    began = time.process_time()
    work_out(season)
    used = time.process_time() - began
    season.catalogue.close()
    return used


def faster_than_days(found: dict[int, float]) -> float:
    """By how much the cost grew more than the days did, from the shortest season to the longest."""
    short, long = min(found), max(found)
    return found[long] / found[short] / (long / short)


def told(found: dict[int, float], regions: int) -> str:
    """The table."""
    first = found[min(found)]
    lines = [f"{regions} plants: processor time of working out their growth"]
    for days, used in found.items():
        each = 1e3 * used / days
        lines.append(f"{days:5} days {used:8.3f} s {used / first:7.2f} times {each:7.2f} ms a day")
    lines.append(f"at most {MOST_S:g} s wanted for the longest")
    return "\n".join(lines)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    days = (12, 40) if quick else (36, 120, 365)
    with tempfile.TemporaryDirectory() as folder:
        found = costs(Path(folder, "season"), days, 8, 1 if quick else 3)
    first, last = min(found), max(found)
    yield Row(
        f"growth of 8 plants, {last} days",
        f"{first} days",
        found[last] / found[first],
        tenfold=tenfold(found[first], found[last], last / first),
        told=f"{found[last]:.2f} s of processor",
    )


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bars are kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, nargs="+", default=DAYS)
    parser.add_argument("--regions", type=int, default=8)
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        found = costs(Path(folder, "season"), sorted(asked.days), asked.regions, asked.times)
    if asked.json:
        facts = {"regions": asked.regions, "processor_s": found}
        print(json.dumps({**facts, "times_the_days": faster_than_days(found)}, indent=1))
    else:
        print(told(found, asked.regions))
    return int(found[max(found)] > MOST_S or faster_than_days(found) > MOST_TIMES_THE_DAYS)


if __name__ == "__main__":
    sys.exit(main())
