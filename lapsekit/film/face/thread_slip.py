"""The season as a thread along the foot of the picture, with beads for what happened."""

from collections.abc import Iterator
from datetime import date, timedelta
from functools import partial

import numpy as np

from lapsekit.film.face.paper import Slip, Sprite, Stamp
from lapsekit.film.face.room import SMALLEST, Box, Room
from lapsekit.film.face.told import Beat, Told
from lapsekit.language.words import Words
from lapsekit.lettering import ACCENT, FAINT, INK, drawable, letters

_HEIGHT, _PAD, _LINE, _BASE = 6.0, 1.6, 1.6, 4.9
_THIN = 0.16


def month_ticks(
    words: Words, first_day: date, start_days: float, end_days: float
) -> tuple[tuple[float, str], ...]:
    """Marks of a thread at the first of each month; the first one stands where the thread begins.

    Parameters
    ----------
    words : Words
    first_day : date
        The day whose midnight is 0.
    start_days, end_days : float
        Between which the thread runs.
    """
    at = first_day + timedelta(days=int(start_days))
    found = [(start_days, words.month_name(at))]
    while True:
        at = (at.replace(day=1) + timedelta(days=32)).replace(day=1)
        days = (at - first_day).days
        if days >= end_days:
            return tuple(found)
        found.append((float(days), words.month_name(at)))


def age_ticks(words: Words, start_days: float, end_days: float) -> tuple[tuple[float, str], ...]:
    """Marks of a thread by plant age, every ten days or as many as leave about six of them."""
    span = end_days - start_days
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100, 1000) if span <= 7 * step)
    first = step * int(-(-start_days // step))
    ages = range(first, int(end_days) + 1, step)
    return tuple((float(age), words.text("day {age}", age=age)) for age in ages)


class ThreadSlip:
    """A strip as wide as text may be; `told.thread` is there.

    Beads lie on the thread only when the film has come to them: what is to come is not told.
    """

    def __init__(self, room: Room, told: Told):
        self._room, self._thread = room, told.thread
        left, _, right, bottom = room.safe
        self.box: Box = (left, bottom - room.px(_HEIGHT), right, bottom)
        self._beads = tuple(event.at_days for event in told.events)
        self._ground: np.ndarray | None = None
        self._inner = room.px(_PAD), right - left - room.px(_PAD)

    def stamps(self, beat: Beat) -> Iterator[Stamp]:
        """The strip of a film picture."""
        now = self._x(beat.at_days)
        beads = {self._x(at) for at in self._beads if self._is_past(at, beat.at_days)}
        key = (round(now, 1), tuple(sorted(round(x) for x in beads)))
        yield Stamp(("thread", self._thread, key), self.box, partial(self._paint, *key))

    def _is_past(self, at: float, now: float) -> bool:
        return self._thread.start_days <= at and np.floor(at) <= now

    def _x(self, at: float) -> float:
        start, end = self._thread.start_days, self._thread.end_days
        share = (at - start) / max(end - start, 1e-9)
        left, right = self._inner
        return left + min(max(share, 0.0), 1.0) * (right - left)

    def _paint(self, now: float, beads: tuple[int, ...]) -> Sprite:
        px, left = self._room.px, self._inner[0]
        slip = self._bare()
        middle, thick = px(_LINE) + px(_THIN) / 2, px(0.36)
        slip.bar((left, round(middle - thick / 2), round(now), round(middle + thick / 2)), INK)
        slip.dots([(x, middle) for x in beads], px(0.55), INK)
        slip.dots([(now, middle)], px(1.0), ACCENT)
        return slip.sprite()

    def _bare(self) -> Slip:
        """A strip without beads; its letters are set once."""
        size = self.box[2] - self.box[0], self._room.px(_HEIGHT)
        slip = Slip(size, min(self._room.size) / 100)
        if self._ground is None:
            (left, right), y = self._inner, self._room.px(_LINE)
            slip.bar((left, y, right, y + self._room.px(_THIN)), FAINT)
            self._mark_ticks(slip, y)
            self._ground = slip.array
        slip.array = self._ground.copy()
        return slip

    def _mark_ticks(self, slip: Slip, y: int) -> None:
        """Marks, and those of their texts that have room."""
        px, free = self._room.px, 0.0
        size = px(SMALLEST)
        for at, text in self._thread.ticks:
            x, said = self._x(at), drawable(text)
            slip.bar((round(x), y, round(x) + max(1, px(0.12)), y + px(1.1)), FAINT)
            width = letters(size).length(said)
            begins = round(x)
            if begins >= free and begins + width <= self._inner[1]:
                slip.write((begins, px(_BASE)), said, size, FAINT)
                free = begins + width + px(1.5)
