"""Stage: the copies are restored into a folder that goes again, and compared with the season."""

import os
import random
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from lapsekit.copied import read_copied
from lapsekit.copying.belongings import is_frame, own_frames, own_texts
from lapsekit.copying.restoring import RestoreReport, restore
from lapsekit.errors import CopyError
from lapsekit.frames.archive import content_hash
from lapsekit.progress import Track, silent
from lapsekit.season import Season

NEWEST, AT_RANDOM = 10, 40
"""So many frames come back in a drill, unless all shall."""


@dataclass
class DrillReport:
    """What a restoration would bring.

    Attributes
    ----------
    place : str
    frames, texts : int
        Files that came back whole, and equal to the season's.
    copied : int
        Frames that copied.csv says are there.
    missing, damaged : list of str
        Files that did not come back, or not as they were copied.
    unreadable : list of str
        Frames that came back as they were copied, and are no whole pictures.
    changed_since : list of str
        Texts that were changed here after the last copy.
    waiting : int
        Frames that are not copied yet.
    damaged_lists : list of str
    """

    place: str
    frames: int = 0
    texts: int = 0
    copied: int = 0
    missing: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    unreadable: list[str] = field(default_factory=list)
    changed_since: list[str] = field(default_factory=list)
    waiting: int = 0
    damaged_lists: list[str] = field(default_factory=list)

    @property
    def is_whole(self) -> bool:
        """Whether the copies can be used as they are."""
        return not (self.missing or self.damaged or self.unreadable or self.damaged_lists)


def drill(
    season: Season,
    *,
    everything: bool = False,
    chance: random.Random | None = None,
    track: Track = silent,
    wait: Callable[[float], None] = time.sleep,
    tell: Callable[[str], None] = lambda _: None,
) -> DrillReport:
    """Restore what was copied, or a part of its frames, and compare it with the season.

    Parameters
    ----------
    season : Season
        The caller holds its lock for copies.
    everything : bool
        Every frame, not the newest and some at random.
    chance : random.Random, optional
        Chooses the latter; others every time unless it is given.
    track, wait, tell
        As for `restore`.

    Raises
    ------
    NotTrusted, SettingsError, CopyError
        As `restore`; and if nothing was copied yet.
    """
    record = read_copied(season.folder)
    frames = sorted(filter(is_frame, record))
    if not record:
        raise CopyError(f"{season.folder}: nothing was copied yet; lapsekit copy does it")
    wanted = set(frames) if everything else _some(frames, chance or random.Random())
    with tempfile.TemporaryDirectory(prefix="lapsekit-drill-", dir=_roomy()) as scratch:
        found = restore(
            season.settings.copies,
            Path(scratch, "season"),
            source=season.folder,
            chosen=lambda listed: [path for path in listed if path in wanted],
            clock=season.clock,
            track=track,
            wait=wait,
            tell=tell,
        )
        return _compared(season, frames, found)


def _some(frames: list[str], chance: random.Random) -> set[str]:
    """The newest, and others at random."""
    newest = sorted(frames, key=lambda path: path.rsplit("/", 1)[-1])[-NEWEST:]
    others = sorted(set(frames) - set(newest))
    return {*newest, *chance.sample(others, min(AT_RANDOM, len(others)))}


def _roomy() -> str | None:
    """A folder for large temporary files: /tmp may be held in memory."""
    roomy = "/var/tmp"
    given = os.environ.get("TMPDIR")
    return None if given or not os.access(roomy, os.W_OK) else roomy


def _compared(season: Season, frames: list[str], found: RestoreReport) -> DrillReport:
    record = read_copied(season.folder)
    report = DrillReport(found.place, copied=len(frames), damaged_lists=found.damaged_lists)
    report.missing = sorted({*found.missing, *(set(frames) - set(found.listed))})
    report.damaged = list(found.damaged)
    report.unreadable = [path for path, _ in found.indexed.unreadable] if found.indexed else []
    report.waiting = sum(path not in record for path in own_frames(season.folder))
    for path in own_frames(found.folder):
        if content_hash((found.folder / path).read_bytes()) == record[path].sha256:
            report.frames += 1
        else:
            report.damaged.append(path)
    for path in own_texts(season.folder, season.settings):
        back, here = found.folder / path, season.folder / path
        if back.is_file() and here.is_file() and back.read_bytes() == here.read_bytes():
            report.texts += 1
        elif path not in record or _changed(here, record[path].sha256):
            report.changed_since.append(path)
        elif path not in report.missing and path not in report.damaged:
            report.damaged.append(path)
    return report


def _changed(file: Path, sha256: str) -> bool:
    return not file.is_file() or content_hash(file.read_bytes()) != sha256
