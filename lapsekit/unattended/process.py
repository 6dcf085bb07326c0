"""The long-running process, and the same jobs in simulated time."""

import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.schedulers.blocking import BlockingScheduler

from lapsekit.cameras import Camera, open_camera
from lapsekit.errors import CameraError, LapsekitError
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture
from lapsekit.unattended.schedule import captures, mornings
from lapsekit.when import instant

Tell = Callable[[str], None]
_LATE_BY_S = 120
_MORNING_LATE_BY_S = 12 * 3600


class SimulatedClock:
    """A clock that stands still until it is set."""

    def __init__(self, now: datetime):
        self.now = now

    def __call__(self) -> datetime:
        """The instant it was set to."""
        return self.now


@dataclass
class SimulationReport:
    """Frames filed in simulated time, and captures that gave none."""

    filed: int = 0
    failed: list[str] = field(default_factory=list)


def capturing_cameras(season: Season) -> dict[str, Camera]:
    """The cameras of season.toml that take pictures by themselves.

    Raises
    ------
    CameraError
        If there is none.
    """
    models = season.settings.cameras.items()
    found = {
        n: open_camera(n, m, season.folder, season.zone) for n, m in models if m.kind != "files"
    }
    if not found:
        raise CameraError(
            "no camera of season.toml takes pictures by itself; give one another kind than "
            '"files" (see the comments in season.toml)'
        )
    return found


def run(season: Season, tell: Tell) -> None:
    """Capture on schedule and run the morning chain once a day, until told to stop.

    A capture that fails is told and tried again at its next time. The chain runs as a process
    of its own, so that its memory is given back and a fault in it never stops the captures.

    Parameters
    ----------
    season : Season
        An open season.
    tell : callable
        Takes a line of text about what happened.
    """
    cameras = capturing_cameras(season)
    scheduler = BlockingScheduler(timezone=UTC)
    limits = {"max_instances": 1, "coalesce": True, "misfire_grace_time": _LATE_BY_S}
    for name, camera in cameras.items():
        scheduler.add_job(
            _told(lambda n=name, c=camera: _capture_once(season, n, c, tell), tell),
            captures(season.settings),
            id=f"capture {name}",
            **limits,
        )
    chain = _told(lambda: _chain(season, tell), tell)
    limits["misfire_grace_time"] = _MORNING_LATE_BY_S
    scheduler.add_job(chain, mornings(season.settings), id="morning", **limits)
    if season.clock() > this_morning(season):
        scheduler.add_job(chain, id="morning missed")  # does only what is not done yet
    scheduler.add_listener(
        lambda event: tell(f"{event.job_id} did not run when it was due; next time as planned"),
        EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES,
    )
    scheduler.add_listener(
        lambda event: tell(f"{event.job_id} failed: {event.exception!r}"), EVENT_JOB_ERROR
    )

    def stop(*_: object) -> None:
        if scheduler.running:
            scheduler.shutdown(wait=False)

    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, stop)
    for line in planned(season, list(cameras)):
        tell(line)
    scheduler.start()
    tell("stopped")


def this_morning(season: Season) -> datetime:
    """When today's morning chain is due."""
    today = season.day_of(season.clock())
    return instant(today, season.settings.morning.at, season.zone)


def planned(season: Season, cameras: list[str]) -> list[str]:
    """What will be done next, in the season's local time."""
    now = season.clock()
    plans = {f"capture {n}": captures(season.settings) for n in cameras}
    plans["morning"] = mornings(season.settings)
    nexts = {n: p.get_next_fire_time(None, now).astimezone(season.zone) for n, p in plans.items()}
    return [f"next {name}: {moment:%Y-%m-%d %H:%M}" for name, moment in nexts.items()]


def simulate(
    season: Season,
    clock: SimulatedClock,
    until: datetime,
    each_morning: Callable[[], object],
    on_day: Callable[[datetime], None] = lambda _: None,
) -> SimulationReport:
    """Run the schedule from the clock's present to `until` without waiting.

    Parameters
    ----------
    season : Season
        A season whose clock is `clock`.
    clock : SimulatedClock
        Set to each job's time before the job runs.
    until : datetime
        When to end.
    each_morning : callable
        The morning chain.
    on_day : callable
        Told the time of each morning.

    Returns
    -------
    SimulationReport
    """
    report = SimulationReport()
    cameras = capturing_cameras(season)
    capturing, chain = captures(season.settings), mornings(season.settings)
    next_capture = capturing.get_next_fire_time(None, clock.now)
    next_morning = chain.get_next_fire_time(None, clock.now)
    while min(next_capture, next_morning) <= until:
        if next_morning <= next_capture:
            clock.now = next_morning
            each_morning()
            on_day(next_morning)
            next_morning = chain.get_next_fire_time(next_morning, clock.now)
            continue
        clock.now = next_capture
        for name, camera in cameras.items():
            try:
                report.filed += capture(season, name, camera)[1]
            except CameraError as error:
                report.failed.append(str(error))
        next_capture = capturing.get_next_fire_time(next_capture, clock.now)
    return report


def _capture_once(season: Season, name: str, camera: Camera, tell: Tell) -> None:
    frame, is_new = capture(season, name, camera)
    tell(f"{'filed' if is_new else 'already there:'} {frame.path} ({frame.size // 1024} kB)")


def _told(job: Callable[[], None], tell: Tell) -> Callable[[], None]:
    def guarded() -> None:
        try:
            job()
        except LapsekitError as error:
            tell(f"failed: {error}")

    return guarded


def _chain(season: Season, tell: Tell) -> None:
    command = [sys.executable, "-m", "lapsekit", "morning", "--season", str(season.folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    for line in done.stdout.splitlines():
        tell(f"morning: {line}")
    if done.returncode:
        raise LapsekitError(f"morning chain: {done.stderr.strip()}")
    tell("morning chain done")
