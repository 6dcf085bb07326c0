"""How a season's frames were judged and placed, held against the truth of the sample season."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np

from lapsekit.measuring import season_knocks
from lapsekit.sample import TrueView
from lapsekit.season import Season
from lapsekit.viewing import matrix_of
from lapsekit.vision.homographies import project

KNOCKED_PX = 2.0
"""A step of the true camera beyond this is a knock; between frames it drifts by a tenth of it."""


@dataclass(frozen=True)
class Placing:
    """How far off frames were placed; each frame's error is the 95th percentile over the picture.

    Attributes
    ----------
    frames, refused : int
        Good frames, and those of them that were not registered.
    median_px, p95_px, worst_px : float or None
    """

    frames: int
    refused: int
    median_px: float | None
    p95_px: float | None
    worst_px: float | None


@dataclass(frozen=True)
class KnockTold:
    """A true knock, dated by the first frame after it, and what was told of it; None if nothing."""

    at: datetime
    true_px: float
    true_deg: float
    told_at: datetime | None
    told_px: float | None
    told_deg: float | None


@dataclass(frozen=True)
class Sifted:
    """Frames of one true state: how many there are, how many were left out, and for what."""

    frames: int
    left_out: int
    reasons: dict[str, int]


@dataclass(frozen=True)
class Sighting:
    """What `prove` says of frames.

    Attributes
    ----------
    placing : Placing
    knocks : tuple of KnockTold
        In order of time; one that was told without being true stands with 0 px.
    states : dict of str to Sifted
        By the true state of frames, ``usable`` among them.
    """

    placing: Placing
    knocks: tuple[KnockTold, ...]
    states: dict[str, Sifted]


def sighting(season: Season, states: Mapping[str, str], views: Mapping[str, TrueView]) -> Sighting:
    """Hold a measured season's verdicts and placements against truth.

    Parameters
    ----------
    season : Season
        Measured.
    states : mapping of str to str
        True state of each frame by its path.
    views : mapping of str to TrueView
        Where the camera truly was, by the frame's path.
    """
    screened = {f.path: s.reasons for f, s in season.catalogue.screenings()}
    sifted = {
        state: _sifted([screened[p] for p, s in states.items() if s == state and p in screened])
        for state in sorted(set(states.values()), key=lambda s: (s != "usable", s))
    }
    return Sighting(_placing(season, states, views), _knocks(season, views), sifted)


def _sifted(reasons: Sequence[tuple[str, ...]]) -> Sifted:
    counted = Counter(why for found in reasons for why in found)
    return Sifted(len(reasons), sum(map(bool, reasons)), dict(counted))


def placing_error_px(found: np.ndarray, true: np.ndarray, shape: tuple[int, int]) -> float:
    """95th percentile over a picture of how far `found` (3, 3) puts points from their places."""
    height, width = shape
    grid = np.stack(np.meshgrid(np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 7)), -1)
    off = project(found, grid) - project(true, grid)
    return float(np.quantile(np.linalg.norm(off, axis=-1), 0.95))


def _placing(season: Season, states: Mapping[str, str], views: Mapping[str, TrueView]) -> Placing:
    errors, refused = [], 0
    for camera in season.settings.cameras:
        placed = [(f, p) for f, p in season.catalogue.placements(camera) if f.path in views]
        good = [(f, p) for f, p in placed if states.get(f.path) == "usable"]
        refused += sum(placement.matrix is None for _, placement in good)
        found = [(f, matrix_of(p)) for f, p in good if p.matrix is not None]
        if not found:
            continue
        # The frame that was placed nowhere but on itself is the reference view
        still = min(found, key=lambda one: np.abs(one[1] - np.eye(3)).sum())[0]
        back = np.linalg.inv(views[still.path].matrix)
        for frame, matrix in found:
            true = views[frame.path].matrix @ back
            errors.append(placing_error_px(matrix, true, (frame.height, frame.width)))
    if not errors:
        return Placing(refused, refused, None, None, None)
    told = (float(np.quantile(errors, q)) for q in (0.5, 0.95, 1.0))
    return Placing(len(errors) + refused, refused, *told)


def _knocks(season: Season, views: Mapping[str, TrueView]) -> tuple[KnockTold, ...]:
    frames = {frame.path: frame for frame in season.catalogue.frames()}
    told = {(found.camera, found.at.path): found for found in season_knocks(season)}
    rows = []
    seen = sorted((frames[p].camera, frames[p].taken_at, p) for p in views if p in frames)
    for (camera, _, path), (other, at, after) in pairwise(seen):
        size, turn = _step(views[path], views[after])
        if camera != other or size < KNOCKED_PX:
            continue
        found = told.pop((camera, after), None)
        rows.append(
            KnockTold(
                at,
                size,
                turn,
                found and found.at.taken_at,
                found and found.knock.size_px,
                found and found.knock.turn_deg,
            )
        )
    for found in told.values():
        size, turn = found.knock.size_px, found.knock.turn_deg
        rows.append(KnockTold(found.at.taken_at, 0.0, 0.0, found.at.taken_at, size, turn))
    return tuple(sorted(rows, key=lambda row: row.at))


def _step(before: TrueView, after: TrueView) -> tuple[float, float]:
    x, y = after.shift_x_px - before.shift_x_px, after.shift_y_px - before.shift_y_px
    return float(np.hypot(x, y)), after.turn_deg - before.turn_deg
