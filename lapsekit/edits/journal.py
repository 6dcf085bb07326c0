"""What was changed, kept so that it can be undone: ``.desk/undo`` in the season folder.

A change is written down before the first text is, as pending, and becomes a numbered entry once
all are written. Whoever holds the texts' lock next settles what a killed process left: a change
that had begun is finished where nobody touched its texts since. Entries hold whole texts; they
are neither copied elsewhere nor published.
"""

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from lapsekit.safely import make_folders, remove_leftovers, write_safely
from lapsekit.texts import read_whole, sync_folder, write_whole

FOLDER = Path(".desk", "undo")
MOST, MOST_BYTES = 200, 20_000_000
_PENDING = "pending.json"


@dataclass(frozen=True)
class Entry:
    """One change as it is kept.

    Attributes
    ----------
    id : str
        Six digits or more.
    what : str
    at : str
        ISO 8601, UTC.
    undoes : str
        The entry that it takes back, or "".
    texts : dict of name to [before, after]
        Whole texts, in the order in which they are written; None for no file.
    """

    id: str
    what: str
    at: str
    undoes: str
    texts: dict[str, list[str | None]]

    @property
    def moment(self) -> datetime:
        """When."""
        return datetime.fromisoformat(self.at)


class Journal:
    """The entries of one season folder. Who writes or settles holds the texts' lock."""

    def __init__(self, season_folder: Path):
        self._season = season_folder
        self._folder = season_folder / FOLDER

    def next_id(self) -> str:
        """The number of the next entry."""
        return f"{int(self._names()[-1]) + 1 if self._names() else 1:06d}"

    def newest_first(self) -> Iterator[Entry]:
        """All entries; one that cannot be read any more is passed over."""
        for name in reversed(self._names()):
            entry = self._read(self._folder / f"{name}.json")
            if entry is not None:
                yield entry

    def carry_out(self, entry: Entry) -> None:
        """Write an entry's texts, so that it can be undone or is as if it had never been."""
        make_folders(self._folder, 0o700)
        write_safely(self._pending, json.dumps(asdict(entry)).encode(), 0o600)
        sync_folder(self._folder)
        self._write(entry)

    def settle(self) -> None:
        """Finish, or forget, what a killed process had begun."""
        if not self._pending.exists():
            return
        remove_leftovers(self._folder)
        entry = self._read(self._pending)
        if entry is None:
            self._pending.unlink()
            return
        now = {name: read_whole(self._season / name) for name in entry.texts}
        begun = {n for n, (before, _) in entry.texts.items() if now[n] != before}
        if all(now[n] in both for n, both in entry.texts.items()) and begun:
            self._write(entry)
            return
        texts = {name: both for name, both in entry.texts.items() if name in begun}
        if texts:
            write_safely(
                self._pending, json.dumps({**asdict(entry), "texts": texts}).encode(), 0o600
            )
            self._pending.replace(self._file(entry.id))
        else:
            self._pending.unlink()

    def _write(self, entry: Entry) -> None:
        for name, (_, after) in entry.texts.items():
            write_whole(self._season / name, after)
            sync_folder(self._season)
        self._pending.replace(self._file(entry.id))
        self._forget_old()

    def _forget_old(self) -> None:
        """Keep the newest entries that there is room for, the last one in any case."""
        room = MOST_BYTES
        for number, name in enumerate(reversed(self._names())):
            file = self._file(name)
            room -= file.stat().st_size
            if number and (number >= MOST or room < 0):
                file.unlink(missing_ok=True)

    def _names(self) -> list[str]:
        names = [path.stem for path in self._folder.glob("*.json") if path.stem.isdecimal()]
        return sorted(names, key=int)

    @property
    def _pending(self) -> Path:
        return self._folder / _PENDING

    def _file(self, name: str) -> Path:
        return self._folder / f"{name}.json"

    def _read(self, path: Path) -> Entry | None:
        try:
            return Entry(**json.loads(path.read_bytes()))
        except (OSError, ValueError, TypeError):
            return None
