"""The season ribbon: which slices and gaps stand side by side. Pure."""

from collections.abc import Container, Sequence
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
    columns : int
        Width in narrow slices.
    """

    first: date
    last: date
    picture: bool
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
    return found


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
