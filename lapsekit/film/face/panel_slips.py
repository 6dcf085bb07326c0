"""Titles of pictures that stand side by side."""

from collections.abc import Iterator
from functools import partial

from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room, meet
from lapsekit.film.face.told import Beat, Panel, Told
from lapsekit.lettering import FAINT, INK, drawable, fitted, letters

_HEIGHT, _PAD, _GAP, _TITLE, _AGE = 5.4, 1.4, 1.4, 3.6, 2.9


class PanelSlips:
    """Each stands at the upper left of its panel, with the panel's age where that has room.

    Parameters
    ----------
    room : Room
    told : Told
    curve_box : (int, int, int, int) or None
        The inset, which titles give way to.
    """

    def __init__(self, room: Room, told: Told, curve_box: Box | None):
        self._room = room
        self._panels = [
            (drawable(panel.title, 80), self._box(panel, curve_box)) for panel in told.panels
        ]

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The titles of a film picture."""
        ages = [*beat.panel_ages, *[""] * len(self._panels)]
        for (title, box), age in zip(self._panels, ages, strict=False):
            said = title, drawable(age, 40)
            if any(said):
                room_px = box[2] - box[0]
                yield Stamp(("panel", *said), box[:2], partial(self._paint, *said, room_px))

    def _box(self, panel: Panel, curve_box: Box | None) -> Box:
        px, safe, (left, top, right, _) = self._room.px, self._room.safe, panel.box
        left, right = max(left + px(_GAP), safe[0]), min(right - px(_GAP), safe[2])
        top = max(top + px(_GAP), safe[1])
        box = left, top, right, top + px(_HEIGHT)
        if curve_box and meet(box, curve_box):
            beside = curve_box[0] - px(_GAP)
            if beside - left >= px(20):
                return left, top, beside, box[3]
            top = curve_box[3] + px(_GAP)
        return left, top, max(right, left + px(8)), top + px(_HEIGHT)

    def _paint(self, title: str, age: str, room_px: int) -> Sprite:
        px, inner = self._room.px, room_px - self._room.px(2 * _PAD)
        of_age = letters(px(_AGE)).length(age) + px(_GAP) if age else 0
        if of_age > 0.6 * inner:
            age, of_age = "", 0
        sizes = range(px(_TITLE), px(SMALLEST) - 1, -1)
        lines, size = fitted(title, sizes, inner - of_age, 1, slanted=True)
        of_title = letters(size, True).length(lines[0])
        slip = Slip((round(of_title + of_age) + 2 * px(_PAD), px(_HEIGHT)), px(100) / 100)
        slip.write((px(_PAD), px(3.8)), lines[0], size, INK, slanted=True)
        if age:
            slip.write((slip.size[0] - px(_PAD), px(3.8)), age, px(_AGE), FAINT, anchor="r")
        return slip.sprite()
