"""What a build of the season site costs, early in a season and late.

    python -m tests.bench.site_growth [--days 365] [--regions 8] [--frames-a-day 20] [--json]

A made-up season of `--days` days, its pictures of 12 megapixels, is built whole; then nothing has
changed; then three days are added, one a morning, as they are to a season that is a month old, in
turns: a machine that is slow for a while is so for both. A morning's build late in the season may
cost at most 1.3 times what it costs early. As in the morning chain, growth is worked out and its
daily table written by the stage before; what that takes stands beside it. Where the time goes is
read off the stack while it goes.
"""

import argparse
import json
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from statistics import median

from lapsekit.reporting import write_daily
from lapsekit.season import Season
from lapsekit.site.build import build_site
from tests.bench.rows import Row, tenfold
from tests.site.made_season import Kind, add_day, made

EARLY = 30
MORNINGS = 3
BAR = 1.3
_EVERY_S = 0.004


@dataclass
class Built:
    """One build: its time on the clock and of processors, what it wrote, where the time went.

    `growth_s` is the processor time of the stage before, which works out the growth and writes it.
    """

    seconds: float
    processor_s: float
    growth_s: float
    written: list[str]
    unchanged: int
    removed: int
    parts: dict[str, float] = field(default_factory=dict)


@dataclass
class Costs:
    """A season at some age: the build that made its site, and the mornings after."""

    days: int
    whole: Built
    unchanged: Built
    mornings: list[Built]

    @property
    def morning(self) -> float:
        """Processor seconds of a morning, the median: others on the machine do not count."""
        return median(each.processor_s for each in self.mornings)


def costs(folder: Path, days: int, kind: Kind) -> Costs:
    """Make a season of `days` days and build its site again and again."""
    found = begun(folder, days, kind)
    for _ in range(MORNINGS):
        add_morning(found, folder, kind)
    return found


def begun(folder: Path, days: int, kind: Kind) -> Costs:
    """Make a season of `days` days and build its site, and once more."""
    made(folder, days, kind).catalogue.close()
    return Costs(days, built(folder), built(folder), [])


def add_morning(found: Costs, folder: Path, kind: Kind) -> None:
    """Add a day to the season, and build its site."""
    season = Season(folder)
    add_day(season, found.days + len(found.mornings), found.days, kind)
    season.catalogue.close()
    found.mornings.append(built(folder))


def built(folder: Path) -> Built:
    """One build of a season that is opened for it."""
    season = Season(folder)
    before = _stamps(season.site)
    used = time.process_time()
    growth = write_daily(season)
    growth_s = time.process_time() - used
    with sampled() as parts:
        began, used = time.perf_counter(), time.process_time()
        report = build_site(season, growth=growth)
        seconds, used = time.perf_counter() - began, time.process_time() - used
    season.catalogue.close()
    after = _stamps(season.site)
    written = sorted(path for path, stamp in after.items() if before.get(path) != stamp)
    looks = sum(parts.values()) or 1
    shares = {part: round(used * n / looks, 3) for part, n in parts.most_common()}
    assert set(report.written) == set(written), "a build says what it has written"
    times = (round(each, 3) for each in (seconds, used, growth_s))
    return Built(*times, written, report.unchanged, len(report.removed), shares)


@contextmanager
def sampled():
    """Counts, every few milliseconds, which function `build_site` has called, and that one."""
    counts, over, watched = Counter(), threading.Event(), threading.get_ident()

    def watch():
        while not over.wait(_EVERY_S):
            names = _called(sys._current_frames().get(watched))
            if names:
                counts[" > ".join(names)] += 1

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        yield counts
    finally:
        over.set()
        watcher.join()


def _called(frame) -> list[str]:
    """Names of our two functions below `build_site` on a stack."""
    names = []
    while frame is not None:
        code = frame.f_code
        if code.co_name == "build_site":
            return list(reversed(names))[:2]
        if "/lapsekit/" in code.co_filename and not code.co_name.startswith("<"):
            names.append(code.co_name)
        frame = frame.f_back
    return []


def _stamps(site: Path) -> dict[str, int]:
    files = (path for path in site.rglob("*") if path.is_file())
    return {path.relative_to(site).as_posix(): path.stat().st_mtime_ns for path in files}


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    ages, kind = ((3, 9), Kind(2, 1, 960)) if quick else ((EARLY, 365), Kind(8, 20, 4056))
    with tempfile.TemporaryDirectory() as folder:
        early, late = in_turns(Path(folder), *ages, kind)
    yield Row(
        f"site, a morning's build, day {late.days}",
        f"day {early.days}",
        late.morning / early.morning,
        None if quick else BAR,
        tenfold=tenfold(early.morning, late.morning, late.days / early.days),
        told=f"{late.morning:.2f} s of processor",
    )
    yield Row(
        f"site built whole, {late.days} days",
        f"{early.days} days",
        late.whole.processor_s / early.whole.processor_s,
        tenfold=tenfold(early.whole.processor_s, late.whole.processor_s, late.days / early.days),
        told=f"{late.whole.processor_s:.1f} s of processor",
    )


def in_turns(folder: Path, early_days: int, late_days: int, kind: Kind) -> tuple[Costs, Costs]:
    """Two seasons whose mornings take turns: a machine that is slow for a while is so for both."""
    places = folder / "early", folder / "late"
    early, late = (
        begun(place, days, kind)
        for place, days in zip(places, (early_days, late_days), strict=True)
    )
    for _ in range(MORNINGS):
        for place, found in zip(places, (early, late), strict=True):
            add_morning(found, place, kind)
    return early, late


def told(early: Costs, late: Costs) -> str:
    """The table, and what a morning writes."""
    lines = [
        f"{'':24}{'seconds':>9}{'processor':>11}{'growth':>9}{'written':>9}{'unchanged':>11}{'removed':>9}"
    ]
    for cost in (early, late):
        for name, each in (("whole", cost.whole), ("unchanged", cost.unchanged)):
            lines.append(_line(f"{cost.days} days, {name}", each))
        lines += [_line(f"day {cost.days + n + 1}", m) for n, m in enumerate(cost.mornings)]
    ratio = late.morning / early.morning
    both = f"{early.morning:.2f} s of processor early, {late.morning:.2f} s late"
    lines.append(f"\na morning's build: {both},")
    lines.append(f"{ratio:.2f} times as much (at most {BAR})")
    lines.append(f"\n{'where it goes':58}    early     late")
    parts = {**late.mornings[-1].parts, **early.mornings[-1].parts}
    for part in sorted(parts, key=lambda p: -late.mornings[-1].parts.get(p, 0)):
        both = [cost.mornings[-1].parts.get(part, 0) for cost in (early, late)]
        if max(both) >= 0.01:
            lines.append(f"  {part[:56]:56}{both[0]:9.3f}{both[1]:9.3f}")
    lines.append("\nwritten on the last of the mornings, late:")
    lines += [f"  {path}" for path in late.mornings[-1].written]
    return "\n".join(lines)


def _line(name: str, each: Built) -> str:
    counts = f"{len(each.written):9}{each.unchanged:11}{each.removed:9}"
    return f"{name:24}{each.seconds:9.2f}{each.processor_s:11.2f}{each.growth_s:9.2f}{counts}"


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bars are kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--early", type=int, default=EARLY)
    parser.add_argument("--regions", type=int, default=8)
    parser.add_argument("--frames-a-day", type=int, default=20)
    parser.add_argument("--width", type=int, default=4056, help="of the pictures, in px")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    kind = Kind(asked.regions, asked.frames_a_day, asked.width)
    with tempfile.TemporaryDirectory() as folder:
        early, late = in_turns(Path(folder), asked.early, asked.days, kind)
    if asked.json:
        print(json.dumps({"early": asdict(early), "late": asdict(late)}, indent=1))
    else:
        print(told(early, late))
    still = not early.unchanged.written and not late.unchanged.written
    return int(not still or late.morning > BAR * early.morning)


if __name__ == "__main__":
    sys.exit(main())
