"""Groups held against each other within each season, over all seasons that have both.

Plants of groups of the same name are pooled over benches; different groups are compared within each
season only. A season folder is the block: one bench in one year. What one bench's light or one
summer's warmth did, it did to both groups.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import exp, isfinite

from lapsekit.growth.blocks import Blocked, blocked_contrast
from lapsekit.growth.contrasts import Contrast, area_at, corrected
from lapsekit.growth.plants import Plant, common_stretch

Members = Mapping[str, Mapping[str, Sequence[Plant]]]
"""Plants by group and season."""


@dataclass(frozen=True)
class Compared:
    """Two groups.

    Attributes
    ----------
    contrast : Contrast
        Of ln areas, or covers, at one plant age.
    blocks : dict of str to float
        Ratio of second to first in each season that counts.
    left_out : dict of str to str
        Seasons that have plants of them and do not count, and why.
    is_cover : bool
        Whether covers are compared, since no season with plants of both has a scale.
    """

    contrast: Contrast
    blocks: dict[str, float] = field(default_factory=dict)
    left_out: dict[str, str] = field(default_factory=dict)
    is_cover: bool = False

    @staticmethod
    def ratio(log_ratio: float | None) -> float | None:
        """A ratio out of its natural log; None where it is unbounded."""
        return exp(log_ratio) if log_ratio is not None and isfinite(log_ratio) else None


def by_group(
    found: Iterable[tuple[str, str, Plant]],
) -> dict[str, dict[str, list[Plant]]]:
    """Plants by group and season, out of (group, season, plant)."""
    groups: dict[str, dict[str, list[Plant]]] = {}
    for group, season, plant in found:
        groups.setdefault(group, {}).setdefault(season, []).append(plant)
    return groups


def compare(
    groups: Members, level: float = 0.95, without_scale: Collection[str] = ()
) -> list[Compared]:
    """Every two groups; those that never stood together in a season are refused.

    One number a plant: ln of its area at the last plant age that all plants have which are
    compared. P are corrected (Holm) among all of them.

    Parameters
    ----------
    groups : mapping
        Plants by group and season.
    level : float
    without_scale : collection of str
        Seasons whose plants' curves are covers. They are left out where another season with plants
        of both has a scale: a share of a region is no area.

    Returns
    -------
    list of Compared
        Pairs in the groups' order.
    """
    found = [_compared(groups, pair, level, without_scale) for pair in combinations(groups, 2)]
    contrasts = corrected([each.contrast for each in found])
    return [replace(each, contrast=c) for each, c in zip(found, contrasts, strict=True)]


def _compared(
    groups: Members, pair: tuple[str, str], level: float, without_scale: Collection[str]
) -> Compared:
    left_out = _of_one_only(groups, pair)
    seasons = [name for name in _seasons(groups, pair) if name not in left_out]
    scaled = [name for name in seasons if name not in without_scale]
    is_cover = bool(seasons) and not scaled
    if not is_cover:
        unscaled = [name for name in seasons if name in without_scale]
        left_out |= dict.fromkeys(unscaled, "without a scale, which others have")
        seasons = scaled
    stood_together = bool(seasons)
    while stretch := common_stretch(_measured(groups, pair, seasons)):
        done = _at_age(groups, pair, seasons, stretch[1], is_cover, level)
        if not done.left_out:
            ratios = {name: exp(value) for name, value in done.blocks.items()}
            return Compared(done.contrast, ratios, left_out, is_cover)
        # A season that does not count must not say at what age the others are compared
        gap = f"not both groups have a value at {stretch[1]:g} days"
        left_out |= dict.fromkeys(done.left_out, gap)
        seasons = [name for name in seasons if name not in done.left_out]
    if stood_together:
        return Compared(_no_common_age(pair, level, is_cover), {}, left_out, is_cover)
    none = blocked_contrast({}, {}, names=pair, is_log=True, level=level)
    return Compared(none.contrast, {}, left_out)


def _seasons(groups: Members, pair: tuple[str, str]) -> list[str]:
    """Seasons with plants of either, in their order."""
    return list(dict.fromkeys(name for group in pair for name in groups[group]))


def _of_one_only(groups: Members, pair: tuple[str, str]) -> dict[str, str]:
    """Seasons without a measured plant of both groups, and which is missing."""
    found = {}
    for season in _seasons(groups, pair):
        missing = [group for group in pair if not _measured(groups, (group,), [season])]
        if missing:
            found[season] = f"no measured plant of {' or '.join(missing)}"
    return found


def _measured(groups: Members, names: Sequence[str], seasons: Iterable[str]) -> list[Plant]:
    plants = (p for season in seasons for name in names for p in groups[name].get(season, ()))
    return [plant for plant in plants if len(plant.log_curve[0])]


def _at_age(
    groups: Members,
    pair: tuple[str, str],
    seasons: Sequence[str],
    age_days: float,
    is_cover: bool,
    level: float,
) -> Blocked:
    measure = area_at(age_days)
    numbers = [
        {season: {p.name: measure.of(p) for p in groups[group][season]} for season in seasons}
        for group in pair
    ]
    name = measure.name.replace("area", "cover", 1) if is_cover else measure.name
    return blocked_contrast(*numbers, measure=name, names=pair, is_log=True, level=level)


def _no_common_age(pair: tuple[str, str], level: float, is_cover: bool) -> Contrast:
    why = (
        f"plants of {pair[0]} and {pair[1]} have no plant age in common on which all of them were "
        "measured"
    )
    measure = "cover" if is_cover else "area"
    return Contrast(
        *(measure, *pair, 0, 0, (), None, None, None, "", None, None, None, False, True, level, why)
    )
