"""Strokes of colours.csv added and taken out (pure); comments and the other strokes stay."""

from collections.abc import Iterable

from lapsekit.vision.trained_colours import Stroke


def with_strokes(text: str, strokes: Iterable[Stroke]) -> str:
    """The text of colours.csv with strokes added at its end; "" for no file yet."""
    raise NotImplementedError


def without_strokes(text: str, strokes: Iterable[Stroke]) -> str:
    """The text of colours.csv without some strokes, as `read_strokes` gave them.

    Of several equal ones as many go as are named, the last first.

    Raises
    ------
    ChangedMeanwhile
        If one is not there any more.
    """
    raise NotImplementedError
