"""Regions of one group told as one: a tray of plugs is a line of a table, not ten."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date
from statistics import fmean
from typing import TYPE_CHECKING

from lapsekit.catalogue import Daily
from lapsekit.settings import Region, plants_among

if TYPE_CHECKING:
    from lapsekit.language.words import Words

Values = Mapping[str, Mapping[date, Daily]]


def folded(
    words: Words, regions: Sequence[Region], values: Values
) -> tuple[list[Region], dict[str, dict[date, Daily]]]:
    """Fold the regions of each group into one that stands for their mean.

    Parameters
    ----------
    words : Words
    regions : sequence of Region
        In the order of regions.toml.
    values : mapping of str to mapping of date to Daily
        Daily values by region and day.

    Returns
    -------
    rows : list of Region
        Regions without a group as they are; for each group of one camera, where its first
        member stands, a region that is titled "NAME, mean of N".
    values : dict of str to dict of date to Daily
        Values of the folded regions alone. A day has the mean of its plants, with the smallest
        and the largest plant's value as its range; it is left open where a plant has no value.
        Where a plant has ended, so has the mean: that of the others would be another group's.
    """
    members: dict[tuple[str | None, str], list[Region]] = {}
    plants = {region.name: region for region in plants_among(regions)}
    for region in plants.values():
        if region.group is not None:
            members.setdefault((region.group, region.camera), []).append(region)
    rows, means = [], {}
    for region in regions:
        of_group = members.get((region.group, region.camera), []) if region.name in plants else []
        if len(of_group) < 2:
            rows.append(region)
        elif region is of_group[0]:
            stands_for = _standing_for(words, of_group)
            rows.append(stands_for)
            means[stands_for.name] = _means(stands_for.name, of_group, values)
    return rows, means


def _standing_for(words: Words, members: Sequence[Region]) -> Region:
    first = members[0]
    ends = [member.until for member in members if member.until is not None]
    return first.model_copy(
        update={
            "name": f"{first.group} of {first.camera}",  # no region can be called that
            "label": words.text(
                "{group}, mean of {plants}", group=first.group, plants=len(members)
            ),
            "until": min(ends, default=None),
            "ended": None,
        }
    )


def _means(name: str, members: Sequence[Region], values: Values) -> dict[date, Daily]:
    days = sorted({day for m in members for day in values.get(m.name, {})})
    return {day: _mean(name, day, [_on(m, day, values) for m in members]) for day in days}


def _on(region: Region, day: date, values: Values) -> Daily | None:
    return values.get(region.name, {}).get(day)


def _mean(name: str, day: date, rows: Sequence[Daily | None]) -> Daily:
    known = [row for row in rows if row is not None]

    def spread(of: str) -> tuple[float | None, float | None, float | None]:
        found = [getattr(row, of) for row in known]
        if len(found) < len(rows) or None in found:
            return None, None, None
        return fmean(found), min(found), max(found)

    left_out = Counter()
    for row in known:
        left_out |= Counter(row.left_out)
    frames = min((row.frames_used for row in known), default=0)
    return Daily(name, day, *spread("cover"), *spread("area_cm2"), frames, dict(left_out))
