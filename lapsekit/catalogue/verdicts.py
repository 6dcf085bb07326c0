"""Rows of screenings: which frames are used, and why others are not."""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

from lapsekit.catalogue.database import Database, where
from lapsekit.catalogue.rows import FRAME_COLUMNS, Frame, Screening, frame_of
from lapsekit.verdicts import SAID_NO, SAID_YES
from lapsekit.when import utc_text

#: Of a frame and its screening; the paths of frames that got a no are ?1, of those that got a yes
#: ?2.
_USABLE = (
    "reasons = '[]' AND path NOT IN (SELECT value FROM json_each(?1)) AND"
    f" (substr(told, 1, {len(SAID_YES)}) <> '{SAID_YES}'"
    " OR path IN (SELECT value FROM json_each(?2)))"
)
_SCREENED = (
    f"SELECT {FRAME_COLUMNS}, mark, reasons, luminance, clipped, blur, told, watched"
    " FROM frame JOIN screening ON id = frame_id"
)
#: Frames left out, and those that the grower said something of: their paths are ?2.
_LEFT_OUT = "camera = ?1 AND (reasons <> '[]' OR path IN (SELECT value FROM json_each(?2)))"

Screened = tuple[Frame, Screening]


class Verdicts(Database):
    """What is asked of verdicts."""

    def screenings(
        self,
        camera: str | None = None,
        day: date | None = None,
        since: date = date.min,
        until: date = date.max,
    ) -> list[Screened]:
        """Screened frames with their verdicts, in order of camera and time."""
        condition, values = where(camera=camera, day=day and day.isoformat())
        if (since, until) != (date.min, date.max):
            condition = f"{condition or 'WHERE true'} AND day BETWEEN ? AND ?"
            values = (*values, since.isoformat(), until.isoformat())
        return self._screened(f"{condition} ORDER BY camera, taken_at, path", values)

    def screenings_from(self, camera: str, since: datetime) -> list[Screened]:
        """The same of one camera's frames from an instant on."""
        found = "WHERE camera = ? AND taken_at >= ? ORDER BY taken_at, path"
        return self._screened(found, (camera, utc_text(since)))

    def latest_screened(
        self, camera: str, since: date, until: date, left_out: bool, most: int | None
    ) -> list[Screened]:
        """The last screened frames of a camera in a span of days, in order of time.

        Parameters
        ----------
        camera : str
        since, until : date
        left_out : bool
            Only those that are not used.
        most : int or None
            How many at most; all for None.
        """
        only = "AND reasons <> '[]'" if left_out else ""
        return self._screened(
            f"WHERE camera = ? AND day BETWEEN ? AND ? {only}"
            " ORDER BY day DESC, taken_at DESC, path DESC LIMIT ?",
            (camera, since.isoformat(), until.isoformat(), -1 if most is None else most),
        )[::-1]

    def screenings_at(self, paths: Iterable[str]) -> list[Screened]:
        """The same of those of some paths that are screened."""
        found = "WHERE path IN (SELECT value FROM json_each(?)) ORDER BY camera, taken_at, path"
        return self._screened(found, (json.dumps(list(paths)),))

    def judged(self, paths: Iterable[str]) -> list[Screened]:
        """The same of those of them that are judged, by figures."""
        found = (
            "WHERE path IN (SELECT value FROM json_each(?))"
            " AND id IN (SELECT figures.frame_id FROM figures WHERE figures.frame_id = id)"
        )
        return self._screened(found, (json.dumps(list(paths)),))

    def with_a_word(self) -> list[Screened]:
        """Screened frames whose verdict is the grower's own."""
        no, yes = json.dumps([SAID_NO]), f"substr(told, 1, {len(SAID_YES)}) = '{SAID_YES}'"
        by = f"reasons <> '[]' AND reasons = '{no}'", yes
        return [row for which in by for row in self._screened(f"WHERE {which}", ())]

    def left_out_for(self, reason: str, most: int = -1) -> list[Screened]:
        """Frames left out for this reason alone, in order of camera and time, `most` at most."""
        return self._screened(
            "WHERE reasons <> '[]' AND reasons = ? ORDER BY camera, taken_at, path LIMIT ?",
            (json.dumps([reason]), most),
        )

    def page_of_left_out(
        self, camera: str, named: Iterable[str], most: int, skipped: int
    ) -> list[Screened]:
        """A page of a camera's frames left out, and of those that are `named`, the latest first."""
        return self._screened(
            f"WHERE {_LEFT_OUT} ORDER BY taken_at DESC, path DESC LIMIT ?3 OFFSET ?4",
            (camera, json.dumps(list(named)), most, skipped),
        )

    def number_left_out(self, camera: str, named: Iterable[str]) -> int:
        """How many there are on all such pages."""
        query = (
            "SELECT (SELECT coalesce(sum(frames), 0) FROM day_count WHERE camera = ?1"
            " AND reasons NOT IN ('', '[]')) + (SELECT count(*) FROM frame JOIN screening"
            " ON id = frame_id WHERE path IN (SELECT value FROM json_each(?2))"
            " AND camera = ?1 AND reasons = '[]')"
        )
        return self._read(query, (camera, json.dumps(list(named))))[0][0]

    def _screened(self, condition: str, values: Sequence[object]) -> list[Screened]:
        return [
            (
                frame_of(row[:9]),
                Screening(row[3], row[9], tuple(json.loads(row[10])), *row[11:15], bool(row[15])),
            )
            for row in self._read(f"{_SCREENED} {condition}", values)
        ]

    def usable_frames(self, ruled: Mapping[str, bool], camera: str) -> list[Frame]:
        """Usable frames of a camera in order of time.

        Parameters
        ----------
        ruled : mapping of str to bool
            What the grower said of frames, by path. It counts as it stands, judged anew since or
            not: neither is a frame usable that got a no, nor one whose yes was taken back.
        camera : str
        """
        rows = self._read(
            f"SELECT {FRAME_COLUMNS} FROM frame JOIN screening ON id = frame_id"
            f" WHERE camera = ?3 AND {_USABLE} ORDER BY taken_at, path",
            (*_ruled(ruled), camera),
        )
        return [frame_of(row) for row in rows]

    def usable_paths(self, paths: Iterable[str], ruled: Mapping[str, bool]) -> set[str]:
        """Those of `paths` that are of usable frames; see `usable_frames`."""
        rows = self._read(
            "SELECT path FROM frame JOIN screening ON id = frame_id"
            f" WHERE path IN (SELECT value FROM json_each(?3)) AND {_USABLE}",
            (*_ruled(ruled), json.dumps(list(paths))),
        )
        return {path for (path,) in rows}

    def usable_near(
        self, camera: str, wanted: Mapping[date, datetime], ruled: Mapping[str, bool]
    ) -> list[Frame]:
        """Of each day the last usable frame before an instant, and the first one after it.

        Parameters
        ----------
        camera : str
        wanted : mapping of date to datetime
            The instant of each day that is asked for.
        ruled : mapping of str to bool
            See `usable_frames`.
        """
        nearest = [
            "(SELECT id FROM frame JOIN screening ON id = frame_id"
            f" WHERE camera = ?3 AND day = of_day AND taken_at {side} wanted AND {_USABLE}"
            f" ORDER BY taken_at {order}, path LIMIT 1)"
            for side, order in (("<=", "DESC"), (">=", "ASC"))
        ]
        asked = {day.isoformat(): utc_text(at) for day, at in wanted.items()}
        rows = self._read(
            "WITH asked AS (SELECT key AS of_day, value AS wanted FROM json_each(?4))"
            f" SELECT {FRAME_COLUMNS} FROM asked JOIN frame ON id IN ({', '.join(nearest)})"
            " ORDER BY taken_at, path",
            (*_ruled(ruled), camera, json.dumps(asked)),
        )
        return [frame_of(row) for row in rows]


def _ruled(ruled: Mapping[str, bool]) -> tuple[str, str]:
    """Paths that got a no, and those that got a yes, as `_USABLE` is told them."""
    told = ([path for path, use in ruled.items() if use == said] for said in (False, True))
    no, yes = (json.dumps(paths) for paths in told)
    return no, yes
