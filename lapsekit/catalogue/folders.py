"""What is in step with the frame files: day folders as they were last read, and the time zone."""

from collections.abc import Callable, Mapping
from datetime import date, datetime

from lapsekit.catalogue.database import Database
from lapsekit.when import from_utc_text

_PAGE = 1000


class Folders(Database):
    """What is asked of day folders. A folder is named like ``frames/bench/2031-04-17``."""

    def folders(self) -> dict[str, int | None]:
        """When each day folder was last changed as it was read; None where it has to be read."""
        return dict(self._read("SELECT path, changed_ns FROM folder"))

    def paths_in(self, folder: str) -> set[str]:
        """Paths of the frames in a folder."""
        rows = self._read(
            "SELECT path FROM frame WHERE path > ?1 || '/' AND path < ?1 || '0'", (folder,)
        )
        return {path for (path,) in rows}

    def note_folders(self, read: Mapping[str, int | None]) -> None:
        """Note when folders were last changed that the catalogue is in step with now."""
        with self._transaction() as db:
            db.executemany(
                "INSERT INTO folder VALUES (?, ?) ON CONFLICT DO UPDATE"
                " SET changed_ns = excluded.changed_ns",
                read.items(),
            )

    def forget_folders(self, gone: list[str]) -> None:
        """Forget folders that are no more, whose frames are forgotten."""
        with self._transaction() as db:
            db.executemany("DELETE FROM folder WHERE path = ?", [(path,) for path in gone])

    def redate(self, day_of: Callable[[datetime], date]) -> int:
        """Give every frame the local day that `day_of` says; how many changed (a new zone)."""
        moved = 0
        last = 0
        while rows := self._read(
            "SELECT id, taken_at, day FROM frame WHERE id > ? ORDER BY id LIMIT ?", (last, _PAGE)
        ):
            last = rows[-1][0]
            moved += self._redate(
                [
                    (day, frame_id, old)
                    for frame_id, taken_at, old in rows
                    if (day := day_of(from_utc_text(taken_at)).isoformat()) != old
                ]
            )
        return moved

    def _redate(self, moved: list[tuple[str, int, str]]) -> int:
        if moved:
            with self._transaction() as db:
                for day, frame_id, old in moved:
                    db.execute("UPDATE frame SET day = ? WHERE id = ?", (day, frame_id))
                    db.execute("DELETE FROM daily WHERE day IN (?, ?)", (day, old))
        return len(moved)

    def noted(self, what: str) -> str | None:
        """What was noted under a name; None where nothing was."""
        rows = self._read("SELECT told FROM note WHERE what = ?", (what,))
        return rows[0][0] if rows else None

    def note(self, what: str, told: str) -> None:
        """Note something under a name, in the place of what stood there."""
        with self._transaction() as db:
            db.execute("INSERT OR REPLACE INTO note VALUES (?, ?)", (what, told))
