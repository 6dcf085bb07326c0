"""Where canopy shapes are kept: each frame's registered cover, and each day's map of labels.

Derived data in ``.cache/canopy/CAMERA/DAY/`` of the season folder: a frame's cover as a PNG of
8 bits a pixel (255 where all is canopy), a day's labels as a PNG of 8 or 16 bits. No number rests
on these files alone: the catalogue holds the numbers, and measuring again makes the files again;
so any of them may be deleted at any time, and a damaged one counts as not there. The settings mark
stands in the file's name: a shape made by other settings is not found, and goes when its successor
is written.
"""

import hashlib
import threading
from datetime import date
from pathlib import Path

import numpy as np

from lapsekit.safely import naming
from lapsekit.vision.pictures import decode_grey, encode_grey, encode_labels

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

    def keep_cover(self, camera: str, day: date, frame: str, mark: str, cover: np.ndarray) -> None:
        """Keep a frame's cover in the reference view.

        Parameters
        ----------
        camera, frame : str
            Camera, and the frame's file name without its ending.
        day : datetime.date
            Local day.
        mark : str
            Settings mark of what made the cover.
        cover : (H, W) uint8 ndarray
            Share of canopy in each pixel, 0 to 255.
        """
        self.keep_encoded_cover(camera, day, frame, mark, encode_grey(cover))

    def keep_encoded_cover(
        self, camera: str, day: date, frame: str, mark: str, content: bytes
    ) -> None:
        """Keep a frame's cover, encoded elsewhere by `encode_grey`."""
        self._keep(camera, day, frame, mark, content)

    def cover(self, camera: str, day: date, frame: str, mark: str) -> np.ndarray | None:
        """A frame's cover, (H, W) uint8; None if it is not kept, or is of other settings."""
        return self._read(self._path(camera, day, frame, mark))

    def keep_labels(self, camera: str, day: date, mark: str, labels: np.ndarray) -> None:
        """Keep a day's map of labels, (H, W) integers from 0 to 65535."""
        self._keep(camera, day, _LABELS, mark, encode_labels(labels))

    def labels(self, camera: str, day: date, mark: str) -> np.ndarray | None:
        """A day's map of labels, (H, W) uint16; None if not kept, or of other settings."""
        found = self._read(self._path(camera, day, _LABELS, mark))
        return None if found is None else found.astype(np.uint16)

    def labels_digest(self, camera: str, day: date, mark: str) -> str | None:
        """What changes when a day's map of labels does, without a look at it; None if not kept."""
        try:
            content = self._path(camera, day, _LABELS, mark).read_bytes()
        except OSError:
            return None
        return hashlib.sha256(content).hexdigest()

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

    def forget_cover(self, camera: str, day: date, frame: str) -> None:
        """Delete a frame's cover, of whatever settings."""
        for path in self._folder(camera, day).glob(f"{frame}.*.png"):
            path.unlink(missing_ok=True)

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
        # Whole or not at all; what a power cut takes of it is made again, so nothing waits for disk
        part = path.with_name(f"{path.name}.{threading.get_ident()}.part")
        with naming(path):
            part.write_bytes(content)
        part.replace(path)
        for other in path.parent.glob(f"{name}.*.png"):
            if other != path:
                other.unlink(missing_ok=True)

    @staticmethod
    def _read(path: Path) -> np.ndarray | None:
        try:
            return decode_grey(path.read_bytes())
        except OSError:
            return None
