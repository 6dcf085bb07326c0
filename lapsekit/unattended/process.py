"""The long-running process: a scheduler on a real machine, and a loop that looks after it."""

import fcntl
import logging
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from lapsekit.errors import SeasonBusy
from lapsekit.season import Season
from lapsekit.unattended.capturing import capturing_cameras
from lapsekit.unattended.children import Children
from lapsekit.unattended.clock import Machine, SteadyClock, ThisMachine
from lapsekit.unattended.keeping import Keeping
from lapsekit.unattended.schedule import DayPlan
from lapsekit.unattended.speaking import ERROR, WARNING, Tell, notify
from lapsekit.unattended.world import World

LOOK_EVERY_S = 5.0
WATCH_EVERY_S = 60.0
RUNNING_FILE = ".running"
STUCK_AFTER = timedelta(minutes=30)
"""A capture that takes so long will never end: the service manager starts everything anew."""


class OnWall(BaseTrigger):
    """A plan in the season's time as the scheduler wants it: by the machine's own clock.

    Where that clock has jumped away, the plan's instants are moved by as much. Whoever sees a jump
    has every job's next time worked out anew.
    """

    def __init__(self, plan: DayPlan, clock: SteadyClock):
        self._plan = plan
        self._clock = clock

    def get_next_fire_time(
        self, previous_fire_time: datetime | None, now: datetime
    ) -> datetime | None:
        """The plan's next instant after those that were."""
        skew = now - self._clock()
        if abs(skew) < timedelta(seconds=1):  # the two were read one after the other
            skew = timedelta(0)
        previous = None if previous_fire_time is None else previous_fire_time - skew
        moment = self._plan.after(previous, now - skew)
        return None if moment is None else moment + skew


class _Process:
    """What `run` holds together."""

    def __init__(self, season: Season, tell: Tell, machine: Machine):
        self.machine = machine
        self.clock = SteadyClock(machine, lambda line: tell(line, WARNING))
        season.clock = self.clock
        self.cameras = capturing_cameras(season)
        self.season, self.tell = season, tell
        self.children = Children(season.folder, lambda: self.clock.skew)
        self.scheduler = BackgroundScheduler(timezone=UTC)
        world = World(season, self.cameras, self.clock, machine, tell, self._later)
        self.keeping = Keeping(world, self.children.run)
        self.stopping = threading.Event()
        self._once: dict[str, tuple[datetime, Callable[[], None]]] = {}
        self._threads_begun: dict[str, timedelta] = {}
        self._threads: dict[str, threading.Thread] = {}
        self._watched_at = timedelta(0)
        self._jobs = {job.name: job for job in self.keeping.jobs()}

    def start(self) -> None:
        self.scheduler.add_listener(self._heard, _HEARD)
        if self.clock.is_known:
            self._time_is_known()
        else:
            told = "the clock of this machine is not set yet; frames wait apart until it is"
            self.tell(told, WARNING)
        for line in self.planned():
            self.tell(line)
        self.scheduler.start()

    def look(self) -> None:
        """Every few seconds: the clock, frames without a date, watched folders, the watchdog.

        Nothing here waits for a camera or a disk: what may take long runs beside.
        """
        was_known = self.clock.is_known
        if self.clock.look():
            self._plan() if was_known else self._time_is_known()
        if not self.clock.is_known:
            self._beside("frames without a date", self.keeping.taking.capture_undated)
        now = self.machine.since_boot()
        if (now - self._watched_at).total_seconds() >= WATCH_EVERY_S and self.clock.is_known:
            self._watched_at = now
            self._beside("frames that came or waited", self._file_what_came)
        stuck = self._stuck(now)
        if stuck:
            self.tell(f"{stuck} has not ended for {STUCK_AFTER}; giving up", ERROR)
        elif self._wakes():
            notify("WATCHDOG=1")

    def _file_what_came(self) -> None:
        self.keeping.taking.watch()
        self.keeping.file_waiting()

    def _stuck(self, now: timedelta) -> str | None:
        """A capture, or a look at folders, that will never end."""
        alive = [n for n, thread in self._threads.items() if thread.is_alive() and n != "settling"]
        begun = {f"capture {n}": at for n, at in dict(self.keeping.taking.begun).items()}
        begun |= {name: self._threads_begun[name] for name in alive}
        return next((name for name, began in begun.items() if now - began > STUCK_AFTER), None)

    def _time_is_known(self) -> None:
        """Plan everything at once, and see to what was before beside it."""
        before = self.keeping.before()
        self._plan()
        self._beside("settling", lambda: self.keeping.settle(before))

    def _beside(self, name: str, job: Callable[[], None]) -> None:
        """Run a job on a thread of its own, unless the one before of its name still runs."""
        before = self._threads.get(name)
        if before is not None and before.is_alive():
            return

        def guarded() -> None:
            try:
                job()
            except Exception as error:
                self.tell(f"{name} failed: {error!r}", ERROR)

        self._threads_begun[name] = self.machine.since_boot()
        self._threads[name] = threading.Thread(target=guarded, name=name, daemon=True)
        self._threads[name].start()

    def _wakes(self) -> bool:
        """Whether the scheduler still wakes jobs."""
        thread = getattr(self.scheduler, "_thread", None)
        return thread is None or thread.is_alive()

    def planned(self) -> Iterator[str]:
        """What will be done next, in the season's local time."""
        now = self.clock()
        for job in self._jobs.values():
            at = job.plan.after(None, now)
            if at is not None:
                yield f"next {job.name}: {at.astimezone(self.season.zone):%Y-%m-%d %H:%M}"

    def end(self) -> None:
        notify("STOPPING=1")
        self.scheduler.pause()
        self.children.end_all()
        self.scheduler.shutdown(wait=True)

    def _plan(self) -> None:
        """Work out every job's next time."""
        for job in self._jobs.values():
            self.scheduler.add_job(
                job.do,
                OnWall(job.plan, self.clock),
                id=job.name,
                max_instances=1,
                coalesce=True,
                misfire_grace_time=int(job.late_by.total_seconds()),
                replace_existing=True,
            )
        for name, (at, job) in dict(self._once).items():
            self._later(name, at, job)

    def _later(self, name: str, at: datetime, job: Callable[[], None]) -> None:
        self._once[name] = (at, job)

        def once() -> None:
            if self._once.get(name) == (at, job):
                del self._once[name]
            job()

        self.scheduler.add_job(
            once,
            "date",
            run_date=at + self.clock.skew,
            id=name,
            replace_existing=True,
            misfire_grace_time=None,
        )

    def _heard(self, event: object) -> None:
        name = event.job_id
        if event.code == EVENT_JOB_ERROR:
            self.tell(f"{name} failed: {event.exception!r}", ERROR)
            return
        busy = event.code == EVENT_JOB_MAX_INSTANCES
        why = "the one before had not ended" if busy else "the machine was too busy, or asleep"
        camera = name.removeprefix("capture ")
        times = event.scheduled_run_times if busy else [event.scheduled_run_time]
        for at in times:
            if camera in self.cameras and camera != name:
                self.keeping.taking.missed(camera, at - self.clock.skew, why)
            else:
                self.tell(f"{name} did not run when it was due: {why}", WARNING)


_HEARD = EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES | EVENT_JOB_ERROR


@dataclass(frozen=True)
class _Signals:
    stopping: threading.Event

    def __enter__(self) -> None:
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, lambda *_: self.stopping.set())

    def __exit__(self, *_: object) -> None:
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, signal.SIG_DFL)


def run(season: Season, tell: Tell, machine: Machine | None = None) -> None:
    """Capture on schedule, run the other stages at their times, until told to stop.

    A capture that fails is told, noted and tried again; measuring, films, copies and publishing run
    as processes of their own, so that their memory is given back and a fault in them never stops
    the captures.

    Parameters
    ----------
    season : Season
        An open season; its clock is replaced by one that jumps of the machine's do not move.
    tell : Tell
        Takes a line of text about what happened.
    machine : Machine, optional
        Whose clocks count; this machine's by default.

    Raises
    ------
    SeasonBusy
        If another ``lapsekit run`` captures into this season.
    CameraError
        If no camera takes pictures by itself.
    """
    logging.getLogger("apscheduler").setLevel(logging.CRITICAL + 1)  # told in our own words
    machine = machine or ThisMachine(season.settings.capture.wait_for_clock)
    with _alone(season, tell):
        process = _Process(season, tell, machine)
        with _Signals(process.stopping):
            process.start()
            notify("READY=1")
            while not process.stopping.wait(LOOK_EVERY_S):
                try:
                    process.look()
                except Exception as error:  # without its answer, the manager starts it anew
                    tell(f"failed: {error!r}", ERROR)
            process.end()
    tell("stopped")


@contextmanager
def _alone(season: Season, tell: Tell) -> Iterator[None]:
    try:
        opened = (season.folder / RUNNING_FILE).open("a+")
    except OSError as error:  # read-only, or full: it is told and called for, and passes
        tell(f"{season.folder}: cannot be written ({error.strerror})", ERROR)
        yield
        return
    with opened as file:
        try:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            file.seek(0)
            raise SeasonBusy(
                f"{season.folder}: lapsekit run is at work there already (process "
                f"{file.read().strip() or 'unknown'}); two would take every frame twice"
            ) from error
        with suppress(OSError):
            file.truncate(0)
            file.write(f"{os.getpid()}\n")
            file.flush()
        yield
