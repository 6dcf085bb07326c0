"""What is done without a visit, and when: the jobs, free of who wakes them.

:mod:`lapsekit.unattended.process` wakes them by the scheduler on a real machine,
:mod:`lapsekit.unattended.simulating` in simulated time.
"""

import threading
from collections import defaultdict
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Protocol

from lapsekit.cameras import Camera
from lapsekit.errors import (
    CameraError,
    CameraGone,
    CatalogueError,
    LapsekitError,
    NothingNew,
    SeasonBusy,
)
from lapsekit.season import Season
from lapsekit.unattended.capturing import capture, capture_undated
from lapsekit.unattended.children import Ended, note_morning
from lapsekit.unattended.clock import Machine, SteadyClock, boot_moment
from lapsekit.unattended.missed import note_missed, read_missed
from lapsekit.unattended.schedule import (
    DayPlan,
    alert_times,
    captures,
    copyings,
    films,
    mornings,
    take_ins,
)
from lapsekit.unattended.speaking import ERROR, INFO, WARNING, Tell
from lapsekit.unattended.waiting import file_waiting, waiting_frames
from lapsekit.when import days_between, is_met

LATE_BY = timedelta(minutes=2)
"""A frame that would be taken later than this is not the one that was due."""

MORNING_LATE_BY = timedelta(hours=12)
RETRIES_MINUTES = (1, 3, 7, 15, 30)
"""When a daily picture that failed is tried again, in minutes after it was due; then every 30."""

AWAY_DAYS = 366
"""Further back nothing is accounted for."""

NOT_RUNNING = "lapsekit run was not running"
NO_TIME = "the time of day was not known; frames came every so often instead"

TAKE_IN_S = 1800.0
"""Taking in followers' pictures is ended after so long, and goes on the next time."""

_MOST_AT_ONCE = 500
_MOST_UNWRITTEN = 5000
_EARLY = timedelta(seconds=1)  # a job may be woken by so much before its time


@dataclass(frozen=True)
class Before:
    """When everything was planned, and up to when each camera was accounted for then."""

    planned_at: datetime
    last: dict[str, datetime | None]


class Later(Protocol):
    """Wakes a job once, at an instant of the season's clock; an earlier one of its name is void."""

    def __call__(self, name: str, at: datetime, job: Callable[[], None]) -> None:
        """Remember it."""
        ...


@dataclass(frozen=True)
class Job:
    """Something done again and again: when, what, and how late it may be."""

    name: str
    plan: DayPlan
    do: Callable[[], None]
    late_by: timedelta


class Keeping:
    """The unattended camera's work.

    Parameters
    ----------
    season : Season
        Its clock is `clock`.
    cameras : mapping of str to Camera
        Those that take pictures.
    clock : SteadyClock
    machine : Machine
    stage : callable
        Runs a command of lapsekit on the season as a child, told its words.
    tell : Tell
    later : Later

    Attributes
    ----------
    begun : dict of str to timedelta
        Captures under way, by camera: when they began, since the start of the machine.
    """

    def __init__(
        self,
        season: Season,
        cameras: Mapping[str, Camera],
        clock: SteadyClock,
        machine: Machine,
        stage: Callable[..., Ended],
        tell: Tell,
        later: Later,
    ):
        self._season = season
        self._cameras = cameras
        self._clock = clock
        self._machine = machine
        self._stage = stage
        self._tell = tell
        self._later = later
        self._due_times = lru_cache(maxsize=8)(season.due_times)
        self._began = self._next_undated = machine.since_boot()
        self._one_at_a_time = defaultdict(threading.Lock)
        self._newest: dict[str, datetime] = {}
        self._take_in_fails = False
        self.begun: dict[str, timedelta] = {}
        self._unwritten: list[tuple[str, list[datetime], str]] = []
        self._writing = threading.Lock()

    def jobs(self) -> list[Job]:
        """Everything that is done by the time of day."""
        settings = self._season.settings
        jobs = [
            Job(
                f"capture {name}",
                captures(settings, self._due_times),
                lambda name=name: self.capture_due(name),
                LATE_BY,
            )
            for name in self._cameras
            if settings.cameras[name].kind != "watched"
        ]
        jobs.append(Job("morning", mornings(settings), self.morning, MORNING_LATE_BY))
        if settings.film.weekly_on != "never":
            jobs.append(Job("weekly film", films(settings), self.film, MORNING_LATE_BY))
        if settings.copies.to:
            jobs.append(Job("copies", copyings(settings), self.copy, MORNING_LATE_BY))
        if settings.alerts.to_file:
            jobs.append(Job("alerts", alert_times(settings), self.alert, timedelta(minutes=30)))
        followers = settings.followers
        if followers.mail or followers.inbox or followers.answers:
            late_by = timedelta(minutes=5)
            jobs.append(Job("followers", take_ins(settings), self.take_in, late_by))
        return jobs

    # the beginning ------------------------------------------------------------------------

    def before(self) -> "Before":
        """What is known, now that jobs are planned, of the time before."""
        known = {
            name: self._guarded("accounting", lambda name=name: self._last_known(name))
            for name in self._dated_by_asking()
        }
        return Before(self._season.clock(), known)

    def settle(self, before: "Before") -> None:
        """See to what came and did not come before: may take long.

        Frames that waited for the time of day are filed, what was due and is not there is accounted
        for, and today's morning and daily pictures are made up for.
        """
        self._guarded("noting", self._note_frames)
        self.file_waiting()
        now = before.planned_at
        for name, last in before.last.items():
            if last is not None:
                self._guarded(
                    "accounting", lambda name=name, last=last: self._account(name, last, now)
                )
        today = self._season.day_of(now)
        for name in before.last:
            due = self._season.daily_at(today)
            if due < now and not self._has_frame_since(name, due):
                self._try_later(name, due, soon=True)
        if now > max(mornings(self._season.settings).moments(today)):
            self._later("morning missed", now, self.morning)  # does only what is not done yet

    def file_waiting(self) -> None:
        """File the frames that waited for the time of day."""
        if not self._clock.is_known:
            return
        for waiting in self._guarded("filing", lambda: list(waiting_frames(self._season))) or []:
            frame = self._guarded(
                f"filing {waiting.path}",
                lambda waiting=waiting: file_waiting(
                    self._season, self._clock, self._machine, waiting
                ),
            )
            if frame is not None:
                self._tell(f"filed {frame.path}, which waited for the time of day")

    def _note_frames(self) -> None:
        """A power cut may have taken the last notes of the catalogue: the files are the truth."""
        with suppress(SeasonBusy), self._season.lock("run", wait_s=0):
            self._season.index()

    def _last_known(self, camera: str) -> datetime | None:
        """Up to when a camera's frames are there or accounted for."""
        missed = [m.last_due_at for m in read_missed(self._season.folder) if m.camera == camera]
        return max([*missed, *filter(None, [self._season.catalogue.newest(camera)])], default=None)

    def _account(self, camera: str, last: datetime, now: datetime) -> None:
        """Write down frames that were due since the last one known of, and did not come."""
        due = self._not_there(camera, max(last, now - timedelta(days=AWAY_DAYS)), now)
        began = boot_moment(self._clock, self._machine, self._began)
        due = [at for at in due if at > last]
        away = [at for at in due if at < began]
        undated = [at for at in due if at >= began]
        self._note_missed(camera, away, NOT_RUNNING)
        self._note_missed(camera, undated, NO_TIME)

    def _not_there(self, camera: str, first: datetime, now: datetime) -> list[datetime]:
        """When frames were due from `first` on, until now, that did not come."""
        there = self._season.catalogue.moments(camera, first)
        return [
            at
            for day in days_between(self._season.day_of(first), self._season.day_of(now))
            for at in self._due_times(day)
            if first <= at < now and not is_met(at, there, LATE_BY)
        ]

    def _note_missed(self, camera: str, due: list[datetime], why: str) -> None:
        if not due:
            return
        self._guarded("noting", lambda: self._write_missed(camera, due, why))
        span = f"from {self._local(due[0])} to {self._local(due[-1])}"
        span = span if len(due) > 1 else f"at {self._local(due[0])}"
        self._tell(
            f"{camera}: {_counted(len(due))} did not come {span}: {why}",
            WARNING,
            camera=camera,
        )

    def _write_missed(self, camera: str, due: list[datetime], why: str) -> None:
        """Write a line, and those that a full or read-only disk did not take before."""
        with self._writing:
            self._unwritten = [*self._unwritten, (camera, due, why)][-_MOST_UNWRITTEN:]
            while self._unwritten:
                note_missed(self._season.folder, *self._unwritten[0])
                del self._unwritten[0]

    # frames -------------------------------------------------------------------------------

    def capture_due(self, name: str) -> None:
        """Take the frame that is due now; a daily picture that fails is tried again."""
        due = self._due(self._season.clock() + _EARLY)
        self._attempt(name, due, self._is_daily(due))

    def missed(self, name: str, due: datetime, why: str) -> None:
        """Frames from `due` until now were not even tried."""
        now = self._season.clock()
        gone = self._guarded("noting", lambda: self._not_there(name, due, now)) or [due]
        self._note_missed(name, gone, why)
        for at in filter(self._is_daily, gone):
            self._try_later(name, at)

    def watch(self) -> None:
        """File every picture that came into a watched folder."""
        for name, camera in self._cameras.items():
            if self._season.settings.cameras[name].kind != "watched":
                continue
            for _ in range(_MOST_AT_ONCE):
                try:
                    self._filed(name, camera, is_daily=False)
                except NothingNew:
                    break
                except CameraGone as error:
                    self._tell(f"failed: {error}", ERROR, camera=name)
                    break
                except (LapsekitError, OSError) as error:
                    self._tell(f"failed: {error}", ERROR, camera=name)
                    if not isinstance(error, CameraError):  # of some files: others still come
                        break

    def capture_undated(self) -> None:
        """While the time of day is not known: a frame every so often, kept apart."""
        after = self._machine.since_boot()
        if self._clock.is_known or after < self._next_undated:
            return
        self._next_undated = after + timedelta(minutes=self._season.settings.capture.every_minutes)
        for name in self._dated_by_asking():
            with self._one_at_a_time[name]:
                kept = self._guarded(
                    "capture",
                    lambda name=name: capture_undated(
                        self._season, name, self._cameras[name], self._machine
                    ),
                )
            if kept:
                self._tell(f"kept {kept} until the time of day is known", camera=name)

    def _attempt(self, name: str, due: datetime, is_daily: bool) -> None:
        """One try at a frame; one that came since it was due stands for it."""
        with self._one_at_a_time[name]:
            if name in self._newest and self._newest[name] >= due:
                return
            try:
                self._filed(name, self._cameras[name], is_daily)
                return
            except CatalogueError as error:
                self._mend(error)
                return
            except (LapsekitError, OSError) as error:
                why = str(error)
        self._tell(f"failed: {why}", ERROR, camera=name)
        if not (is_daily and self._try_later(name, due)):
            self._guarded("noting", lambda: self._write_missed(name, [due], why))

    def _try_later(self, name: str, due: datetime, soon: bool = False) -> bool:
        """Try a daily picture (again); False once its search window is over."""
        now = self._season.clock()
        within = timedelta(minutes=self._season.settings.capture.daily_within_minutes)
        again = now if soon and now <= due + within else self._next_try(due)
        if again is None:
            return False
        self._later(f"daily picture {name}", again, lambda: self._attempt(name, due, True))
        return True

    def _has_frame_since(self, name: str, due: datetime) -> bool:
        newest = self._guarded("looking", lambda: self._season.catalogue.newest(name))
        return newest is not None and newest >= due

    def _filed(self, name: str, camera: Camera, is_daily: bool) -> None:
        self.begun[name], asked_at = self._machine.since_boot(), self._season.clock()
        try:
            took = capture(self._season, name, camera, is_daily)
        finally:
            self.begun.pop(name, None)
        self._newest[name] = asked_at
        told, frame = "filed" if took.is_new else "already there:", took.frame
        size = f"({frame.size // 1024} kB)"
        self._tell(f"{told} {frame.path} {size}", camera=name, frame=frame.path)
        for note in took.notes:
            self._tell(f"{name}: {note}", WARNING, camera=name)

    def _next_try(self, due: datetime) -> datetime | None:
        """When a daily picture is tried again; None once its search window is over."""
        now, within = self._season.clock(), self._season.settings.capture.daily_within_minutes
        steps = [*RETRIES_MINUTES, *range(60, within + 1, 30)]
        tries = [due + timedelta(minutes=step) for step in steps if step <= within]
        return next((at for at in tries if at > now), None)

    def _due(self, now: datetime) -> datetime:
        """The moment that a frame taken now is due for."""
        day = self._season.day_of(now)
        around = [at for d in (day - timedelta(days=1), day) for at in self._due_times(d)]
        return max((at for at in around if at <= now), default=now)

    def _is_daily(self, due: datetime) -> bool:
        day = self._season.day_of(due)
        return any(due == self._season.daily_at(d) for d in _beside(day))

    def _dated_by_asking(self) -> list[str]:
        """Cameras whose pictures carry no date of their own."""
        models = self._season.settings.cameras
        return [name for name in self._cameras if models[name].kind != "watched"]

    # the other work -----------------------------------------------------------------------

    def morning(self) -> None:
        """Measure, growth, site, publish; then whoever is to be called is."""
        settings = self._season.settings
        ended = self._run(
            "morning",
            time_limit_s=settings.morning.time_limit_minutes * 60,
            memory_mb=settings.compute.memory_mb,
        )
        if ended.was_stopped:
            return
        if ended.code == CatalogueError.exit_code:
            self._guarded("mending", self._put_damage_aside)
        now = self._season.clock()
        self._guarded("noting", lambda: note_morning(self._season.folder, now, ended))
        if self._season.settings.thinning.keep_all_days is not None and ended.code == 0:
            self._run("thin", time_limit_s=3600)
        if self._season.settings.alerts.to_file:
            self.alert()

    def film(self) -> None:
        """The season's film, once a week."""
        memory_mb = self._season.settings.compute.memory_mb
        self._run("film", "--weekly", time_limit_s=12 * 3600, memory_mb=memory_mb)

    def copy(self) -> None:
        """Frames and texts to the far side, every night."""
        self._run("copy", time_limit_s=12 * 3600)

    def alert(self) -> None:
        """Look whether somebody has to be called."""
        self._run("alert", time_limit_s=300, quiet=True)

    def take_in(self) -> None:
        """Followers' pictures; that it fails is told when it begins, and called for after hours."""
        ended = self._stage("followers", "take-in", time_limit_s=TAKE_IN_S)
        failed = ended.code != 0 and not ended.was_stopped
        if failed and not self._take_in_fails:
            told = f"followers take-in failed: {ended.complaint}; it is tried again, and told once"
            self._tell(told, WARNING, stage="followers take-in")
        elif not failed:
            if self._take_in_fails:
                self._tell("followers take-in works again", stage="followers take-in")
            for line in ended.said:
                if not line.startswith("nothing new"):
                    self._tell(f"followers take-in: {line}", stage="followers take-in")
        self._take_in_fails = failed

    def _run(self, *words: str, quiet: bool = False, **limits) -> Ended:
        ended = self._stage(*words, **limits)
        what = " ".join(words)
        if ended.was_stopped:
            self._tell(f"{what} was stopped; it goes on next time", stage=what)
            return ended
        if not quiet or ended.code:
            for line in ended.said:
                self._tell(f"{what}: {line}", stage=what)
        if ended.code:
            self._tell(f"failed: {what} ended with code {ended.code}: {ended.complaint}", ERROR)
        elif ended.code is None:
            self._tell(f"failed: {what} {ended.complaint}", ERROR)
        elif not quiet:
            self._tell(f"{what} done", INFO, stage=what)
        return ended

    # faults -------------------------------------------------------------------------------

    def _mend(self, error: CatalogueError) -> None:
        """A frame is filed, but not noted: open the catalogue anew, aside with a damaged one.

        One that was opened while the disk was read-only would stay so; the files are noted again.
        """
        self._tell(f"failed: {error}", ERROR)
        try:
            if not self._put_damage_aside():
                self._season.reopen_catalogue()
                self._note_frames()
        except (LapsekitError, OSError) as still:
            self._tell(f"failed: mending: {still}", ERROR)

    def _put_damage_aside(self) -> bool:
        """Put a damaged catalogue aside, and go on with a new one; False for a sound one."""
        aside = self._season.mend_catalogue()
        if aside is not None:
            self._tell(
                f"the catalogue was damaged; it is kept as {aside.name}, and the next morning "
                "makes it again from the frames",
                WARNING,
            )
        return aside is not None

    def _guarded(self, what: str, do: Callable):
        try:
            return do()
        except NothingNew:
            return None
        except (LapsekitError, OSError) as error:
            self._tell(f"failed: {what}: {error}", ERROR)
            if isinstance(error, CatalogueError) and what != "mending":
                self._mend(error)
            return None

    def _local(self, moment: datetime) -> str:
        return f"{moment.astimezone(self._season.zone):%Y-%m-%d %H:%M}"


def _beside(day: date) -> list[date]:
    return [day + timedelta(days=n) for n in (-1, 0, 1)]


def _counted(frames: int) -> str:
    return "a frame" if frames == 1 else f"{frames} frames"
