"""What working out a season's growth costs as the season gets longer: processor time.

    python -m tests.bench.growth_cost [--days 30 60 120 240 365] [--regions 8] [--json]

A made-up season grows day by day, with daily values alone. At each age its growth is worked out
anew, and then as on a morning, for which the days that no later one can change are settled. Each
figure is the least of `--times` runs, and ratios are within one run of this program, so that others
on the machine do not count.
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from lapsekit.growing import keep_settled
from lapsekit.reporting import work_out
from lapsekit.season import Season
from tests.bench.rows import Row, tenfold
from tests.site.made_season import Kind, add_values, empty

DAYS = (30, 60, 120, 240, 365)
MOST_S = 1.0
"""Processor time that a morning of the longest season may take."""

MOST_TIMES_THE_DAYS = 3.0
"""By how much growth anew may become dearer than the days, from the shortest season to the longest:
stretches of a long season overlap."""


@dataclass(frozen=True)
class Cost:
    """Processor seconds of a season's growth: all of it, and a morning's part."""

    anew_s: float
    morning_s: float


def costs(folder: Path, days: Sequence[int], regions: int, times: int = 3) -> dict[int, Cost]:
    """What growth costs at each age in days, rising."""
    kind = Kind(regions)
    season = empty(folder, max(days), kind)
    found, age = {}, 0
    for wanted in days:
        for number in range(age, wanted):
            add_values(season, number, kind)
        age = wanted
        anew = min(_once(folder, keep=False) for _ in range(times))
        _once(folder, keep=True)
        found[wanted] = Cost(anew, min(_once(folder, keep=False) for _ in range(times)))
        for region in season.regions.region:
            season.catalogue.keep_settled_growth(region.name, {})
    season.catalogue.close()
    return found


def _once(folder: Path, keep: bool) -> float:
    season = Season(folder)
    began = time.process_time()
    growths = work_out(season).growths
    used = time.process_time() - began
    if keep:
        keep_settled(season, growths)
    season.catalogue.close()
    return used


def faster_than_days(found: dict[int, Cost]) -> float:
    """By how much growth anew cost more than the days, from the shortest season to the longest."""
    short, long = min(found), max(found)
    return found[long].anew_s / found[short].anew_s / (long / short)


def told(found: dict[int, Cost], regions: int) -> str:
    """The table."""
    first = found[min(found)]
    lines = [f"{regions} plants: processor time of working out their growth, anew and on a morning"]
    for days, cost in found.items():
        each = (cost.anew_s, first.anew_s), (cost.morning_s, first.morning_s)
        cells = "".join(f"{used:9.3f} s {used / least:6.2f} times" for used, least in each)
        lines.append(f"{days:5} days {cells}")
    lines.append(f"at most {MOST_S:g} s wanted for a morning of the longest")
    return "\n".join(lines)


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    days = (12, 40) if quick else (36, 120, 365)
    with tempfile.TemporaryDirectory() as folder:
        found = costs(Path(folder, "season"), days, 8, 1 if quick else 3)
    first, last = min(found), max(found)
    for name, pick in (("anew", "anew_s"), ("on a morning", "morning_s")):
        least, most = (getattr(found[day], pick) for day in (first, last))
        yield Row(
            f"growth of 8 plants {name}, {last} days",
            f"{first} days",
            most / least,
            tenfold=tenfold(least, most, last / first),
            told=f"{most:.2f} s of processor",
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
        facts = {"regions": asked.regions, "cost": {d: vars(c) for d, c in found.items()}}
        print(json.dumps({**facts, "times_the_days": faster_than_days(found)}, indent=1))
    else:
        print(told(found, asked.regions))
    return int(
        found[max(found)].morning_s > MOST_S or faster_than_days(found) > MOST_TIMES_THE_DAYS
    )


if __name__ == "__main__":
    sys.exit(main())
