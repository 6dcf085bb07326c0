"""How sharp a picture is, for a hand that turns the focus ring."""

import cv2
import numpy as np


def focus(luma: np.ndarray) -> float:
    """Focus measure of a picture; the larger, the sharper, for one and the same scene.

    The root of the mean squared slope (Tenengrad: Tenenbaum 1970; Krotkov 1988, International
    Journal of Computer Vision 1, doi:10.1007/BF00127822), by the mean brightness, so that a lamp
    switched on does not pass for focus. In the comparison of Pertuz, Puig & García (2013, Pattern
    Recognition 46, doi:10.1016/j.patcog.2012.11.011) gradients bear noise better than second
    derivatives do, and a dim bench is noisy.

    Nothing but a comparison with other pictures of the same scene gives the number a meaning:
    unlike `lapsekit.vision.figures.blur_effect` it grows without bound and falls with the first
    trace of blur.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)
        Taken at full size: reduced, a picture looks sharp before it is.

    Returns
    -------
    float
        Slope in percent of the mean brightness per px; 0 for a picture without any variation.
    """
    mean = cv2.mean(luma)[0]
    if mean == 0 or min(luma.shape) < 3:
        return 0.0
    # A Sobel kernel weighs a slope eightfold.
    across, down = (cv2.Sobel(luma, cv2.CV_32F, *way, scale=1 / 8) for way in ((1, 0), (0, 1)))
    squared = cv2.norm(across, cv2.NORM_L2SQR) + cv2.norm(down, cv2.NORM_L2SQR)
    return float(100 * (squared / luma.size) ** 0.5 / mean)
