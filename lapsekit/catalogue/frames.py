"""Rows of frames: those that came and went, and which there are."""

import json
import sqlite3
from collections.abc import Iterable, Sequence
from datetime import date, datetime

from lapsekit.catalogue.database import Database, judge_from, where
from lapsekit.catalogue.rows import FRAME_COLUMNS, Frame, flat, frame_of
from lapsekit.when import from_utc_text, utc_text

#: The file's name alone, as `frame_by_name` is made of it.
_FILE_NAME = "replace(path, rtrim(path, replace(path, '/', '')), '')"


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
            back = db.execute(  # they stand in the place of what was judged beside the others
                "SELECT camera, min(taken_at) FROM thinned WHERE figures IS NOT NULL"
                " AND path IN (SELECT value FROM json_each(?)) GROUP BY camera",
                (json.dumps([row[3] for row in rows]),),
            ).fetchall()
            for camera, taken_at in back:
                judge_from(db, camera, taken_at)

    def remove_frames(self, paths: Sequence[str]) -> None:
        """Forget frames whose files are gone, with all that was derived from them.

        Of those that were thinned out the day's values stay, and the figures beside which other
        frames are judged.
        """
        with self._transaction() as db:
            for path in paths:
                kept = db.execute(
                    "UPDATE thinned SET (mark, figures) = (SELECT mark, figures FROM frame"
                    " LEFT JOIN screening ON screening.frame_id = id"
                    " LEFT JOIN figures ON figures.frame_id = id WHERE path = thinned.path)"
                    " WHERE path = ? AND sha256 = (SELECT sha256 FROM frame WHERE path = ?)",
                    (path, path),
                ).rowcount
                if not kept:
                    _forget_what_rests_on(db, path)
                db.execute("DELETE FROM frame WHERE path = ?", (path,))

    def clear(self) -> None:
        """Forget everything, in one transaction."""
        with self._transaction() as db:
            for table in (
                *("daily", "measurement", "placement", "figures", "screening", "judging", "frame"),
                *("thinned", "day_count", "folder", "note"),
            ):
                db.execute(f"DELETE FROM {table}")

    # which there are ----------------------------------------------------------------------

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

    def frames_at(self, paths: Iterable[str]) -> list[Frame]:
        """Those frames of some paths that there are, in order of camera, time and name."""
        rows = self._read(
            f"SELECT {FRAME_COLUMNS} FROM frame WHERE path IN (SELECT value FROM json_each(?))"
            " ORDER BY camera, taken_at, path",
            (json.dumps(list(paths)),),
        )
        return [frame_of(row) for row in rows]

    def named(self, names: Iterable[str]) -> list[str]:
        """Paths of the frames that are meant by paths or by file names alone, in order."""
        rows = self._read(
            "WITH said AS (SELECT value FROM json_each(?))"
            " SELECT path FROM frame WHERE path IN said"
            f" UNION SELECT path FROM frame WHERE {_FILE_NAME} IN said ORDER BY path",
            (json.dumps(list(names)),),
        )
        return [path for (path,) in rows]

    def newest(self, camera: str) -> datetime | None:
        """When the last frame of a camera was taken; None without frames."""
        query = "SELECT max(taken_at) FROM frame WHERE camera = ?"
        ((found,),) = self._read(query, (camera,))
        return from_utc_text(found) if found else None

    def oldest(self, camera: str) -> datetime | None:
        """When the first frame of a camera was taken; None without frames."""
        query = "SELECT min(taken_at) FROM frame WHERE camera = ?"
        ((found,),) = self._read(query, (camera,))
        return from_utc_text(found) if found else None

    def latest(self, camera: str, number: int) -> list[Frame]:
        """The last frames of a camera, in order of time."""
        rows = self._read(
            f"SELECT {FRAME_COLUMNS} FROM frame WHERE camera = ?"
            " ORDER BY taken_at DESC, path DESC LIMIT ?",
            (camera, number),
        )
        return [frame_of(row) for row in reversed(rows)]

    def moments(self, camera: str, since: datetime) -> list[datetime]:
        """When the frames of a camera after an instant were taken, in order."""
        query = "SELECT taken_at FROM frame WHERE camera = ? AND taken_at > ? ORDER BY taken_at"
        return [from_utc_text(at) for (at,) in self._read(query, (camera, utc_text(since)))]

    def captured(self, camera: str, since: datetime) -> list[datetime]:
        """The same of those that were not brought in, from that instant on."""
        query = (
            "SELECT taken_at FROM frame WHERE camera = ? AND taken_at >= ?"
            " AND arrived_by <> 'import' ORDER BY taken_at"
        )
        return [from_utc_text(at) for (at,) in self._read(query, (camera, utc_text(since)))]

    def captured_before(self, camera: str, until: datetime) -> datetime | None:
        """When the last frame before an instant was taken that was not brought in."""
        rows = self._read(
            "SELECT taken_at FROM frame WHERE camera = ? AND taken_at < ?"
            " AND arrived_by <> 'import' ORDER BY taken_at DESC LIMIT 1",
            (camera, utc_text(until)),
        )
        return from_utc_text(rows[0][0]) if rows else None

    def bytes_between(self, first: datetime, last: datetime) -> int:
        """What the frames of a span of time take up, both ends included."""
        span = utc_text(first), utc_text(last)
        query = "SELECT total(size) FROM frame WHERE camera = ? AND taken_at BETWEEN ? AND ?"
        return sum(int(self._read(query, (name, *span))[0][0]) for name in self.cameras())

    def first_of_days_after(self, camera: str, day: date, number: int) -> list[Frame]:
        """The first frame of each of the next days of a camera that have one."""
        days = self._read(
            "SELECT DISTINCT day FROM day_count WHERE camera = ? AND day > ? AND frames > 0"
            " ORDER BY day LIMIT ?",
            (camera, day.isoformat(), number),
        )
        query = (
            f"SELECT {FRAME_COLUMNS} FROM frame WHERE camera = ? AND day = ?"
            " ORDER BY taken_at, path LIMIT 1"
        )
        return [frame_of(self._read(query, (camera, of_day))[0]) for (of_day,) in days]

    def has_content(self, camera: str, sha256: str) -> str | None:
        """Path of a frame of `camera` with this content, if there is, or was, one."""
        rows = self._read(
            "SELECT path FROM frame WHERE camera = ?1 AND sha256 = ?2"
            " UNION SELECT path FROM thinned WHERE camera = ?1 AND sha256 = ?2"
            " ORDER BY path LIMIT 1",
            (camera, sha256),
        )
        return rows[0][0] if rows else None


def _forget_what_rests_on(db: sqlite3.Connection, path: str) -> None:
    """Drop the values of a frame's day, and judge those after it anew."""
    db.execute("DELETE FROM daily WHERE day = (SELECT day FROM frame WHERE path = ?)", (path,))
    judged = db.execute(
        "SELECT camera, taken_at FROM frame JOIN figures ON frame_id = id WHERE path = ?", (path,)
    ).fetchone()
    if judged:
        judge_from(db, *judged)
