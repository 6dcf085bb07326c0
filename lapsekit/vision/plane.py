"""The bench plane: from pixels to centimetres, and the area that each pixel covers there.

A flat bench seen by a camera is known by eight numbers (a homography), and by four (shift, turn,
scale) where the camera looks straight down. Areas are rectified by weighing each pixel with the
bench area it covers, not by warping the picture: nothing is resampled, no edge is moved.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from lapsekit.errors import PictureError
from lapsekit.vision.homographies import homography, project
from lapsekit.vision.markers import Tag

_MOUNTED_WITHIN_RAD = np.deg2rad(5.0)
"""How straight down a camera is mounted by eye (standard deviation)."""


@dataclass(frozen=True)
class BenchPlane:
    """Where the bench's centimetres lie in a picture.

    Attributes
    ----------
    to_cm : ndarray of float64, shape (3, 3)
        Homography from pixels (the centre of the top left one at (0, 0)) to cm on the bench.
    """

    to_cm: np.ndarray

    def points_cm(self, points_px: np.ndarray) -> np.ndarray:
        """Places on the bench of points (..., 2) of the picture, in cm."""
        return project(self.to_cm, np.asarray(points_px, float))

    def cm2_per_px(self, points_px: np.ndarray) -> np.ndarray:
        """Bench area that a pixel covers at each of some points (..., 2), in cm².

        The determinant of the homography's derivative, ``det(H) / w³``.
        """
        points = np.asarray(points_px, float)
        w = points @ self.to_cm[2, :2] + self.to_cm[2, 2]
        return np.abs(np.linalg.det(self.to_cm) / w**3)

    def weights_cm2(self, shape: tuple[int, int]) -> np.ndarray:
        """Bench area of every pixel of a picture, in cm².

        Parameters
        ----------
        shape : (height, width)

        Returns
        -------
        ndarray of float32, shape (height, width)
            Multiplied with a mask and summed it gives the mask's area on the bench.

        Raises
        ------
        PictureError
            If the plane's horizon runs through the picture: then the reference is wrong.
        """
        height, width = shape
        w = (
            self.to_cm[2, 0] * np.arange(width)
            + self.to_cm[2, 1] * np.arange(height)[:, None]
            + self.to_cm[2, 2]
        )
        if w.min() * w.max() <= 0:
            raise PictureError(
                "the bench plane's horizon lies in the picture: check the points of its scale"
            )
        return np.abs(np.linalg.det(self.to_cm) / w**3).astype(np.float32)

    def px_per_cm(self, shape: tuple[int, int]) -> float:
        """Scale in the middle of a picture of `shape` (height, width)."""
        height, width = shape
        return float(self.cm2_per_px(np.array([(width - 1) / 2, (height - 1) / 2])) ** -0.5)

    def seen_through(self, matrix: np.ndarray) -> "BenchPlane":
        """The same bench in a frame, whose pixels are `matrix` (3, 3) times this picture's."""
        return BenchPlane(self.to_cm @ np.linalg.inv(matrix))


def plane_from_scale(px_per_cm: float) -> BenchPlane:
    """A bench seen from straight above at a known scale."""
    if not (np.isfinite(px_per_cm) and px_per_cm > 0):
        raise PictureError(f"px_per_cm is {px_per_cm}: it must be above 0")
    return BenchPlane(np.diag([1 / px_per_cm, 1 / px_per_cm, 1.0]))


def plane_from_length(ends_px: np.ndarray, length_cm: float) -> BenchPlane:
    """A bench seen from straight above, from a known length between two points (2, 2)."""
    first, last = np.asarray(ends_px, float)
    length_px = float(np.hypot(*(last - first)))
    if not (length_cm > 0 and length_px > 0):
        raise PictureError(
            f"a length of {length_cm} cm over {length_px:.1f} px gives no scale: "
            "both must be above 0"
        )
    return plane_from_scale(length_px / length_cm)


def plane_from_rectangle(corners_px: np.ndarray, sides_cm: tuple[float, float]) -> BenchPlane:
    """The bench from the four corners of a rectangle of known size that lies on it.

    Parameters
    ----------
    corners_px : ndarray, shape (4, 2)
        Corners in their order around the rectangle, either way round.
    sides_cm : (float, float)
        Length from the first corner to the second, and from the second to the third.

    Raises
    ------
    PictureError
        If the corners make no convex quadrangle, or a side is not above 0.
    """
    corners = np.asarray(corners_px, float)
    wide, deep = sides_cm
    before, after = corners - np.roll(corners, 1, 0), np.roll(corners, -1, 0) - corners
    turns = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    if not (np.all(turns > 0) or np.all(turns < 0)):
        raise PictureError(
            f"the four corners {corners.round(1).tolist()} are not in order around a rectangle"
        )
    if not (wide > 0 and deep > 0):
        raise PictureError(f"the rectangle's sides are {wide} and {deep} cm: both must be above 0")
    on_bench = np.array([[0, 0], [wide, 0], [wide, deep], [0, deep]])
    return BenchPlane(homography(corners, on_bench))


def plane_from_tags(tags: Sequence[Tag], side_cm: float, shape: tuple[int, int]) -> BenchPlane:
    """The bench from one tag of known side, or several of the same side that lie anywhere on it.

    Every tag must come out as a square of that side, wherever and however it lies. A small tag
    says little about the camera's tilt, which matters far away from it: the tilt found is the
    most probable one if cameras are mounted to look straight down within 5 degrees (standard
    deviation) and are about as long in focus as their picture is. Tags that show a tilt clearly
    outweigh that at once; for a faint one give the tag's corners averaged over frames.

    Parameters
    ----------
    tags : sequence of Tag
    side_cm : float
        Side of the printed black square.
    shape : (height, width)
        Of the picture.

    Raises
    ------
    PictureError
        If there is no tag, or the side is not above 0.
    """
    if not tags or not side_cm > 0:
        raise PictureError(f"{len(tags)} tags with a side of {side_cm} cm give no scale")
    corners = np.array([tag.corners_px for tag in tags], float)
    sides_px = np.linalg.norm(corners - np.roll(corners, 1, 1), axis=2)
    errors_px = np.array([max(tag.corner_error_px, 1e-3) for tag in tags])
    focal_px = float(max(shape))
    centre = (np.array(shape[::-1]) - 1) / 2

    def misfit(numbers):
        matrix = _tilted(numbers, centre, focal_px)
        errors_cm = errors_px * np.exp(numbers[0])
        off = _off_square(project(matrix, corners), side_cm) / errors_cm[:, None, None]
        return np.r_[off.ravel(), numbers[3:] / _MOUNTED_WITHIN_RAD]

    start = [np.log(side_cm / sides_px.mean()), 0.0, 0.0, 0.0, 0.0]
    return BenchPlane(_tilted(least_squares(misfit, start, x_scale="jac").x, centre, focal_px))


def _tilted(numbers, centre, focal_px):
    """Homography of log cm per px, two numbers of stretch and the tilt about both axes (tan)."""
    log_scale, stretch, slant, tilt_x, tilt_y = numbers
    scale = np.exp(log_scale)
    onto = np.array([[1 + stretch, slant, 0], [0, 1 / (1 + stretch), 0], [0, 0, 1.0]])
    onto[:2] *= scale
    view = np.array([[1, 0, 0], [0, 1, 0], [tilt_x / focal_px, tilt_y / focal_px, 1]])
    return onto @ view @ np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1]])


def _off_square(corners, side):
    """How far corners (n, 4, 2) lie from the nearest square of that side: (n, 4, 2)."""
    seen = corners[..., 0] + 1j * corners[..., 1]
    seen = seen - seen.mean(1, keepdims=True)
    square = side / 2 * np.array([-1 - 1j, 1 - 1j, 1 + 1j, -1 + 1j])
    turn = (seen * square.conj()).sum(1, keepdims=True)
    off = seen - square * turn / np.abs(turn)
    return np.stack([off.real, off.imag], -1)


def canopy_height_factor(camera_height_cm: float, canopy_height_cm: float) -> float:
    """How much too large a canopy reads for being nearer to the camera than the bench.

    Areas are projections onto the bench plane: a leaf at height h under a camera at height H
    covers (H / (H − h))² of its own area there, 1.15 for 10 cm under 150 cm and 1.56 for 30 cm.
    To correct an area for height, divide by this. lapsekit does not unless told to, since one
    height stands for a whole canopy whose leaves lie lower, and a height that is measured now
    and then would put its own steps into the curve.

    Parameters
    ----------
    camera_height_cm, canopy_height_cm : float
        Over the bench; the canopy's at least 0 and below the camera's.

    Raises
    ------
    PictureError
        If the heights are not in that order.
    """
    if not 0 <= canopy_height_cm < camera_height_cm:
        raise PictureError(
            f"a canopy {canopy_height_cm} cm high cannot lie under a camera at "
            f"{camera_height_cm} cm: check both heights"
        )
    return (camera_height_cm / (camera_height_cm - canopy_height_cm)) ** 2
