"""What a look comes to, and what is looked at."""

import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path

from lapsekit.catalogue import Frame, Screening
from lapsekit.season import Season

FINE, WATCH, WRONG = "fine", "watch", "wrong"

RECENT_DAYS = 7

Run = Callable[[list[str]], str | None]
"""Runs a program and gives what it says, or None where it is not there or fails."""


@dataclass(frozen=True)
class Finding:
    """One thing looked at: `how` it is (`FINE`, `WATCH` or `WRONG`), and what to do.

    `what` names it with the same words each time: alerts know by them what goes on and what ended.
    """

    what: str
    how: str
    told: str


class Look:
    """A season and its machine while they are looked at; what is read of them is read once.

    Parameters
    ----------
    season : Season
    run : callable, optional
        See `Run`; the machine's own programs by default.
    """

    def __init__(self, season: Season, run: Run | None = None):
        self.season = season
        self.run = run or said
        self.now: datetime = season.clock()

    @cached_property
    def last_frames(self) -> dict[str, Frame | None]:
        """The last frame of each camera of season.toml; None of one that has none."""
        latest = self.season.catalogue.latest
        return {name: next(iter(latest(name, 1)), None) for name in self.season.settings.cameras}

    def screenings(self, days: int) -> Iterator[tuple[str, list[tuple[Frame, Screening]]]]:
        """Screened frames of each camera of season.toml of the last days with any, in order."""
        catalogue = self.season.catalogue
        for name in self.season.settings.cameras:
            since = next(iter(catalogue.last_screened_days(name, days)), date.max)
            yield name, catalogue.screenings(name, since=since)

    @property
    def local_now(self) -> datetime:
        """The present in the season's time zone."""
        return self.now.astimezone(self.season.zone)


Part = Callable[[Look], Iterator[Finding]]
"""Looks at one thing."""


def said(command: list[str]) -> str | None:
    """What a program says on standard output within ten seconds; None where it does not."""
    if shutil.which(command[0]) is None or (command[0] == "cat" and not Path(command[1]).exists()):
        return None
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=10, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return done.stdout if done.returncode == 0 else None
