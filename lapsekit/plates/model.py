"""What a plate shows, as plain values."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Point = tuple[float, float]


@dataclass(frozen=True, eq=False)
class FrameShown:
    """One frame of the day: local time of day in hours, its crop, its value or why it has none."""

    hour: float
    picture: np.ndarray
    value: float | None
    reason: str = ""

    @property
    def clock(self) -> str:
        """Local time like ``9:30``."""
        minutes = round(self.hour * 60)
        return f"{minutes // 60}:{minutes % 60:02}"


@dataclass(frozen=True, eq=False)
class Plate:
    """Everything a plate shows.

    Attributes
    ----------
    title, when : str
        The plant, and its day and age.
    unit : {"cm²", "%"}
        Of every value.
    value, low, high : float or None
        The day's value and its interval; None on a day without a usable frame.
    interval : str
        What the interval is, like "95 % interval".
    frames : sequence of FrameShown
        In order of time.
    picture : (H, W, 3) uint8 ndarray or None
        Crop of the daily picture, RGB.
    canopy : (H, W) bool ndarray or None
        What counts as this plant's canopy in it.
    outline : sequence of (x, y) or None
        The region's outline in px of the crop; None for the whole view.
    px_per_cm : float or None
        For the scale bar.
    parts : sequence of (str, float)
        What the interval is made of: names and half-widths.
    notes : sequence of str
        Lines at the foot.
    """

    title: str
    when: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    interval: str
    frames: Sequence[FrameShown]
    picture: np.ndarray | None
    canopy: np.ndarray | None
    outline: Sequence[Point] | None
    px_per_cm: float | None
    parts: Sequence[tuple[str, float]] = ()
    notes: Sequence[str] = ()
