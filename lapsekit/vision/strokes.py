"""Strokes that teach colours, as the text of a colours.csv (pure).

One stroke a line::

    frame,kind,width_px,points
    frames/bench/2031-05-06/20310506T100000Z.jpg,plant,6,330 96 362 130 371 171
    frames/bench/2031-05-06/20310506T100000Z.jpg,other,8,12 640 240 652

`kind` is ``plant`` or ``other``; `points` are x y x y … in px of the upright frame as stored. Lines
that begin with # are passed over.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from lapsekit.errors import SettingsError
from lapsekit.rows import Row, row_text, rows

COLUMNS = ("frame", "kind", "width_px", "points")
KINDS = ("plant", "other")


@dataclass(frozen=True)
class Stroke:
    """One stroke of the grower's.

    Attributes
    ----------
    frame : str
        Path of the frame in the season folder.
    is_plant : bool
    width_px : float
        Width of the stroke, in px of the stored frame.
    points : tuple of (x, y)
        In px of the upright stored frame, at least one.
    """

    frame: str
    is_plant: bool
    width_px: float
    points: tuple[tuple[float, float], ...]


def read_strokes(text: str) -> tuple[Stroke, ...]:
    """Read the strokes of a colours.csv.

    Parameters
    ----------
    text : str
        Content of the file; see the module's description.

    Raises
    ------
    SettingsError
        If a column is missing, or a line cannot be read; names the line.
    """
    return tuple(stroke for _, stroke in stroke_rows(text))


def stroke_rows(text: str) -> list[tuple[Row, Stroke]]:
    """The strokes with the rows they stand in; raises as `read_strokes` does."""
    found = rows(text)
    if not found:
        return []
    columns = columns_of(found)
    missing = [name for name in COLUMNS if name not in columns]
    if missing:
        raise SettingsError(
            f"colours.csv has no column {', '.join(missing)}: its first line must be "
            f"{','.join(COLUMNS)}"
        )
    return [(row, _stroke(dict(zip(columns, row.cells, strict=False)), row)) for row in found[1:]]


def columns_of(found: Sequence[Row]) -> list[str]:
    """Names of the columns; none without a row."""
    return [name.strip() for name in found[0].cells] if found else []


def _stroke(fields: dict[str, str], row: Row) -> Stroke:
    try:
        numbers = [float(word) for word in fields["points"].split()]
        width = float(fields["width_px"])
        good = numbers and len(numbers) % 2 == 0 and width > 0 and fields["kind"] in KINDS
        if not (good and all(map(math.isfinite, [*numbers, width])) and fields["frame"]):
            raise ValueError("a value is missing or out of range")
    except (ValueError, KeyError) as error:
        why = "a value is missing or out of range" if isinstance(error, KeyError) else error
        raise SettingsError(
            f"colours.csv, line {row.line}: {why}; expected a frame, {' or '.join(KINDS)}, a width "
            "in px and points as x y x y …"
        ) from error
    points = tuple(zip(numbers[::2], numbers[1::2], strict=True))
    return Stroke(fields["frame"], fields["kind"] == "plant", width, points)


def stroke_cells(stroke: Stroke) -> dict[str, str]:
    """A stroke as cells, by column."""
    points = " ".join(f"{value:g}" for point in stroke.points for value in point)
    values = (stroke.frame, KINDS[not stroke.is_plant], f"{stroke.width_px:g}", points)
    return dict(zip(COLUMNS, values, strict=True))


def write_strokes(strokes: Iterable[Stroke]) -> str:
    """Text of a colours.csv that `read_strokes` reads back."""
    lines = [COLUMNS, *(stroke_cells(stroke).values() for stroke in strokes)]
    return "".join(f"{row_text(cells)}\n" for cells in lines)
