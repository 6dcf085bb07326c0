"""Published colour indices: canopy from fixed arithmetic on red, green and blue.

They need no training and no model, and they are what most reports compare with. They are also
easily misled: an automatic threshold always splits a picture in two, plants or not, and none of
them sees a red leaf.

`INDICES` lists them by the names that season.toml uses. Each is oriented so that it is higher where
greener, and has the threshold that its source gives, or Otsu's where the source leaves the choice
to the histogram or to the user.

References
----------
.. [1] Woebbecke et al. (1995), Transactions of the ASAE 38(1): excess green.
.. [2] Meyer & Neto (2008), Computers and Electronics in Agriculture 63(2): excess green minus
   excess red, threshold 0.
.. [3] Kataoka et al. (2003), Advanced Intelligent Mechatronics, IEEE/ASME: CIVE.
.. [4] Hague, Tillett & Wheeler (2006), Precision Agriculture 7: VEG.
.. [5] Guijarro et al. (2011), Computers and Electronics in Agriculture 75: COM.
.. [6] Burgos-Artizzu et al. (2011), Computers and Electronics in Agriculture 75: MExG.
.. [7] Louhaichi, Borman & Johnson (2001), Geocarto International 16: GLI.
.. [8] Gitelson et al. (2002), Remote Sensing of Environment 80: VARI.
.. [9] Woebbecke et al. (1993), Optics in Agriculture and Forestry, SPIE 1836: NDI; the same
   arithmetic is called NGRDI by Hunt et al. (2005), Precision Agriculture 6.
.. [10] CIE 1976 L*a*b*: a* runs from green (negative) to red.
.. [11] Otsu (1979), IEEE Transactions on Systems, Man and Cybernetics 9(1).
"""

from collections.abc import Callable
from dataclasses import dataclass
from types import MappingProxyType

import cv2
import numpy as np

from lapsekit.vision.colour import require_picture

CIVE_RED, CIVE_GREEN, CIVE_BLUE, CIVE_OFFSET = 0.441, 0.811, 0.385, 18.78745
"""Kataoka's coefficients; copies with 0.881 for green circulate and are wrong."""

VEG_EXPONENT = 0.667
COM_WEIGHTS = (0.25, 0.30, 0.33, 0.12)
"""Of excess green, excess green minus excess red, CIVE and VEG."""

MEXG_GREEN, MEXG_RED, MEXG_BLUE = 1.262, 0.884, 0.311


def _shares(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shares of red and of green in R + G + B, float32; one third each where black."""
    require_picture(picture)
    total = picture.sum(axis=2, dtype=np.float32)
    red, green = picture[..., 0] / np.maximum(total, 1), picture[..., 1] / np.maximum(total, 1)
    black = total == 0
    red[black] = green[black] = np.float32(1 / 3)
    return red, green


def _channels(picture: np.ndarray) -> list[np.ndarray]:
    require_picture(picture)
    return [np.float32(picture[..., channel]) for channel in range(3)]


def _ratio(above: np.ndarray, below: np.ndarray) -> np.ndarray:
    """Quotient held within ±1; 0 where the divisor is not positive."""
    safe = below > 0
    return np.clip(np.where(safe, above / np.where(safe, below, 1), 0), -1, 1).astype(np.float32)


def excess_green(picture: np.ndarray) -> np.ndarray:
    """Excess green 2g − r − b on chromatic coordinates (r + g + b = 1) [1]_.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255.

    Returns
    -------
    (H, W) float32 ndarray
        −1 (no green) to 2 (pure green), 0 for greys and black.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    """
    _, green = _shares(picture)
    return 3 * green - 1


def excess_green_minus_red(picture: np.ndarray) -> np.ndarray:
    """Excess green minus excess red, (2g − r − b) − (1.4r − g) [2]_.

    Parameters, errors and shape as for `excess_green`; −2.4 (pure red) to 3 (pure green), −2/15
    for greys and black.
    """
    red, green = _shares(picture)
    return 4 * green - np.float32(1.4) * red - 1


def cive(picture: np.ndarray) -> np.ndarray:
    """Colour index of vegetation extraction [3]_, lower where greener.

    Parameters, errors and shape as for `excess_green`; 0.441 R − 0.811 G + 0.385 B + 18.78745:
    about −188 (pure green) to 229 (magenta).
    """
    require_picture(picture)
    weights = np.array([[CIVE_RED, -CIVE_GREEN, CIVE_BLUE]], np.float32)
    return cv2.transform(picture.astype(np.float32), weights) + np.float32(CIVE_OFFSET)


def veg(picture: np.ndarray) -> np.ndarray:
    """Logarithm of VEG = G / (R^0.667 B^0.333) [4]_, one step added to each channel.

    The published quotient has no upper bound, which spoils a histogram; its logarithm sorts
    pixels alike. 0 for greys.
    """
    red, green, blue = (np.log(channel + 1) for channel in _channels(picture))
    return green - np.float32(VEG_EXPONENT) * red - np.float32(1 - VEG_EXPONENT) * blue


def combined(picture: np.ndarray) -> np.ndarray:
    """COM = 0.25 ExG + 0.30 ExGR + 0.33 CIVE + 0.12 VEG on chromatic coordinates [5]_.

    As published, CIVE enters with a positive sign although it falls where a pixel is greener.
    """
    red, green = _shares(picture)
    blue = 1 - red - green
    index = np.float32(CIVE_RED) * red - np.float32(CIVE_GREEN) * green + CIVE_BLUE * blue
    parts = (
        3 * green - 1,
        4 * green - np.float32(1.4) * red - 1,
        index + np.float32(CIVE_OFFSET),
        np.exp(np.clip(veg(picture), -3, 3)),
    )
    return sum(np.float32(w) * part for w, part in zip(COM_WEIGHTS, parts, strict=True))


def modified_excess_green(picture: np.ndarray) -> np.ndarray:
    """MExG = 1.262 G − 0.884 R − 0.311 B [6]_, on channels from 0 to 255."""
    require_picture(picture)
    weights = np.array([[-MEXG_RED, MEXG_GREEN, -MEXG_BLUE]], np.float32)
    return cv2.transform(picture.astype(np.float32), weights)


def green_leaf(picture: np.ndarray) -> np.ndarray:
    """GLI = (2G − R − B) / (2G + R + B) [7]_: −1 to 1, positive for leaves and stems."""
    red, green, blue = _channels(picture)
    return _ratio(2 * green - red - blue, 2 * green + red + blue)


def atmospherically_resistant(picture: np.ndarray) -> np.ndarray:
    """VARI = (G − R) / (G + R − B) [8]_, held within ±1; 0 where the divisor is not positive."""
    red, green, blue = _channels(picture)
    return _ratio(green - red, green + red - blue)


def green_red_difference(picture: np.ndarray) -> np.ndarray:
    """NDI or NGRDI = (G − R) / (G + R) [9]_: −1 to 1."""
    red, green, _ = _channels(picture)
    return _ratio(green - red, green + red)


def green_of_lab(picture: np.ndarray) -> np.ndarray:
    """−a* of CIE L*a*b* [10]_: higher where greener, about −98 to 86."""
    require_picture(picture)
    lab = cv2.cvtColor(picture.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB)
    return -lab[..., 1]


def above_otsu(index: np.ndarray) -> np.ndarray:
    """Split an index at Otsu's threshold [11]_, on 256 levels between its least and greatest.

    Parameters
    ----------
    index : (H, W) float32 ndarray
        Any index that is higher where greener.

    Returns
    -------
    (H, W) bool ndarray
        True above the threshold; all False where the index is the same everywhere. Means nothing
        on a picture without plants: half of it is then called canopy.
    """
    lowest, highest = float(index.min()), float(index.max())
    if highest <= lowest:
        return np.zeros(index.shape, bool)
    scale = 255 / (highest - lowest)
    levels = np.rint((index - np.float32(lowest)) * np.float32(scale)).astype(np.uint8)
    _, mask = cv2.threshold(levels, 0, 1, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return mask.view(bool)


@dataclass(frozen=True)
class Index:
    """An index and where it is cut.

    Attributes
    ----------
    compute : callable
        From a picture to a plane.
    above : float or None
        Canopy is where the index is above this; None for Otsu's threshold of the picture.
    lower_is_greener : bool
        Whether the index has to be turned round first.
    """

    compute: Callable[[np.ndarray], np.ndarray]
    above: float | None = None
    lower_is_greener: bool = False

    def mask(self, picture: np.ndarray) -> np.ndarray:
        """Canopy by this index, not cleaned: (H, W) bool."""
        plane = self.compute(picture)
        plane = -plane if self.lower_is_greener else plane
        return above_otsu(plane) if self.above is None else plane > self.above


INDICES = MappingProxyType(
    {
        "exg": Index(excess_green),
        "exgr": Index(excess_green_minus_red, 0.0),
        "cive": Index(cive, lower_is_greener=True),
        "veg": Index(veg),
        "com": Index(combined),
        "mexg": Index(modified_excess_green),
        "gli": Index(green_leaf, 0.0),
        "vari": Index(atmospherically_resistant, 0.0),
        "ndi": Index(green_red_difference, 0.0),
        "ngrdi": Index(green_red_difference, 0.0),
        "lab_a": Index(green_of_lab),
    }
)
"""The indices that ``canopy.method`` in season.toml may name."""
