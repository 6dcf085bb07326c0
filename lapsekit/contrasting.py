"""Stages: daily values -> groups held against each other, and how many plants are needed."""

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log

from lapsekit.catalogue import Daily
from lapsekit.errors import SettingsError
from lapsekit.growth.contrasts import (
    Contrast,
    Measure,
    alike,
    area_at,
    area_days,
    contrasts,
    rgr,
    rgr_ratio,
)
from lapsekit.growth.planning import Plan, Scatter, plants_needed, scatter_between, smallest_ratio
from lapsekit.growth.plants import Plant, common_stretch, log_area_at
from lapsekit.season import Season
from lapsekit.when import plant_age

MOST_SCATTER = 2.0
"""Standard deviation of ln area beyond which nothing can be planned: a factor of seven."""

MEASURES = {"area": area_at, "area-days": area_days, "rgr": rgr, "rgr-ratio": rgr_ratio}
SIDES_SHOWN = (4, 6, 8, 10, 15, 20)


@dataclass(frozen=True)
class ContrastReport:
    """Groups held against each other.

    Attributes
    ----------
    measure, unit : str
        What each plant was boiled down to; ``"cm²"``, or ``"share of the region"`` without a scale.
    groups : dict of str to list of str
        Regions of each group.
    contrasts : list of Contrast
    alike_p : float or None
        P that all of more than two groups are alike.
    """

    measure: str
    unit: str
    groups: dict[str, list[str]]
    contrasts: list[Contrast]
    alike_p: float | None


@dataclass(frozen=True)
class PlanReport:
    """How many plants a side; `scatter` is the season's own, None where it was given.

    `smallest` holds the smallest ratio that some numbers of plants a side would find.
    """

    ratio: float
    power: float
    plan: Plan
    scatter: Scatter | None
    age_days: float | None
    smallest: dict[int, float]


def plants_of(
    season: Season, by_age: bool, values: Iterable[Daily] | None = None
) -> dict[str, Plant]:
    """Curves of a season's plants (see `lapsekit.settings.plants_among`), by name.

    Parameters
    ----------
    season : Season
    by_age : bool
        On each region's own plant age; otherwise on calendar days (ordinals).
    values : iterable of Daily, optional
        The season's daily values in order of day, if the caller has them.
    """
    rows: dict[str, list[Daily]] = {}
    for daily in season.catalogue.daily() if values is None else values:
        rows.setdefault(daily.region, []).append(daily)
    scaled = _is_scaled(rows.values())
    found = {}
    for region in season.regions.plants:
        days = rows.get(region.name, [])
        sown = season.sown(region)
        times = [plant_age(d.day, sown) if by_age else d.day.toordinal() for d in days]
        areas = [d.area_cm2 if scaled else d.cover for d in days]
        found[region.name] = Plant(region.name, tuple(times), tuple(areas))
    return found


def compare_groups(
    season: Season,
    names: Sequence[str],
    measure: str = "area",
    stretch: tuple[float | None, float | None] = (None, None),
    level: float = 0.95,
) -> ContrastReport:
    """Hold groups of regions.toml against each other, at the same plant age.

    Parameters
    ----------
    season : Season
    names : sequence of str
        Groups; all of regions.toml if none is given.
    measure : str
        One of `MEASURES`.
    stretch : pair of float or None
        First and last plant age in days; "area" is read at the last. By default, all days that
        every plant has.
    level : float

    Raises
    ------
    SettingsError
        If a group, measure or stretch is none, or there are no two groups.
    """
    groups = _groups(season, names)
    plants = plants_of(season, by_age=True)
    members = {group: [plants[name] for name in regions] for group, regions in groups.items()}
    asked = _measure(measure, members, stretch)
    scaled = _is_scaled([season.catalogue.daily()])
    found = contrasts(members, [asked], level)
    alike_p = alike(members, asked) if len(members) > 2 else None
    unit = "cm²" if scaled else "share of the region"
    return ContrastReport(asked.name, unit, groups, found, alike_p)


def plan_plants(
    season: Season | None,
    ratio: float,
    scatter: float | None,
    power: float = 0.8,
    age_days: float | None = None,
) -> PlanReport:
    """How many plants a side find areas that differ by a ratio.

    Parameters
    ----------
    season : Season or None
        Needed where no scatter is given: that between plants of its groups is taken.
    ratio : float
        Of areas, above 0 and not 1.
    scatter : float or None
        Standard deviation of ln area between plants treated alike: 0.15 is about 15 %.
    power : float
        Chance to find it.
    age_days : float, optional
        Plant age at which the season's scatter is read; by default the last that all plants have.

    Raises
    ------
    SettingsError
        If a number means nothing, or the season tells no scatter.
    """
    if not ratio > 0 or ratio == 1:
        raise SettingsError(f"--ratio {ratio:g}: give a number above 0 other than 1, such as 1.2")
    if scatter is not None and not 0 < scatter <= MOST_SCATTER:
        raise SettingsError(
            f"--scatter {scatter:g}: give a share above 0 and up to {MOST_SCATTER:g}; 0.15 is 15 %"
        )
    own, age = None, age_days
    if scatter is None:
        own, age = _own_scatter(season, age_days)
        scatter = own.sd
    try:
        plan = plants_needed(log(ratio), scatter, power=power)
        smallest = {n: smallest_ratio(n, scatter, power=power) for n in SIDES_SHOWN}
    except ValueError as error:
        raise SettingsError(
            f"--ratio {ratio:g} with scatter {scatter:g} and power {power:g}: {error}"
        ) from error
    return PlanReport(ratio, power, plan, own, age, smallest)


def _is_scaled(rows: Iterable[Iterable[Daily]]) -> bool:
    return any(d.area_cm2 is not None for daily in rows for d in daily)


def _groups(season: Season, names: Sequence[str]) -> dict[str, list[str]]:
    known: dict[str, list[str]] = {}
    for region in season.regions.plants:
        if region.group:
            known.setdefault(region.group, []).append(region.name)
    for name in names:
        if name not in known:
            lower = {group.lower(): group for group in known}
            near = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.4)
            hint = f'; did you mean "{lower[near[0]]}"?' if near else ""
            raise SettingsError(f'"{name}" is no group of regions.toml{hint} ({_listed(known)})')
    found = {name: known[name] for name in names or known}
    if len(found) < 2:
        raise SettingsError(
            f'two groups are needed ({_listed(known)}); write group = "..." into the regions of '
            "each in regions.toml"
        )
    return found


def _listed(groups: dict[str, list[str]]) -> str:
    return "it has " + (", ".join(f'"{name}"' for name in groups) or "none yet")


def _measure(
    name: str,
    members: dict[str, list[Plant]],
    stretch: tuple[float | None, float | None],
) -> Measure:
    if name not in MEASURES:
        near = difflib.get_close_matches(name, MEASURES, n=1, cutoff=0)
        raise SettingsError(
            f'--measure "{name}" is none; did you mean "{near[0]}"? (known: {", ".join(MEASURES)})'
        )
    shared = common_stretch([p for plants in members.values() for p in plants])
    first, last = (
        given if given is not None else shared and shared[n] for n, given in enumerate(stretch)
    )
    if last is None or (first is None and name != "area"):
        raise SettingsError(
            "these plants have no days in common; run lapsekit measure first, or name plant ages "
            "with --from and --until"
        )
    if None not in stretch and not stretch[0] < stretch[1]:
        raise SettingsError(f"--from {first:g} --until {last:g}: the later age must be larger")
    if shared is not None:
        for option, age in (("--from", stretch[0]), ("--until", stretch[1])):
            if age is not None and not shared[0] <= age <= shared[1]:
                raise SettingsError(
                    f"{option} {age:g}: these plants have days in common from plant age "
                    f"{shared[0]:g} to {shared[1]:g}; name one between"
                )
    if name == "area":
        return area_at(last)
    if not first < last:
        raise SettingsError(f"{name} from plant age {first:g} to {last:g}: give two different ages")
    return MEASURES[name](first, last)


def _own_scatter(season: Season | None, age_days: float | None) -> tuple[Scatter, float]:
    no_scatter = "give one with --scatter (0.15 for plants that differ by about 15 %)"
    if season is None:
        raise SettingsError(f"without a season there is no scatter to go by; {no_scatter}")
    grouped = [
        [r.name for r in season.regions.plants if r.group == g] for g in _group_names(season)
    ]
    plants = plants_of(season, by_age=True)
    members = [[plants[name] for name in names] for names in grouped if len(names) > 1]
    shared = common_stretch([p for side in members for p in side])
    age = age_days if age_days is not None else shared and shared[1]
    numbers = [[log_area_at(p, age) for p in side] for side in members] if age is not None else []
    if age_days is not None and shared and not shared[0] <= age_days <= shared[1]:
        raise SettingsError(
            f"--age {age_days:g}: plants of the same group have days in common from plant age "
            f"{shared[0]:g} to {shared[1]:g}; name one between"
        )
    found = scatter_between(numbers)
    if found is None or not found.sd > 0:
        raise SettingsError(
            f"{season.folder}: no group of regions.toml has two plants measured at the same age, "
            f"so it tells no scatter; {no_scatter}"
        )
    return found, float(age)


def _group_names(season: Season) -> list[str]:
    return list(dict.fromkeys(r.group for r in season.regions.plants if r.group))
