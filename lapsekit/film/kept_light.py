"""Levels of frames' light, kept from run to run: ``.cache/light/CAMERA/DAY.npz``.

Derived data: any of these files may be deleted at any time, and a damaged one counts as not there.
"""

import io
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.safely import remove_leftovers, write_safely

FOLDER = Path(".cache") / "light"


class KeptLight:
    """The kept levels of one camera.

    Parameters
    ----------
    season_folder : pathlib.Path
        The season's folder; nothing is made in it before anything is kept.
    camera : str
    """

    def __init__(self, season_folder: Path, camera: str):
        self._folder = season_folder / FOLDER / camera

    def of_day(self, day: date) -> dict[str, np.ndarray]:
        """Levels kept of a day's frames, (cells, 4) float16 each, by key."""
        try:
            with np.load(io.BytesIO(self._path(day).read_bytes())) as file:
                keys, levels = file["keys"], file["levels"]
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return {}
        if keys.ndim != 1 or levels.ndim != 3 or len(keys) != len(levels):
            return {}
        return dict(zip(map(str, keys), levels, strict=True))

    def keep(self, day: date, measured: Mapping[str, np.ndarray]) -> None:
        """Keep levels of a day's frames beside those of others of that day.

        Parameters
        ----------
        day : datetime.date
        measured : mapping of str to ndarray of float, shape (cells, 4)
            By key: the frame's name, a dot, and a mark of what its levels rest on. Levels of
            another mark are forgotten.
        """
        if not measured:
            return
        names = {key.partition(".")[0] for key in measured}
        others = {k: v for k, v in self.of_day(day).items() if k.partition(".")[0] not in names}
        kept = dict(sorted((others | dict(measured)).items()))
        out = io.BytesIO()
        levels = np.array(list(kept.values()), np.float16)
        np.savez(out, keys=np.array(list(kept)), levels=levels)
        with suppress(OSError):  # an earlier season's folder need not let us write: it is a cache
            self._folder.mkdir(parents=True, exist_ok=True)
            remove_leftovers(self._folder)
            write_safely(self._path(day), out.getvalue())

    def _path(self, day: date) -> Path:
        return self._folder / f"{day}.npz"
