"""Light laid on a picture: a gain a channel and a slow unevenness over the view, by tables.

Gains act on linear light and fade out towards white, so that what the camera clipped stays white
and does not turn coloured: x' = g x / (1 + (g - 1) x^q), the shape of a photographic shoulder
(after Reinhard et al. 2002, ACM Trans. Graph. 21: 267-276). It rises everywhere, keeps black and
white where they are, and leaves middle tones the gain that they are given.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from lapsekit.vision.colour import LINEAR
from lapsekit.vision.homographies import project

GAIN_STEP = 0.002
"""Gains are kept in steps of 0.2 %: a quarter of a level of 255 at most."""

FIELD_STEP = 0.01
MOST_UNEVEN = 0.25
"""Natural logarithm of the largest gain or loss that unevenness may add to the gains."""

_SHOULDER = 3.0
_STEEPEST = 0.8
_MAP_STEP_PX, _FEWEST_STEPS = 16, 32
_FLAT = 0.004
_STRIP_ROWS = 32
_GAMMA = 2.4
_FORM = 1  # raised by hand when the same numbers give another picture


@dataclass(frozen=True)
class Correction:
    """What is done to the light of one frame.

    Attributes
    ----------
    log_gains : (float, float, float)
        Natural logarithms of the gains on linear red, green and blue.
    field : tuple of five floats
        Unevenness over the reference view, as natural logarithm of a gain on all channels: the
        factors of x, y, x² - 1/3, xy and y² - 1/3, where x and y run from -1 to 1 over the view's
        width and height.
    shape : (height, width)
        Of the reference view in px.
    """

    log_gains: tuple[float, float, float]
    field: tuple[float, float, float, float, float]
    shape: tuple[int, int]

    @classmethod
    def of(cls, log_gains, field, shape: tuple[int, int]) -> "Correction":
        """A correction in whole steps, so that what moves by nothing visible stays the same."""
        gains, uneven = (
            tuple(float(round(v / step) * step) for v in values)
            for values, step in ((log_gains, GAIN_STEP), (field, FIELD_STEP))
        )
        return cls(gains, uneven, (int(shape[0]), int(shape[1])))

    @classmethod
    def none(cls, shape: tuple[int, int]) -> "Correction":
        """The correction that changes nothing."""
        return cls.of((0, 0, 0), (0,) * 5, shape)

    @property
    def changes_nothing(self) -> bool:
        """Whether pictures stay as they are."""
        return not any(self.log_gains) and not any(self.field)

    def key(self) -> str:
        """The same for corrections that give the same picture, and for no others."""
        if self.changes_nothing:
            return f"{_FORM}:as it is"
        steps = [round(v / GAIN_STEP) for v in self.log_gains]
        steps += [round(v / FIELD_STEP) for v in self.field]
        return f"{_FORM}:{self.shape[0]}x{self.shape[1]}:" + ",".join(map(str, steps))

    def evened(self, picture: np.ndarray, to_reference: np.ndarray | None = None) -> np.ndarray:
        """A picture of the frame in its new light.

        Parameters
        ----------
        picture : ndarray of uint8, shape (height, width, 3)
            RGB, sRGB-encoded; it is not changed.
        to_reference : ndarray of float, shape (3, 3), optional
            From px of the picture to px of the reference view; by default the picture shows
            all of that view.

        Returns
        -------
        ndarray of uint8, shape (height, width, 3)
            The very picture that was given where nothing is to be changed.
        """
        if self.changes_nothing:
            return picture
        low, high = self._range
        if high - low < _FLAT:
            return cv2.LUT(picture, self._even_table)
        bottom, rise, most = self._tables
        shares = self._shares(picture.shape[:2], to_reference)
        found = np.empty_like(picture)
        for top in range(0, len(picture), _STRIP_ROWS):  # what is added stays in the cache
            rows = slice(top, top + _STRIP_ROWS)
            added = cv2.LUT(picture[rows], rise)
            cv2.multiply(added, shares[rows], dst=added, scale=most / 255**2)
            found[rows] = cv2.add(cv2.LUT(picture[rows], bottom), added, dst=added)
        return found

    def uneven_at(self, places: np.ndarray) -> np.ndarray:
        """Unevenness at places (..., 2) of the view, from -1 to 1, as natural logarithm."""
        told = field_terms(np.clip(places, -1, 1)) @ np.array(self.field)
        return np.clip(told, -MOST_UNEVEN, MOST_UNEVEN)

    @cached_property
    def _range(self) -> tuple[float, float]:
        side = np.linspace(-1, 1, 9)
        told = self.uneven_at(np.stack(np.meshgrid(side, side), -1))
        return float(told.min()), float(told.max())

    @cached_property
    def _even_table(self) -> np.ndarray:
        """The table of each channel where there is no unevenness."""
        return _table(encoded(toned(LINEAR[:, None], np.array(self.log_gains) + self._range[0])))

    @cached_property
    def _ends(self) -> tuple[float, float]:
        """The least and the largest gain of any channel at any place."""
        low, high = self._range
        return min(self.log_gains) + low, max(self.log_gains) + high

    @cached_property
    def _tables(self) -> tuple[np.ndarray, np.ndarray, float]:
        """Tables for the least gain, for what the largest adds to it, and the most that adds."""
        bottom, top = (encoded(toned(LINEAR, end)) for end in self._ends)
        most = float((top - bottom).max())
        return _table(bottom), _table((top - bottom) * 255 / most), most

    def _shares(self, shape: tuple[int, int], to_reference: np.ndarray | None) -> np.ndarray:
        """Where between these gains every channel lies everywhere: uint8, (height, width, 3)."""
        small = [max(_FEWEST_STEPS, -(-side // _MAP_STEP_PX)) for side in shape]
        y, x = ((np.arange(n) + 0.5) * side / n - 0.5 for n, side in zip(small, shape, strict=True))
        points = np.stack(np.meshgrid(x, y), -1)
        if to_reference is None:
            size = np.array(shape[::-1])
        else:
            points, size = project(np.asarray(to_reference, float), points), self.shape[::-1]
        told = self.uneven_at((points + 0.5) * 2 / np.array(size) - 1)
        told = told[..., None] + np.array(self.log_gains)
        # As levels go with gains: between two tables then lies very nearly what lies between gains
        low, high, told = (np.exp(each / _GAMMA) for each in (*self._ends, told))
        levels = np.clip(np.round((told - low) / (high - low) * 255), 0, 255).astype(np.uint8)
        return cv2.resize(levels, shape[::-1], interpolation=cv2.INTER_LINEAR)


def field_terms(places: np.ndarray) -> np.ndarray:
    """What the five factors of a field stand before, at places (..., 2): (..., 5)."""
    x, y = places[..., 0], places[..., 1]
    return np.stack([x, y, x * x - 1 / 3, x * y, y * y - 1 / 3], axis=-1)


def toned(light: np.ndarray, log_gain: np.ndarray | float) -> np.ndarray:
    """Linear light (0 to 1) under a gain that fades out towards white."""
    gain = np.exp(log_gain)
    extra = np.maximum(gain - 1, 1e-9)
    power = np.where(gain > 1, np.minimum(_SHOULDER, 1 + _STEEPEST / extra), _SHOULDER)
    return gain * light / (1 + (gain - 1) * np.power(light, power))


def encoded(light: np.ndarray) -> np.ndarray:
    """Levels (0 to 255, not rounded) of linear light in sRGB (IEC 61966-2-1)."""
    light = np.clip(light, 0, 1)
    curved = 1.055 * np.power(light, 1 / 2.4) - 0.055
    return 255 * np.where(light <= 0.0031308, 12.92 * light, curved)


def _table(levels: np.ndarray) -> np.ndarray:
    table = np.clip(np.round(levels), 0, 255).astype(np.uint8)
    return table.reshape(1, 256, -1)
