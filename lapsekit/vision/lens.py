"""The lens's distortion, from photographs of a chessboard, and points freed of it.

Optional: straight edges that look straight in the picture need none of this. A distortion of 5 %
at some distance from the middle is about 19 % of area there, so where edges do bow it matters.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from lapsekit.errors import PictureError
from lapsekit.vision.homographies import corners_of

_PHOTOGRAPHS_AT_LEAST = 4
_COVERED_AT_LEAST = 0.5
_TILTED_AT_LEAST_DEG = 10.0
_ERROR_AT_MOST = 1e-3
"""Typical miss of a corner, as a share of the picture's longer side: one pixel in a thousand."""


@dataclass(frozen=True)
class Lens:
    """A camera's focal length, optical centre and two coefficients of radial distortion.

    Attributes
    ----------
    shape : (height, width)
        Of the pictures it holds for.
    focal_px : float
    centre_px : tuple of float
        (x, y), the centre of the top left pixel at (0, 0).
    radial : tuple of float
        k1 and k2: a point at the distance r from the centre, in focal lengths, is seen at
        r (1 + k1 r² + k2 r⁴) (Brown 1966, Photogrammetric Engineering 32: 444-462).
    error_px : float
        Typical (root mean square) miss of a chessboard corner.
    """

    shape: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    radial: tuple[float, float]
    error_px: float = 0.0

    @property
    def _camera(self) -> np.ndarray:
        x, y = self.centre_px
        return np.array([[self.focal_px, 0, x], [0, self.focal_px, y], [0, 0, 1.0]])

    def undistorted(self, points_px: np.ndarray) -> np.ndarray:
        """Where points (n, 2) would be seen through a lens without distortion, in px."""
        points = np.asarray(points_px, float).reshape(-1, 1, 2)
        radial = np.array([*self.radial, 0, 0])
        # Until a step is far below what a corner can be read to.
        stop = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 50, 1e-10)
        return cv2.undistortPoints(
            points, self._camera, radial, P=self._camera, criteria=stop
        )[:, 0]  # fmt: skip

    def distorted(self, points_px: np.ndarray) -> np.ndarray:
        """Where points (n, 2) of a picture without distortion are seen through this lens."""
        away = (np.asarray(points_px, float) - self.centre_px) / self.focal_px
        square = (away**2).sum(-1, keepdims=True)
        k1, k2 = self.radial
        return away * (1 + square * (k1 + square * k2)) * self.focal_px + self.centre_px

    def stretch(self, points_px: np.ndarray) -> np.ndarray:
        """Undistorted area for each distorted pixel at points (n, 2): weighs areas with it."""
        off = np.array([[0.5, 0], [-0.5, 0], [0, 0.5], [0, -0.5]])
        points = np.asarray(points_px, float).reshape(-1, 2)
        right, left, below, above = (self.undistorted(points + step) for step in off)
        (ax, ay), (bx, by) = (right - left).T, (below - above).T
        return np.abs(ax * by - ay * bx)


def find_chessboard(luma: np.ndarray, inner: tuple[int, int]) -> np.ndarray | None:
    """The inner corners of a chessboard in a photograph, or None.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
    inner : (columns, rows)
        Inner corners, where four squares meet.

    Returns
    -------
    ndarray of float64, shape (columns * rows, 2), or None
        In px, row by row.
    """
    found, corners = cv2.findChessboardCornersSB(luma, inner, flags=cv2.CALIB_CB_ACCURACY)
    return corners.reshape(-1, 2).astype(float) if found else None


def calibrate_lens(
    boards: Sequence[np.ndarray | None], inner: tuple[int, int], shape: tuple[int, int]
) -> Lens:
    """The lens from chessboards in several photographs.

    Parameters
    ----------
    boards : sequence of ndarray (columns * rows, 2) or None
        From `find_chessboard`, one for each photograph.
    inner : (columns, rows)
    shape : (height, width)
        Of the photographs.

    Returns
    -------
    Lens

    Raises
    ------
    PictureError
        If the photographs cannot tell the lens: fewer than four with a board, the boards all
        parallel or in the middle only, corners that do not fit, or a distortion that would fold
        the picture over.

    References
    ----------
    .. [1] Zhang (2000), IEEE Transactions on Pattern Analysis 22(11): 1330-1334.
    """
    seen = [np.asarray(board, np.float32) for board in boards if board is not None]
    if len(seen) < _PHOTOGRAPHS_AT_LEAST:
        raise PictureError(
            f"the chessboard was found in {len(seen)} of {len(boards)} photographs; "
            f"{_PHOTOGRAPHS_AT_LEAST} are needed: show all of it, sharp and without glare"
        )
    height, width = shape
    covered = _covered(np.concatenate(seen), shape)
    if covered < _COVERED_AT_LEAST:
        raise PictureError(
            f"the chessboards reach over {covered:.0%} of the picture only: hold the board near "
            "every corner, where lenses distort most"
        )
    columns, rows = inner
    flat = np.zeros((columns * rows, 3), np.float32)
    flat[:, :2] = np.mgrid[:columns, :rows].T.reshape(-1, 2)
    model = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    start = np.array([[width, 0, (width - 1) / 2], [0, width, (height - 1) / 2], [0, 0, 1.0]])
    error, camera, bends, turns, _ = cv2.calibrateCamera(
        [flat] * len(seen), seen, (width, height), start, None,
        flags=model | cv2.CALIB_USE_INTRINSIC_GUESS,
    )  # fmt: skip
    lens = Lens(
        (height, width),
        float(camera[0, 0]),
        (float(camera[0, 2]), float(camera[1, 2])),
        (float(bends.ravel()[0]), float(bends.ravel()[1])),
        float(error),
    )
    _refuse_implausible(lens, turns)
    return lens


def _covered(points, shape) -> float:
    """Share of a 4 x 4 grid over the picture that holds a corner."""
    cells = np.clip((points / shape[::-1] * 4).astype(int), 0, 3)
    return len(np.unique(cells, axis=0)) / 16


def _refuse_implausible(lens: Lens, turns) -> None:
    height, width = lens.shape
    if lens.error_px > _ERROR_AT_MOST * max(lens.shape):
        raise PictureError(
            f"chessboard corners miss their places by {lens.error_px:.1f} px: keep the board flat "
            "and the camera's zoom and focus as they are on the bench"
        )
    upright = [np.asarray(cv2.Rodrigues(turn)[0])[:, 2] for turn in turns]
    angles = [np.rad2deg(np.arccos(np.clip(a @ b, -1, 1))) for a in upright for b in upright]
    if max(angles) < _TILTED_AT_LEAST_DEG:
        raise PictureError(
            f"the chessboards lie within {max(angles):.0f} degrees of each other: tilt the board "
            f"by {_TILTED_AT_LEAST_DEG:.0f} degrees or more between photographs"
        )
    x, y = lens.centre_px
    if not (width / 4 < x < width * 3 / 4 and height / 4 < y < height * 3 / 4):
        raise PictureError(
            f"the lens's centre comes out at ({x:.0f}, {y:.0f}) in a picture of {width} x "
            f"{height} px: take more photographs, the board tilted to every side"
        )
    reach = np.linalg.norm(corners_of(lens.shape) - lens.centre_px, axis=1).max() / lens.focal_px
    r = np.linspace(0, 1.2 * reach, 100)
    k1, k2 = lens.radial
    if (1 + 3 * k1 * r**2 + 5 * k2 * r**4).min() <= 0:
        raise PictureError(
            "the distortion found folds the picture over at its edge: take photographs with the "
            "board near every corner"
        )
