"""A machine in simulated time that loses power, network and clock, and lapsekit run on it."""

import io
import itertools
from datetime import UTC, datetime, timedelta

import numpy as np
from PIL import Image

from lapsekit.cameras import Shot
from lapsekit.errors import CameraError
from lapsekit.unattended.children import Ended
from lapsekit.unattended.clock import SteadyClock
from lapsekit.unattended.keeping import Keeping
from lapsekit.unattended.simulating import SimulatedScheduler
from lapsekit.unattended.world import World
from tests.scenes import encoded

START = datetime(2031, 4, 2, 4, tzinfo=UTC)  # 06:00 in the season's zone
MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)
CAPTURE = (
    '[capture]\nevery_minutes = 60\nfrom = "08:00"\nuntil = "16:00"\ndaily_at = "12:00"\n'
    "daily_within_minutes = 90\n"
)


def timed_picture(moment):
    """A picture whose pixels tell when it was truly taken."""
    digits = np.frombuffer(f"{moment.timestamp():.3f}".encode(), np.uint8)
    picture = np.zeros((8, 16, 3), np.uint8)
    picture[0, : len(digits), 0] = digits
    return encoded(picture)


def time_in(data):
    """The time that such a picture tells, in seconds of the Unix epoch."""
    row = np.asarray(Image.open(io.BytesIO(data)))[0, :, 0]
    return float(bytes(row[row > 0]))


class SimulatedMachine:
    """A machine whose true time is set from outside, and whose clock may be wrong.

    Attributes
    ----------
    now : datetime
        The true time.
    wrong_by : timedelta
        How far its clock is ahead.
    has_network : bool
        Whether a time server stands behind its clock; then it is right.
    """

    def __init__(self, now: datetime):
        self.now = now
        self.wrong_by = timedelta(0)
        self.has_network = True
        self._starts = itertools.count(1)
        self.start()

    def start(self) -> None:
        """Switch it on (again)."""
        self.boot_id = f"{next(self._starts):08x}"
        self._on_since = self.now

    def wall(self) -> datetime:
        """What its clock says."""
        return self.now if self.has_network else self.now + self.wrong_by

    def since_boot(self) -> timedelta:
        """How long it has been on."""
        return self.now - self._on_since

    def is_vouched_for(self, _: timedelta) -> bool:
        """The same."""
        return self.has_network

    def is_set(self) -> bool:
        """Whether a time server stands behind its clock."""
        return self.has_network


class SimulatedProcess:
    """The same wiring as `lapsekit.unattended.process`, woken by simulated time."""

    def __init__(self, season, cameras, machine, tell=lambda *_, **__: None, stage=None):
        self.clock = SteadyClock(machine, tell)
        season.clock = self.clock
        self.machine = machine
        self.scheduler = SimulatedScheduler(machine)
        stage = stage or (lambda *_, **__: Ended(0, [], ""))
        world = World(season, cameras, self.clock, machine, tell, self.scheduler.later)
        self.keeping = Keeping(world, stage)
        self.jobs = self.keeping.jobs()
        if self.clock.is_known:
            self._time_is_known()

    def run_until(self, end):
        while self.machine.now < end:
            self._look()
            if self.clock.is_known:
                self.scheduler.run_until(end, self._look)
            else:
                self.keeping.taking.capture_undated()
                self.machine.now += MINUTE

    def _look(self):
        was_known = self.clock.is_known
        if self.clock.look():
            self.scheduler.plan(self.jobs) if was_known else self._time_is_known()

    def _time_is_known(self):
        before = self.keeping.before()
        self.scheduler.plan(self.jobs)
        self.keeping.settle(before)


class Truthful:
    """A camera whose pictures tell when they were truly taken; it fails while it is told to."""

    def __init__(self, machine):
        self.machine = machine
        self.fails = False
        self.asked = []

    def take(self, now):
        self.asked.append(self.machine.now)
        if self.fails:
            raise CameraError("no camera answers; check the cable")
        return Shot(timed_picture(self.machine.now), now)


def started(season, machine=None, camera=None, **more):
    machine = machine or SimulatedMachine(START)
    camera = camera or Truthful(machine)
    return SimulatedProcess(season, {"bench": camera}, machine, **more), machine, camera


def hours(season):
    """Hours of the frames filed, in the season's zone."""
    return [f.taken_at.astimezone(season.zone).hour for f in season.catalogue.frames()]


def truths(season):
    """How far every filed frame's date is from when it was truly taken, in seconds."""
    for frame in season.catalogue.frames():
        yield abs(frame.taken_at.timestamp() - time_in(season.archive.read(frame.path)))
