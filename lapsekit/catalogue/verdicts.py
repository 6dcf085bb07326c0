"""Rows of screenings: verdicts on frames, and the figures they are made from."""

import json
from collections.abc import Iterable, Mapping
from datetime import date, datetime

from lapsekit.catalogue.database import Database
from lapsekit.catalogue.rows import (
    FRAME_COLUMNS,
    Frame,
    FrameVerdict,
    Judging,
    Screening,
    flat,
    frame_of,
)
from lapsekit.verdicts import SAID_YES
from lapsekit.when import utc_text

_WITH_FIGURES = (
    "SELECT path, sha256, mark, taken_at FROM frame JOIN screening ON id = frame_id"
    " WHERE camera = ?1 AND figures IS NOT NULL"
    " UNION ALL SELECT path, sha256, mark, taken_at FROM thinned"
    " WHERE camera = ?1 AND figures IS NOT NULL AND path NOT IN (SELECT path FROM frame)"
)
#: Of a frame and its screening; the paths of frames that got a no are ?1, of those that got a yes
#: ?2. `told` is looked at last: in a row it stands behind the figures, which are large.
_USABLE = (
    "reasons = '[]' AND path NOT IN (SELECT value FROM json_each(?1)) AND"
    f" (substr(told, 1, {len(SAID_YES)}) <> '{SAID_YES}'"
    " OR path IN (SELECT value FROM json_each(?2)))"
)


class Verdicts(Database):
    """What is asked of verdicts and their figures."""

    def counts(self) -> list[tuple[str, date, tuple[str, ...] | None, int]]:
        """How many frames a camera has of a day with the same verdict; None where none is there."""
        rows = self._read(
            "SELECT camera, day, reasons, count(*) FROM frame LEFT JOIN screening ON id = frame_id"
            " GROUP BY camera, day, reasons ORDER BY camera, day"
        )
        return [
            (camera, date.fromisoformat(day), None if why is None else tuple(json.loads(why)), n)
            for camera, day, why, n in rows
        ]

    def screenings(self) -> list[tuple[Frame, Screening]]:
        """Screened frames with their verdicts, in order of camera and time."""
        rows = self._read(
            f"SELECT {FRAME_COLUMNS}, mark, reasons, luminance, clipped, blur, told, watched"
            " FROM frame JOIN screening ON id = frame_id ORDER BY camera, taken_at, path"
        )
        return [
            (
                frame_of(row[:9]),
                Screening(row[3], row[9], tuple(json.loads(row[10])), *row[11:15], bool(row[15])),
            )
            for row in rows
        ]

    def usable_frames(self, ruled: Mapping[str, bool]) -> list[Frame]:
        """Usable frames in order of camera and time.

        Parameters
        ----------
        ruled : mapping of str to bool
            What the grower said of frames, by path. It counts as it stands, judged anew since or
            not: neither is a frame usable that got a no, nor one whose yes was taken back.
        """
        rows = self._read(
            f"SELECT {FRAME_COLUMNS} FROM frame JOIN screening ON id = frame_id WHERE {_USABLE}"
            " ORDER BY camera, taken_at, path",
            _ruled(ruled),
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

    def figures(self, camera: str, skip: int = 0) -> list[tuple[Frame, str]]:
        """Frames of `camera` that have figures, in order of time, with these as JSON.

        Those thinned out are among them.
        """
        rows = self._read(
            f"WITH known AS ({_WITH_FIGURES}),"  # sorted without figures
            " asked AS (SELECT path FROM known ORDER BY taken_at, path LIMIT -1 OFFSET ?2)"
            " SELECT camera, taken_at, day, path, sha256, size, width, height, arrived_by, figures"
            " FROM frame JOIN screening ON id = frame_id"
            " WHERE path IN asked"
            " UNION ALL"
            " SELECT camera, taken_at, day, path, sha256, size, width, height, 'thinned', figures"
            " FROM thinned WHERE path IN asked AND path NOT IN (SELECT path FROM frame)"
            " ORDER BY 2, 4",
            (camera, skip),
        )
        return [(frame_of(row[:9]), row[9]) for row in rows]

    def figure_marks(self, camera: str) -> list[tuple[str, str, str]]:
        """Path, content and screening mark of these frames, in the same order."""
        return self._read(
            f"SELECT path, sha256, mark FROM ({_WITH_FIGURES}) ORDER BY taken_at, path", (camera,)
        )

    def judging(self, camera: str) -> Judging | None:
        """How far the frames of `camera` are judged; None where they are not."""
        rows = self._read(
            "SELECT basis, settled, settled_basis, memory FROM judging WHERE camera = ?", (camera,)
        )
        return Judging(*rows[0]) if rows else None

    def record_verdicts(
        self, camera: str, verdicts: Iterable[FrameVerdict], judging: Judging
    ) -> None:
        """Set verdicts, and drop the values of days whose usable frames change by them."""
        with self._transaction() as db:
            for verdict in verdicts:
                reasons = json.dumps(verdict.reasons)
                db.execute(
                    "DELETE FROM daily WHERE day = (SELECT day FROM frame JOIN screening"
                    " ON id = frame_id WHERE path = ? AND reasons <> ?)",
                    (verdict.path, reasons),
                )
                db.execute(
                    "UPDATE screening SET reasons = ?, told = ?, watched = ?"
                    " WHERE frame_id = (SELECT id FROM frame WHERE path = ?)",
                    (reasons, verdict.told, verdict.watched, verdict.path),
                )
            db.execute(
                "INSERT OR REPLACE INTO judging VALUES (?, ?, ?, ?, ?)", (camera, *flat(judging))
            )


def _ruled(ruled: Mapping[str, bool]) -> tuple[str, str]:
    """Paths that got a no, and those that got a yes, as `_USABLE` is told them."""
    told = ([path for path, use in ruled.items() if use == said] for said in (False, True))
    no, yes = (json.dumps(paths) for paths in told)
    return no, yes
