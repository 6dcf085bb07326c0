"""The long-running process, and the same jobs in simulated time."""

import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from apscheduler.events import EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.schedulers.blocking import BlockingScheduler

from lapsekit.cameras import Camera, open_camera
from lapsekit.errors import CameraError, LapsekitError
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture
from lapsekit.unattended.schedule import captures, mornings

Tell = Callable[[str], None]
_LATE_BY_S = 120


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
    found = {n: open_camera(n, m, season.folder) for n, m in models if m.kind != "files"}
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
    scheduler.add_job(
        lambda: _chain(season, tell), mornings(season.settings), id="morning", **limits
    )
    scheduler.add_listener(
        lambda event: tell(f"{event.job_id} did not run when it was due; next time as planned"),
        EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES,
    )
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: scheduler.shutdown(wait=False))
    for line in planned(season, list(cameras)):
        tell(line)
    scheduler.start()
    tell("stopped")


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
                capture(season, name, camera)
                report.filed += 1
            except CameraError as error:
                report.failed.append(str(error))
        next_capture = capturing.get_next_fire_time(next_capture, clock.now)
    return report


def _capture_once(season: Season, name: str, camera: Camera, tell: Tell) -> None:
    frame = capture(season, name, camera)
    tell(f"filed {frame.path} ({frame.size // 1024} kB)")


def _told(job: Callable[[], None], tell: Tell) -> Callable[[], None]:
    def guarded() -> None:
        try:
            job()
        except LapsekitError as error:
            tell(f"not captured: {error}")

    return guarded


def _chain(season: Season, tell: Tell) -> None:
    command = [sys.executable, "-m", "lapsekit", "morning", "--season", str(season.folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    tell("morning chain done" if done.returncode == 0 else f"morning chain: {done.stderr.strip()}")
