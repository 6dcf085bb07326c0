"""Photographs or a video of a chessboard -> the camera's lens, as season.toml takes it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from lapsekit.errors import PictureError, SettingsError
from lapsekit.frames.inspection import inspect
from lapsekit.progress import Track, silent
from lapsekit.vision.homographies import corners_of
from lapsekit.vision.lens import Lens, calibrate_lens, find_chessboard
from lapsekit.vision.pictures import decode

VIDEOS = (".mp4", ".mov", ".mkv", ".avi", ".webm")
VIDEO_FRAMES = 40
"""How many frames, evenly spread, are looked at of a video."""


@dataclass(frozen=True)
class LensFound:
    """A lens, and in how many of the pictures looked at the chessboard was found."""

    lens: Lens
    boards: int
    pictures: int

    @property
    def bent_px(self) -> float:
        """How far the picture's corners lie from where a lens without distortion shows them."""
        corners = corners_of(self.lens.shape)
        return float(np.linalg.norm(self.lens.undistorted(corners) - corners, axis=1).max())

    def as_toml(self, camera: str) -> str:
        """The lines for season.toml."""
        height, width = self.lens.shape
        x, y = self.lens.centre_px
        return (
            f"[cameras.{camera}.lens]\n"
            f"size_px = [{width}, {height}]\n"
            f"focal_px = {self.lens.focal_px:.2f}\n"
            f"centre_px = [{x:.2f}, {y:.2f}]\n"
            f"radial = [{self.lens.radial[0]:.6f}, {self.lens.radial[1]:.6f}]\n"
        )


def find_lens(files: Sequence[Path], corners: tuple[int, int], track: Track = silent) -> LensFound:
    """Find a lens's distortion from photographs or a video of a chessboard.

    Parameters
    ----------
    files : sequence of pathlib.Path
        JPEG, PNG or WebP pictures, or videos, all of one size.
    corners : (columns, rows)
        Inner corners of the board, where four squares meet.
    track : Track
        Told about progress.

    Returns
    -------
    LensFound

    Raises
    ------
    PictureError
        If a file cannot be read, or they cannot tell the lens.
    SettingsError
        If the pictures are not of one size.
    """
    boards, shape, first = [], None, None
    for path in track(files, len(files), "looking for chessboards"):
        for luma in _pictures(path):
            if shape is None:
                shape, first = luma.shape, path
            if luma.shape != shape:
                sizes = [f"{s[1]} x {s[0]} px" for s in (luma.shape, shape)]
                raise SettingsError(
                    f"{path} has {sizes[0]}, but {first} has {sizes[1]}: a lens is found for one "
                    "size; take all pictures at the size that the camera captures"
                )
            boards.append(find_chessboard(luma, corners))
    lens = calibrate_lens(boards, corners, shape or (0, 0))
    return LensFound(lens, sum(board is not None for board in boards), len(boards))


def _pictures(path: Path) -> Iterator[np.ndarray]:
    """Luminance of a picture, or of some frames of a video."""
    if path.suffix.lower() in VIDEOS:
        yield from _video_frames(path)
        return
    if path.is_dir():
        raise PictureError(f"{path} is a folder: name the photographs in it, like {path}/*.jpg")
    try:
        data = path.read_bytes()
        inspect(data)
    except (OSError, PictureError) as error:
        raise PictureError(f"{path}: {error}") from error
    yield cv2.cvtColor(decode(data), cv2.COLOR_RGB2GRAY)


def _video_frames(path: Path) -> Iterator[np.ndarray]:
    film = cv2.VideoCapture(str(path))
    try:
        count = int(film.get(cv2.CAP_PROP_FRAME_COUNT))
        wanted = set(np.linspace(0, max(0, count - 1), VIDEO_FRAMES).astype(int).tolist())
        number = shown = 0
        while film.grab():
            if number in wanted:
                whole, frame = film.retrieve()
                if whole:
                    shown += 1
                    yield cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
            number += 1
    finally:
        film.release()
    if not shown:
        raise PictureError(
            f"{path}: no frame of it can be read; use photographs, or a video that plays elsewhere"
        )
