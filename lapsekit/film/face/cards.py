"""Whole film pictures of paper: a gap that is told, a title, an end."""

from datetime import date

import numpy as np

from lapsekit.film.face.paper import Slip
from lapsekit.film.face.room import SMALLEST, Room
from lapsekit.language.words import Words
from lapsekit.lettering import ACCENT, FAINT, INK, drawable, fitted, letters

_NUMERAL, _MONTH, _TEXT, _TITLE = 26.0, 5.0, 3.8, 8.5
_WIDEST = 78.0


def gap_card(
    size: tuple[int, int],
    shape: str,
    words: Words,
    first: date,
    last: date,
    reason: str = "",
) -> np.ndarray:
    """The card of days without a picture.

    Parameters
    ----------
    size : (int, int)
        Width and height in px.
    shape : str
        Of the film; says where text may stand.
    words : Words
    first, last : date
        The first and the last day without a picture.
    reason : str
        Why, in the reader's language, as part of a sentence; may be empty.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        RGB.
    """
    text = words.text("no picture ({reason})", reason=reason) if reason else ""
    return _card(size, shape, _days(words, first, last), text or words.text("no picture"))


def _days(words: Words, first: date, last: date) -> tuple[str, str]:
    """Numerals and what stands below them: ``4–6``, ``April 2031``."""
    if first == last:
        return str(first.day), words.month(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}–{last.day}", words.month(first)
    begins = words.month_name(first) if first.year == last.year else words.month(first)
    return f"{first.day} – {last.day}", f"{begins} – {words.month(last)}"


def _card(size: tuple[int, int], shape: str, days: tuple[str, str], text: str) -> np.ndarray:
    sheet = _Sheet(size, shape)
    sheet.numeral(days[0])
    sheet.lines(days[1], _MONTH, 1, INK)
    sheet.space(2.6)
    sheet.lines(text, _TEXT, 3, FAINT, slanted=True)
    return sheet.finished()


def title_card(
    size: tuple[int, int], shape: str, title: str, lines: tuple[str, ...] = ()
) -> np.ndarray:
    """A card to begin or end a film with.

    Parameters
    ----------
    size : (int, int)
        Width and height in px.
    shape : str
        Of the film.
    title : str
        Set large.
    lines : tuple of str
        Set below it, at most five.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        RGB.
    """
    sheet = _Sheet(size, shape)
    sheet.lines(title, _TITLE, 3, INK, slanted=True)
    sheet.space(1.2)
    for line in lines[:5]:
        sheet.lines(line, _TEXT, 2, FAINT)
    return sheet.finished()


class _Sheet:
    """A page that is set from the top down, then stood in the middle of its room."""

    def __init__(self, size: tuple[int, int], shape: str):
        self._room = Room(size, shape)
        self._slip = Slip(size, self._room.px(100) / 100)
        left, _, right, _ = self._room.safe
        self._middle = (left + right) / 2
        self._width = min(right - left, self._room.px(_WIDEST))
        self._y = 0
        self._set: list[tuple[int, str, int, tuple[int, int, int], bool]] = []

    def space(self, units: float) -> None:
        self._y += self._room.px(units)

    def numeral(self, text: str) -> None:
        """Large old-style numerals."""
        size = self._room.px(_NUMERAL)
        while letters(size).length(text) > self._width:
            size -= 1
        self._set.append((self._y + round(0.7 * size), text, size, ACCENT, False))
        self._y += round(size * 0.98)
        self.space(2.2)

    def lines(
        self, text: str, units: float, most: int, ink: tuple[int, int, int], slanted: bool = False
    ) -> None:
        """Text in at most so many lines, smaller where it is long."""
        px, said = self._room.px, drawable(text)
        if not said:
            return
        sizes = range(px(units), px(max(SMALLEST, 0.7 * units)) - 1, -1)
        lines, size = fitted(said, sizes, self._width, most, slanted)
        for line in lines:
            self._set.append((self._y + size, line, size, ink, slanted))
            self._y += round(1.3 * size)

    def finished(self) -> np.ndarray:
        """The page with the almanac's rules above and below what is set."""
        px, (_, top, _, bottom) = self._room.px, self._room.safe
        begins = (top + bottom - self._y) // 2
        left, right = round(self._middle - self._width / 2), round(self._middle + self._width / 2)
        self._slip.double_rule(max(top, begins - px(5)), left, right)
        self._slip.double_rule(min(bottom - px(1), begins + self._y + px(4)), left, right)
        for y, text, size, ink, slanted in self._set:
            self._slip.write((self._middle, begins + y), text, size, ink, slanted, anchor="m")
        return self._slip.array
