"""What the diary says of a day, on a slip that comes and goes."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial

from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import Box, Room, meet
from lapsekit.film.face.schedule import opacity, scheduled
from lapsekit.film.face.told import Event, Told
from lapsekit.lettering import ACCENT, INK, drawable, fitted, letters

_PAD, _HEAD, _TEXT, _LINE = 1.7, 2.7, 3.4, 4.3
_WIDEST, _BESIDE, _MOST_LINES, _MOST_EVENTS, _MOST_LETTERS = 64.0, 44.0, 4, 3, 160


class DiarySlip:
    """Stands beside the day's sheet where there is room, else above it, or below one at the top.

    Parameters
    ----------
    room : Room
    told : Told
    floor : int
        Where what stands at the foot begins, in px.
    date_box : (int, int, int, int) or None
        The day's sheet.
    above : sequence of (int, int, int, int)
        What else stands at the top.
    """

    def __init__(
        self, room: Room, told: Told, floor: int, date_box: Box | None, above: Sequence[Box] = ()
    ):
        self._room, self._told = room, told
        self._place = _place(room, floor, date_box, above)
        self._width = min(self._place.right - self._place.left, room.px(_WIDEST))
        self._shown, self.left_out = scheduled(
            [event for event in map(_readable, told.events) if event.text],
            [beat.at_days for beat in told.beats],
            told.frames_per_second,
        )
        self._starts = [each.start for each in self._shown]
        self._laid = lru_cache(maxsize=64)(self._lay)

    def stamps(self, index: int) -> Iterator[Stamp]:
        """The slips of the film picture `index`: one, or the one that goes."""
        last = bisect_right(self._starts, index)
        for each in self._shown[max(0, last - 2) : last]:
            strength = opacity(each, index, self._told.frames_per_second)
            if strength > 0:
                head, lines, box = self._laid(each.events)
                key = ("diary", head, tuple(lines))
                yield Stamp(key, box, partial(self._paint, head, lines), round(strength, 3))

    def _lay(self, events: tuple[Event, ...]) -> tuple[str, list[str], Box]:
        """The heading, the lines, and where they stand: the same as long as they are shown."""
        head, lines = self._set(events)
        return head, lines, self._box(head, lines)

    def _box(self, head: str, lines: list[str]) -> Box:
        """As large as the text asks for."""
        px = self._room.px
        face, small = letters(px(_TEXT)), letters(px(_HEAD))
        wide = max([face.length(line) for line in lines] + [1.3 * small.length(head)])
        width = min(self._width, round(wide) + px(2 * _PAD + 0.9) + 1)
        height = px(2.2 * _PAD + _HEAD + _LINE * len(lines))
        place = self._place
        left = place.right - width if place.at_right else place.left
        top = place.edge if place.hangs else place.edge - height
        return left, top, left + width, top + height

    def _set(self, events: tuple[Event, ...]) -> tuple[str, list[str]]:
        """The heading, and lines that have room."""
        labels = {event.label for event in events}
        days = dict.fromkeys(event.day for event in events if event.day)
        said = [self._told.words.short_day(day) for day in days]
        heads = [" – ".join([said[0], *said[1:][-1:]])] if said else []
        heads += [label for label in labels if len(labels) == 1 and label]
        lines: list[str] = []
        for event in self._few(events):
            text = event.text if len(labels) == 1 or not event.label else _joined(event)
            left = _MOST_LINES - len(lines)
            if left > 0:
                size = self._room.px(_TEXT)
                lines += fitted(text, [size], self._inner, left)[0]
        return drawable(" · ".join(heads)), lines

    def _few(self, events: tuple[Event, ...]) -> list[Event]:
        """As many as have room, and how many more there are."""
        if len(events) <= _MOST_EVENTS:
            return list(events)
        more = len(events) - _MOST_EVENTS + 1
        said = self._told.words.counted("and {n} more", "and {n} more", more)
        return [*events[: _MOST_EVENTS - 1], Event(events[0].at_days, drawable(said))]

    @property
    def _inner(self) -> int:
        return self._width - self._room.px(2 * _PAD + 0.9)

    def _paint(self, head: str, lines: list[str]) -> Sprite:
        px, (left, top, right, bottom) = self._room.px, self._box(head, lines)
        width, height = right - left, bottom - top
        slip = Slip((width, height), min(self._room.size) / 100)
        slip.bar((0, 0, px(0.7), height), ACCENT)
        left, y = px(_PAD + 0.9), px(_PAD + 0.72 * _HEAD)
        if head:
            slip.capitals((left, y), head, px(_HEAD), width - left - px(_PAD), ACCENT)
        for number, line in enumerate(lines, start=1):
            slip.write((left, y + px(_LINE) * number), line, px(_TEXT), INK)
        return slip.sprite()


@dataclass(frozen=True)
class _Place:
    """From where to where a slip may be wide, at which side it begins, and its edge in px.

    That is its upper edge where it hangs, else its lower one.
    """

    left: int
    right: int
    edge: int
    at_right: bool = False
    hangs: bool = False


def _place(room: Room, floor: int, date_box: Box | None, above: Sequence[Box]) -> _Place:
    left, _, right, _ = room.safe
    if date_box is None:
        return _Place(left, right, floor)
    gap, at_right = room.px(1.6), date_box[0] - left > right - date_box[2]
    hangs = date_box[3] < room.size[1] / 2
    begin, end = (left, date_box[0] - gap) if at_right else (date_box[2] + gap, right)
    for other in above if hangs else ():
        if meet((begin, date_box[1], end, date_box[3]), other):
            begin, end = (other[2] + gap, end) if at_right else (begin, other[0] - gap)
    if end - begin >= room.px(_BESIDE):
        return _Place(begin, end, date_box[1] if hangs else date_box[3], at_right, hangs)
    edge = date_box[3] + gap if hangs else date_box[1] - gap
    return _Place(left, right, edge, at_right, hangs)


def _readable(event: Event) -> Event:
    return Event(
        event.at_days, drawable(event.text, _MOST_LETTERS), drawable(event.label, 60), event.day
    )


def _joined(event: Event) -> str:
    return f"{event.label}: {event.text}"
