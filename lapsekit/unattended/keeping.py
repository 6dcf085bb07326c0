"""What is done without a visit, and when: the jobs, free of who wakes them.

:mod:`lapsekit.unattended.process` wakes them by the scheduler on a real machine,
:mod:`lapsekit.unattended.simulating` in simulated time.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from lapsekit.unattended.accounting import Accounting
from lapsekit.unattended.children import Ended
from lapsekit.unattended.clock import boot_moment
from lapsekit.unattended.due import LATE_BY, DueFrames
from lapsekit.unattended.faults import Faults
from lapsekit.unattended.schedule import (
    DayPlan,
    alert_times,
    captures,
    copyings,
    films,
    mornings,
    take_ins,
)
from lapsekit.unattended.stages import Stages
from lapsekit.unattended.taking import Taking
from lapsekit.unattended.waiting import file_waiting, waiting_frames
from lapsekit.unattended.world import World

MORNING_LATE_BY = timedelta(hours=12)


@dataclass(frozen=True)
class Before:
    """When everything was planned, and up to when each camera was accounted for then."""

    planned_at: datetime
    last: dict[str, datetime | None]


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
    world : World
    stage : callable
        Runs a command of lapsekit on the season as a child, told its words.

    Attributes
    ----------
    taking : Taking
        Takes frames.
    stages : Stages
        Runs the other work.
    """

    def __init__(self, world: World, stage: Callable[..., Ended]):
        season, tell = world.season, world.tell
        self._world = world
        self._season = season
        self._began = world.machine.since_boot()
        self._due, self._faults = DueFrames(season), Faults(season, tell)
        self._accounting = Accounting(season, self._due, self._faults, tell)
        self.taking = Taking(world, self._due, self._accounting, self._faults)
        self.stages = Stages(season, stage, self._faults, tell)

    def jobs(self) -> list[Job]:
        """Everything that is done by the time of day."""
        settings = self._season.settings
        jobs = [
            Job(
                f"capture {name}",
                captures(settings, self._due.times),
                lambda name=name: self.taking.capture_due(name),
                LATE_BY,
            )
            for name in self._world.dated_by_asking()
        ]
        jobs.append(Job("morning", mornings(settings), self.stages.morning, MORNING_LATE_BY))
        if settings.film.weekly_on != "never":
            jobs.append(Job("weekly film", films(settings), self.stages.film, MORNING_LATE_BY))
        if settings.copies.to:
            jobs.append(Job("copies", copyings(settings), self.stages.copy, MORNING_LATE_BY))
        if settings.alerts.to_file:
            jobs.append(
                Job("alerts", alert_times(settings), self.stages.alert, timedelta(minutes=30))
            )
        followers = settings.followers
        if followers.mail or followers.inbox or followers.answers:
            late_by = timedelta(minutes=5)
            jobs.append(Job("followers", take_ins(settings), self.stages.take_in, late_by))
        return jobs

    def before(self) -> Before:
        """What is known, now that jobs are planned, of the time before."""
        known = {
            name: self._faults.guarded(
                "accounting", lambda name=name: self._accounting.last_known(name)
            )
            for name in self._world.dated_by_asking()
        }
        return Before(self._season.clock(), known)

    def settle(self, before: Before) -> None:
        """See to what came and did not come before: may take long.

        Frames that waited for the time of day are filed, what was due and is not there is accounted
        for, and today's morning and daily pictures are made up for.
        """
        self._faults.guarded("noting", self._faults.note_frames)
        self.file_waiting()
        now = before.planned_at
        for name, last in before.last.items():
            if last is not None:
                self._faults.guarded(
                    "accounting", lambda name=name, last=last: self._account(name, last, now)
                )
        today = self._season.day_of(now)
        for name in before.last:
            due = self._season.daily_at(today)
            if due < now:
                self.taking.make_up_for(name, due)
        if now > max(mornings(self._season.settings).moments(today)):
            # does only what is not done yet
            self._world.later("morning missed", now, self.stages.morning)

    def _account(self, camera: str, last: datetime, now: datetime) -> None:
        began = boot_moment(self._world.clock, self._world.machine, self._began)
        self._accounting.account(camera, last, now, began)

    def file_waiting(self) -> None:
        """File the frames that waited for the time of day."""
        if not self._world.clock.is_known:
            return
        found = self._faults.guarded("filing", lambda: list(waiting_frames(self._season)))
        for waiting in found or []:
            frame = self._faults.guarded(
                f"filing {waiting.path}",
                lambda waiting=waiting: file_waiting(
                    self._season, self._world.clock, self._world.machine, waiting
                ),
            )
            if frame is not None:
                self._world.tell(f"filed {frame.path}, which waited for the time of day")
