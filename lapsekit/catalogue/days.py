"""How many frames there are, by camera and day: what every list of days begins with."""

import json
from datetime import date, datetime

from lapsekit.catalogue.database import Database
from lapsekit.when import from_utc_text


class Days(Database):
    """What is asked of days that have frames."""

    def cameras(self) -> list[str]:
        """Names of the cameras that have frames."""
        rows = self._read(
            "WITH RECURSIVE name (camera) AS (SELECT min(camera) FROM frame UNION ALL"
            " SELECT (SELECT min(camera) FROM frame WHERE camera > name.camera) FROM name"
            " WHERE name.camera IS NOT NULL)"
            " SELECT camera FROM name WHERE camera IS NOT NULL"
        )
        return [name for (name,) in rows]

    def days_of_camera(self, camera: str) -> list[date]:
        """Local days on which `camera` has frames, in order."""
        rows = self._read(
            "SELECT DISTINCT day FROM day_count WHERE camera = ? AND frames > 0 ORDER BY day",
            (camera,),
        )
        return [date.fromisoformat(day) for (day,) in rows]

    def last_day(self, camera: str, until: date = date.max) -> date | None:
        """The last local day up to `until` on which `camera` has frames; None without frames."""
        query = "SELECT max(day) FROM frame WHERE camera = ? AND day <= ?"
        ((found,),) = self._read(query, (camera, until.isoformat()))
        return date.fromisoformat(found) if found else None

    def days_with_more(self, camera: str, frames: int, last: date) -> list[date]:
        """Local days up to `last` on which `camera` has more than so many frames, in order."""
        rows = self._read(
            "SELECT day FROM day_count WHERE camera = ? AND day <= ? GROUP BY day"
            " HAVING sum(frames) > ? ORDER BY day",
            (camera, last.isoformat(), frames),
        )
        return [date.fromisoformat(day) for (day,) in rows]

    def last_screened_days(self, camera: str, number: int) -> list[date]:
        """The last local days on which a frame of `camera` is screened, in order."""
        rows = self._read(
            "SELECT DISTINCT day FROM day_count WHERE camera = ? AND reasons <> '' AND frames > 0"
            " ORDER BY day DESC LIMIT ?",
            (camera, number),
        )
        return [date.fromisoformat(day) for (day,) in reversed(rows)]

    def usable_day(self, camera: str, last: bool = False) -> date | None:
        """The first, or the last, day on which a frame of `camera` is usable."""
        rows = self._read(
            "SELECT day FROM day_count WHERE camera = ? AND reasons = '[]' AND frames > 0"
            f" ORDER BY day {'DESC' if last else 'ASC'} LIMIT 1",
            (camera,),
        )
        return date.fromisoformat(rows[0][0]) if rows else None

    def span(self) -> tuple[datetime, datetime] | None:
        """When the first and the last frame of all were taken; None without frames."""
        query = "SELECT min(taken_at) FROM frame WHERE camera = ?1 UNION ALL" + (
            " SELECT max(taken_at) FROM frame WHERE camera = ?1"
        )
        ends = [at for name in self.cameras() for (at,) in self._read(query, (name,))]
        return (from_utc_text(min(ends)), from_utc_text(max(ends))) if ends else None

    def number_of_frames(self, camera: str) -> int:
        """How many frames a camera has."""
        query = "SELECT coalesce(sum(frames), 0) FROM day_count WHERE camera = ?"
        return self._read(query, (camera,))[0][0]

    def counts(
        self, camera: str | None = None, first: date = date.min, last: date = date.max
    ) -> list[tuple[str, date, tuple[str, ...] | None, int]]:
        """How many frames a camera has of a day with the same verdict; None where none is there."""
        return self._counted("frames", camera, first, last)

    def thinned_counts(self) -> list[tuple[str, date, tuple[str, ...] | None, int]]:
        """The same of frames that were thinned out and are gone."""
        return self._counted("gone", None, date.min, date.max)

    def _counted(self, which: str, camera: str | None, first: date, last: date) -> list[tuple]:
        span = first.isoformat(), last.isoformat()
        cameras = [camera] if camera else self._counted_cameras()
        rows = [
            row
            for name in cameras
            for row in self._read(
                f"SELECT camera, day, reasons, {which} FROM day_count"
                f" WHERE camera = ? AND day BETWEEN ? AND ? AND {which} > 0"
                " ORDER BY day, reasons",
                (name, *span),
            )
        ]
        return [
            (name, date.fromisoformat(day), tuple(json.loads(why)) if why else None, number)
            for name, day, why, number in rows
        ]

    def _counted_cameras(self) -> list[str]:
        rows = self._read(
            "WITH RECURSIVE name (camera) AS (SELECT min(camera) FROM day_count UNION ALL"
            " SELECT (SELECT min(camera) FROM day_count WHERE camera > name.camera) FROM name"
            " WHERE name.camera IS NOT NULL)"
            " SELECT camera FROM name WHERE camera IS NOT NULL"
        )
        return [name for (name,) in rows]

    def picture_sizes(self, camera: str) -> list[tuple[int, int, date, date, str]]:
        """Sizes that frames of `camera` have, in order of their first day.

        Returns
        -------
        list of (width, height, first day, last day, path of one such frame)
        """
        found: dict[tuple[int, int], list] = {}
        for group in self.groups(camera):
            first, last = self._ends(camera, group)
            known = found.setdefault(group[1:], [first, last])
            known[:] = min(known[0], first), max(known[1], last)
        return [
            (*size, date.fromisoformat(first[1]), date.fromisoformat(last[1]), first[2])
            for size, (first, last) in sorted(found.items(), key=lambda one: one[1][0])
        ]

    def groups(self, camera: str) -> list[tuple[str, int, int]]:
        """The marks by which frames of `camera` were found done, with the frames' width, height."""
        found, after = [], self._group(camera, "done_mark >= ''", ())
        while after is not None:
            found.append(after)
            mark, width, _ = after
            after = (
                self._group(camera, "done_mark = ? AND width = ? AND height > ?", after)
                or self._group(camera, "done_mark = ? AND width > ?", (mark, width))
                or self._group(camera, "done_mark > ?", (mark,))
            )
        return found

    def _group(self, camera: str, after: str, values: tuple) -> tuple[str, int, int] | None:
        """The first group that comes after another: one step down the index."""
        rows = self._read(
            f"SELECT done_mark, width, height FROM frame WHERE camera = ? AND {after}"
            " ORDER BY done_mark, width, height LIMIT 1",
            (camera, *values),
        )
        return rows[0] if rows else None

    def _ends(self, camera: str, group: tuple[str, int, int]) -> list[tuple[str, str, str]]:
        """When the first and the last frame of a group were taken, their days and paths."""
        query = (
            "SELECT taken_at, day, path FROM frame WHERE camera = ? AND done_mark = ?"
            " AND width = ? AND height = ? ORDER BY day {0}, taken_at {0} LIMIT 1"
        )
        return [self._read(query.format(way), (camera, *group))[0] for way in ("ASC", "DESC")]
