"""Rows of figures, by which a camera's frames are judged, and how far they are."""

import json
from collections.abc import Iterable
from datetime import datetime
from heapq import merge
from itertools import islice

from lapsekit.catalogue.database import Database
from lapsekit.catalogue.rows import FRAME_COLUMNS, Figured, FrameVerdict, Judging, frame_of
from lapsekit.when import from_utc_text, utc_text

_OF_FRAMES = (
    f"SELECT {FRAME_COLUMNS}, mark, figures FROM frame JOIN screening ON screening.frame_id = id"
    " JOIN figures ON figures.frame_id = id"
)
_OF_THINNED = (
    "SELECT camera, taken_at, day, path, sha256, size, width, height, 'thinned', mark, figures"
    " FROM thinned"
)
_GONE = "figures IS NOT NULL AND path NOT IN (SELECT path FROM frame WHERE path = thinned.path)"


class Judgings(Database):
    """What is asked of figures, and of how far they are judged."""

    def has_figures(self, camera: str) -> bool:
        """Whether any frame of `camera` has figures."""
        frames = "SELECT 1 FROM frame JOIN figures ON frame_id = id WHERE camera = ? LIMIT 1"
        thinned = "SELECT 1 FROM thinned WHERE camera = ? AND figures IS NOT NULL LIMIT 1"
        return any(self._read(query, (camera,)) for query in (frames, thinned))

    def figures_after(
        self, camera: str, at: datetime | None, path: str, number: int
    ) -> list[Figured]:
        """Frames of `camera` that have figures, those thinned out among them, in order of time.

        Parameters
        ----------
        camera : str
        at : datetime or None
            When the frame was taken after which they come; None for the first there is.
        path : str
            Its path; of frames of one instant the later path is the later frame.
        number : int
            How many at most.
        """
        return self._figured(camera, ">", "ASC", _key(at, path), number)

    def figures_until(self, camera: str, at: datetime, path: str, number: int) -> list[Figured]:
        """The last of them up to and with a frame, in order of time."""
        return self._figured(camera, "<=", "DESC", _key(at, path), number)[::-1]

    def _figured(self, camera: str, side: str, way: str, key: tuple, number: int) -> list[Figured]:
        if not number:
            return []
        found = [
            self._read(
                f"{source} WHERE camera = ? AND (taken_at, path) {side} (?, ?) {only}"
                f" ORDER BY taken_at {way}, path {way} LIMIT ?",
                (camera, *key, number),
            )
            for source, only in ((_OF_FRAMES, ""), (_OF_THINNED, f"AND {_GONE}"))
        ]
        rows = merge(*found, key=lambda row: (row[1], row[3]), reverse=way == "DESC")
        return [Figured(frame_of(row), row[9], row[10]) for row in islice(rows, number)]

    def judging(self, camera: str) -> Judging | None:
        """How far the frames of `camera` are judged; None where they are not."""
        rows = self._read(
            "SELECT basis, ruled, settled, settled_at, settled_path, memory, open_from"
            " FROM judging WHERE camera = ?",
            (camera,),
        )
        if not rows:
            return None
        basis, ruled, settled, at, path, memory, open_from = rows[0]
        return Judging(basis, ruled, settled, _moment(at), path or "", memory, _moment(open_from))

    def record_verdicts(
        self, camera: str, verdicts: Iterable[FrameVerdict], judging: Judging
    ) -> None:
        """Set verdicts, and drop the values of days whose usable frames change by them."""
        with self._transaction() as db:
            for verdict in verdicts:
                _record(db, verdict)
            db.execute(
                "INSERT OR REPLACE INTO judging VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    *(camera, judging.basis, judging.ruled, judging.settled),
                    judging.settled_at and utc_text(judging.settled_at),
                    *(judging.settled_path, judging.memory),
                    judging.open_from and utc_text(judging.open_from),
                ),
            )

    def overruled(self, camera: str) -> dict[str, FrameVerdict]:
        """What the verdicts on frames would be without the grower's word, by path."""
        rows = self._read(
            "SELECT path, reasons, told, watched FROM overruled JOIN frame ON id = frame_id"
            " WHERE camera = ?",
            (camera,),
        )
        return {
            path: FrameVerdict(path, tuple(json.loads(reasons)), told, bool(watched))
            for path, reasons, told, watched in rows
        }


def _record(db, verdict: FrameVerdict) -> None:
    reasons = json.dumps(verdict.reasons)
    found = db.execute(
        "SELECT id, day, reasons FROM frame JOIN screening ON id = frame_id WHERE path = ?",
        (verdict.path,),
    ).fetchone()
    if found is None:
        return
    frame_id, day, before = found
    if before != reasons:
        db.execute("DELETE FROM daily WHERE day = ?", (day,))
    db.execute(
        "UPDATE screening SET reasons = ?, told = ?, watched = ? WHERE frame_id = ?",
        (reasons, verdict.told, verdict.watched, frame_id),
    )
    beneath = verdict.overruled
    if beneath is None:
        db.execute("DELETE FROM overruled WHERE frame_id = ?", (frame_id,))
    else:
        db.execute(
            "INSERT OR REPLACE INTO overruled VALUES (?, ?, ?, ?)",
            (frame_id, json.dumps(beneath.reasons), beneath.told, beneath.watched),
        )


def _key(at: datetime | None, path: str) -> tuple[str, str]:
    return ("", "") if at is None else (utc_text(at), path)


def _moment(text: str | None) -> datetime | None:
    return from_utc_text(text) if text else None
