"""Groups over seasons: only those that count say at what age, and those that do not are told."""

import json
from dataclasses import replace
from math import exp

import pytest

from lapsekit.collecting.groups import by_group, compare
from lapsekit.collecting.growth import grow_all
from lapsekit.collecting.members import open_collection
from lapsekit.growth.plants import Plant
from lapsekit.telling_collection import grown, grown_facts
from tests.collecting.benches import collection, written

SCATTER = (0.96, 1.0, 1.02, 1.05)
AGES = range(5, 41)


def curves(group, season, start, rate, ages=AGES):
    """Four plants that grow exponentially, as `by_group` takes them."""
    return [
        (
            group,
            season,
            Plant(f"{group}-{n}", tuple(ages), tuple(s * start * exp(rate * a) for a in ages)),
        )
        for n, s in enumerate(SCATTER)
    ]


def unmeasured(group, season):
    """Four plants of which no day has a value."""
    return [(group, season, Plant(f"{group}-{n}", (5,), (None,))) for n in range(4)]


def seasons(*names):
    """Seasons in which fed plants grow by a hundredth a day more: × 1.49 at 40 days."""
    plants = []
    for name in names:
        plants += curves("plain", name, 1.0, 0.10) + curves("fed", name, 1.0, 0.11)
    return plants


def only(found):
    (one,) = found
    return one, one.ratio(one.contrast.estimate)


@pytest.mark.parametrize(
    "young",
    [
        curves("plain", "young", 1, 0.1, range(3, 6)) + unmeasured("fed", "young"),
        curves("plain", "young", 1, 0.1, range(3, 6)),
        unmeasured("plain", "young") + curves("fed", "young", 1, 0.1, range(3, 6)),
    ],
)
def test_a_young_season_without_a_measured_plant_of_one_group_changes_nothing(young):
    alone, ratio = only(compare(by_group(seasons("a", "b"))))
    found, same = only(compare(by_group(seasons("a", "b") + young)))
    assert alone.contrast.measure == found.contrast.measure == "area at 40 days"
    assert same == ratio == pytest.approx(exp(0.01 * 40))
    assert found.contrast == alone.contrast and found.blocks == alone.blocks
    missing = "plain" if young[0][2].areas == (None,) else "fed"
    assert found.left_out == {"young": f"no measured plant of {missing}"}


def test_a_season_with_both_that_has_no_value_at_the_common_age_does_not_name_that_age():
    """Its fed plants have a gap of 20 days around the last age of its plain ones."""
    ages = (*range(5, 11), *range(30, 41))
    short = curves("plain", "gap", 1.0, 0.1, range(5, 21)) + curves("fed", "gap", 1.0, 0.1, ages)
    found, ratio = only(compare(by_group(seasons("a") + short)))
    assert found.contrast.measure == "area at 40 days" and set(found.blocks) == {"a"}
    assert ratio == pytest.approx(exp(0.01 * 40))
    assert found.left_out == {"gap": "not both groups have a value at 20 days"}
    alone, _ = only(compare(by_group(short)))
    assert "no plant age in common" in alone.contrast.refusal and alone.blocks == {}


def test_pairs_that_never_met_are_told_beside_those_that_did():
    groups = by_group([*seasons("a"), *curves("shade", "b", 1, 0.1), *curves("deep", "b", 1, 0.1)])
    found = {(e.contrast.first, e.contrast.second): e.contrast for e in compare(groups)}
    assert len(found) == 6
    met = {pair for pair, contrast in found.items() if contrast.p is not None}
    assert met == {("plain", "fed"), ("shade", "deep")}
    for pair in found.keys() - met:
        assert (
            f"no bench has measured plants of both {pair[0]} and {pair[1]}" in found[pair].refusal
        )
    alone, _ = only(compare(by_group(seasons("a"))))
    both = found["plain", "fed"]
    assert both.p == alone.contrast.p and both.p_corrected == 2 * both.p, "refused ones ask nothing"


def pots(bench):
    """Plants by region: fed ones 1.5 times as large at every age."""
    return {
        f"{group}-{n}": (bench * factor * s, 0.1)
        for group, factor in (("plain", 1.0), ("fed", 1.5))
        for n, s in enumerate(SCATTER)
    }


def bench(folder, size, scaled=True):
    """A season of these plants; without a scale their covers are turned about, fed the smaller."""
    areas = pots(size)
    season = written(folder, folder.name, areas, groups={n: n.split("-")[0] for n in areas})
    values = season.catalogue.daily()
    if not scaled:
        settings = season.folder / "season.toml"
        lines = settings.read_text().splitlines()
        settings.write_text("\n".join(x for x in lines if "px_per_cm" not in x) + "\n")
        season.catalogue.store_daily([without_area(daily) for daily in values])
    season.reopen_catalogue()


def without_area(daily):
    """A day whose area is not known, and whose plant fills another share of its region."""
    share = 1 / 3 if daily.region.startswith("fed") else 1.0
    return replace(
        daily,
        cover=daily.cover * share,
        cover_low=daily.cover_low * share,
        cover_high=daily.cover_high * share,
        area_cm2=None,
        area_low_cm2=None,
        area_high_cm2=None,
    )


def grown_of(folder):
    file = collection(folder, '[[season]]\nfolder = "s-*"\n')
    return grow_all(open_collection(file), folder / "out")


def test_a_season_without_a_scale_is_left_out_of_areas_with_the_reason(tmp_path):
    bench(tmp_path / "s-1", 2.0)
    bench(tmp_path / "s-2", 1.0, scaled=False)
    report = grown_of(tmp_path)
    found, ratio = only(report.compared)
    assert ratio == pytest.approx(1.5, rel=0.02) and set(found.blocks) == {"s-1"}
    assert found.contrast.measure == "area at 36 days" and not found.is_cover
    assert "  left out, without a scale, which others have: s-2" in grown(report)
    facts = json.loads(json.dumps(grown_facts(report)["compared"]))
    assert facts[0]["left_out"] == {"s-2": "without a scale, which others have"}


def test_where_no_season_has_a_scale_covers_are_compared_and_called_so(tmp_path):
    for name in ("s-1", "s-2"):
        bench(tmp_path / name, 2.0, scaled=False)
    report = grown_of(tmp_path)
    found, ratio = only(report.compared)
    assert ratio == pytest.approx(1.5 / 3, rel=0.02) and set(found.blocks) == {"s-1", "s-2"}
    assert found.contrast.measure == "cover at 36 days" and found.left_out == {}
    told = "\n".join(grown(report))
    assert "fed against plain, cover at 36 days" in told and "area at" not in told
    assert "a cover is the share of a plant's region" in told
