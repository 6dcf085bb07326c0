"""A folder into which a phone, a trail camera or a card puts pictures."""

import os
import time
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import NamedTuple
from zoneinfo import ZoneInfo

from lapsekit import settings
from lapsekit.cameras import Shot
from lapsekit.cameras.watched_memory import FILED, TOLD, Memory, State
from lapsekit.errors import CameraError, CameraGone, LeftOut, NothingNew, PictureError
from lapsekit.frames.bringing_in import PICTURE_SUFFIXES, TimeSource
from lapsekit.frames.inspection import inspect

_MOST_REASONS = 4


class _Waiting(NamedTuple):
    """A file to hand out, as it lay there when the folder was looked through."""

    modified: int
    path: str
    state: State


class Watched:
    """Hands out every picture of a folder once, those that came first before the others.

    A file counts as there once it has lain unchanged for a while. Nothing is ever moved or
    deleted. What was filed is remembered in the season folder; a file that changes afterwards is
    another picture. One that was handed out but not filed is handed out again, later.

    Parameters
    ----------
    name : str
        The camera's name.
    model : settings.WatchedCamera
    season_folder : pathlib.Path
        What its folder is named from, and where its memory lies.
    zone : zoneinfo.ZoneInfo
        Zone of times without an offset.
    """

    def __init__(
        self, name: str, model: settings.WatchedCamera, season_folder: Path, zone: ZoneInfo
    ):
        self._name = name
        self._model = model
        self._folder = season_folder / Path(model.folder).expanduser()
        table = f"cameras.{name}"
        self._times = TimeSource(
            zone,
            model.pattern,
            model.file_time,
            f"{table}.pattern",
            f"{table}.file_time = true",
        )
        by = f"time_zone = {zone.key}, pattern = {model.pattern}, file_time = {model.file_time}"
        self._memory = Memory(season_folder / f".watched-{name}.csv", by)
        self._queue: deque[_Waiting] = deque()
        self._handed: set[tuple[str, State]] = set()
        self._broken: list[tuple[str, State, str]] = []
        self._unreadable: set[tuple[str, State]] = set()
        self._looked_at: dict[str, tuple[State, float]] = {}
        self._others: Counter[str] = Counter()
        self._left_out: list[tuple[str, str]] = []
        self._device: int | None = None

    def take(self, now: datetime) -> Shot:
        """The picture that came first of those not filed yet.

        Raises
        ------
        NothingNew
            If there is none; `LeftOut` where files lie there that cannot be used.
        CameraGone
            If the folder cannot be read.
        CameraError
            Once for files that are no pictures, after all others were handed out; and once for
            files that cannot be read, which are tried again each time.
        """
        if not self._queue:
            self._queue.extend(sorted(self._found(now)))
        while self._queue:
            shot = self._shot(self._queue.popleft())
            if shot is not None:
                return shot
        self._handed.clear()
        if self._broken:
            raise CameraError(self._told())
        told = f"{self._folder}: no new picture{self._passed_over()}"
        if self._left_out:
            raise LeftOut(f"{told}; left out before: {by_reason(sorted(self._left_out))}")
        raise NothingNew(told)

    def _found(self, now: datetime) -> Iterator[_Waiting]:
        """Settled pictures that nobody filed or was told of."""
        self._others.clear()
        self._left_out.clear()
        seen: dict[str, tuple[State, float]] = {}
        for path, found in self._files():
            state = State(found.st_size, found.st_mtime_ns)
            if (path, state) in self._handed:
                continue
            if self._memory.knows(path, state):
                if why := self._memory.why_left_out(path, state):
                    self._left_out.append((path, why))
                continue
            before = self._looked_at.get(path)
            same = before is not None and before[0] == state
            seen[path] = before if same else (state, time.monotonic())
            age_s = now.timestamp() - max(found.st_mtime, found.st_ctime)
            watched_s = time.monotonic() - seen[path][1]
            if max(age_s, watched_s) >= self._model.settled_s:
                yield _Waiting(found.st_mtime_ns, path, state)
        self._looked_at = seen

    def _files(self) -> Iterator[tuple[str, os.stat_result]]:
        """Every picture file in the folder and those below it, relative to it."""
        try:
            device = self._folder.stat().st_dev
            names = list(_walked(self._folder))
        except OSError as error:
            raise self._gone(error) from error
        if not names and self._device not in (None, device):
            raise CameraGone(
                f"{self._folder}: empty, and no longer on the disk it was on; is it mounted?"
            )
        self._device = device if names else self._device
        for path in names:
            fits = path.suffix.lower() in PICTURE_SUFFIXES and not self._times.passes_over(path)
            if not fits:
                self._others[path.suffix.lower() or path.name] += 1
                continue
            try:
                yield str(path.relative_to(self._folder)), path.stat()
            except FileNotFoundError:
                continue  # gone since the folder was read
            except OSError as error:  # a card that is pulled
                raise self._gone(error) from error

    def _gone(self, error: OSError) -> CameraGone:
        return CameraGone(
            f"{error.filename or self._folder}: cannot be read ({error.strerror or error}); check "
            "that the card is in, the disk mounted, and that you may read the folder"
        )

    def _shot(self, waiting: _Waiting) -> Shot | None:
        file = self._folder / waiting.path
        try:
            data = file.read_bytes()
            self._unreadable.discard((waiting.path, waiting.state))
            found = file.stat()
            if State(found.st_size, found.st_mtime_ns) != waiting.state:
                return None  # written to again: it has to settle anew
            taken_at = self._times.of(file, inspect(data))
        except FileNotFoundError:
            return None
        except PictureError as error:
            self._broken.append((waiting.path, waiting.state, str(error)))
            return None
        except OSError as error:
            self._not_read(waiting, error)
            return None
        self._handed.add((waiting.path, waiting.state))
        filed = partial(self._memory.add, waiting.path, waiting.state, FILED)
        return Shot(data, taken_at, filed=filed)

    def _not_read(self, waiting: _Waiting, error: OSError) -> None:
        """A fault of the card or of permissions, not of the picture: it may be read another day."""
        try:
            list(self._folder.iterdir())
        except OSError as wider:
            raise self._gone(wider) from error
        known = (waiting.path, waiting.state)
        if known not in self._unreadable:
            self._unreadable.add(known)
            self._broken.append((*known, f"cannot be read ({error.strerror or error})"))

    def _told(self) -> str:
        """What is wrong with files; those that cannot be used are remembered as told."""
        for path, state, why in self._broken:
            if (path, state) not in self._unreadable:
                self._memory.add(path, state, TOLD, why)
        found = [(str(self._folder / path), why) for path, _, why in self._broken]
        self._broken.clear()
        what = "a file" if len(found) == 1 else f"{len(found)} files"
        return f'camera "{self._name}" leaves {what} out: {by_reason(found)}'

    def _passed_over(self) -> str:
        if not self._others:
            return ""
        kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(self._others.items()))
        return f"; passed over for their names: {kinds}"


def by_reason(left_out: Sequence[tuple[str, str]]) -> str:
    """Files that were left out, those of one reason together: one is named, others counted."""
    reasons: dict[str, list[str]] = {}
    for path, why in left_out:
        reasons.setdefault(why, []).append(path)
    told = [
        f"{paths[0]}{f' (and {len(paths) - 1} more)' if len(paths) > 1 else ''}: {why}"
        for why, paths in list(reasons.items())[:_MOST_REASONS]
    ]
    rest = sum(map(len, list(reasons.values())[_MOST_REASONS:]))
    return "; ".join([*told, f"and {rest} more for other reasons"] if rest else told)


def _walked(folder: Path) -> Iterator[Path]:
    """Files in a folder and those below it; hidden ones, which are being written, left out."""

    def stop(error: OSError) -> None:
        raise error

    for inner, folders, files in os.walk(folder, onerror=stop):
        folders[:] = [name for name in folders if not name.startswith(".")]
        yield from (Path(inner, name) for name in files if not name.startswith("."))
