"""One value a day out of the day's usable frames."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class DayValue:
    """Robust middle of a day's frames with the smallest and the largest of them."""

    middle: float | None
    low: float | None
    high: float | None


def day_value(values: Sequence[float | None]) -> DayValue:
    """Median of what the day's frames say, with their range.

    The median suits area: a high percentile, used for greenness elsewhere, picks false positives.

    Parameters
    ----------
    values : sequence of float or None
        One for each usable frame, in any unit; None where a frame has no such value.

    Returns
    -------
    DayValue
        All None where no frame has a value.
    """
    known = [v for v in values if v is not None]
    if not known:
        return DayValue(None, None, None)
    return DayValue(median(known), min(known), max(known))
