"""Rows of frames."""

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime

from lapsekit.catalogue.database import Database, where
from lapsekit.catalogue.rows import FRAME_COLUMNS, Frame, flat, frame_of
from lapsekit.when import from_utc_text, utc_text


class Frames(Database):
    """What is asked of frames."""

    def add_frames(self, frames: Iterable[Frame]) -> None:
        """Add frames; one whose path is known already stays as it is."""
        rows = [(f.camera, utc_text(f.taken_at), f.day.isoformat(), *flat(f)[3:]) for f in frames]
        with self._transaction() as db:
            db.executemany(
                "INSERT INTO frame (camera, taken_at, day, path, sha256, size, width, height,"
                " arrived_by) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (path) DO NOTHING",
                rows,
            )
            db.executemany("DELETE FROM daily WHERE day = ?", sorted({(row[2],) for row in rows}))

    def newest(self, camera: str) -> datetime | None:
        """When the last frame of a camera was taken; None without frames."""
        query = "SELECT max(taken_at) FROM frame WHERE camera = ?"
        ((found,),) = self._read(query, (camera,))
        return from_utc_text(found) if found else None

    def moments(self, camera: str, since: datetime) -> list[datetime]:
        """When the frames of a camera after an instant were taken, in order."""
        query = "SELECT taken_at FROM frame WHERE camera = ? AND taken_at > ? ORDER BY taken_at"
        return [from_utc_text(at) for (at,) in self._read(query, (camera, utc_text(since)))]

    def remove_frames(self, paths: Sequence[str]) -> None:
        """Forget frames whose files are gone, with all that was derived from them.

        Of those that were thinned out the day's values stay, and the figures beside which other
        frames are judged.
        """
        with self._transaction() as db:
            for path in paths:
                kept = db.execute(
                    "UPDATE thinned SET (mark, figures) = (SELECT mark, figures FROM frame"
                    " LEFT JOIN screening ON id = frame_id WHERE path = thinned.path)"
                    " WHERE path = ? AND sha256 = (SELECT sha256 FROM frame WHERE path = ?)",
                    (path, path),
                ).rowcount
                if not kept:
                    db.execute(
                        "DELETE FROM daily WHERE day = (SELECT day FROM frame WHERE path = ?)",
                        (path,),
                    )
                db.execute("DELETE FROM frame WHERE path = ?", (path,))

    def redate(self, day_of: Callable[[datetime], date]) -> int:
        """Give every frame the local day that `day_of` says; how many changed (a new zone)."""
        rows = self._read("SELECT id, taken_at, day FROM frame")
        moved = [
            (day, frame_id, old)
            for frame_id, taken_at, old in rows
            if (day := day_of(from_utc_text(taken_at)).isoformat()) != old
        ]
        if moved:
            with self._transaction() as db:
                for day, frame_id, old in moved:
                    db.execute("UPDATE frame SET day = ? WHERE id = ?", (day, frame_id))
                    db.execute("DELETE FROM daily WHERE day IN (?, ?)", (day, old))
        return len(moved)

    def clear(self) -> None:
        """Forget everything, in one transaction."""
        with self._transaction() as db:
            for table in (
                *("daily", "measurement", "placement", "screening", "judging", "frame"),
                "thinned",
            ):
                db.execute(f"DELETE FROM {table}")

    def frames(self, camera: str | None = None, day: date | None = None) -> list[Frame]:
        """Frames in order of camera, time and name, all or those of one camera or day."""
        condition, values = where(camera=camera, day=day and day.isoformat())
        rows = self._read(
            f"SELECT {FRAME_COLUMNS} FROM frame {condition} ORDER BY camera, taken_at, path",
            values,
        )
        return [frame_of(row) for row in rows]

    def frame(self, path: str) -> Frame | None:
        """The frame at a path; None where there is none."""
        rows = self._read(f"SELECT {FRAME_COLUMNS} FROM frame WHERE path = ?", (path,))
        return frame_of(rows[0]) if rows else None

    def cameras(self) -> list[str]:
        """Names of the cameras that have frames."""
        return [name for (name,) in self._read("SELECT DISTINCT camera FROM frame ORDER BY camera")]

    def days_of_camera(self, camera: str) -> list[date]:
        """Local days on which `camera` has frames, in order."""
        rows = self._read("SELECT DISTINCT day FROM frame WHERE camera = ? ORDER BY day", (camera,))
        return [date.fromisoformat(day) for (day,) in rows]

    def paths(self) -> set[str]:
        """Paths of all frames."""
        return {path for (path,) in self._read("SELECT path FROM frame")}

    def has_content(self, camera: str, sha256: str) -> str | None:
        """Path of a frame of `camera` with this content, if there is, or was, one."""
        rows = self._read(
            "SELECT path FROM frame WHERE camera = ?1 AND sha256 = ?2"
            " UNION SELECT path FROM thinned WHERE camera = ?1 AND sha256 = ?2"
            " ORDER BY path LIMIT 1",
            (camera, sha256),
        )
        return rows[0][0] if rows else None

    def picture_sizes(self, camera: str) -> list[tuple[int, int, date, date, str]]:
        """Sizes that frames of `camera` have, in order of their first day.

        Returns
        -------
        list of (width, height, first day, last day, path of one such frame)
        """
        rows = self._read(
            "SELECT width, height, min(day), max(day), min(path) FROM frame WHERE camera = ?"
            " GROUP BY width, height ORDER BY min(taken_at)",
            (camera,),
        )
        return [
            (width, height, date.fromisoformat(first), date.fromisoformat(last), path)
            for width, height, first, last, path in rows
        ]
