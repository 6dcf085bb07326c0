"""The season ribbon: which slices and gaps stand side by side. Pure."""

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

#: A run of at least this many days without a picture is drawn as one break.
LONG_GAP = 3
#: Width of a break in columns; a day is one column wide, or this where breaks are many.
BREAK_COLUMNS = 2
#: Up to this many columns a ribbon is drawn with wider slices.
FEW_COLUMNS = 22


@dataclass(frozen=True)
class Cell:
    """One place in the ribbon: a day, or a run of days without a picture.

    Attributes
    ----------
    first, last : date
        The days it stands for; equal for a single day.
    picture : bool
        Whether a slice of a picture is shown.
    month : str
        Name of the month, where one begins here and there is room to say so.
    columns : int
        Width in narrow slices.
    """

    first: date
    last: date
    picture: bool
    month: str = ""
    columns: int = 1

    @property
    def days(self) -> int:
        """How many days it stands for."""
        return (self.last - self.first).days + 1


def cells(days: Sequence[date], has_picture: Container[date]) -> list[Cell]:
    """Cells of a ribbon over `days`.

    Parameters
    ----------
    days : sequence of date
        Consecutive calendar days.
    has_picture : container of date
        The days of which there is a slice.

    Returns
    -------
    list of Cell
        In order of day; runs of :data:`LONG_GAP` or more days without a picture are one cell.
    """
    found: list[Cell] = []
    for shown, group in groupby(days, key=lambda day: day in has_picture):
        run = list(group)
        if not shown and len(run) >= LONG_GAP:
            found.append(Cell(run[0], run[-1], False, columns=BREAK_COLUMNS))
        else:
            found += [Cell(day, day, shown) for day in run]
    if sum(cell.days > 1 for cell in found) * 2 >= sum(cell.picture for cell in found):
        found = [replace(cell, columns=BREAK_COLUMNS) for cell in found]
    return _with_months(found)


@dataclass(frozen=True)
class Strip:
    """The slices of one calendar month, side by side.

    Attributes
    ----------
    month : str
        ``2031-04``.
    days : tuple of date
        The days that its columns show, in order.
    wide : bool
        Whether each column is two narrow ones wide, as in a ribbon of many breaks or few days.
    """

    month: str
    days: tuple[date, ...]
    wide: bool = False


def strips(days: Sequence[date], has_picture: Container[date]) -> list[Strip]:
    """Strips of a ribbon, one for each month with a picture, in order; parameters as of `cells`."""
    found = cells(days, has_picture)
    wide = all(cell.columns == BREAK_COLUMNS for cell in found) or columns(found) <= FEW_COLUMNS
    shown = [cell.first for cell in found if cell.picture]
    by_month = groupby(shown, key=lambda day: f"{day:%Y-%m}")
    return [Strip(month, tuple(of_month), wide) for month, of_month in by_month]


def columns(ribbon: Sequence[Cell]) -> int:
    """Width of a whole ribbon in columns."""
    return sum(cell.columns for cell in ribbon)


def _with_months(found: list[Cell]) -> list[Cell]:
    """Name each month at its first cell, unless the next month begins right behind it."""
    result = list(found)
    starts = [
        number
        for number, cell in enumerate(result)
        if number == 0 or _month(cell.first) != _month(result[number - 1].first)
    ]
    for place, number in enumerate(starts):
        end = starts[place + 1] if place + 1 < len(starts) else len(result)
        room = columns(result[number:end])
        cell = result[number]
        if room >= 3 or end == len(result):
            name = f"{cell.first:%B}" if room >= 4 else f"{cell.first:%b}"
            result[number] = replace(cell, month=name)
    return result


def _month(day: date) -> tuple[int, int]:
    return day.year, day.month


def grouped_reasons(cell: Cell, reason: Callable[[date], str]) -> str:
    """Why the days of a gap have no picture; of several reasons each with its number of days."""
    counts: dict[str, int] = {}
    for number in range(cell.days):
        why = reason(date.fromordinal(cell.first.toordinal() + number))
        counts[why] = counts.get(why, 0) + 1
    if len(counts) == 1:
        return next(iter(counts))
    return "; ".join(f"{why} ({n} d)" for why, n in sorted(counts.items(), key=lambda i: -i[1]))
