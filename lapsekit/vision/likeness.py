"""How unlike two views of a bench are, beyond what light explains.

Light moves: clouds, the hour and hard shadows change how bright a surface is, by much, but within
the edges of sun and shade by one factor, and its colour little and along one line (skylight is
bluer than the sun). Growth is slow. What is left is unlikeness, in four parts: of *structure*
(texture of the log ratio of both views, which is smooth wherever only light changed), of two
*colour* ratios, red and blue to green, and of *brightness*, which counts least, since even open
shade is darker by a factor of three to six.
"""

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR

PARTS = 4
"""Structure, red to green, blue to green, brightness."""

_NOISE = np.float32(0.005)
_STEP_PX = 5
_LUMINANCE = np.array([[0.2126, 0.7152, 0.0722]], np.float32)
_TWO_LIGHTS = 0.3
_SHADE, _BEYOND_SHADE = float(np.log(5)), 3
"""Skylight leaves shade about a fifth of the light; what is darker still is a thing, not a shade,
and what lies beyond counts four times."""


def view_of(picture: np.ndarray) -> np.ndarray:
    """What of a small picture is compared.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB, sRGB-encoded.

    Returns
    -------
    ndarray of float32, shape (3, height, width)
        Natural logarithms of luminance, of red to green and of blue to green, in linear light
        with 0.005 added, the noise of dark pixels.
    """
    light = LINEAR[picture]
    luminance = cv2.transform(light, _LUMINANCE)
    red, green, blue = cv2.split(cv2.log(light + _NOISE))
    return np.stack([cv2.log(luminance + _NOISE), red - green, blue - green])


def unlikeness(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Compare two views of the same place.

    Parameters
    ----------
    one, other : ndarray of float32, shape (3, height, width)
        As `view_of` gives them.

    Returns
    -------
    ndarray of float32, shape (4, height // 2, width // 2)
        Unlikeness of structure, of both colours and of brightness, in log units (brightness
        counts more beyond what shade does), for cells of 2 × 2 px.
    """
    ratio, *colours = one - other
    texture = cv2.absdiff(ratio, cv2.medianBlur(ratio, _STEP_PX))
    smooth = _mean(ratio)
    middle = _middle(_thinned(smooth))
    tints = [np.abs(_mean(_without_light(c, smooth))) for c in colours]
    change = np.abs(smooth - middle)
    change += _BEYOND_SHADE * np.maximum(change - _SHADE, 0)
    parts = [_mean(texture), *tints, change]
    size = (ratio.shape[1] // 2, ratio.shape[0] // 2)
    return np.stack([cv2.resize(p, size, interpolation=cv2.INTER_AREA) for p in parts])


def _without_light(colour: np.ndarray, ratio: np.ndarray) -> np.ndarray:
    """Colour change less its middle, and less its part that goes with brightness."""
    few, level = _thinned(colour), _thinned(ratio)
    bright = level > _middle(level)
    shades = level[~bright]
    span = float(level[bright].mean() - shades.mean()) if shades.size < level.size else 0.0
    if span < _TWO_LIGHTS:  # one light only
        return colour - _middle(few)
    slope = (_middle(few[bright]) - _middle(few[~bright])) / span
    return colour - slope * ratio - _middle(few - slope * level)


def _thinned(plane: np.ndarray) -> np.ndarray:
    """Every ninth pixel: enough for a median, which costs the most otherwise."""
    return np.ascontiguousarray(plane[1::3, 1::3]).ravel()


def _middle(values: np.ndarray) -> float:
    """Median, without the checks that cost `numpy.median` more than its sorting."""
    return float(np.partition(values, values.size // 2)[values.size // 2])


def _mean(plane: np.ndarray) -> np.ndarray:
    return cv2.blur(plane, (5, 5), borderType=cv2.BORDER_REFLECT)
