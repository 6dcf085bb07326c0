"""Numbers as sentences of the command line and the desk say them."""

from collections.abc import Sequence


def counted(number: int, word: str) -> str:
    """``1 frame``, ``2 frames``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def first_named(names: Sequence[str], most: int) -> str:
    """``a, b``; of more than `most` names the first of them, and how many more there are."""
    rest = len(names) - most
    return ", ".join(names[:most]) + (f" and {rest} more" if rest > 0 else "")


def p_text(p: float) -> str:
    """``below 0.001``, ``0.024``, ``0.31``: no more figures of a p value than tell something.

    Files and ``--json`` hold it in full.
    """
    return "below 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.1 else f"{p:.2f}"
