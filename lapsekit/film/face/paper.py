"""Slips of paper: drawn once, laid on pictures again and again."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from PIL import Image, ImageDraw

from lapsekit.film.face.room import Box
from lapsekit.lettering import FAINT, INK, PAPER, RULE, Ink, letters, small_capitals

_SHADOW, _DARKEST = 0.9, 0.42  # reach of a slip's shadow, in hundredths; its strength
_FINER = 4  # lines and marks are drawn this many times larger, then made small
_BITS = 4  # behind the point of coordinates that OpenCV fills at


@dataclass(frozen=True)
class Sprite:
    """A slip ready to be laid on a picture.

    Attributes
    ----------
    colour : ndarray of uint8, shape (h, w, 3)
        RGB, times how much of the picture it covers.
    rest : ndarray of uint8, shape (h, w, 3)
        How much of the picture shows through, 0 to 255.
    rim : int
        How far the shadow reaches beyond the paper, in px.
    """

    colour: np.ndarray
    rest: np.ndarray
    rim: int


@dataclass(frozen=True)
class Stamp:
    """A slip's place on a picture.

    Attributes
    ----------
    key : hashable
        Says all that the slip shows, in plain values: what it is drawn from, and nothing else.
    box : (int, int, int, int)
        Left, top, right and bottom of its paper on the picture, in px.
    paint : callable
        Makes it.
    opacity : float
        0 to 1.
    """

    key: Hashable
    box: Box
    paint: Callable[[], Sprite]
    opacity: float = 1.0


class Slip:
    """A sheet of paper to write and draw on.

    Parameters
    ----------
    size : (int, int)
        Width and height in px.
    unit : float
        One hundredth of the film's short side, in px.
    """

    def __init__(self, size: tuple[int, int], unit: float):
        self.size, self.unit = size, unit
        self.array = _blank(size).copy()

    def write(
        self,
        at: tuple[float, float],
        text: str,
        size: int,
        ink: Ink = INK,
        slanted: bool = False,
        anchor: str = "l",
    ) -> None:
        """A line with the left (``l``), middle (``m``) or right (``r``) of its baseline `at`."""
        face = letters(size, slanted)
        length = face.length(text)
        left = round(at[0] - {"l": 0.0, "m": 0.5, "r": 1.0}[anchor] * length)
        base = round(at[1])
        box = left - size, base - 2 * size, left + round(length) + size, base + size
        self._pillow(box, lambda draw, x, y: face.write(draw, (left - x, base - y), text, ink))

    def capitals(self, at: tuple[int, int], text: str, size: int, width: float, ink: Ink) -> None:
        """A line of spaced small capitals, no wider than `width` px."""
        box = at[0] - size, at[1] - 2 * size, at[0] + round(width) + size, at[1] + size
        self._pillow(
            box,
            lambda draw, x, y: small_capitals(draw, (at[0] - x, at[1] - y), text, size, ink, width),
        )

    def _pillow(self, box: Box, drawn: Callable[[ImageDraw.ImageDraw, int, int], None]) -> None:
        """Let Pillow draw on a part of the sheet, whose left and top it is told."""
        left, top = max(0, box[0]), max(0, box[1])
        part = self.array[top : max(top, box[3]), left : max(left, box[2])]
        if part.size:
            sheet = Image.fromarray(part)
            drawn(ImageDraw.Draw(sheet), left, top)
            part[:] = np.asarray(sheet)

    def lines(self, parts: Sequence[np.ndarray], ink: Ink, thickness: float) -> None:
        """Lines through points, each (n, 2) in px."""
        thick = max(_FINER, round(thickness * _FINER))
        self._inked(
            parts, thickness, ink, lambda mask, at: cv2.polylines(mask, at, False, 255, thick)
        )

    def areas(self, parts: Sequence[np.ndarray], ink: Ink) -> None:
        """Filled outlines of points, each (n, 2) in px."""
        fine = [np.round(part * 2**_BITS).astype(np.int32) for part in parts]
        cv2.fillPoly(self.array, fine, ink, cv2.LINE_AA, _BITS)

    def dots(self, points: Sequence[tuple[float, float]], radius: float, ink: Ink) -> None:
        """Round marks."""
        large = round(radius * _FINER)

        def drawn(mask: np.ndarray, at: list[np.ndarray]) -> None:
            for (place,) in at:
                cv2.circle(mask, place, large, 255, -1)

        self._inked([np.array([point], float) for point in points], radius, ink, drawn)

    def _inked(
        self,
        parts: Sequence[np.ndarray],
        reach: float,
        ink: Ink,
        drawn: Callable[[np.ndarray, list[np.ndarray]], object],
    ) -> None:
        """Put ink where `drawn` marks an enlarged mask, as far as `reach` px around the parts."""
        if not parts:
            return
        points, end = np.concatenate(parts), (self.size[0], self.size[1])
        low = np.maximum(np.floor(points.min(axis=0) - reach - 1), 0).astype(int)
        high = np.minimum(np.ceil(points.max(axis=0) + reach + 1), end).astype(int)
        (left, top), (right, bottom) = low.tolist(), high.tolist()
        if left >= right or top >= bottom:
            return
        mask = np.zeros(((bottom - top) * _FINER, (right - left) * _FINER), np.uint8)
        drawn(mask, [np.round((part - low) * _FINER).astype(np.int32) for part in parts])
        cover = cv2.resize(mask, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
        _mix(self.array[top:bottom, left:right], cover, ink)

    def bar(self, box: Box, ink: Ink) -> None:
        """A filled upright rectangle: left, top, right, bottom."""
        self.array[box[1] : box[3], box[0] : box[2]] = ink

    def double_rule(self, y: int, left: int, right: int) -> None:
        """The almanac's rule: a thick and a thin line."""
        thick, thin = max(2, round(0.28 * self.unit)), max(1, round(0.1 * self.unit))
        self.bar((left, y, right, y + thick), INK)
        below = y + 2 * thick
        self.bar((left, below, right, below + thin), FAINT)

    def sprite(self) -> Sprite:
        """The slip with a hairline along its edge and a soft shadow under it."""
        hair = max(1, round(0.08 * self.unit))
        width, height = self.size
        for box in (
            (0, 0, width, hair),
            (0, height - hair, width, height),
            (0, 0, hair, height),
            (width - hair, 0, width, height),
        ):
            self.bar(box, RULE)
        rim = max(2, round(_SHADOW * self.unit))
        colour = cv2.copyMakeBorder(self.array, *[rim] * 4, cv2.BORDER_CONSTANT, value=(0, 0, 0))
        return Sprite(colour, _shadow(self.size, rim), rim)


@lru_cache(maxsize=16)
def _blank(size: tuple[int, int]) -> np.ndarray:
    return np.full((size[1], size[0], 3), PAPER, np.uint8)


def _mix(part: np.ndarray, cover: np.ndarray, ink: Ink) -> None:
    """Ink over a part of a sheet, where `cover` (0 to 255) says how much."""
    share = cv2.merge([cover, cover, cover])
    under = cv2.multiply(part, cv2.bitwise_not(share), scale=1 / 255)
    over = cv2.merge([cv2.convertScaleAbs(cover, alpha=each / 255) for each in ink])
    part[:] = cv2.add(under, over)


@lru_cache(maxsize=64)
def _shadow(size: tuple[int, int], rim: int) -> np.ndarray:
    """How much shows through around a slip (255 far off) and under it (0)."""
    width, height = size
    dark = np.zeros((height + 2 * rim, width + 2 * rim), np.float32)
    drop = rim // 3
    dark[rim + drop : rim + height, rim:-rim] = _DARKEST
    dark = cv2.GaussianBlur(dark, (0, 0), rim / 3)
    dark[[0, -1]] = 0
    dark[:, [0, -1]] = 0
    dark[rim:-rim, rim:-rim] = 1
    rest = np.round(255 * (1 - dark)).astype(np.uint8)
    return cv2.merge([rest, rest, rest])


def lay(picture: np.ndarray, sprite: Sprite, at: tuple[int, int], opacity: float = 1.0) -> None:
    """Lay a slip on a picture, in place.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
        RGB.
    sprite : Sprite
    at : (int, int)
        Left and top of its paper, in px; what lies beyond the picture is cut off.
    opacity : float
        0 to 1.
    """
    left, top = at[0] - sprite.rim, at[1] - sprite.rim
    height, width = sprite.rest.shape[:2]
    x0, y0 = max(0, left), max(0, top)
    x1, y1 = min(picture.shape[1], left + width), min(picture.shape[0], top + height)
    if x0 >= x1 or y0 >= y1 or opacity <= 0:
        return
    part = np.s_[y0 - top : y1 - top, x0 - left : x1 - left]
    colour, rest = sprite.colour[part], sprite.rest[part]
    if opacity < 1:
        colour = cv2.convertScaleAbs(colour, alpha=opacity)
        rest = cv2.convertScaleAbs(rest, alpha=opacity, beta=255 * (1 - opacity))
    under = picture[y0:y1, x0:x1]
    under[:] = cv2.add(cv2.multiply(under, rest, scale=1 / 255), colour)
