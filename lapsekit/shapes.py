"""Where canopy shapes are kept: each frame's registered canopy, and each day's map of labels.

Derived data in ``.cache/canopy/CAMERA/DAY/`` of the season folder: a frame's canopy as a PNG of
1 bit a pixel, a day's labels as a PNG of 8 or 16 bits. No number rests on these files alone: the
catalogue holds the numbers, and measuring again makes the files again; so any of them may be
deleted at any time, and a damaged one counts as not there. The settings mark stands in the file's
name: a shape made by other settings is not found, and goes when its successor is written.
"""

from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.safely import remove_leftovers, write_safely
from lapsekit.vision.pictures import decode_grey, encode_bits, encode_labels

FOLDER = Path(".cache") / "canopy"
_LABELS = "labels"


class Shapes:
    """The kept shapes of one season.

    Parameters
    ----------
    season_folder : pathlib.Path
        The season's folder; nothing is made in it before the first shape is kept.
    """

    def __init__(self, season_folder: Path):
        self._root = season_folder / FOLDER

    def keep_canopy(
        self, camera: str, day: date, frame: str, mark: str, canopy: np.ndarray
    ) -> None:
        """Keep a frame's canopy in the reference view.

        Parameters
        ----------
        camera, frame : str
            Camera, and the frame's file name without its ending.
        day : datetime.date
            Local day.
        mark : str
            Settings mark of what made the canopy.
        canopy : (H, W) bool ndarray
        """
        self._keep(camera, day, frame, mark, encode_bits(canopy))

    def canopy(self, camera: str, day: date, frame: str, mark: str) -> np.ndarray | None:
        """A frame's canopy, (H, W) bool; None if it is not kept, or is of other settings."""
        found = self._read(self._path(camera, day, frame, mark))
        return None if found is None else found > 0

    def keep_labels(self, camera: str, day: date, mark: str, labels: np.ndarray) -> None:
        """Keep a day's map of labels, (H, W) integers from 0 to 65535."""
        self._keep(camera, day, _LABELS, mark, encode_labels(labels))

    def labels(self, camera: str, day: date, mark: str) -> np.ndarray | None:
        """A day's map of labels, (H, W) uint16; None if not kept, or of other settings."""
        found = self._read(self._path(camera, day, _LABELS, mark))
        return None if found is None else found.astype(np.uint16)

    def days(self, camera: str) -> list[date]:
        """Days of which anything is kept, in order."""
        folder = self._root / camera
        found = []
        for path in folder.iterdir() if folder.is_dir() else ():
            try:
                found.append(date.fromisoformat(path.name))
            except ValueError:
                continue
        return sorted(found)

    def forget(self, camera: str, day: date) -> None:
        """Delete what is kept of a day."""
        folder = self._folder(camera, day)
        for path in folder.iterdir() if folder.is_dir() else ():
            path.unlink(missing_ok=True)
        if folder.is_dir():
            folder.rmdir()

    def _folder(self, camera: str, day: date) -> Path:
        return self._root / camera / day.isoformat()

    def _path(self, camera: str, day: date, name: str, mark: str) -> Path:
        return self._folder(camera, day) / f"{name}.{mark}.png"

    def _keep(self, camera: str, day: date, name: str, mark: str, content: bytes) -> None:
        path = self._path(camera, day, name, mark)
        path.parent.mkdir(parents=True, exist_ok=True)
        remove_leftovers(path.parent)
        write_safely(path, content)
        for other in path.parent.glob(f"{name}.*.png"):
            if other != path:
                other.unlink(missing_ok=True)

    @staticmethod
    def _read(path: Path) -> np.ndarray | None:
        try:
            return decode_grey(path.read_bytes())
        except OSError:
            return None
