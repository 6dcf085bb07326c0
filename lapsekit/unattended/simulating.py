"""The same work in simulated time: a season is played in minutes, faults and all."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from lapsekit.errors import CameraError
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture, capturing_cameras
from lapsekit.unattended.due import LATE_BY
from lapsekit.unattended.keeping import MORNING_LATE_BY, Job
from lapsekit.unattended.schedule import captures, mornings


class SimulatedClock:
    """A clock that stands still until it is set."""

    def __init__(self, now: datetime):
        self.now = now

    def __call__(self) -> datetime:
        """The instant it was set to."""
        return self.now


class SimulatedScheduler:
    """Wakes jobs in the order of their times, and sets the clock to each."""

    def __init__(self, clock: SimulatedClock):
        self._clock = clock
        self._once: dict[str, tuple[datetime, Callable[[], None]]] = {}
        self._repeated: list[Job] = []
        self._next: list[tuple[datetime, int]] = []

    def later(self, name: str, at: datetime, job: Callable[[], None]) -> None:
        """Wake a job once."""
        self._once[name] = (at, job)

    def plan(self, jobs: list[Job]) -> None:
        """Work out when each job is due next."""
        self._repeated = jobs
        self._next = []
        for number in range(len(jobs)):
            self._push(number, None)

    def forget(self) -> None:
        """The machine went off."""
        self._once, self._repeated, self._next = {}, [], []

    def run_until(self, end: datetime, look: Callable[[], None] | None = None) -> None:
        """Wake whatever is due up to `end`, excluded; `look` is called before each."""
        while True:
            once = min(self._once.items(), key=lambda item: item[1][0], default=None)
            at = min([*([once[1][0]] if once else []), *([self._next[0][0]] if self._next else [])],
                     default=end)  # fmt: skip
            if at >= end:
                break
            self._clock.now = max(self._clock.now, at)
            if look is not None:
                look()
            if once and once[1][0] <= at:
                del self._once[once[0]]
                once[1][1]()
                continue
            if not self._next:
                continue
            _, number = heapq.heappop(self._next)
            self._push(number, at)
            self._repeated[number].do()
        self._clock.now = max(self._clock.now, end)

    def _push(self, number: int, previous: datetime | None) -> None:
        at = self._repeated[number].plan.after(previous, self._clock.now)
        if at is not None:
            heapq.heappush(self._next, (at, number))


@dataclass
class SimulationReport:
    """Frames filed in simulated time, and captures that gave none."""

    filed: int = 0
    failed: list[str] = field(default_factory=list)


def simulate(
    season: Season,
    clock: SimulatedClock,
    until: datetime,
    each_morning: Callable[[], object],
    on_day: Callable[[datetime], None] = lambda _: None,
) -> SimulationReport:
    """Run captures and mornings from the clock's present to `until`, as the demo plays a season.

    Parameters
    ----------
    season : Season
        A season whose clock is `clock`.
    clock : SimulatedClock
        Set to each job's time before the job runs.
    until : datetime
        When to end.
    each_morning : callable
        What is done every morning.
    on_day : callable
        Told the time of each morning.
    """
    report = SimulationReport()
    cameras = capturing_cameras(season)

    def take() -> None:
        for name, camera in cameras.items():
            try:
                report.filed += capture(season, name, camera).is_new
            except CameraError as error:
                report.failed.append(str(error))

    def wake_up() -> None:
        each_morning()
        on_day(clock.now)

    scheduler = SimulatedScheduler(clock)
    scheduler.plan(
        [
            Job("morning", mornings(season.settings), wake_up, MORNING_LATE_BY),
            Job("capture", captures(season.settings), take, LATE_BY),
        ]
    )
    scheduler.run_until(until + timedelta(microseconds=1))
    return report
