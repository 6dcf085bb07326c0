"""Lines of verdicts.csv taken out (pure); `lapsekit.verdicts.with_verdicts` sets them."""

from collections.abc import Iterable

from lapsekit.rows import replaced
from lapsekit.verdicts import rows_about


def without_verdicts(text: str, frames: Iterable[str]) -> str:
    """The text of verdicts.csv without any verdict on some frames: screening alone judges them.

    Parameters
    ----------
    text : str
        One that `read_verdicts` takes; "" for none.
    frames : iterable of str
        Their paths in the season folder; a line names one by path or by file name.
    """
    for row in reversed(rows_about(text, frames)):
        text = replaced(text, row, None)
    return text
