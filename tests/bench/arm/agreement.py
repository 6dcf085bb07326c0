"""How far two seasons of the same frames agree: numbers, words, places, pages."""

import csv
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from math import hypot, inf, isfinite
from pathlib import Path

from lapsekit.catalogue import Placement
from lapsekit.season import Season

MOST = 0.001
"""Largest difference of two numbers, as a share, at which they are the same."""

_MEASURED = ("region_px", "canopy_px", "cover", "area_cm2")
_COLOURS = ("greenness", "yellow_share", "red_share", "unsure")
_SHARES_OF_THE_DAY = ("range_share", "movement", "midday_change")
"""What two areas of a day differ by, as a share of its area: near 0 on a still day, so that a share
of it in turn would say nothing."""
_NO_NUMBERS = {"region", "day", "left_out_because", "touches"}

Values = Mapping[str, float | None]


@dataclass(frozen=True)
class Agreement:
    """How far numbers agree; `largest` is the largest difference as a share, `where` it lies.

    `over` counts those that differ by more than `MOST`.
    """

    compared: int
    equal: int
    over: int
    largest: float
    where: str


def apart(name: str, first: float | None, second: float | None) -> float:
    """Difference as a share of the larger; infinite where only one is there.

    What is a share of the day's area already, by the last word of its name, is not divided again.
    """
    if first == second:
        return 0.0
    if first is None or second is None or not (isfinite(first) and isfinite(second)):
        return inf
    whole = name.split()[-1] in _SHARES_OF_THE_DAY
    return abs(first - second) / (1 if whole else max(abs(first), abs(second)))


def agreement(first: Values, second: Values) -> Agreement:
    """Compare numbers by name; a name that only one side has is an infinite difference."""
    names = sorted(first.keys() | second.keys())
    found = [
        (apart(name, first[name], second[name]) if name in first and name in second else inf)
        for name in names
    ]
    largest = max(found, default=inf)
    where = names[found.index(largest)] if found and largest else ""
    over = sum(share > MOST for share in found)
    return Agreement(len(names), found.count(0.0), over, largest, where)


def of_frames(season: Season, fields: Iterable[str] = _MEASURED) -> dict[str, float | None]:
    """What was measured in each usable frame and region."""
    return {
        f"{row.path} {row.region} {name}": getattr(row, name)
        for _, row in season.catalogue.measurements()
        for name in fields
    }


def colours_of_frames(season: Season) -> dict[str, float | None]:
    """Colours of each usable frame and region, and the share that was in doubt."""
    return of_frames(season, _COLOURS)


def of_days(season: Season) -> dict[str, float | None]:
    """Numbers of each day and region, the halves of its interval among them."""
    found = {}
    for row in season.catalogue.daily():
        told = asdict(row)
        told |= {f"± {part}": half for part, half in told.pop("parts").items()}
        for name, value in told.items():
            if value is None or isinstance(value, int | float):
                found[f"{row.day} {row.region} {name}"] = value
    return found


def of_growth(season: Season) -> dict[str, float | None]:
    """Numbers of the growth table."""
    with (season.folder / "growth" / "daily.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {
        f"{row['day']} {row['region']} {name}": float(value) if value else None
        for row in rows
        for name, value in row.items()
        if name not in _NO_NUMBERS
    }


def words(season: Season) -> dict[str, object]:
    """What was decided: frames' hashes and reasons, days' left out, what touches."""
    told = {
        frame.path: (frame.sha256, screening.reasons, screening.watched)
        for frame, screening in season.catalogue.screenings()
    }
    told |= {
        f"{row.day} {row.region}": (row.frames_used, row.left_out, row.touches, row.crowded)
        for row in season.catalogue.daily()
    }
    return told


def places(season: Season) -> dict[str, list[tuple[float, float]]]:
    """Where the corners of the reference view lie in each frame that was placed, in px."""
    return {
        frame.path: corners(place, frame.width, frame.height)
        for camera in season.catalogue.cameras()
        for frame, place in season.catalogue.placements(camera)
        if place.matrix is not None
    }


def corners(place: Placement, width: int, height: int) -> list[tuple[float, float]]:
    """Where the corners of the reference view lie by a placement, in px."""
    return [_mapped(place.matrix, x, y) for x in (0, width) for y in (0, height)]


def farthest_px(
    first: Mapping[str, list[tuple[float, float]]], second: Mapping[str, list[tuple[float, float]]]
) -> float:
    """How far apart corners lie at most; infinite where not the same frames were placed."""
    if first.keys() != second.keys():
        return inf
    return max(
        hypot(x - u, y - v)
        for path in first
        for (x, y), (u, v) in zip(first[path], second[path], strict=True)
    )


def files(folder: Path) -> dict[str, bytes]:
    """Content of every file of a folder by its name there."""
    found = (file for file in folder.rglob("*") if file.is_file())
    return {str(file.relative_to(folder)): file.read_bytes() for file in found}


def _mapped(matrix: tuple[float, ...], x: float, y: float) -> tuple[float, float]:
    u, v, w = (matrix[row] * x + matrix[row + 1] * y + matrix[row + 2] for row in (0, 3, 6))
    return u / w, v / w
