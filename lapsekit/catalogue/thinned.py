"""Rows of frames that were thinned out."""

import json
from collections.abc import Iterable, Sequence

from lapsekit.catalogue.database import Database, judge_from
from lapsekit.catalogue.rows import Frame
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

    def thinned_among(self, paths: Iterable[str]) -> set[str]:
        """Those of some paths that are noted as of frames thinned out, or about to be."""
        asked = (json.dumps(list(paths)),)
        query = "SELECT path FROM thinned WHERE path IN (SELECT value FROM json_each(?))"
        return {path for (path,) in self._read(query, asked)}

    def let_go(self, paths: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """Those of some paths that are of frames thinned out and gone, with what was against them.

        Returns
        -------
        dict of str to tuple of str
            Reasons, by path.
        """
        rows = self._read(
            "SELECT path, reasons FROM thinned WHERE path IN (SELECT value FROM json_each(?))"
            " AND path NOT IN (SELECT path FROM frame WHERE path = thinned.path)",
            (json.dumps(list(paths)),),
        )
        return {path: tuple(json.loads(reasons)) for path, reasons in rows}

    def keep_thinned_figures(self, camera: str, mark: str) -> None:
        """Forget figures of frames thinned out that other settings made."""
        with self._transaction() as db:
            ((since,),) = db.execute(
                "SELECT min(taken_at) FROM thinned WHERE camera = ? AND mark <> ?", (camera, mark)
            )
            if since is not None:
                db.execute(
                    "UPDATE thinned SET mark = NULL, figures = NULL WHERE camera = ? AND mark <> ?",
                    (camera, mark),
                )
                judge_from(db, camera, since)
