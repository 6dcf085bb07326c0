"""Published growth tables: our comparisons conclude what the reference run concluded."""

import csv
import os
from math import exp
from pathlib import Path

import numpy as np
import pytest

from lapsekit.growth.contrasts import Measure, alike, contrasts, rgr
from lapsekit.growth.plants import Plant
from lapsekit.growth.pooling import pooled
from tests.bench.real_tables import maize, reference, soybeans


@pytest.fixture(scope="module")
def tables():
    folder = Path(os.environ.get("LAPSEKIT_PHOTOS", ""), "growth-tables")
    if not os.environ.get("LAPSEKIT_PHOTOS") or not folder.is_dir():
        pytest.skip("LAPSEKIT_PHOTOS names no folder with growth-tables in it")
    return folder


def groups_of(path, group, plant, age, value, as_area=float):
    """Plants of a table by group: columns named by their headers."""
    curves = {}
    with path.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            days = curves.setdefault(row[group], {}).setdefault(row[plant], {})
            days[float(row[age])] = as_area(row[value])
    return {
        g: [Plant(name, *zip(*sorted(days.items()), strict=True)) for name, days in plants.items()]
        for g, plants in curves.items()
    }


def test_ozone_slows_the_spruces_as_the_mixed_model_says(tables):
    """Difference of mean slopes within 5 % of the interaction; both call it real."""
    groups = groups_of(
        tables / "MASS_Sitka.csv", "treat", "tree", "Time", "size", lambda size: exp(float(size))
    )
    slope, p = reference(tables, r"Time:treatozone\s+(\S+)\s+\S+\s+\d+\s+\S+\s+(\S+)")
    (found,) = contrasts({g: groups[g] for g in ("control", "ozone")}, [rgr(150, 260)])
    assert (found.first_plants, found.second_plants) == (25, 54)
    assert found.estimate == pytest.approx(slope, rel=0.05)
    assert found.estimate < 0
    assert found.is_claimed
    assert p < 0.05
    assert found.low < slope < found.high < 0


def test_lettuce_spacing_matters_as_the_analysis_of_variance_says(tables):
    """P within a factor of 2 for growth rate and gain; of the pairs only T3 differs from T1."""
    groups = groups_of(
        tables / "agridat_pederson.lettuce.repeated.csv", "trt", "plant", "day", "weight"
    )
    assert {g: len(plants) for g, plants in groups.items()} == {"T1": 18, "T2": 18, "T3": 18}
    gain = Measure("gain", lambda plant: plant.areas[-1] - plant.areas[0], False)
    for measure, name in ((rgr(1, 40), "rgr"), (gain, "gain")):
        (p,) = reference(tables, rf"Response: {name}\n.*\ntrt(?:\s+\S+){{4}}\s+(\S+)")
        assert p / 2 <= alike(groups, measure) <= 2 * p, name
        assert p < 0.05
    (tukey,) = reference(tables, r"T3-T1(?:\s+\S+){3}\s+(\S+)")
    found = {(c.first, c.second): c for c in contrasts(groups, [gain])}
    assert [pair for pair, c in found.items() if c.is_claimed] == [("T1", "T3")]
    assert tukey / 2 <= found["T1", "T3"].p_corrected <= 2 * tukey
    assert found["T1", "T3"].estimate == pytest.approx(-6.538889)


def test_all_soybean_plots_together_come_near_the_mixed_models_means(tables):
    """Two stages instead of one: means within 3 %, and within two of their standard errors."""
    found = pooled(list(soybeans(tables).values()))
    mixed = reference(tables, r"fm1Soy\.nlme\n.*\n\s*(\S+)\s+(\S+)\s+(\S+)")
    assert found.plants == 48
    assert list(found.parameters.values()) == pytest.approx(mixed, rel=0.03)
    for (name, value), told in zip(found.parameters.items(), mixed, strict=True):
        assert abs(value - told) < 2 * found.errors[name], name


def test_maize_leaves_grow_as_hunt_and_evans_plotted_them(tables):
    """0.1 per day and more in June, falling through July, none in August; weeks lie in the band."""
    found = maize(tables)
    assert len(found) == 9
    for each in found:
        days, rates, *_ = each.smooth
        june, july, august = (
            np.nanmean(rates[(days >= a) & (days < b)])
            for a, b in ((0, 182), (182, 213), (213, 244))
        )
        assert 0.08 < june < 0.25, each.name
        assert june > july > august, each.name
        assert abs(august) < 0.03, each.name
        middles, weekly = each.weekly
        smooth = np.interp(middles, days, rates)
        assert abs(np.mean(weekly - smooth)) < 0.01, each.name
