"""What was told to whom is called, between two looks: a small JSON file in the season folder.

Where the season folder cannot be written (a full disk, a card gone read-only), of all times, it is
kept in a folder that the next start of the machine may empty: else each look would call anew.
"""

import fcntl
import hashlib
import json
import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import fields
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

from lapsekit.frames.names import ASIDE
from lapsekit.safely import write_safely
from lapsekit.unattended.calling import Condition, News, State
from lapsekit.when import from_utc_text, utc_text

STATE_FILE = ".alerts.json"
LOCK_FILE = ".alerts.lock"
SPARE = "lapsekit-alerts-"
_NUMBER = "written"
Row = TypeVar("Row", Condition, News)


@contextmanager
def remembered(folder: Path) -> Iterator["Memory"]:
    """Hold a season's memory of what was told; one process at a time.

    Parameters
    ----------
    folder : pathlib.Path
        The season folder.
    """
    spare = _spare_folder(folder)
    lock = _open_lock(folder)
    lock = _open_lock(spare) if lock is None else lock
    try:
        if lock is not None:
            fcntl.flock(lock, fcntl.LOCK_EX)
        yield Memory(folder, spare)
    finally:
        if lock is not None:
            os.close(lock)


class Memory:
    """The state, wherever it could be written last.

    Attributes
    ----------
    state : State
        As it was read; empty where nothing is, or it was damaged.
    damaged : pathlib.Path or None
        Where a damaged file was put aside.
    """

    def __init__(self, folder: Path, spare: Path):
        self._folders = (folder, spare)
        self.damaged: Path | None = None
        files = [folder / STATE_FILE, *([spare / STATE_FILE] if _is_ours(spare) else [])]
        found = [read for file in files if (read := self._read(file)) is not None]
        self._number, self.state = max(found, key=lambda each: each[0], default=(0, State()))

    def keep(self, state: State) -> bool:
        """Remember a state; whether it could be written at all."""
        if state == self.state and not self.damaged:
            return True
        text = json.dumps(_plain(state) | {_NUMBER: self._number + 1}, indent=1, ensure_ascii=False)
        for folder in self._folders:
            with suppress(OSError):
                if _is_there(folder):
                    write_safely(folder / STATE_FILE, text.encode())
                    return True
        return False

    def _read(self, path: Path) -> tuple[int, State] | None:
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            return int(found[_NUMBER]), _state(found)
        except OSError:
            return None
        except (ValueError, KeyError, TypeError, AttributeError):
            aside = path.with_name(f"{path.name}.{ASIDE}")
            with suppress(OSError):
                path.replace(aside)
                self.damaged = aside
            return None


def _spare_folder(folder: Path) -> Path:
    """A folder of our own that is written to when the season folder cannot be."""
    given = os.environ.get("RUNTIME_DIRECTORY") or os.environ.get("XDG_RUNTIME_DIR")
    name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]
    return Path(given or tempfile.gettempdir()) / f"{SPARE}{os.geteuid()}-{name}"


def _is_ours(folder: Path) -> bool:
    """Whether a spare folder is one that nobody else can have laid there."""
    try:
        about = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(about.st_mode) and about.st_uid == os.geteuid()


def _is_there(folder: Path) -> bool:
    """Whether a folder can be used; a spare one is made for it."""
    if folder.name.startswith(SPARE):
        with suppress(OSError):
            folder.mkdir(mode=0o700)
        return _is_ours(folder)
    return folder.is_dir()


def _open_lock(folder: Path) -> int | None:
    if not _is_there(folder):
        return None
    try:
        how = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
        return os.open(folder / LOCK_FILE, how, 0o600)
    except OSError:
        return None


def _plain(state: State) -> dict[str, object]:
    return {
        "conditions": [_plain_row(each) for each in state.conditions],
        "news": [_plain_row(each) for each in state.news],
    }


def _plain_row(row: Condition | News) -> dict[str, object]:
    def plain(value: object) -> object:
        if isinstance(value, datetime):
            return utc_text(value)
        return value.total_seconds() if isinstance(value, timedelta) else value

    return {key: plain(value) for key, value in vars(row).items() if value is not None}


def _state(found: dict) -> State:
    return State(
        tuple(_row(Condition, each) for each in found["conditions"]),
        tuple(_row(News, each) for each in found["news"]),
    )


def _row(kind: type[Row], found: dict) -> Row:
    def value(name: str, given: object) -> object:
        if name in ("key", "sentence"):
            return str(given)
        return timedelta(seconds=given) if name == "clear_after" else from_utc_text(given)

    known = {each.name for each in fields(kind)} & found.keys()
    return kind(**{name: value(name, found[name]) for name in known})
