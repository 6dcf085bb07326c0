"""Rows of what was measured in single frames: where they lie, and their canopy."""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from lapsekit.catalogue.database import Database, judge_from, where
from lapsekit.catalogue.rows import (
    FRAME_COLUMNS,
    Frame,
    Measurement,
    Placement,
    Screening,
    flat,
    frame_of,
)


class Measurements(Database):
    """What is asked of placements and measurements."""

    def record(
        self,
        screening: Screening,
        placement: Placement | None,
        measurements: Sequence[Measurement],
        figures: str | None = None,
    ) -> None:
        """Replace what is known of one frame, and drop its day's values, in one transaction."""
        with self._transaction() as db:
            found = db.execute(
                "SELECT id, camera, taken_at, day FROM frame WHERE path = ?", (screening.path,)
            ).fetchone()
            if found is None:
                return
            frame_id, camera, taken_at, day = found
            db.execute("DELETE FROM measurement WHERE frame_id = ?", (frame_id,))
            if db.execute("DELETE FROM screening WHERE frame_id = ?", (frame_id,)).rowcount:
                # A verdict is gone: all of the camera are made again.
                db.execute("DELETE FROM judging WHERE camera = ?", (camera,))
            db.execute(
                "INSERT INTO screening (frame_id, mark, reasons, luminance, clipped,"
                " blur, told, watched) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    frame_id,
                    screening.mark,
                    json.dumps(screening.reasons),
                    *flat(screening)[3:],
                ),
            )
            db.execute("DELETE FROM figures WHERE frame_id = ?", (frame_id,))
            if figures is not None:
                db.execute("INSERT INTO figures VALUES (?, ?)", (frame_id, figures))
                judge_from(db, camera, taken_at)
            db.execute("DELETE FROM placement WHERE frame_id = ?", (frame_id,))
            if placement is not None:
                matrix = placement.matrix and json.dumps(placement.matrix)
                db.execute(
                    "INSERT INTO placement VALUES (?, ?, ?, ?, ?)",
                    (frame_id, matrix, *flat(placement)[2:]),
                )
            db.executemany(
                "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(frame_id, *flat(m)[1:]) for m in measurements],
            )
            db.execute("DELETE FROM daily WHERE day = ?", (day,))

    def placements(
        self, camera: str, since: date = date.min, until: date = date.max
    ) -> list[tuple[Frame, Placement]]:
        """Where the reference view lies in the frames of `camera`, in order of time."""
        rows = self._read(
            f"SELECT {FRAME_COLUMNS}, matrix, residual_px, error_px, how"
            " FROM frame JOIN placement ON id = frame_id"
            " WHERE camera = ? AND day BETWEEN ? AND ? ORDER BY day, taken_at, path",
            (camera, since.isoformat(), until.isoformat()),
        )
        return [
            (
                frame_of(row[:9]),
                Placement(row[3], row[9] and tuple(json.loads(row[9])), *row[10:]),
            )
            for row in rows
        ]

    def last_placed(self, camera: str, number: int) -> list[Placement]:
        """Of the last frames of a camera that have one, their placements, in order of time."""
        rows = self._read(
            "SELECT path, matrix, residual_px, error_px, how"
            " FROM frame JOIN placement ON id = frame_id WHERE camera = ? AND matrix IS NOT NULL"
            " ORDER BY taken_at DESC, path DESC LIMIT ?",
            (camera, number),
        )
        return [Placement(path, tuple(json.loads(m)), *rest) for path, m, *rest in reversed(rows)]

    def placed(self, paths: Iterable[str]) -> dict[str, Placement]:
        """Placements of those of some frames that have a matrix, by path."""
        rows = self._read(
            "SELECT path, matrix, residual_px, error_px, how"
            " FROM frame JOIN placement ON id = frame_id"
            " WHERE path IN (SELECT value FROM json_each(?)) AND matrix IS NOT NULL",
            (json.dumps(list(paths)),),
        )
        return {path: Placement(path, tuple(json.loads(m)), *rest) for path, m, *rest in rows}

    def unregistered(self, paths: Iterable[str]) -> dict[str, str]:
        """Why those of some frames that could not be registered were not, by path."""
        return dict(
            self._read(
                "SELECT path, how FROM frame JOIN placement ON id = frame_id"
                " WHERE path IN (SELECT value FROM json_each(?)) AND matrix IS NULL",
                (json.dumps(list(paths)),),
            )
        )

    def measurements(
        self,
        region: str | None = None,
        day: date | None = None,
        camera: str | None = None,
        since: date = date.min,
    ) -> list[tuple[Frame, Measurement]]:
        """Measurements of usable frames, with these, in order of region and time."""
        condition, values = where(region=region, day=day and day.isoformat(), camera=camera)
        condition = f"{condition} AND day >= ? AND" if condition else "WHERE day >= ? AND"
        values = (*values, since.isoformat())
        rows = self._read(
            f"SELECT {FRAME_COLUMNS}, path, region, measurement.mark, region_px, canopy_px, cover,"
            " area_cm2, greenness, yellow_share, red_share, unsure, faded_share"
            " FROM measurement JOIN frame ON id = measurement.frame_id"
            " JOIN screening ON id = screening.frame_id"
            f" {condition} reasons = '[]' ORDER BY region, taken_at, path",
            values,
        )
        return [(frame_of(row[:9]), Measurement(*row[9:])) for row in rows]

    def keep_regions(self, camera_of: Mapping[str, str]) -> None:
        """Forget what was measured for other regions, or for these by another camera.

        Nothing is looked at where the same regions were kept the last time: what is measured since
        is of these.
        """
        told = json.dumps(camera_of, sort_keys=True)
        names = json.dumps(list(camera_of))
        with self._transaction() as db:
            known = db.execute("SELECT told FROM note WHERE what = 'regions kept'").fetchone()
            if known == (told,):
                return
            for table in ("measurement", "daily", "settled_growth"):
                db.execute(
                    f"DELETE FROM {table} WHERE region NOT IN (SELECT value FROM json_each(?))",
                    (names,),
                )
            for region, camera in camera_of.items():
                db.execute(
                    "DELETE FROM measurement WHERE region = ? AND frame_id IN"
                    " (SELECT id FROM frame WHERE camera <> ?)",
                    (region, camera),
                )
            db.execute("INSERT OR REPLACE INTO note VALUES ('regions kept', ?)", (told,))
