"""Outlines as forms and pages have them: lines of numbers, names out of labels, lines of time."""

import re
import unicodedata
from collections.abc import Collection, Sequence
from datetime import date, timedelta

from lapsekit.errors import SettingsError
from lapsekit.season import Season
from lapsekit.settings import Region

_LINE = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*[,;\s]\s*(-?\d+(?:\.\d+)?)\s*")
_MOST_CORNERS = 400
_LONGEST_NAME = 36


def points_of(text: str) -> tuple[tuple[float, float], ...] | None:
    """Corners of an outline, one a line as ``x, y`` in px; None where there is none.

    Raises
    ------
    SettingsError
        If a line is no pair of numbers, or there are too few or too many corners.
    """
    found = []
    for number, line in enumerate((each for each in text.splitlines() if each.strip()), start=1):
        pair = _LINE.fullmatch(line)
        if pair is None:
            raise SettingsError(
                f'corner {number} = "{line.strip()}": write two numbers, like 120, 80'
            )
        found.append((float(pair[1]), float(pair[2])))
    if not found:
        return None
    if not 3 <= len(found) <= _MOST_CORNERS:
        raise SettingsError(
            f"an outline has from three to {_MOST_CORNERS} corners, this one {len(found)}"
        )
    return tuple(found)


def text_of(points: Sequence[Sequence[float]]) -> str:
    """Corners as lines of text."""
    return "\n".join(f"{x:g}, {y:g}" for x, y in points)


def name_for(label: str, taken: Collection[str]) -> str:
    """A region's name out of what people call it: small letters, digits and hyphens, not taken."""
    plain = unicodedata.normalize("NFKD", label.replace("ß", "ss")).encode("ascii", "ignore")
    words = re.findall(r"[a-z0-9]+", plain.decode().lower())
    base = "-".join(words)[:_LONGEST_NAME].strip("-") or "region"
    numbered = (base if k == 1 else f"{base}-{k}" for k in range(1, len(taken) + 2))
    return next(name for name in numbered if name not in taken)


def first_day_of(season: Season, camera: str) -> date:
    """From when an outline holds that was always there: sowing, or the first frame before it."""
    days = season.catalogue.days_of_camera(camera)
    return min([season.settings.season.sown, *days[:1]])


def season_span(season: Season, camera: str) -> tuple[date, date]:
    """First and last day of the line of time."""
    days = season.catalogue.days_of_camera(camera)
    first = first_day_of(season, camera)
    return first, max([first + timedelta(days=1), *days[-1:]])


def lines_of_time(regions: Sequence[Region], first: date, last: date) -> dict[str, list[dict]]:
    """Each region's outlines on a line of time, in shares of its length.

    Returns
    -------
    dict of str to list of dict
        By the region's name: ``since`` (day), ``left`` and ``width`` in percent.
    """
    whole = max(1, (last - first).days)

    def at(day: date) -> float:
        return min(100.0, max(0.0, 100 * (day - first).days / whole))

    found = {}
    for region in regions:
        ends = [each.valid_from for each in region.outline[1:]] + [last]
        found[region.name] = [
            {"since": o.valid_from, "left": at(o.valid_from), "width": at(end) - at(o.valid_from)}
            for o, end in zip(region.outline, ends, strict=True)
        ]
    return found
