"""Frames that were due and did not come are accounted for in missed.csv."""

import threading
from datetime import datetime, timedelta

from lapsekit.season import Season
from lapsekit.unattended.due import DueFrames
from lapsekit.unattended.faults import Faults
from lapsekit.unattended.missed import note_missed, read_missed
from lapsekit.unattended.speaking import WARNING, Tell

AWAY_DAYS = 366
"""Further back nothing is accounted for."""

NOT_RUNNING = "lapsekit run was not running"
NO_TIME = "the time of day was not known; frames came every so often instead"

_MOST_UNWRITTEN = 5000


class Accounting:
    """Writes down which frames did not come, and why.

    Parameters
    ----------
    season : Season
    due : DueFrames
    faults : Faults
    tell : Tell
    """

    def __init__(self, season: Season, due: DueFrames, faults: Faults, tell: Tell):
        self._season = season
        self._due = due
        self._faults = faults
        self._tell = tell
        self._unwritten: list[tuple[str, list[datetime], str]] = []
        self._writing = threading.Lock()

    def last_known(self, camera: str) -> datetime | None:
        """Up to when a camera's frames are there or accounted for."""
        missed = [m.last_due_at for m in read_missed(self._season.folder) if m.camera == camera]
        return max([*missed, *filter(None, [self._season.catalogue.newest(camera)])], default=None)

    def account(self, camera: str, last: datetime, now: datetime, began: datetime) -> None:
        """Write down frames that were due since the last one known of, and did not come.

        Before `began` nobody took any; after it the time of day was not known.
        """
        due = self._due.not_there(camera, max(last, now - timedelta(days=AWAY_DAYS)), now)
        due = [at for at in due if at > last]
        away = [at for at in due if at < began]
        undated = [at for at in due if at >= began]
        self.note(camera, away, NOT_RUNNING)
        self.note(camera, undated, NO_TIME)

    def note(self, camera: str, due: list[datetime], why: str) -> None:
        """Write down frames of a camera that did not come, if any, and tell it."""
        if not due:
            return
        self._faults.guarded("noting", lambda: self.write(camera, due, why))
        span = f"from {self._local(due[0])} to {self._local(due[-1])}"
        span = span if len(due) > 1 else f"at {self._local(due[0])}"
        self._tell(
            f"{camera}: {_counted(len(due))} did not come {span}: {why}",
            WARNING,
            camera=camera,
        )

    def write(self, camera: str, due: list[datetime], why: str) -> None:
        """Write a line, and those that a full or read-only disk did not take before."""
        with self._writing:
            self._unwritten = [*self._unwritten, (camera, due, why)][-_MOST_UNWRITTEN:]
            while self._unwritten:
                note_missed(self._season.folder, *self._unwritten[0])
                del self._unwritten[0]

    def _local(self, moment: datetime) -> str:
        return f"{moment.astimezone(self._season.zone):%Y-%m-%d %H:%M}"


def _counted(frames: int) -> str:
    return "a frame" if frames == 1 else f"{frames} frames"
