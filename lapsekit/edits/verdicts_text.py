"""Lines of verdicts.csv taken out (pure); `lapsekit.verdicts.with_verdicts` sets them."""

from collections.abc import Iterable


def without_verdicts(text: str, frames: Iterable[str]) -> str:
    """The text of verdicts.csv without any verdict on some frames: screening alone judges them.

    Parameters
    ----------
    frames : iterable of str
        Their paths in the season folder; a line names one by path or by file name.
    """
    raise NotImplementedError
