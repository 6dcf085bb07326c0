"""What a new day costs a season that is a month old, and one that is a year old.

    python -m tests.bench.next_day [--ages 30 120 365] [--frames-a-day 4] [--mornings 3] [--json]

A season of frames that are really measured (`tests.bench.long_season`: plants stand as high on day
30 as on day 365) is worked out up to each age, and kept as it is then. Then a day is added to each
of them in turns, a few times, and everything is done that a morning does: frames measured and days
worked out, growth and its table, the site, and, as once a week, the film. As on a real machine
morning and film are fresh processes, which find nothing but what lies in the season's folder. Times
are processor time of all threads, the median of the mornings; others on the machine weigh on all
ages alike. Of a whole morning, the last age may take at most 1.3 times what the first does.
"""

import argparse
import json
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

from tests.bench.rows import Row, tenfold
from tests.bench.watched import run

AGES, FRAMES_A_DAY, MORNINGS = (30, 120, 365), 4, 3
BAR = 1.3
STAGES = ("start", "measure", "growth", "site", "film")
WIDTH = 960

_ADDED = """
import sys
from pathlib import Path
from tests.bench.long_season import Bench, add_days, begun
folder, first, last, frames, width = Path(sys.argv[1]), *map(int, sys.argv[2:])
bench = Bench(width, frames)
if not folder.exists():
    begun(folder, bench)
add_days(folder, first, last, bench)
"""
_MORNING = """
import json, os, sys, time
from pathlib import Path
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from lapsekit.measuring import measure
from lapsekit.reporting import write_daily
from lapsekit.season import Season
from lapsekit.site.build import build_for_readers
season, times = Season(Path(sys.argv[1])), {"start": time.process_time()}
def timed(name, work):
    began = time.process_time()
    found = work()
    times[name] = time.process_time() - began
    return found
timed("measure", lambda: measure(season))
growth = timed("growth", lambda: write_daily(season))
timed("site", lambda: build_for_readers(season, growth=growth))
season.catalogue.close()
print(json.dumps(times))
"""
_FILM = """
import json, os, sys, time
from pathlib import Path
os.environ["OPENBLAS_NUM_THREADS"] = "1"
from lapsekit.film.making import make_film
from lapsekit.season import Season
season, began = Season(Path(sys.argv[1])), time.process_time()
report = make_film(season)
season.catalogue.close()
print(json.dumps({"start": began, "film": time.process_time() - began}))
"""


@dataclass
class Aged:
    """A season at some age: where it lies, and what its mornings took, by stage, in seconds."""

    days: int
    folder: Path
    mornings: list[dict[str, float]] = field(default_factory=list)
    peak_mb: float = 0.0

    def seconds(self, stage: str) -> float:
        """Median of the mornings; "whole" is the morning with its film."""
        if stage == "whole":
            return median(sum(each.values()) for each in self.mornings)
        return median(each[stage] for each in self.mornings)


def seasons(
    scratch: Path, ages: Sequence[int], frames_a_day: int, mornings: int, width: int = WIDTH
) -> list[Aged]:
    """The season at each age, with its mornings."""
    growing, found, before = scratch / "growing", [], 0
    for age in sorted(ages):
        _add(growing, before, age, frames_a_day, width)
        _worked(growing)
        found.append(Aged(age, scratch / f"{age}"))
        shutil.copytree(growing, found[-1].folder)
        before = age
    for number in range(mornings):
        for aged in found:
            _add(aged.folder, aged.days + number, aged.days + number + 1, frames_a_day, width)
            times, peak_mb = _worked(aged.folder)
            aged.mornings.append(times)
            aged.peak_mb = max(aged.peak_mb, peak_mb)
    return found


def _add(folder: Path, first: int, last: int, frames_a_day: int, width: int) -> None:
    _facts([folder, first, last, frames_a_day, width], _ADDED)


def _worked(folder: Path) -> tuple[dict[str, float], float]:
    """Seconds of each stage of a morning and its film, and the most memory either held."""
    (first, one), (second, other) = (_facts([folder], code) for code in (_MORNING, _FILM))
    return {**first, **second, "start": first["start"] + second["start"]}, max(one, other)


def _facts(words: Sequence, code: str) -> tuple[dict[str, float], float]:
    took = run([str(word) for word in words], code=code)
    if took.code:
        sys.exit(f"ended with code {took.code}: {took.complaint}")
    return json.loads(took.told.splitlines()[-1]) if took.told else {}, took.peak_mb


def told(found: Sequence[Aged]) -> str:
    """The table."""
    heads = "".join(f"{f'day {each.days + 1}':>12}" for each in found)
    lines = [f"{'processor time':16}{heads}{'ratio':>9}"]
    for stage in (*STAGES, "whole"):
        seconds = [each.seconds(stage) for each in found]
        cells = "".join(f"{each:10.2f} s" for each in seconds)
        lines.append(f"{stage:16}{cells}{seconds[-1] / seconds[0]:9.2f}")
    peaks = "".join(f"{each.peak_mb:9.0f} MB" for each in found)
    return "\n".join([*lines, f"{'most memory':16}{peaks}", f"whole: at most {BAR} wanted"])


def rows(quick: bool) -> Iterator[Row]:
    """Rows for the table of all benchmarks."""
    kind = ((2, 3), 3, 1, 480) if quick else (AGES, FRAMES_A_DAY, MORNINGS)
    with tempfile.TemporaryDirectory() as scratch:
        found = seasons(Path(scratch), *kind)
    early, late = found[0], found[-1]
    for stage in (*STAGES, "whole"):
        one, other = early.seconds(stage), late.seconds(stage)
        yield Row(
            f"{'morning and film' if stage == 'whole' else stage}, day {late.days + 1}",
            f"day {early.days + 1}",
            other / one,
            BAR if stage == "whole" and not quick else None,
            late.peak_mb if stage == "whole" else None,
            tenfold=tenfold(one, other, late.days / early.days),
            told=f"{other:.2f} s of processor",
        )


def main(arguments: list[str] | None = None) -> int:
    """Measure, tell, and say by the exit code whether the bar is kept."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--ages", type=int, nargs="+", default=AGES, help="in days")
    parser.add_argument("--frames-a-day", type=int, default=FRAMES_A_DAY)
    parser.add_argument("--mornings", type=int, default=MORNINGS)
    parser.add_argument("--width", type=int, default=WIDTH, help="of the frames, in px")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        found = seasons(Path(scratch), asked.ages, asked.frames_a_day, asked.mornings, asked.width)
    if asked.json:
        print(json.dumps({each.days: each.mornings for each in found}, indent=1))
    else:
        print(told(found))
    return int(found[-1].seconds("whole") > BAR * found[0].seconds("whole"))


if __name__ == "__main__":
    sys.exit(main())
