"""230 days without a visit, in simulated time: is every frame that was due there, or accounted for?

    python -m tests.bench.unattended_season [--days N] [--every MINUTES] [--seed S]

At 52 and at 69 degrees north (polar night and midnight sun inside), across both changes of the
clock, once with nothing going wrong and once with power cuts, starts without a clock, silent and
hanging cameras, a disk that is full and a clock that jumps by a day. The camera's pictures carry
the true time at which they were taken, so that a frame filed under a wrong date is found.
"""

import argparse
import shutil
import tempfile
import time
from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from lapsekit.cameras import Shot
from lapsekit.errors import ArchiveError, CameraError
from lapsekit.frames.choosing import daily_picture
from lapsekit.season import Season
from lapsekit.unattended.missed import read_missed
from tests.scenes import make_season
from tests.unattended.simulated import SimulatedMachine, SimulatedProcess, time_in, timed_picture

NEEDS = "an hour"

SETTINGS = """
[season]
title = "Unattended"
time_zone = "CET"
sown = {sown}

[place]
latitude = {latitude}
longitude = 15.0

[cameras.bench]
kind = "usb"

[capture]
every_minutes = {every}
from = "sunrise"
until = "sunset"
daily_at = "noon"
"""
FIRST_DAYS = {52: date(2031, 3, 20), 69: date(2031, 10, 20)}
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
TOLERANCE = timedelta(minutes=2)
EDGE = timedelta(seconds=5)
KINDS = ("power", "power, then no clock", "camera", "disk", "jump ahead", "jump back")


@dataclass(frozen=True)
class Fault:
    """Something that goes wrong, from when until when."""

    kind: str
    first: datetime
    last: datetime

    def explains(self, due: datetime) -> bool:
        """Whether a frame due then cannot be asked for."""
        blocking = self.kind in ("power", "power, then no clock", "camera", "disk")
        return blocking and self.first - EDGE <= due <= self.last + EDGE


@dataclass(frozen=True)
class Result:
    """What a season came to."""

    due: int
    there: int
    explained: int
    accounted: int
    unexplained: list[datetime]
    misdated_s: float
    days: int
    daily_pictures: int
    days_without: int
    faults: Counter
    seconds: float


class Camera:
    """Gives the true time in its pictures; silent while a fault is on."""

    def __init__(self, machine: SimulatedMachine):
        self._machine = machine
        self.silent = False

    def take(self, now: datetime) -> Shot:
        """A picture, or the error of a camera that hangs or is gone."""
        if self.silent:
            raise CameraError("did not end within 30 s; check the cable")
        return Shot(timed_picture(self._machine.now), now)


def faults(random: np.random.Generator, first: datetime, days: int) -> list[Fault]:
    """One fault about every five days, in turn of all kinds, minutes to two days long."""
    found, at, turn = [], first + 2 * DAY, 0
    while True:
        at += float(random.uniform(2, 7)) * DAY
        last = at + float(np.exp(random.uniform(np.log(0.2), np.log(48)))) * HOUR
        if last > first + (days - 3) * DAY:
            return found
        found.append(Fault(KINDS[turn % len(KINDS)], at, last))
        at, turn = last, turn + 1


def play(season: Season, machine: SimulatedMachine, wrong: list[Fault], end: datetime) -> None:
    """Live through a season."""
    camera = Camera(machine)
    process = SimulatedProcess(season, {"bench": camera}, machine)
    store = season.archive.store
    for fault in wrong:
        process.run_until(fault.first)
        if fault.kind.startswith("power"):
            machine.now = fault.last
            machine.start()
            if fault.kind.endswith("no clock"):  # it wakes with the time it last wrote down
                machine.has_network, machine.wrong_by = False, fault.first - fault.last - HOUR
            process = SimulatedProcess(season, {"bench": camera}, machine)
            process.run_until(fault.last + 3 * HOUR)
        elif fault.kind == "camera":
            camera.silent = True
        elif fault.kind == "disk":
            season.archive.store = _full
        else:
            machine.has_network = False
            machine.wrong_by = DAY if fault.kind == "jump ahead" else -DAY
        process.run_until(max(fault.last, machine.now))
        camera.silent, season.archive.store = False, store
        machine.has_network, machine.wrong_by = True, timedelta(0)
    process.run_until(end)


def _full(*_: object) -> None:
    raise ArchiveError("the disk is full; free some space and run the same command again")


def judge(season: Season, wrong: list[Fault], first: date, days: int, seconds: float) -> Result:
    """Compare what is there with what was due."""
    frames = season.catalogue.frames()
    times = [f.taken_at for f in frames]
    all_days = [first + n * DAY for n in range(days)]
    due = sorted({at for day in all_days for at in season.due_times(day)})
    missed = read_missed(season.folder)
    there, explained, accounted, unexplained = 0, 0, 0, []
    for at in due:
        near = bisect_left(times, at - timedelta(seconds=1))
        if near < len(times) and times[near] <= at + TOLERANCE:
            there += 1
            continue
        told = any(m.first_due_at - MINUTE <= at <= m.last_due_at + MINUTE for m in missed)
        accounted += told
        cause = any(f.explains(at) for f in wrong) or _waited(wrong, times, at)
        explained += cause
        if not cause:
            unexplained.append(at)
    misdated = max(
        abs(f.taken_at.timestamp() - time_in(season.archive.read(f.path))) for f in frames
    )
    by_day = {day: [f for f in frames if f.day == day] for day in all_days}
    pictures = {d: daily_picture(by_day[d], season.daily_at(d)) for d in all_days}
    chosen = sum(p is not None for p in pictures.values())
    empty = sum(not found for found in by_day.values())
    kinds = Counter(f.kind for f in wrong)
    return Result(len(due), there, explained, accounted, unexplained, misdated, days, chosen,
                  empty, kinds, seconds)  # fmt: skip


def _waited(wrong: list[Fault], times: list[datetime], at: datetime) -> bool:
    """While the time was not known frames came at their own pace: one lies near all the same."""
    unclocked = any(
        f.kind.endswith("no clock") and f.last <= at <= f.last + 3 * HOUR + TOLERANCE for f in wrong
    )
    return unclocked and any(abs(t - at) <= HOUR for t in times)


def season_of(folder: Path, latitude: int, days: int, every: int, seed: int | None) -> Result:
    """A season from its first to its last day; without a seed nothing goes wrong."""
    first = FIRST_DAYS[latitude]
    text = SETTINGS.format(sown=first, latitude=latitude, every=every)
    make_season(folder, text).catalogue.close()
    start = datetime(first.year, first.month, first.day, tzinfo=UTC) - 6 * HOUR
    machine = SimulatedMachine(start)
    season = Season(folder)
    wrong = [] if seed is None else faults(np.random.default_rng(seed), start, days)
    began = time.perf_counter()
    play(season, machine, wrong, start + (days + 1) * DAY)
    result = judge(season, wrong, first, days, time.perf_counter() - began)
    season.catalogue.close()
    return result


def main() -> None:
    """Print both places, with and without faults."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--days", type=int, default=230)
    options.add_argument("--every", type=int, default=30, help="minutes between frames")
    options.add_argument("--seed", type=int, default=7)
    given = options.parse_args()
    for latitude in FIRST_DAYS:
        for seed in (None, given.seed):
            with tempfile.TemporaryDirectory(prefix="lapsekit-") as scratch:
                folder = Path(scratch, "season")
                result = season_of(folder, latitude, given.days, given.every, seed)
                shutil.rmtree(folder)
            tell(latitude, result)


def tell(latitude: int, r: Result) -> None:
    """One season, in lines."""
    what = ", ".join(f"{n} × {kind}" for kind, n in r.faults.items()) or "nothing goes wrong"
    print(f"{latitude} degrees north, {r.days} days ({what}), {r.seconds:.0f} s")
    print(f"  {r.there} of {r.due} due frames are there ({100 * r.there / r.due:.2f} %)")
    if r.faults:
        print(f"  {r.explained} more are explained by a fault; missed.csv names {r.accounted}")
    told = ", ".join(f"{at:%Y-%m-%d %H:%M}" for at in r.unexplained[:5])
    print(f"  {len(r.unexplained)} without an explanation {told}")
    print(f"  dates are within {r.misdated_s:.2f} s of the truth")
    print(
        f"  daily pictures: {r.daily_pictures} of {r.days - r.days_without} days with a frame",
        flush=True,
    )


if __name__ == "__main__":
    main()
