"""Lay one small view of a bench onto another: a camera that was knocked shows the same bench."""

import cv2
import numpy as np

_MOST_SHIFT = 0.08
_MOST_TURN_RAD = 0.1
_STEPS = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 40, 1e-4)
_LOCAL_PX = 9


def aligned(moving: np.ndarray, fixed: np.ndarray) -> np.ndarray | None:
    """`moving`, shifted and turned to lie on `fixed`.

    By enhanced correlation (Evangelidis & Psarakis 2008, IEEE TPAMI 30(10),
    doi:10.1109/TPAMI.2008.113) of log luminance with its local mean taken off, which shadows
    change little.

    Parameters
    ----------
    moving, fixed : ndarray of float32, shape (parts, height, width)
        Views, log luminance first.

    Returns
    -------
    ndarray or None
        None where no shift below 8 % of the width and turn below 6 degrees fits.
    """
    if moving.shape != fixed.shape:
        return None
    height, width = fixed.shape[1:]
    matrix = np.eye(2, 3, dtype=np.float32)
    detail = [_detail(view[0]) for view in (fixed, moving)]
    try:
        _, matrix = cv2.findTransformECC(*detail, matrix, cv2.MOTION_EUCLIDEAN, _STEPS)
    except cv2.error:  # did not converge
        return None
    centre = matrix @ np.float32([width / 2, height / 2, 1])
    shift = float(np.hypot(*(centre - (width / 2, height / 2))))
    if shift > _MOST_SHIFT * width or abs(float(matrix[1, 0])) > _MOST_TURN_RAD:
        return None
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.stack(
        [
            cv2.warpAffine(part, matrix, (width, height), flags=how, borderMode=cv2.BORDER_REFLECT)
            for part in moving
        ]
    )


def _detail(luminance: np.ndarray) -> np.ndarray:
    spread = luminance - cv2.blur(luminance, (_LOCAL_PX, _LOCAL_PX))
    return cv2.GaussianBlur(np.clip(spread, -0.5, 0.5), (0, 0), 1)
