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

    @property
    def boxes(self) -> list[Box]:
        """Where titles have room."""
        return [box for _, box in self._panels]

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The titles of a film picture."""
        ages = [*beat.panel_ages, *[""] * len(self._panels)]
        for (title, room), age in zip(self._panels, ages, strict=False):
            said = title, drawable(age, 40)
            if any(said):
                yield self._stamp(*said, room)

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

    def _stamp(self, title: str, age: str, room: Box) -> Stamp:
        px, inner = self._room.px, room[2] - room[0] - self._room.px(2 * _PAD)
        of_age = letters(px(_AGE)).length(age) + px(_GAP) if age else 0
        if of_age > 0.6 * inner:
            age, of_age = "", 0
        sizes = range(px(_TITLE), px(SMALLEST) - 1, -1)
        lines, size = fitted(title, sizes, inner - of_age, 1, slanted=True)
        of_title = letters(size, True).length(lines[0])
        width = min(round(of_title + of_age) + 2 * px(_PAD) + 1, room[2] - room[0])
        box = room[0], room[1], room[0] + width, room[3]
        said = lines[0], size, age, width
        return Stamp(("panel", *said), box, partial(self._paint, *said))

    def _paint(self, title: str, size: int, age: str, width: int) -> Sprite:
        px = self._room.px
        slip = Slip((width, px(_HEIGHT)), min(self._room.size) / 100)
        slip.write((px(_PAD), px(3.8)), title, size, INK, slanted=True)
        if age:
            slip.write((width - px(_PAD), px(3.8)), age, px(_AGE), FAINT, anchor="r")
        return slip.sprite()
