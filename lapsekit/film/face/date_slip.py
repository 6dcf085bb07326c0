"""The day's sheet: a large numeral, month and year, plant age."""

from collections.abc import Iterator
from datetime import date
from functools import lru_cache, partial

from lapsekit.film.face.corners import CORNERS, box_in, least_hiding
from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room
from lapsekit.film.face.told import Beat, Told
from lapsekit.lettering import FAINT, INK, RULE, drawable, fitted, letters

_HEIGHT, _PAD, _NUMERAL = 13.6, 1.7, 11.6
_MONTH, _AGE = 4.2, 3.2
#: The sheet is never wider than this, in hundredths of the short side.
_WIDEST = 56.0


class DateSlip:
    """Stands in one corner all through a film: the one asked for, or that where it hides least.

    Its size is the same on all days.

    Parameters
    ----------
    room : Room
    told : Told
    floor : int
        Where its lower edge is in a lower corner.
    taken : list of (int, int, int, int)
        What stands at the top already.
    """

    def __init__(self, room: Room, told: Told, floor: int, taken: list[Box]):
        self._room, self._words = room, told.words
        aged = any(beat.day is None for beat in told.beats[:1])
        self._numerals = self._width_of("000" if aged else "00", _NUMERAL)
        lines = [self._months(told), self._width_of(self._age_line(1000, "00:00"), _AGE)]
        inner = self._numerals + max(lines) + room.px(4 * _PAD)
        width = min(inner, room.px(_WIDEST), room.width)
        self._said_of = lru_cache(maxsize=64)(self._month_and_age)
        size = width, room.px(_HEIGHT)
        corners = [each for each in CORNERS if told.date_at in ("", each)]
        boxes = [box_in(each, room, size, floor, taken) for each in corners]
        self.box: Box = boxes[least_hiding(boxes, told.plants, room.size)]

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The sheet of a film picture."""
        key = self._said(beat)
        if any(key):
            yield Stamp(("date", key), self.box, partial(self._paint, key))

    def _said(self, beat: Beat) -> tuple[str, str, str]:
        """Numeral, first line and second line."""
        if beat.day is not None:
            said = self._said_of(beat.day, beat.age_days, beat.clock)
            return str(beat.day.day), *said
        if beat.age_days is None:
            return "", "", ""
        late = beat.age_days >= 0
        first = self._words.text("days old") if late else self._words.text("days before sowing")
        return str(abs(beat.age_days)), drawable(first), drawable(beat.clock)

    def _month_and_age(self, day: date, age: int | None, clock: str) -> tuple[str, str]:
        return drawable(self._words.month(day)), self._age_line(age, clock)

    def _age_line(self, age: int | None, clock: str) -> str:
        parts = [clock] if clock else []
        if age is not None and age >= 0:
            parts.insert(0, self._words.text("day {age}", age=age))
        elif age is not None:
            said = self._words.counted("{n} day before sowing", "{n} days before sowing", -age)
            parts.insert(0, said)
        return drawable(" · ".join(parts))

    def _months(self, told: Told) -> int:
        """Room for the longest month, whichever of them the film has."""
        if told.beats and told.beats[0].day is None:
            texts = [told.words.text("days old"), told.words.text("days before sowing")]
        else:
            texts = [told.words.month(date(2000, month, 1)) for month in range(1, 13)]
        return max(self._width_of(text, _MONTH) for text in texts)

    def _width_of(self, text: str, units: float) -> int:
        return round(letters(self._room.px(units)).length(drawable(text)))

    def _paint(self, said: tuple[str, str, str]) -> Sprite:
        numeral, first, second = said
        px, width = self._room.px, self.box[2] - self.box[0]
        slip = Slip((width, px(_HEIGHT)), min(self._room.size) / 100)
        slip.double_rule(px(0.9), px(_PAD), width - px(_PAD))
        base = px(9.4)
        slip.write((px(_PAD) + self._numerals / 2, base), numeral, px(_NUMERAL), anchor="m")
        rule = px(2 * _PAD) + self._numerals
        slip.bar((rule, px(3.2), rule + max(1, px(0.1)), px(11.8)), RULE)
        left = rule + px(_PAD)
        upper = 6.6 if second else 8.8
        for text, units, low, ink in ((first, _MONTH, upper, INK), (second, _AGE, 10.8, FAINT)):
            sizes = range(px(units), px(SMALLEST) - 1, -1)
            lines, size = fitted(text, sizes, width - px(_PAD) - left, 1)
            slip.write((left, px(low)), lines[0], size, ink)
        return slip.sprite()
