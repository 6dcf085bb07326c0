"""Colour of a pixel and of its surroundings: what the canopy model looks at.

Colour alone cannot tell a leaf in shade from wet soil, nor a leaf under a warm lamp from one
under a clear sky; the colour of the neighbourhood can. Each pixel is described by its own colour,
by means of colour at four widths, and by how uneven the lightness around it is. Wide means are
taken at quarter resolution, where they cost little and lose nothing they have not smoothed away.

Pictures are worked through in strips of rows, so that memory does not grow with the picture;
strips overlap by `HALO_PX`, so that the cuts leave no trace.
"""

from collections.abc import Iterator

import cv2
import numpy as np

from lapsekit.vision.colour import require_picture

NEAR_PX = (1.5, 4.0)
"""Widths (sigma) of the near Gaussian means, in pixels: a leaf's edge, a narrow leaf."""

WIDE_PX = (12.0, 32.0)
"""Widths (sigma) of the wide Gaussian means, in pixels: a leaf or a small plant, the light."""

COLOURS = ("lightness", "green_red", "blue_yellow", "excess_green")
FEATURES = (
    *COLOURS,
    "red_share",
    "green_share",
    *(f"{name}_mean_{sigma:g}px" for sigma in (*NEAR_PX, *WIDE_PX) for name in COLOURS),
    "lightness_contrast_4px",
)
"""Names of the feature planes, in their order; `colour_features` says what they hold."""

HALO_PX = 32
"""Rows around a strip that can touch its features: twice 3 sigma of 4 px, and the half grid."""

GRID_PX = 4
DARK = np.float32(4)
"""Added to each channel (0 to 255) before its share in their sum is taken."""


def _gaussian(plane: np.ndarray, sigma_px: float) -> np.ndarray:
    """Gaussian mean, cut off at 3 sigma, mirrored at the border."""
    size = kernel_px(sigma_px)
    return cv2.GaussianBlur(plane, (size, size), sigma_px, borderType=cv2.BORDER_REFLECT_101)


def kernel_px(sigma_px: float) -> int:
    """Width of a Gaussian kernel that is cut off at 3 sigma."""
    return 2 * int(np.ceil(3 * sigma_px)) + 1


def half_sigma(sigma_px: float) -> float:
    """Width of the Gaussian that is taken at half resolution for one of `sigma_px`, in its pixels.

    Averaging 2 × 2 and the linear way back widen the kernel by a variance of about 0.75 px²,
    which is taken off first.
    """
    return float(np.sqrt(sigma_px**2 - 0.75)) / 2


def _at_half(plane: np.ndarray, sigma_px: float) -> np.ndarray:
    """Gaussian mean taken at half resolution."""
    height, width = plane.shape
    small = cv2.resize(plane, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    small = _gaussian(small, half_sigma(sigma_px))
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)


def _colours(rgb: np.ndarray) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Lightness, a*, b* and excess green of float32 RGB (0 to 255); shares of red and green."""
    lab = cv2.cvtColor(rgb / np.float32(255), cv2.COLOR_RGB2LAB)
    red, green, blue = cv2.split(rgb + DARK)
    total = red + green + blue
    red /= total
    green /= total
    return [*cv2.split(lab), 3 * green - 1], red, green


def _surroundings(padded: np.ndarray) -> list[np.ndarray]:
    """Wide means of the whole picture at quarter resolution, in the order of `FEATURES`."""
    height, width = padded.shape[:2]
    size = (width // GRID_PX, height // GRID_PX)
    small = cv2.resize(padded, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    planes, _, _ = _colours(small)
    return [_gaussian(plane, sigma / GRID_PX) for sigma in WIDE_PX for plane in planes]


def _rows_of(small: np.ndarray, top: int, bottom: int) -> np.ndarray:
    """Rows `top` to `bottom` (multiples of the grid) of a quarter-resolution plane, enlarged."""
    first = max(0, top // GRID_PX - 1)
    last = min(len(small), bottom // GRID_PX + 1)
    part = small[first:last]
    size = (small.shape[1] * GRID_PX, len(part) * GRID_PX)
    full = cv2.resize(part, size, interpolation=cv2.INTER_LINEAR)
    return full[top - first * GRID_PX : bottom - first * GRID_PX]


def feature_strips(picture: np.ndarray, rows: int) -> Iterator[tuple[int, np.ndarray]]:
    """Features of a picture, some rows at a time, in memory that depends on the strip only.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.
    rows : int
        Height of a strip in pixels; rounded up to a multiple of 4.

    Yields
    ------
    top : int
        Row of the picture at which the strip starts.
    planes : (F, h, W) float32 ndarray
        The strip's features, as `colour_features` describes them.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.
    """
    require_picture(picture)
    height, width = picture.shape[:2]
    padded = cv2.copyMakeBorder(
        picture, 0, -height % GRID_PX, 0, -width % GRID_PX, cv2.BORDER_REPLICATE
    )
    wide = _surroundings(padded)
    rows += -rows % GRID_PX
    for top in range(0, len(padded), rows):
        bottom = min(top + rows, len(padded))
        first, last = max(0, top - HALO_PX), min(len(padded), bottom + HALO_PX)
        keep = slice(top - first, bottom - first)
        planes = np.empty((len(FEATURES), bottom - top, padded.shape[1]), np.float32)
        colours, red, green = _colours(padded[first:last].astype(np.float32))
        planes[4], planes[5] = red[keep], green[keep]
        for channel, plane in enumerate(colours):
            planes[channel] = plane[keep]
            planes[6 + channel] = _gaussian(plane, NEAR_PX[0])[keep]
            mean = _at_half(plane, NEAR_PX[1])
            planes[10 + channel] = mean[keep]
            if channel == 0:
                spread = _at_half(np.square(plane - mean), NEAR_PX[1])
                planes[-1] = np.sqrt(spread[keep])
        for index, small in enumerate(wide):
            planes[14 + index] = _rows_of(small, top, bottom)
        yield top, planes[:, : height - top, :width]


def colour_features(picture: np.ndarray) -> np.ndarray:
    """Describe every pixel by its colour and the colours around it.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB, 0 to 255, sRGB-encoded.

    Returns
    -------
    (F, H, W) float32 ndarray
        One plane per name in `FEATURES`: CIE L* (0 to 100), a* and b* (about −128 to 127; a* is
        negative where green); excess green 2g − r − b (−1 to 2) and the shares of red and green
        in R + G + B (0 to 1), for which 4 is added to each channel so that the noise of
        near-black pixels does not read as colour; Gaussian means of the first four at each
        width (the wide ones of the colour of 4 × 4 px blocks); and the contrast, the standard
        deviation of L* in a Gaussian window. 92 bytes per pixel: use `feature_strips` for
        pictures of many megapixels.

    Raises
    ------
    PictureError
        If the picture is not (H, W, 3) uint8.

    References
    ----------
    .. [1] Woebbecke et al. (1995), Transactions of the ASAE 38(1): excess green.
    """
    require_picture(picture)
    return next(feature_strips(picture, len(picture)))[1]
