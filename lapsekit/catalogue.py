"""The SQLite catalogue of a season. All SQL lives here.

The catalogue is derived: ``lapsekit index --rebuild`` makes it again from the frame files, and
``lapsekit measure`` fills in what was measured. Every write is one transaction. Work that is
not done yet is work whose row is not there: storing measurements of a frame deletes the daily
values of its day in the same transaction, so an interruption never leaves an old value behind.
"""

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path

from lapsekit.errors import CatalogueError
from lapsekit.verdicts import SAID_YES
from lapsekit.when import from_utc_text, utc_text

#: Each entry brings a catalogue of the version before to its own (1, 2, …).
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE frame (
        id INTEGER PRIMARY KEY,
        camera TEXT NOT NULL,
        taken_at TEXT NOT NULL,
        day TEXT NOT NULL,
        path TEXT NOT NULL UNIQUE,
        sha256 TEXT NOT NULL,
        size INTEGER NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        arrived_by TEXT NOT NULL
    );
    CREATE INDEX frame_by_day ON frame (camera, day, taken_at, path);
    CREATE INDEX frame_by_content ON frame (camera, sha256);
    CREATE TABLE screening (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        mark TEXT NOT NULL,
        reasons TEXT NOT NULL,
        luminance REAL,
        clipped REAL,
        blur REAL
    );
    CREATE TABLE measurement (
        frame_id INTEGER NOT NULL REFERENCES frame ON DELETE CASCADE,
        region TEXT NOT NULL,
        mark TEXT NOT NULL,
        region_px INTEGER NOT NULL,
        canopy_px INTEGER NOT NULL,
        cover REAL NOT NULL,
        area_cm2 REAL,
        PRIMARY KEY (frame_id, region)
    ) WITHOUT ROWID;
    CREATE TABLE daily (
        region TEXT NOT NULL,
        day TEXT NOT NULL,
        cover REAL,
        cover_low REAL,
        cover_high REAL,
        area_cm2 REAL,
        area_low_cm2 REAL,
        area_high_cm2 REAL,
        frames_used INTEGER NOT NULL,
        left_out TEXT NOT NULL,
        PRIMARY KEY (region, day)
    ) WITHOUT ROWID;
    """,
    """
    CREATE TABLE placement (
        frame_id INTEGER PRIMARY KEY REFERENCES frame ON DELETE CASCADE,
        matrix TEXT,
        residual_px REAL,
        error_px REAL,
        how TEXT NOT NULL
    );
    """,
    # Screenings of before came without the figures that verdicts are made from: screen again.
    """
    DELETE FROM screening;
    DELETE FROM daily;
    ALTER TABLE screening ADD COLUMN figures TEXT;
    ALTER TABLE screening ADD COLUMN told TEXT NOT NULL DEFAULT '';
    ALTER TABLE screening ADD COLUMN watched INTEGER NOT NULL DEFAULT 0;
    CREATE TABLE judging (
        camera TEXT PRIMARY KEY,
        basis TEXT NOT NULL,
        settled INTEGER NOT NULL,
        settled_basis TEXT NOT NULL,
        memory TEXT NOT NULL
    ) WITHOUT ROWID;
    """,
    # Days are worked out from covers that overlap outlines and neighbours: all once more.
    """
    DELETE FROM measurement;
    DELETE FROM daily;
    ALTER TABLE measurement ADD COLUMN greenness REAL;
    ALTER TABLE measurement ADD COLUMN yellow_share REAL;
    ALTER TABLE measurement ADD COLUMN red_share REAL;
    ALTER TABLE daily ADD COLUMN parts TEXT NOT NULL DEFAULT '{}';
    ALTER TABLE daily ADD COLUMN touches TEXT NOT NULL DEFAULT '[]';
    ALTER TABLE daily ADD COLUMN crowded INTEGER NOT NULL DEFAULT 0;
    ALTER TABLE daily ADD COLUMN range_share REAL;
    ALTER TABLE daily ADD COLUMN midday_change REAL;
    ALTER TABLE daily ADD COLUMN greenness REAL;
    ALTER TABLE daily ADD COLUMN yellow_share REAL;
    ALTER TABLE daily ADD COLUMN red_share REAL;
    """,
    # What a classifier was unsure of goes into the interval: all once more.
    """
    DELETE FROM measurement;
    DELETE FROM daily;
    ALTER TABLE measurement ADD COLUMN unsure REAL NOT NULL DEFAULT 0;
    CREATE TABLE daily_basis (region TEXT PRIMARY KEY, mark TEXT NOT NULL) WITHOUT ROWID;
    """,
    # Frames thinned out, as thinned/frames.csv lists them, with the figures that others are
    # judged beside.
    """
    CREATE TABLE thinned (
        path TEXT PRIMARY KEY,
        camera TEXT NOT NULL,
        taken_at TEXT NOT NULL,
        day TEXT NOT NULL,
        sha256 TEXT NOT NULL,
        size INTEGER NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        reasons TEXT NOT NULL,
        mark TEXT,
        figures TEXT
    );
    CREATE INDEX thinned_by_content ON thinned (camera, sha256);
    """,
)
#: What stands as the reason of a frame between its measurement and its verdict.
NOT_JUDGED = "not judged yet"
#: What stands where too few frames lie around one to see whether somebody is in it.
NOT_WATCHED = "not looked through"
_TRIES = 100
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
_FRAME = "camera, taken_at, day, path, sha256, size, width, height, arrived_by"
SCHEMA_VERSION = len(MIGRATIONS)


@dataclass(frozen=True)
class Frame:
    """A stored frame; `path` is relative to the season folder, sizes are of the upright picture."""

    camera: str
    taken_at: datetime
    day: date
    path: str
    sha256: str
    size: int
    width: int
    height: int
    arrived_by: str


@dataclass(frozen=True)
class Screening:
    """Verdict on a frame: usable when `reasons` is empty. Shares and means lie in 0 to 1.

    `told` says the reason with its figure; `watched` whether visitors could be looked for. The
    figures themselves are large and are read on their own (`Catalogue.figures`).
    """

    path: str
    mark: str
    reasons: tuple[str, ...]
    luminance: float | None
    clipped: float | None
    blur: float | None
    told: str = ""
    watched: bool = False


@dataclass(frozen=True)
class FrameVerdict:
    """What a frame's screening comes to, once it is judged beside the others."""

    path: str
    reasons: tuple[str, ...]
    told: str
    watched: bool


@dataclass(frozen=True)
class Judging:
    """How far a camera's frames are judged.

    `basis` marks all that their verdicts were made from, `settled_basis` the same of the first
    `settled` frames, whose verdicts no later frame can change; `memory` is what was learned from
    these, as JSON.
    """

    basis: str
    settled: int
    settled_basis: str
    memory: str


@dataclass(frozen=True)
class Placement:
    """Where the camera's reference view lies in a frame.

    `matrix` is the homography from the reference view to the frame, row by row; None where the
    frame could not be registered, and then `how` says why. `residual_px` is the typical distance
    of matched places, `error_px` the standard error at the worst corner.
    """

    path: str
    matrix: tuple[float, ...] | None
    residual_px: float | None
    error_px: float | None
    how: str


@dataclass(frozen=True)
class Measurement:
    """Canopy of one region in one frame; `area_cm2` is None where the camera has no scale.

    Until its day is worked out these are of the canopy inside the outline, then of the plant's,
    wherever it reaches. Colours are of the canopy inside the outline: see
    `lapsekit.vision.within_day.Colour`. `unsure` is the share of the outline that the classifier
    was in doubt of.
    """

    path: str
    region: str
    mark: str
    region_px: int
    canopy_px: int
    cover: float
    area_cm2: float | None
    greenness: float | None = None
    yellow_share: float | None = None
    red_share: float | None = None
    unsure: float = 0.0


@dataclass(frozen=True)
class Daily:
    """Canopy of one region on one day; values are None on a day without a usable frame.

    `low` and `high` bound the interval at 95 %; `parts` are the half-widths it is made of, by name,
    in the value's unit (cm² with a scale, cover without). `left_out` counts the reasons for which
    frames of the day were not used. `touches` names the regions whose canopy it meets, and
    `crowded` says that it has reached its outline. What follows is of within the day: see
    `lapsekit.vision.within_day`.
    """

    region: str
    day: date
    cover: float | None
    cover_low: float | None
    cover_high: float | None
    area_cm2: float | None
    area_low_cm2: float | None
    area_high_cm2: float | None
    frames_used: int
    left_out: dict[str, int]
    parts: dict[str, float] = field(default_factory=dict)
    touches: tuple[str, ...] = ()
    crowded: bool = False
    range_share: float | None = None
    midday_change: float | None = None
    greenness: float | None = None
    yellow_share: float | None = None
    red_share: float | None = None


def reaches_beyond(row: Daily) -> bool:
    """Whether a plant reached beyond its outline: what has no region there may count with it."""
    return row.crowded or (row.cover or 0.0) > 1.0


class Catalogue:
    """An open catalogue.

    Parameters
    ----------
    path : pathlib.Path
        The SQLite file; made if it does not exist.

    Raises
    ------
    CatalogueError
        If the file is damaged or was written by a newer lapsekit.
    """

    def __init__(self, path: Path):
        self._path = path
        self._one_at_a_time = threading.RLock()
        with self._told():
            self._db = sqlite3.connect(
                path, timeout=30, isolation_level=None, check_same_thread=False
            )
            try:
                self._write_ahead()
                self._db.execute("PRAGMA synchronous = NORMAL")
                self._db.execute("PRAGMA foreign_keys = ON")
                self._migrate()
            except BaseException:
                self._db.close()
                raise

    def close(self) -> None:
        """Close the file; the catalogue cannot be used after."""
        self._db.close()

    # frames -------------------------------------------------------------------------------

    def add_frames(self, frames: Iterable[Frame]) -> None:
        """Add frames; one whose path is known already stays as it is."""
        rows = [(f.camera, utc_text(f.taken_at), f.day.isoformat(), *_flat(f)[3:]) for f in frames]
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

    def note_thinned(self, frames: Iterable[tuple[Frame, Sequence[str]]]) -> None:
        """Note frames that were, or are about to be, thinned out, with the reasons against them."""
        rows = [
            (
                *(f.path, f.camera, utc_text(f.taken_at), f.day.isoformat()),
                *(f.sha256, f.size, f.width, f.height, json.dumps(list(reasons))),
            )
            for f, reasons in frames
        ]
        with self._transaction() as db:
            db.executemany(
                "INSERT INTO thinned (path, camera, taken_at, day, sha256, size, width, height,"
                " reasons) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (path) DO NOTHING",
                rows,
            )

    def thinned_paths(self) -> set[str]:
        """Paths of the frames noted as thinned out."""
        return {path for (path,) in self._read("SELECT path FROM thinned")}

    def thinned_frames(self) -> list[tuple[Frame, tuple[str, ...]]]:
        """Frames that were thinned out and are gone, with the reasons against them."""
        rows = self._read(
            "SELECT camera, taken_at, day, path, sha256, size, width, height, 'thinned', reasons"
            " FROM thinned WHERE path NOT IN (SELECT path FROM frame)"
            " ORDER BY camera, taken_at, path"
        )
        return [(_frame(row[:9]), tuple(json.loads(row[9]))) for row in rows]

    def keep_thinned_figures(self, camera: str, mark: str) -> None:
        """Forget figures of frames thinned out that other settings made."""
        with self._transaction() as db:
            db.execute(
                "UPDATE thinned SET mark = NULL, figures = NULL WHERE camera = ? AND mark <> ?",
                (camera, mark),
            )

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
        where, values = _where(camera=camera, day=day and day.isoformat())
        rows = self._read(
            f"SELECT {_FRAME} FROM frame {where} ORDER BY camera, taken_at, path",
            values,
        )
        return [_frame(row) for row in rows]

    def frame(self, path: str) -> Frame | None:
        """The frame at a path; None where there is none."""
        rows = self._read(f"SELECT {_FRAME} FROM frame WHERE path = ?", (path,))
        return _frame(rows[0]) if rows else None

    def cameras(self) -> list[str]:
        """Names of the cameras that have frames."""
        return [name for (name,) in self._read("SELECT DISTINCT camera FROM frame ORDER BY camera")]

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

    # screening and measurement ------------------------------------------------------------

    def measurement_marks(self) -> dict[str, dict[str, str]]:
        """Settings mark of each measured region, by frame path and region."""
        marks: dict[str, dict[str, str]] = {}
        for path, region, mark in self._read(
            "SELECT path, region, mark FROM measurement JOIN frame ON id = frame_id"
        ):
            marks.setdefault(path, {})[region] = mark
        return marks

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
                "SELECT id, day FROM frame WHERE path = ?", (screening.path,)
            ).fetchone()
            if found is None:
                return
            frame_id, day = found
            db.execute("DELETE FROM measurement WHERE frame_id = ?", (frame_id,))
            if db.execute("DELETE FROM screening WHERE frame_id = ?", (frame_id,)).rowcount:
                db.execute(  # a verdict is gone: all of the camera are made again
                    "DELETE FROM judging WHERE camera = (SELECT camera FROM frame WHERE id = ?)",
                    (frame_id,),
                )
            db.execute(
                "INSERT INTO screening (frame_id, mark, reasons, luminance, clipped,"
                " blur, told, watched, figures) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    frame_id,
                    screening.mark,
                    json.dumps(screening.reasons),
                    *_flat(screening)[3:],
                    figures,
                ),
            )
            db.execute("DELETE FROM placement WHERE frame_id = ?", (frame_id,))
            if placement is not None:
                matrix = placement.matrix and json.dumps(placement.matrix)
                db.execute(
                    "INSERT INTO placement VALUES (?, ?, ?, ?, ?)",
                    (frame_id, matrix, *_flat(placement)[2:]),
                )
            db.executemany(
                "INSERT INTO measurement VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(frame_id, *_flat(m)[1:]) for m in measurements],
            )
            db.execute("DELETE FROM daily WHERE day = ?", (day,))

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
            f"SELECT {_FRAME}, mark, reasons, luminance, clipped, blur, told, watched"
            " FROM frame JOIN screening ON id = frame_id ORDER BY camera, taken_at, path"
        )
        return [
            (
                _frame(row[:9]),
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
            f"SELECT {_FRAME} FROM frame JOIN screening ON id = frame_id WHERE {_USABLE}"
            " ORDER BY camera, taken_at, path",
            _ruled(ruled),
        )
        return [_frame(row) for row in rows]

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
            f" SELECT {_FRAME} FROM asked JOIN frame ON id IN ({', '.join(nearest)})"
            " ORDER BY taken_at, path",
            (*_ruled(ruled), camera, json.dumps(asked)),
        )
        return [_frame(row) for row in rows]

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
        return [(_frame(row[:9]), row[9]) for row in rows]

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
                "INSERT OR REPLACE INTO judging VALUES (?, ?, ?, ?, ?)", (camera, *_flat(judging))
            )

    def placements(self, camera: str) -> list[tuple[Frame, Placement]]:
        """Where the reference view lies in the frames of `camera`, in order of time."""
        rows = self._read(
            f"SELECT {_FRAME}, matrix, residual_px, error_px, how"
            " FROM frame JOIN placement ON id = frame_id WHERE camera = ? ORDER BY taken_at, path",
            (camera,),
        )
        return [
            (
                _frame(row[:9]),
                Placement(row[3], row[9] and tuple(json.loads(row[9])), *row[10:]),
            )
            for row in rows
        ]

    def placed(self, paths: Iterable[str]) -> dict[str, Placement]:
        """Placements of those of some frames that have a matrix, by path."""
        rows = self._read(
            "SELECT path, matrix, residual_px, error_px, how"
            " FROM frame JOIN placement ON id = frame_id"
            " WHERE path IN (SELECT value FROM json_each(?)) AND matrix IS NOT NULL",
            (json.dumps(list(paths)),),
        )
        return {path: Placement(path, tuple(json.loads(m)), *rest) for path, m, *rest in rows}

    def unregistered(self) -> dict[str, str]:
        """Why frames that could not be registered were not, by path."""
        return dict(
            self._read(
                "SELECT path, how FROM frame JOIN placement ON id = frame_id WHERE matrix IS NULL"
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
        where, values = _where(region=region, day=day and day.isoformat(), camera=camera)
        where = f"{where} AND day >= ? AND" if where else "WHERE day >= ? AND"
        values = (*values, since.isoformat())
        rows = self._read(
            f"SELECT {_FRAME}, path, region, measurement.mark, region_px, canopy_px, cover,"
            " area_cm2, greenness, yellow_share, red_share, unsure"
            " FROM measurement JOIN frame ON id = measurement.frame_id"
            " JOIN screening ON id = screening.frame_id"
            f" {where} reasons = '[]' ORDER BY region, taken_at, path",
            values,
        )
        return [(_frame(row[:9]), Measurement(*row[9:])) for row in rows]

    # daily values -------------------------------------------------------------------------

    def days_of_camera(self, camera: str) -> list[date]:
        """Local days on which `camera` has frames, in order."""
        rows = self._read("SELECT DISTINCT day FROM frame WHERE camera = ? ORDER BY day", (camera,))
        return [date.fromisoformat(day) for (day,) in rows]

    def daily_days(self, region: str) -> set[date]:
        """Days for which the value of `region` is worked out."""
        rows = self._read("SELECT day FROM daily WHERE region = ?", (region,))
        return {date.fromisoformat(day) for (day,) in rows}

    def store_daily(self, rows: Sequence[Daily], measurements: Sequence[Measurement] = ()) -> None:
        """Store daily values, replacing those of the same region and day.

        With them, in one transaction, what the day's frames say of these regions now that their
        canopy is divided; frames and regions without measurement stay so.
        """
        with self._transaction() as db:
            db.executemany(
                "INSERT OR REPLACE INTO daily VALUES"
                " (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [
                    (
                        d.region,
                        d.day.isoformat(),
                        *_flat(d)[2:9],
                        json.dumps(d.left_out, sort_keys=True),
                        json.dumps(d.parts),
                        json.dumps(d.touches),
                        *_flat(d)[12:],
                    )
                    for d in rows
                ],
            )
            db.executemany(
                "UPDATE measurement SET canopy_px = ?, cover = ?, area_cm2 = ? WHERE region = ?"
                " AND frame_id = (SELECT id FROM frame WHERE path = ?)",
                [(m.canopy_px, m.cover, m.area_cm2, m.region, m.path) for m in measurements],
            )

    def rest_daily_on(self, marks: Mapping[str, str]) -> None:
        """Say what regions' daily values rest on beside their frames; drop those of other marks."""
        with self._transaction() as db:
            for region, mark in marks.items():
                known = db.execute("SELECT mark FROM daily_basis WHERE region = ?", (region,))
                if (known.fetchone() or ("",))[0] == mark:
                    continue
                db.execute("DELETE FROM daily WHERE region = ?", (region,))
                db.execute("INSERT OR REPLACE INTO daily_basis VALUES (?, ?)", (region, mark))

    def daily_basis(self) -> dict[str, str]:
        """What regions' daily values rest on beside their frames, by region."""
        return dict(self._read("SELECT region, mark FROM daily_basis"))

    def keep_regions(self, camera_of: Mapping[str, str]) -> None:
        """Forget what was measured for other regions, or for these by another camera."""
        names = tuple(camera_of)
        marks = ", ".join("?" * len(names))
        with self._transaction() as db:
            for table in ("measurement", "daily"):
                db.execute(f"DELETE FROM {table} WHERE region NOT IN ({marks})", names)
            for region, camera in camera_of.items():
                db.execute(
                    "DELETE FROM measurement WHERE region = ? AND frame_id IN"
                    " (SELECT id FROM frame WHERE camera <> ?)",
                    (region, camera),
                )

    def forget_days(self, days: Iterable[date]) -> None:
        """Forget the values of all regions on `days`, whose frames are about to be measured."""
        with self._transaction() as db:
            db.executemany("DELETE FROM daily WHERE day = ?", [(d.isoformat(),) for d in days])

    def forget_daily(self, region: str, days: Iterable[date]) -> None:
        """Forget the values of `region` on `days` (before its first outline, say)."""
        with self._transaction() as db:
            db.executemany(
                "DELETE FROM daily WHERE region = ? AND day = ?",
                [(region, day.isoformat()) for day in days],
            )

    def daily(self, region: str | None = None) -> list[Daily]:
        """Daily values in order of region and day."""
        where, values = _where(region=region)
        rows = self._read(f"SELECT * FROM daily {where} ORDER BY region, day", values)
        return [
            Daily(
                row[0],
                date.fromisoformat(row[1]),
                *row[2:9],
                {} if row[9] == "{}" else json.loads(row[9]),
                json.loads(row[10]),
                () if row[11] == "[]" else tuple(json.loads(row[11])),
                bool(row[12]),
                *row[13:],
            )
            for row in rows
        ]

    # inside -------------------------------------------------------------------------------

    def _write_ahead(self) -> None:
        """Switch to write-ahead logging; two first openings at once must not trip each other."""
        for _ in range(_TRIES):
            try:
                self._db.execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as error:
                if "locked" not in str(error):
                    raise
                time.sleep(0.1)

    def _migrate(self) -> None:
        with self._transaction() as db:
            (version,) = db.execute("PRAGMA user_version").fetchone()
            if version > SCHEMA_VERSION:
                raise CatalogueError(
                    f"{self._path}: written by a newer lapsekit (catalogue version {version}, this "
                    f"one knows {SCHEMA_VERSION}); update lapsekit, or move the file away and run "
                    "lapsekit index --rebuild"
                )
            for number, script in enumerate(MIGRATIONS[version:], start=version + 1):
                for statement in filter(str.strip, script.split(";")):
                    db.execute(statement)
                db.execute(f"PRAGMA user_version = {number}")

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        with self._told():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                if self._db.in_transaction:  # a full disk rolls back by itself
                    self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    def _read(self, query: str, values: Sequence[object] = ()) -> list[tuple]:
        with self._told(), closing(self._db.execute(query, values)) as cursor:
            return cursor.fetchall()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            with self._one_at_a_time:
                yield
        except sqlite3.Error as error:
            remedy = "move this file away and run lapsekit index --rebuild, then measure"
            if "locked" in str(error):
                remedy = "another process is writing; run the same command again"
            elif any(sign in str(error) for sign in _DISK):
                remedy = (
                    "check whether the disk is full or read-only (lapsekit check), and run the "
                    "same command again"
                )
            raise CatalogueError(f"{self._path}: {error}. The frames are safe; {remedy}") from error


_DISK = ("full", "disk I/O", "unable to open", "readonly")
_DAMAGE = ("malformed", "not a database", "disk image", "file is encrypted")


def is_damaged(path: Path) -> bool:
    """Whether the catalogue in a file is broken; one that cannot be read just now is not."""
    try:
        with closing(sqlite3.connect(path, timeout=5)) as db:
            return db.execute("PRAGMA quick_check(1)").fetchone() != ("ok",)
    except sqlite3.DatabaseError as error:
        return any(sign in str(error) for sign in _DAMAGE)


def _where(**conditions: str | None) -> tuple[str, tuple[str, ...]]:
    given = {column: value for column, value in conditions.items() if value is not None}
    text = " AND ".join(f"{column} = ?" for column in given)
    return (f"WHERE {text}" if text else ""), tuple(given.values())


def _ruled(ruled: Mapping[str, bool]) -> tuple[str, str]:
    """Paths that got a no, and those that got a yes, as `_USABLE` is told them."""
    told = ([path for path, use in ruled.items() if use == said] for said in (False, True))
    no, yes = (json.dumps(paths) for paths in told)
    return no, yes


def _flat(row: object) -> tuple:
    """Fields of a row, as they are; `dataclasses.astuple` would copy each."""
    return tuple(vars(row).values())


def _frame(row: Sequence) -> Frame:
    return Frame(row[0], from_utc_text(row[1]), date.fromisoformat(row[2]), *row[3:9])
