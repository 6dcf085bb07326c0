"""The growing curve, drawn as the film comes to each day."""

from collections.abc import Iterator
from functools import lru_cache, partial

import numpy as np

from lapsekit.film.face.curve_scale import Axes, Drawn, axes, drawn
from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room
from lapsekit.film.face.told import Beat, Told
from lapsekit.lettering import ACCENT, FAINT, INK, PAPER, RULE, Ink, drawable, fitted, letters

MOST_CURVES = 4
_WIDTH, _PAD, _ROW, _PLOT, _UNDER, _FOOT = 38.0, 1.7, 4.3, 14.0, 0.8, 1.9
_VALUE, _LARGE, _TITLE = 3.6, 5.2, 3.0
#: Ink, thickness in hundredths of the short side, and dashes of each curve.
_STROKES: tuple[tuple[Ink, float, bool], ...] = (
    (ACCENT, 0.42, False),
    (INK, 0.32, False),
    (INK, 0.32, True),
    (FAINT, 0.32, False),
)


class CurveSlip:
    """Stands at the upper right."""

    def __init__(self, room: Room, told: Told):
        self._room, self._told = room, told
        self._curves = told.curves[:MOST_CURVES]
        self._headed = lru_cache(maxsize=4)(self._head)
        self._titles = [drawable(curve.title, 80) for curve in self._curves]
        width = min(room.px(_WIDTH), room.width)
        head = room.px(1.4) + room.px(_ROW) * max(2, len(self._curves)) + room.px(_UNDER)
        height = head + room.px(_PLOT) + room.px(_FOOT)
        _, top, right, _ = room.safe
        self.box: Box = (right - width, top, right, top + height)
        self._plot: Box = (
            room.px(_PAD),
            head,
            width - room.px(_PAD),
            height - room.px(_FOOT),
        )

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The inset of a film picture."""
        told = self._told
        known = [drawn(each.points, told.curve_from_days, beat.at_days) for each in self._curves]
        scale = axes(known, told.curve_from_days, beat.at_days, told.curve_least)
        values = tuple(self._value(each) for each in known)
        lines = tuple(tuple(_fine(scale, part, self._plot) for part in k.stretches) for k in known)
        ticks = tuple((self._height(scale, value), self._number(value)) for value in scale.ticks())
        key = (tuple(self._titles), values, lines, ticks)
        yield Stamp(("curve", key), self.box, partial(self._paint, key))

    def _value(self, known: Drawn) -> str:
        return "" if known.value is None else self._number(known.value)

    def _number(self, value: float) -> str:
        digits = int(value < 9.95 and round(value, 1) != round(value))
        return drawable(self._told.words.number(value, digits))

    def _height(self, scale: Axes, value: float) -> int:
        return round(scale.places([(0.0, value)], self._plot)[0, 1])

    def _paint(self, key: tuple) -> Sprite:
        _, values, lines, ticks = key
        room = self._room
        slip = Slip((self.box[2] - self.box[0], self.box[3] - self.box[1]), min(room.size) / 100)
        slip.array = self._headed(values).copy()
        if len(lines) == 1:
            self._fill(slip, lines[0])
        self._draw_ticks(slip, ticks)
        left, _, right, below = self._plot
        slip.bar((left, below, right, below + max(1, room.px(0.14))), INK)
        for number in reversed(range(len(lines))):
            self._stroke(slip, number, lines[number], bool(values[number]))
        return slip.sprite()

    def _head(self, values: tuple[str, ...]) -> np.ndarray:
        """A sheet with titles and values of a day; most film pictures share it."""
        size = self.box[2] - self.box[0], self.box[3] - self.box[1]
        slip = Slip(size, min(self._room.size) / 100)
        if len(self._titles) == 1:
            self._single_head(slip, self._titles[0], values[0])
        else:
            for number, (title, value) in enumerate(zip(self._titles, values, strict=True)):
                self._row(slip, number, title, value)
        return slip.array

    def _single_head(self, slip: Slip, title: str, value: str) -> None:
        """The title, and below it the value of the day."""
        px, (left, _, right, _) = self._room.px, self._plot
        self._title(slip, title, (left, px(4.0)), right - left)
        if value:
            base, size = px(8.8), px(_LARGE)
            slip.write((left, base), value, size, INK)
            after = left + letters(size).length(value) + px(0.9)
            slip.write((after, base), self._told.unit, px(_TITLE), FAINT)

    def _row(self, slip: Slip, number: int, title: str, value: str) -> None:
        """One of several curves: its stroke, its title and its value of the day."""
        px, base = self._room.px, self._room.px(1.2 + _ROW * (number + 0.75))
        left, _, right, _ = self._plot
        if value:
            slip.write((right, base), value, px(_VALUE), INK, anchor="r")
        y = base - px(0.85)
        self._lines(slip, number, [np.array([(left, y), (left + px(3.2), y)], float)])
        left += px(4.3)
        taken = letters(px(_VALUE)).length("0 000") + px(0.8)
        self._title(slip, title, (left, base), right - taken - left)

    def _title(self, slip: Slip, title: str, at: tuple[int, int], width: float) -> None:
        sizes = range(self._room.px(_TITLE), self._room.px(SMALLEST) - 1, -1)
        lines, size = fitted(title, sizes, width, 1, slanted=True)
        slip.write(at, lines[0], size, INK, slanted=True)

    def _draw_ticks(self, slip: Slip, ticks: tuple) -> None:
        """Round values on hairlines; of several curves, the uppermost says their unit."""
        px, (left, _, right, _) = self._room.px, self._plot
        for y, text in ticks:
            says_unit = len(self._titles) > 1 and (y, text) == ticks[-1]
            said = f"{text} {self._told.unit}" if says_unit else text
            slip.bar((left, y, right, y + max(1, px(0.1))), RULE)
            slip.write((left, y - px(0.5)), said, px(SMALLEST), FAINT)

    def _fill(self, slip: Slip, stretches: tuple) -> None:
        below = self._plot[3]
        outlines = [[*part, (part[-1][0], below), (part[0][0], below)] for part in stretches]
        slip.areas([np.array(each, float) for each in outlines], _mixed(ACCENT, 0.14))

    def _stroke(self, slip: Slip, number: int, stretches: tuple, is_going: bool) -> None:
        px, ink = self._room.px, _STROKES[number][0]
        self._lines(slip, number, [np.array(part, float) for part in stretches])
        slip.dots([part[0] for part in stretches if len(part) == 1], px(0.5), ink)
        if stretches and is_going:
            slip.dots([stretches[-1][-1]], px(0.75), ink)

    def _lines(self, slip: Slip, number: int, parts: list[np.ndarray]) -> None:
        ink, thick, dashes = _STROKES[number]
        if dashes:
            parts = [dash for part in parts for dash in _dashes(part, self._room.px(0.9))]
        slip.lines(parts, ink, thick * min(self._room.size) / 100)


def _fine(scale: Axes, points: tuple, box: Box) -> tuple[tuple[float, float], ...]:
    """Places in px, to an eighth: what moves by less is the same picture."""
    return tuple((x, y) for x, y in (np.round(scale.places(points, box) * 8) / 8).tolist())


def _dashes(points: np.ndarray, length: float) -> Iterator[np.ndarray]:
    """Every second stretch of `length` px along a line."""
    along = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    for start in np.arange(0, along[-1], 2 * length):
        at = np.linspace(start, min(start + length, along[-1]), 4)
        yield np.stack([np.interp(at, along, points[:, axis]) for axis in (0, 1)], axis=1)


def _mixed(ink: Ink, strength: float) -> Ink:
    """Ink thinned with paper."""
    return tuple(round(p + strength * (i - p)) for i, p in zip(ink, PAPER, strict=True))
