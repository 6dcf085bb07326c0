"""Groups of the same name on several benches, held against each other within each season.

A season folder is the block: one bench in one year. What one bench's light or one summer's warmth
did, it did to both groups.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import exp, isfinite

from lapsekit.growth.blocks import blocked_contrast
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
        Of ln areas at one plant age.
    blocks : dict of str to float
        Ratio of second to first in each season that has both.
    left_out : tuple of str
        Seasons that have one of them only.
    """

    contrast: Contrast
    blocks: dict[str, float] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()

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


def compare(groups: Members, level: float = 0.95) -> list[Compared]:
    """Every two groups that stand together in a season; where none do, every two, refused.

    One number a plant: ln of its area at the last plant age that all plants have which are
    compared. P are corrected (Holm) among all of them.
    """
    pairs = list(combinations(groups, 2))
    together = [pair for pair in pairs if groups[pair[0]].keys() & groups[pair[1]].keys()]
    found = [_compared(groups, pair, level) for pair in together or pairs[:1]]
    contrasts = corrected([each.contrast for each in found])
    return [
        Compared(contrast, each.blocks, each.left_out)
        for contrast, each in zip(contrasts, found, strict=True)
    ]


def _compared(groups: Members, pair: tuple[str, str], level: float) -> Compared:
    first, second = (groups[name] for name in pair)
    shared = first.keys() & second.keys()
    plants = [plant for side in (first, second) for name in shared for plant in side[name]]
    stretch = common_stretch([plant for plant in plants if len(plant.log_curve[0])])
    if shared and stretch is None:
        return Compared(_no_common_age(pair, level))
    measure = area_at(stretch[1] if stretch else 0.0)
    numbers = [
        {name: {p.name: measure.of(p) for p in of_season} for name, of_season in side.items()}
        for side in (first, second)
    ]
    done = blocked_contrast(
        *numbers, measure=measure.name if stretch else "", names=pair, is_log=True, level=level
    )
    return Compared(
        done.contrast, {name: exp(value) for name, value in done.blocks.items()}, done.left_out
    )


def _no_common_age(pair: tuple[str, str], level: float) -> Contrast:
    why = (
        f"plants of {pair[0]} and {pair[1]} have no plant age in common on which all of them were "
        "measured"
    )
    return Contrast(
        *("area", *pair, 0, 0, (), None, None, None, "", None, None, None, False, True, level, why)
    )
