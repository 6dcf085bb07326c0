"""Stage: what a few strokes teach, held against the sample season's true shapes.

The sample season's ``strokes.csv`` holds six strokes on two frames, over its red lettuces and the
soil around them. How well these plants' shapes are found with and without it is looked at on every
other day that has a true mask.
"""

import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from statistics import median

import cv2
import numpy as np

from lapsekit.catalogue import Frame
from lapsekit.progress import Track, silent
from lapsekit.ruler import Ruler
from lapsekit.sample import has_true_shapes, true_shapes
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.teaching import key_of
from lapsekit.viewing import matrix_of
from lapsekit.vision.regions import region_mask

STROKES_FILE = "strokes.csv"


@dataclass(frozen=True)
class Shaped:
    """How one region's shape was found on one day: Dice coefficients, 0 to 1, and areas.

    `change` is the area by the strokes over that without, less 1.
    """

    day: date
    true_cm2: float
    dice: float
    dice_without: float
    change: float


@dataclass(frozen=True)
class StrokesProof:
    """What strokes on some frames teach.

    Attributes
    ----------
    strokes, frames : int
        How many strokes, on how many frames.
    taught, others : dict of str to list of Shaped
        The regions that strokes speak of, and the rest, for what strokes may spoil there; one
        frame a day, on other days than the strokes'.
    """

    strokes: int
    frames: int
    taught: dict[str, list[Shaped]]
    others: dict[str, list[Shaped]]


def prove_strokes(
    sample: Path, season: Season, truth: dict[str, dict[date, float]], track: Track = silent
) -> StrokesProof | None:
    """Dice of every region's shape, with and without strokes.

    Parameters
    ----------
    sample : pathlib.Path
        The sample season with its truth and its strokes.
    season : Season
        Its frames, measured without strokes.
    truth : dict of str to dict of date to float
        True area of each region and day, in cm².
    track : Track
        Told about progress.

    Returns
    -------
    StrokesProof or None
        None where the sample season has no strokes.
    """
    if not (sample / STROKES_FILE).exists():
        return None
    plain = Ruler(season)
    with _taught(sample, season) as told:
        taught = Ruler(told)
        lessons = taught.taught
        learned = {f.day for f in told.catalogue.frames() if f.path in lessons.frames}
        frames = _with_masks(sample, season, learned)
        found: dict[str, list[Shaped]] = {r.name: [] for r in season.regions.region}
        for frame in track(frames, len(frames), "shapes with and without strokes"):
            for name, shaped in _shapes(sample, plain, taught, frame, truth):
                found[name].append(shaped)
    mine = {r.name for r in season.regions.region if key_of(r) in lessons.tables}
    parts = ({n: rows for n, rows in found.items() if (n in mine) == own} for own in (True, False))
    return StrokesProof(lessons.strokes, len(lessons.frames), *parts)


@contextmanager
def _taught(sample: Path, season: Season) -> Iterator[Season]:
    """The season opened with the strokes, which are taken away again."""
    path = season.folder / COLOURS_FILE
    shutil.copyfile(sample / STROKES_FILE, path)
    told = Season(season.folder)
    try:
        yield told
    finally:
        told.catalogue.close()
        path.unlink()


def _with_masks(sample: Path, season: Season, without: set[date]) -> list[Frame]:
    """The usable frame with a true mask that is nearest to each day's middle."""
    of_day: dict[date, list[Frame]] = {}
    for frame, screening in season.catalogue.screenings():
        if not screening.reasons and frame.day not in without and has_true_shapes(sample, frame):
            of_day.setdefault(frame.day, []).append(frame)
    return [frames[len(frames) // 2] for frames in of_day.values()]


def _shapes(
    sample: Path, plain: Ruler, taught: Ruler, frame: Frame, truth
) -> Iterator[tuple[str, Shaped]]:
    season = plain.season
    placed = {p.path: p for f, p in season.catalogue.placements(frame.camera)}[frame.path]
    without, cover = plain.cover(frame, placed), taught.cover(frame, placed)
    true = true_shapes(sample, frame)
    matrix = matrix_of(placed)
    if matrix is not None:
        way = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        true = cv2.warpPerspective(true, matrix, true.shape[::-1], flags=way)
    for number, region in enumerate(season.regions.region, 1):
        true_cm2, outline = truth[region.name].get(frame.day, 0.0), region.outline_on(frame.day)
        if not true_cm2 or outline is None:
            continue
        own = true == number
        # What another plant covers is not this one's to be found or missed
        here = region_mask(true.shape, outline.points) & ((true == 0) | own)
        areas = [float(c[here].sum(dtype=np.int64)) for c in (cover, without)]
        yield region.name, Shaped(
            frame.day, true_cm2, _dice(cover, own, here), _dice(without, own, here),
            areas[0] / max(areas[1], 1.0) - 1,
        )  # fmt: skip


def _dice(cover: np.ndarray, own: np.ndarray, here: np.ndarray) -> float:
    found, true = (cover > 127) & here, own & here
    return 2 * float((found & true).sum()) / max(1.0, float(found.sum() + true.sum()))


@dataclass(frozen=True)
class Summed:
    """Days that count; median and least Dice, median Dice without strokes, median change."""

    days: int
    dice: float
    least_dice: float
    dice_without: float
    change: float


def summed(rows: Sequence[Shaped], least_cm2: float) -> Summed:
    """A region's days of at least some true area; NaN where there is none."""
    large = [row for row in rows if row.true_cm2 >= least_cm2]
    if not large:
        return Summed(0, *(float("nan"),) * 4)
    dice = [row.dice for row in large]
    without, change = (median(getattr(r, n) for r in large) for n in ("dice_without", "change"))
    return Summed(len(large), median(dice), min(dice), without, change)
