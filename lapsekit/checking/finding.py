"""What a look comes to, and what is looked at."""

import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
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
    def frames(self) -> dict[str, list[Frame]]:
        """Frames of each camera of season.toml, in order of time."""
        return {name: self.season.catalogue.frames(name) for name in self.season.settings.cameras}

    @cached_property
    def screenings(self) -> dict[str, list[tuple[Frame, Screening]]]:
        """Screened frames of each camera of season.toml, in order of time."""
        found = {name: [] for name in self.season.settings.cameras}
        for frame, screening in self.season.catalogue.screenings():
            if frame.camera in found:
                found[frame.camera].append((frame, screening))
        return found

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
