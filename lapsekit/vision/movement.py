"""What a homography comes to, in the terms of a hand that turns the camera back."""

from dataclasses import dataclass
from math import atan2, degrees, hypot

import numpy as np

from lapsekit.vision.homographies import apart_px, nearest_similarity, project


@dataclass(frozen=True)
class Movement:
    """How the scene lies in a picture, against how it lay in the reference view.

    Attributes
    ----------
    right_px, down_px : float
        How far what was in the middle lies to the right, and further down.
    turned_deg : float
        Clockwise, as the picture shows it.
    larger : float
        By what share everything is larger; negative where it is smaller.
    tilted_px : float
        How far a corner is off beyond that, at most: the view is no longer as square to the
        bench, or from as far to the side, as it was.
    """

    right_px: float
    down_px: float
    turned_deg: float
    larger: float
    tilted_px: float


def movement(matrix: np.ndarray, shape: tuple[int, int]) -> Movement:
    """Take a homography apart.

    Parameters
    ----------
    matrix : ndarray of float, shape (3, 3)
        From the reference view to the picture.
    shape : (height, width)
        Of both.

    Returns
    -------
    Movement
    """
    middle = np.array([(shape[1] - 1) / 2, (shape[0] - 1) / 2])
    right, down = project(matrix, middle) - middle
    square = nearest_similarity(matrix, shape)
    return Movement(
        float(right),
        float(down),
        degrees(atan2(square[1, 0], square[0, 0])),
        hypot(square[0, 0], square[1, 0]) - 1,
        apart_px(matrix, square, shape),
    )
