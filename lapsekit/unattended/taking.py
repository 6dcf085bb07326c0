"""Frames: taken when they are due, tried again, filed out of folders, kept without a date."""

import threading
from collections import defaultdict
from datetime import datetime, timedelta

from lapsekit.cameras import Camera
from lapsekit.errors import CameraError, CameraGone, CatalogueError, LapsekitError, NothingNew
from lapsekit.unattended.accounting import Accounting
from lapsekit.unattended.capturing import capture, capture_undated
from lapsekit.unattended.due import DueFrames
from lapsekit.unattended.faults import Faults
from lapsekit.unattended.speaking import ERROR, WARNING
from lapsekit.unattended.world import World

_MOST_AT_ONCE = 500
_EARLY = timedelta(seconds=1)  # a job may be woken by so much before its time


class Taking:
    """Takes the frames of a season's cameras.

    Parameters
    ----------
    world : World
    due : DueFrames
    accounting : Accounting
    faults : Faults

    Attributes
    ----------
    begun : dict of str to timedelta
        Captures under way, by camera: when they began, since the start of the machine.
    """

    def __init__(self, world: World, due: DueFrames, accounting: Accounting, faults: Faults):
        self._world = world
        self._season = world.season
        self._tell = world.tell
        self._due = due
        self._accounting = accounting
        self._faults = faults
        self._next_undated = world.machine.since_boot()
        self._one_at_a_time = defaultdict(threading.Lock)
        self._newest: dict[str, datetime] = {}
        self.begun: dict[str, timedelta] = {}

    def capture_due(self, name: str) -> None:
        """Take the frame that is due now; a daily picture that fails is tried again."""
        due = self._due.at(self._season.clock() + _EARLY)
        self._attempt(name, due, self._due.is_daily(due))

    def missed(self, name: str, due: datetime, why: str) -> None:
        """Frames from `due` until now were not even tried."""
        now = self._season.clock()
        gone = self._faults.guarded("noting", lambda: self._due.not_there(name, due, now)) or [due]
        self._accounting.note(name, gone, why)
        for at in filter(self._due.is_daily, gone):
            self._try_later(name, at)

    def make_up_for(self, name: str, due: datetime) -> None:
        """Try a daily picture at once that was due before, if no frame came since."""
        if not self._has_frame_since(name, due):
            self._try_later(name, due, soon=True)

    def watch(self) -> None:
        """File every picture that came into a watched folder."""
        for name, camera in self._world.cameras.items():
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
        after = self._world.machine.since_boot()
        if self._world.clock.is_known or after < self._next_undated:
            return
        self._next_undated = after + timedelta(minutes=self._season.settings.capture.every_minutes)
        for name in self._world.dated_by_asking():
            with self._one_at_a_time[name]:
                kept = self._faults.guarded(
                    "capture",
                    lambda name=name: capture_undated(
                        self._season, name, self._world.cameras[name], self._world.machine
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
                self._filed(name, self._world.cameras[name], is_daily)
                return
            except CatalogueError as error:
                self._faults.mend(error)
                return
            except (LapsekitError, OSError) as error:
                why = str(error)
        self._tell(f"failed: {why}", ERROR, camera=name)
        if not (is_daily and self._try_later(name, due)):
            self._faults.guarded("noting", lambda: self._accounting.write(name, [due], why))

    def _try_later(self, name: str, due: datetime, soon: bool = False) -> bool:
        """Try a daily picture (again); False once its search window is over."""
        now = self._season.clock()
        within = timedelta(minutes=self._season.settings.capture.daily_within_minutes)
        again = now if soon and now <= due + within else self._due.next_try(due)
        if again is None:
            return False
        self._world.later(f"daily picture {name}", again, lambda: self._attempt(name, due, True))
        return True

    def _has_frame_since(self, name: str, due: datetime) -> bool:
        newest = self._faults.guarded("looking", lambda: self._season.catalogue.newest(name))
        return newest is not None and newest >= due

    def _filed(self, name: str, camera: Camera, is_daily: bool) -> None:
        self.begun[name], asked_at = self._world.machine.since_boot(), self._season.clock()
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
