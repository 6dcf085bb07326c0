"""Which frames are done by which settings, so that those that are not are found by an index."""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from lapsekit.catalogue.database import Database
from lapsekit.catalogue.rows import FRAME_COLUMNS, Frame, frame_of

_PAGE = 1000


@dataclass(frozen=True)
class Done:
    """What is there of a frame: marks of its screening and measurements, and what it came to."""

    screening_mark: str
    reasons: tuple[str, ...]
    is_lost: bool
    marks: dict[str, str]


class Work(Database):
    """What is asked of work that is done or not."""

    def frames_with(
        self, camera: str, group: tuple[str, int, int], first: date, last: date
    ) -> Iterator[list[Frame]]:
        """Frames of one of a camera's `groups` on days of a span, in order of time, by pages."""
        query = (
            f"SELECT {FRAME_COLUMNS}, id FROM frame WHERE camera = ? AND done_mark = ?"
            " AND width = ? AND height = ? AND day <= ? AND (day, taken_at, id) > (?, ?, ?)"
            " ORDER BY day, taken_at, id LIMIT ?"
        )
        after = (first.isoformat(), "", 0)
        while rows := self._read(query, (camera, *group, last.isoformat(), *after, _PAGE)):
            after = (rows[-1][2], rows[-1][1], rows[-1][9])
            yield [frame_of(row) for row in rows]

    def done(self, frames: Iterable[Frame]) -> dict[str, Done]:
        """What is there of some frames, by path; those that are not screened are left out."""
        asked = (json.dumps([frame.path for frame in frames]),)
        marks: dict[str, dict[str, str]] = {}
        for path, region, mark in self._read(
            "SELECT path, region, mark FROM frame JOIN measurement ON frame_id = id"
            " WHERE path IN (SELECT value FROM json_each(?))",
            asked,
        ):
            marks.setdefault(path, {})[region] = mark
        rows = self._read(
            "SELECT path, mark, reasons, how IS NOT NULL AND matrix IS NULL"
            " FROM frame JOIN screening ON screening.frame_id = id"
            " LEFT JOIN placement ON placement.frame_id = id"
            " WHERE path IN (SELECT value FROM json_each(?))",
            asked,
        )
        return {
            path: Done(mark, tuple(json.loads(reasons)), bool(lost), marks.get(path, {}))
            for path, mark, reasons, lost in rows
        }

    def note_done(self, mark_of: Mapping[str, str]) -> None:
        """Note by which mark frames were found done, by their paths.

        It stands until a row of theirs goes: then they are looked at again.
        """
        with self._transaction() as db:
            db.executemany(
                "UPDATE frame SET done_mark = ? WHERE path = ?",
                [(mark, path) for path, mark in mark_of.items()],
            )
