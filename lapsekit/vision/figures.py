"""What screening needs to know of one frame, as a few numbers and two small excerpts.

Figures are taken once, when a frame arrives, and kept; verdicts are made from the figures of many
frames (`lapsekit.vision.screening`), again and again as the season goes on, without opening the
frames a second time.
"""

import base64
from dataclasses import asdict, dataclass

import cv2
import numpy as np

from lapsekit.vision.colour import is_grey, require_picture

CLIPPED_FROM = 250
"""Level (of 255) from which a channel counts as clipped: what is left to 255 is JPEG's ringing."""

TILES = (3, 4)
"""Rows and columns of the tiles whose sharpness is taken on its own."""

THUMBNAIL_PX = 192
"""Long side of the thumbnail: of a bench 1.4 m wide, a hand covers about 12 by 18 px."""

_JUDGED_AT_PX = 1024
_REBLUR_PX = 11
_SMALLEST_PX = 16
_GRAINS = 1024
_THUMBNAIL_QUALITY = 95


@dataclass(frozen=True)
class Figures:
    """Numbers of one frame; shares and means lie in 0 to 1.

    Attributes
    ----------
    luminance : float
        Mean of the sRGB-encoded luminance.
    brightest : float
        95th percentile of that luminance.
    clipped : float
        Share of pixels with a clipped channel: their colour is lost.
    white : float
        Share of pixels with all channels clipped.
    white_patch : float
        Share of the largest connected patch of such pixels.
    veil : float
        How light the darkest things are: first percentile of the lowest channel by the mean
        luminance. Clear air leaves some channel somewhere dark, under cloud too; haze, mist and
        dew lay light over all (the dark channel of He, Sun & Tang 2009, CVPR,
        doi:10.1109/CVPR.2009.5206515). 0 clear, 1 fog.
    sharpness : float
        1 − blur effect (see `blur_effect`) of the whole picture: 0 blurred, 1 sharp.
    tiles : tuple of float
        The same for each tile, row by row: drops sit on part of the lens.
    grain : bytes
        1024 differences between a pixel and its four neighbours at fixed, scattered places, as
        signed 8-bit levels: the sensor's noise signs each exposure anew.
    thumbnail : bytes
        The whole picture, long side 192 px, as JPEG.
    """

    luminance: float
    brightest: float
    clipped: float
    white: float
    white_patch: float
    veil: float
    sharpness: float
    tiles: tuple[float, ...]
    grain: bytes
    thumbnail: bytes

    @property
    def is_grey(self) -> bool:
        """Whether the thumbnail shows no colours."""
        return is_grey(cv2.imdecode(np.frombuffer(self.thumbnail, np.uint8), cv2.IMREAD_COLOR))

    def as_plain(self) -> dict[str, object]:
        """Numbers, lists and text only, for JSON; `from_plain` takes it back."""
        text = {n: base64.b64encode(getattr(self, n)).decode() for n in ("grain", "thumbnail")}
        return asdict(self) | {"tiles": list(self.tiles)} | text

    @classmethod
    def from_plain(cls, plain: dict) -> "Figures":
        """Figures out of what `as_plain` gave.

        Raises
        ------
        KeyError, TypeError, ValueError
            If something else is given.
        """
        excerpts = {n: base64.b64decode(plain[n]) for n in ("grain", "thumbnail")}
        return cls(**{**plain, "tiles": tuple(plain["tiles"]), **excerpts})


def figures_of(picture: np.ndarray) -> Figures:
    """Take the figures of one frame.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.

    Returns
    -------
    Figures

    Raises
    ------
    PictureError
        If the picture is not (height, width, 3) uint8.
    """
    require_picture(picture)
    small = reduced(picture, _JUDGED_AT_PX)
    half = _halved(small)
    luma = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    lowest, highest = _extremes(half)
    white = (lowest >= CLIPPED_FROM).astype(np.uint8)
    luminance = cv2.mean(luma)[0] / 255
    whole, tiles = _sharpness(luma, every=2)
    return Figures(
        luminance=_short(luminance),
        brightest=_short(_percentile(luma, 0.95)),
        clipped=_short(np.count_nonzero(highest >= CLIPPED_FROM) / highest.size),
        white=_short(np.count_nonzero(white) / white.size),
        white_patch=_short(_largest_patch(white)),
        veil=_short(_percentile(lowest, 0.01) / max(luminance, 1 / 255)),
        sharpness=_short(whole),
        tiles=tuple(_short(t) for t in tiles),
        grain=_grain(picture),
        thumbnail=_jpeg(reduced(half, THUMBNAIL_PX)),
    )


def _halved(picture: np.ndarray) -> np.ndarray:
    height, width = (side // 2 for side in picture.shape[:2])
    if not height or not width:
        return picture
    return cv2.resize(
        picture[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA
    )


def reduced(picture: np.ndarray, long_side_px: int) -> np.ndarray:
    """The picture with at most so long a side, by area means; itself if it is small enough."""
    height, width = picture.shape[:2]
    scale = long_side_px / max(height, width)
    if scale >= 1:
        return picture
    if scale <= 0.3 and min(height, width) > 1:  # halving is much faster than an odd reduction
        return reduced(_halved(picture), long_side_px)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    return cv2.resize(picture, size, interpolation=cv2.INTER_AREA)


def blur_effect(luma: np.ndarray) -> float:
    """No-reference blur of a picture: 0 sharp, 1 blurred.

    Blurs the picture once more and asks how much of the variation between neighbours survives:
    in a sharp picture little, in a blurred one nearly all (Crété-Roffet, Dolmiere, Ladret &
    Nicolas 2007, Proc. SPIE 6492, doi:10.1117/12.702790). Larger pictures are first reduced to
    a long side of 1024 px, so that the noise of small pixels does not pass for detail and the
    verdict does not depend on the camera's resolution. Along each axis, the larger of both.

    Parameters
    ----------
    luma : ndarray of uint8, shape (height, width)

    Returns
    -------
    float
        In 0 to 1; 1 for a picture without any variation.
    """
    return 1 - _sharpness(reduced(luma, _JUDGED_AT_PX))[0]


def _sharpness(luma: np.ndarray, every: int = 1) -> tuple[float, tuple[float, ...]]:
    """1 − blur effect of the whole picture and of each tile, along the worse axis.

    Along each axis, only one in `every` lines is looked at.
    """
    if min(luma.shape) < _SMALLEST_PX:
        return 0.0, (0.0,) * (TILES[0] * TILES[1])
    found = []
    for axis, lines in enumerate((luma[:, ::every], luma[::every])):
        sharp, kept = _variation(np.ascontiguousarray(lines), axis)
        pairs = [(sharp, kept), *zip(_tiles(sharp), _tiles(kept), strict=True)]
        found.append([_lost(cv2.mean(left)[0], cv2.mean(there)[0]) for there, left in pairs])
    whole, *tiles = (min(pair) for pair in zip(*found, strict=True))
    return whole, tuple(tiles)


def _lost(kept: float, total: float) -> float:
    return 1 - kept / total if total else 0.0


def _tiles(plane: np.ndarray) -> list[np.ndarray]:
    return [
        tile for row in np.array_split(plane, TILES[0]) for tile in np.array_split(row, TILES[1], 1)
    ]


def _variation(luma: np.ndarray, axis: int) -> tuple[np.ndarray, np.ndarray]:
    """Slope along `axis`, and what another blur leaves of it; int16, without the border."""
    size = (1, _REBLUR_PX) if axis == 0 else (_REBLUR_PX, 1)
    luma = cv2.multiply(luma, 16, dtype=cv2.CV_16S)  # so that rounding adds no slopes
    again = cv2.blur(luma, size, borderType=cv2.BORDER_REFLECT)
    sharp, soft = _slope(luma, axis), _slope(again, axis)
    return sharp, np.minimum(sharp, soft, out=soft)


def _slope(luma: np.ndarray, axis: int) -> np.ndarray:
    slope = cv2.Sobel(luma, cv2.CV_16S, *((0, 1) if axis == 0 else (1, 0)))
    return np.abs(slope, out=slope)[2:-2, 2:-2]


def _extremes(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest channel of each pixel."""
    red, green, blue = cv2.split(picture)
    return cv2.min(cv2.min(red, green), blue), cv2.max(cv2.max(red, green), blue)


def _largest_patch(mask: np.ndarray) -> float:
    if not mask.any():
        return 0.0
    sizes = cv2.connectedComponentsWithStats(mask)[2][1:, cv2.CC_STAT_AREA]
    return float(sizes.max()) / mask.size


def _percentile(plane: np.ndarray, share: float) -> float:
    """The level that `share` of a plane's pixels do not pass, 0 to 1."""
    counts = cv2.calcHist([plane], [0], None, [256], (0, 256)).ravel()
    return float(np.searchsorted(counts.cumsum(), share * plane.size)) / 255


def _grain(picture: np.ndarray) -> bytes:
    """Green minus its four neighbours' mean at places scattered by the golden ratio."""
    height, width = picture.shape[:2]
    if height < 3 or width < 3:
        return bytes(_GRAINS)
    number = np.arange(1, _GRAINS + 1)
    # Roots of x³ = x + 1 spread points evenly over a plane without a pattern (Roberts 2018).
    y = 1 + np.floor(number * 0.7548776662466927 % 1 * (height - 2)).astype(int)
    x = 1 + np.floor(number * 0.5698402909980532 % 1 * (width - 2)).astype(int)
    green = picture[..., 1]
    around = sum(green[y + dy, x + dx].astype(np.int16) for dy, dx in _FOUR)
    return np.clip(green[y, x] - np.round(around / 4), -127, 127).astype(np.int8).tobytes()


_FOUR = ((-1, 0), (1, 0), (0, -1), (0, 1))


def _jpeg(thumbnail: np.ndarray) -> bytes:
    options = (
        cv2.IMWRITE_JPEG_QUALITY,
        _THUMBNAIL_QUALITY,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR,
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444,
    )
    return cv2.imencode(".jpg", cv2.cvtColor(thumbnail, cv2.COLOR_RGB2BGR), options)[1].tobytes()


def _short(value: float) -> float:
    return round(float(value), 5)
