"""Regions' names beside their plants."""

from collections.abc import Iterator, Sequence
from functools import lru_cache, partial

from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room, meet, within
from lapsekit.film.face.told import Beat, Named
from lapsekit.lettering import INK, drawable, letters

_HEIGHT, _PAD, _INSET = 3.9, 0.9, 0.8
#: A name much wider than its region would seem to belong to its neighbour.
_WIDEST = 1.5


class NamesSlips:
    """Names that have room, none over another or over what stands on the picture for good.

    Parameters
    ----------
    room : Room
    taken : sequence of (int, int, int, int)
        Boxes of other slips.
    """

    def __init__(self, room: Room, taken: Sequence[Box]):
        self._room, self._taken = room, list(taken)
        self._placed = lru_cache(maxsize=4)(self._place)

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The names of a film picture."""
        for text, box in self._placed(beat.names):
            paint = partial(self._paint, text, box[2] - box[0])
            yield Stamp(("name", text), box, paint)

    def _place(self, names: tuple[Named, ...]) -> list[tuple[str, Box]]:
        """The largest regions choose first."""
        taken, found = list(self._taken), []
        for named in sorted(names, key=lambda each: (-_area(each), each.title)):
            text = drawable(named.title, 60)
            box = self._free(text, _bounds(named), taken) if text and named.outline else None
            if box:
                taken.append(box)
                found.append((text, box))
        return found

    def _free(self, text: str, around: Box, taken: Sequence[Box]) -> Box | None:
        """The first place at a region's edge that is free: within it below or above, or outside."""
        px = self._room.px
        width = round(letters(px(SMALLEST)).length(text)) + 2 * px(_PAD)
        left, top, right, bottom = around
        if width > _WIDEST * (right - left):
            return None
        height, inset = px(_HEIGHT), px(_INSET)
        x = (left + right - width) // 2
        tops = (bottom - height - inset, top + inset, bottom + inset, top - height - inset)
        boxes = ((x, y, x + width, y + height) for y in tops)
        return next((box for box in boxes if self._is_free(box, taken)), None)

    def _is_free(self, box: Box, taken: Sequence[Box]) -> bool:
        return within(box, self._room.safe) and not any(meet(box, other) for other in taken)

    def _paint(self, text: str, width: int) -> Sprite:
        px = self._room.px
        slip = Slip((width, px(_HEIGHT)), min(self._room.size) / 100)
        slip.write((px(_PAD), px(2.8)), text, px(SMALLEST), INK)
        return slip.sprite()


def _bounds(named: Named) -> Box:
    across, down = zip(*named.outline, strict=True)
    return round(min(across)), round(min(down)), round(max(across)), round(max(down))


def _area(named: Named) -> float:
    if not named.outline:
        return 0.0
    left, top, right, bottom = _bounds(named)
    return float((right - left) * (bottom - top))
