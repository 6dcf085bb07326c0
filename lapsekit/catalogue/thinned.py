"""Rows of frames that were thinned out."""

import json
from collections.abc import Iterable, Sequence

from lapsekit.catalogue.database import Database
from lapsekit.catalogue.rows import Frame, frame_of
from lapsekit.when import utc_text


class Thinned(Database):
    """What is asked of frames that were thinned out."""

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
        return [(frame_of(row[:9]), tuple(json.loads(row[9]))) for row in rows]

    def keep_thinned_figures(self, camera: str, mark: str) -> None:
        """Forget figures of frames thinned out that other settings made."""
        with self._transaction() as db:
            db.execute(
                "UPDATE thinned SET mark = NULL, figures = NULL WHERE camera = ? AND mark <> ?",
                (camera, mark),
            )
