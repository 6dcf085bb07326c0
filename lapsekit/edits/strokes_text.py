"""Strokes of colours.csv added and taken out (pure); comments and the other strokes stay."""

from collections.abc import Iterable

from lapsekit.errors import ChangedMeanwhile
from lapsekit.rows import replaced, rows, with_rows
from lapsekit.vision.strokes import COLUMNS, Stroke, columns_of, stroke_cells, stroke_rows


def with_strokes(text: str, strokes: Iterable[Stroke]) -> str:
    """The text of colours.csv with strokes added at its end; "" for no file yet."""
    columns = columns_of(rows(text)) or list(COLUMNS)
    text = text if rows(text) else with_rows(text, [COLUMNS])
    told = (stroke_cells(stroke) for stroke in strokes)
    return with_rows(text, [[cells.get(name, "") for name in columns] for cells in told])


def without_strokes(text: str, strokes: Iterable[Stroke]) -> str:
    """The text of colours.csv without some strokes, as `read_strokes` gave them.

    Of several equal ones as many go as are named, the last first.

    Raises
    ------
    ChangedMeanwhile
        If one is not there any more.
    """
    for stroke in strokes:
        there = [row for row, known in stroke_rows(text) if known == stroke] if text else []
        if not there:
            raise ChangedMeanwhile(
                f"colours.csv has no such stroke on {stroke.frame} any more; read the page again"
            )
        text = replaced(text, there[-1], None)
    return text
