"""The table of ``lapsekit growth``: a row a plant, no wider than a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lapsekit.language.phrases import no_rate_text
from lapsekit.language.words import ENGLISH
from lapsekit.plain import one_line
from lapsekit.site.wording import doubling_days

if TYPE_CHECKING:
    from lapsekit.growth_tables import GrowthRow

_WIDTH, _LEAST_TITLE = 80, 12
_HEAD = ("region", "day", "canopy", "RGR per day (95 %)", "doubles")
_NO_DOUBLING = "-"


def summary(title: str, row: GrowthRow, bare_days: int) -> tuple[str, ...]:
    """A plant's row: its title, day, canopy, growth rate and doubling time.

    Parameters
    ----------
    title : str
    row : GrowthRow
        Its last measured day.
    bare_days : int
        How many days it shows no canopy for sure, which is told in place of a rate.

    Returns
    -------
    tuple of str
    """
    size = f"{row.cover:.1%}" if row.area_cm2 is None else f"{row.area_cm2:.1f} cm²"
    rate, doubling = no_rate_text(ENGLISH, bare_days), ""
    if row.rgr_per_day is not None:
        rate = f"{row.rgr_per_day:+.3f} ({row.rgr_low:+.3f} to {row.rgr_high:+.3f})"
        days = row.doubling_days
        doubling = _NO_DOUBLING if days is None else f"{doubling_days(ENGLISH, days)} d"
    return one_line(title), str(row.day), size, rate, doubling


def table(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Lines of a table no wider than a terminal: long titles give way, never the numbers.

    What stands in place of a rate reaches over the last column too, or has a line of its own.

    Parameters
    ----------
    rows : sequence of tuple of str
        One for each plant, as `summary` gives it.

    Returns
    -------
    list of str
    """
    rows = [_HEAD, *rows]
    longest, *widths = (
        max(len(cell) for cell, row in zip(column, rows, strict=True) if _is_cell(cell, row))
        for column in zip(*rows, strict=True)
    )
    left = _WIDTH - sum(width + 2 for width in widths)
    room = min(longest, max(_LEAST_TITLE, left))
    short = [_shortened(row[0], room) for row in rows]
    lines = []
    for title, row in zip(short, rows, strict=True):
        alike = {other[0] for cut, other in zip(short, rows, strict=True) if cut == title}
        is_shared = len(alike) > 1  # then the whole of it stands on a line of its own
        lines += [row[0]] if is_shared else []
        first = f"{'' if is_shared else title:{room}}"
        cells = [f"{c:{side}{w}}" for c, side, w in zip(row[1:], "<><>", widths, strict=True)]
        whole = "  ".join((first, *cells)).rstrip()
        if len(whole) <= max(_WIDTH, sum(widths) + room + 8):
            lines.append(whole)
        else:
            lines += ["  ".join((first, *cells[:2])), f"  {row[3]}"]
    told = any(row[-1] == _NO_DOUBLING for row in rows)
    return [*lines, f"{_NO_DOUBLING}: not shown to grow"] if told else lines


def _is_cell(cell: str, row: tuple[str, ...]) -> bool:
    """Whether a column has to be as wide as a cell: words in place of a rate reach further."""
    return bool(row[-1]) or cell != row[3]


def _shortened(title: str, room: int) -> str:
    """A title cut in its middle: what tells plants of one kind apart stands at the end."""
    if len(title) <= room:
        return title
    end = room // 3
    return f"{title[: room - end - 1].rstrip()}…{title[-end:].lstrip()}"
