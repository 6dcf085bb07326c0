"""Short marks of what files are made of: one changes when anything that it stands for does.

What is worked out once a day of the season is worked out once a morning for years; so each day of
the season has a mark of its inputs, and what rests on a day is made again only where that differs.
"""

import hashlib
import pickle
from datetime import date
from functools import cache, cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import lapsekit

if TYPE_CHECKING:
    from lapsekit.site.almanac import Almanac


def mark_of(*parts: object) -> str:
    """24 hexadecimal digits of plain values, whose `repr` says all that they are."""
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:24]


@cache
def code_mark() -> str:
    """Changes when this program does, or what it says days with."""
    import babel

    home = Path(lapsekit.__file__).parent
    files = sorted(file for kind in ("*.py", "*.po") for file in home.rglob(kind))
    stats = [(str(file.relative_to(home)), file.stat()) for file in files]
    told = [(name, stat.st_size, stat.st_mtime_ns) for name, stat in stats]
    return mark_of(lapsekit.__version__, babel.__version__, told)


class Digests:
    """Marks of what an almanac knows."""

    def __init__(self, almanac: "Almanac"):
        self._almanac = almanac
        self._of_days: dict[tuple[date, ...], str] = {}

    @cached_property
    def standing(self) -> str:
        """Of all that is the same on every day; see `Almanac.only`."""
        told = self._almanac.only(())
        return mark_of({**vars(told), "words": told.words.mark, "problems": None})

    def day(self, day: date) -> str:
        """Of all that is known of one day: frames, pictures, values, diary."""
        return f"{self._others.get(day)} {self._values.get(day)}"

    def values(self, day: date) -> str:
        """Of the daily values of one day."""
        return f"{self._values.get(day)}"

    def days(self, days: tuple[date, ...]) -> str:
        """Of all that is known of some days."""
        if days not in self._of_days:
            self._of_days[days] = mark_of([(f"{day}", self.day(day)) for day in days])
        return self._of_days[days]

    @cached_property
    def _values(self) -> dict[date, str]:
        return _marked(_by_day(self._almanac.values))

    @cached_property
    def _others(self) -> dict[date, str]:
        told = _by_day(self._almanac.frames, self._almanac.pictures)
        for event in self._almanac.events:
            told.setdefault(event.day, []).append(tuple(vars(event).values()))
        return _marked(told)


def _by_day(*kinds: dict[str, dict[date, object]]) -> dict[date, list[object]]:
    """What is known of each day, by name."""
    found: dict[date, list[object]] = {}
    for kind in kinds:
        for name, known in kind.items():
            for day, what in known.items():
                found.setdefault(day, []).append((name, *vars(what).values()))
    return found


def _marked(told: dict[date, list[object]]) -> dict[date, str]:
    """Marks by day. Rows are pickled, never to be read again: `repr` takes seven times as long."""
    return {day: hashlib.sha256(pickle.dumps(what)).hexdigest() for day, what in told.items()}
