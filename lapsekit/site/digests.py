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
        return self._of_day.get(day, "")

    def days(self, days: tuple[date, ...]) -> str:
        """Of all that is known of some days."""
        if days not in self._of_days:
            self._of_days[days] = mark_of([(f"{day}", self.day(day)) for day in days])
        return self._of_days[days]

    @cached_property
    def _of_day(self) -> dict[date, str]:
        """Rows are pickled, never to be read again: their `repr` takes seven times as long."""
        almanac, told = self._almanac, {}
        for kind in (almanac.frames, almanac.pictures, almanac.values):
            for name, known in kind.items():
                for day, what in known.items():
                    told.setdefault(day, []).append((name, vars(what)))
        for event in almanac.events:
            told.setdefault(event.day, []).append(vars(event))
        return {day: hashlib.sha256(pickle.dumps(what)).hexdigest() for day, what in told.items()}
