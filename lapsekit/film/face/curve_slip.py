"""The growing curve, drawn as the film comes to each day."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from lapsekit.film.face.curve_scale import Axes, Drawn, axes, drawn
from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room
from lapsekit.film.face.told import Beat, Told
from lapsekit.lettering import ACCENT, FAINT, INK, PAPER, RULE, Ink, drawable, fitted, letters

MOST_CURVES = 4
_WIDTH, _PAD, _ROW, _PLOT, _FOOT = 40.0, 1.7, 4.4, 15.0, 1.9
_VALUE, _TITLE = 4.2, 3.0
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
        self._titles = [drawable(curve.title, 80) for curve in self._curves]
        width = min(room.px(_WIDTH), room.width)
        rows = room.px(_ROW) * len(self._curves)
        height = room.px(1.6) + rows + room.px(_PLOT) + room.px(_FOOT)
        _, top, right, _ = room.safe
        self.box: Box = (right - width, top, right, top + height)
        self._plot: Box = (
            room.px(_PAD),
            room.px(1.6) + rows + room.px(0.6),
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
        ticks = tuple((self._height(scale, v), self._number(v), s) for v, s in scale.ticks())
        key = (tuple(self._titles), values, lines, ticks)
        yield Stamp(("curve", key), self.box[:2], partial(self._paint, key))

    def _value(self, known: Drawn) -> str:
        return "" if known.value is None else self._number(known.value)

    def _number(self, value: float) -> str:
        digits = 1 if 0 < value < 9.95 else 0
        return drawable(self._told.words.number(value, digits).removesuffix(".0"))

    def _height(self, scale: Axes, value: float) -> int:
        return round(scale.places([(0.0, value)], self._plot)[0, 1])

    def _paint(self, key: tuple) -> Sprite:
        titles, values, lines, ticks = key
        room = self._room
        width, height = self.box[2] - self.box[0], self.box[3] - self.box[1]
        slip = Slip((width, height), min(room.size) / 100)
        for number, (title, value) in enumerate(zip(titles, values, strict=True)):
            self._head(slip, number, title, value)
        self._draw_ticks(slip, ticks)
        if len(lines) == 1:
            self._fill(slip, lines[0])
            self._draw_ticks(slip, ticks, letters_only=True)
        left, _, right, below = self._plot
        slip.bar((left, below, right, below + max(1, room.px(0.14))), INK)
        for number in reversed(range(len(lines))):
            self._stroke(slip, number, lines[number], bool(values[number]))
        return slip.sprite()

    def _head(self, slip: Slip, number: int, title: str, value: str) -> None:
        """A curve's title, with its stroke where there are several, and its value of the day."""
        px, base = self._room.px, self._room.px(1.2 + _ROW * (number + 0.78))
        left, _, right, _ = self._plot
        unit = self._told.unit
        room_of_unit = letters(px(_TITLE)).length(unit) + px(0.7)
        if value:
            slip.write((right, base), unit, px(_TITLE), FAINT, anchor="r")
            slip.write((right - room_of_unit, base), value, px(_VALUE), anchor="r")
        taken = letters(px(_VALUE)).length("00 000") + room_of_unit
        if len(self._titles) > 1:
            y = base - px(0.85)
            self._dashed(slip, number, np.array([(left, y), (left + px(3.2), y)], float))
            left += px(4.2)
        sizes = range(px(_TITLE), px(SMALLEST) - 1, -1)
        lines, size = fitted(title, sizes, right - taken - left, 1, slanted=True)
        slip.write((left, base), lines[0], size, INK, slanted=True)

    def _draw_ticks(self, slip: Slip, ticks: tuple, letters_only: bool = False) -> None:
        px, (left, above, right, _) = self._room.px, self._plot
        for y, text, strength in ticks:
            if not letters_only:
                slip.bar((left, y, right, y + max(1, px(0.1))), _mixed(RULE, strength))
            if y - px(0.4) - px(0.75 * SMALLEST) >= above - px(0.6):
                slip.write((left, y - px(0.4)), text, px(SMALLEST), _mixed(FAINT, strength))

    def _fill(self, slip: Slip, stretches: tuple) -> None:
        below = self._plot[3]
        for part in stretches:
            ends = [(part[-1][0], below), (part[0][0], below)]
            slip.area(np.array([*part, *ends], float), _mixed(ACCENT, 0.14))

    def _stroke(self, slip: Slip, number: int, stretches: tuple, is_going: bool) -> None:
        px, ink = self._room.px, _STROKES[number][0]
        for part in stretches:
            self._dashed(slip, number, np.array(part, float))
            if len(part) == 1:
                slip.dot(part[0], px(0.5), ink)
        if stretches and is_going:
            slip.dot(stretches[-1][-1], 0.75 * px(1), ink)

    def _dashed(self, slip: Slip, number: int, points: np.ndarray) -> None:
        ink, thick, dashes = _STROKES[number]
        thickness = thick * min(self._room.size) / 100
        for part in _dashes(points, self._room.px(0.9)) if dashes else [points]:
            slip.line(part, ink, thickness)


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
