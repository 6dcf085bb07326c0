"""The sample season's true areas with noise: what truly happened is found, what did not is not."""

import numpy as np
import pytest

from lapsekit.catalogue import Daily
from lapsekit.contrasting import compare_groups, plan_plants
from lapsekit.errors import SettingsError
from lapsekit.responding import responses_of
from lapsekit.sample import copy_sample_season, true_daily_areas
from lapsekit.season import Season
from lapsekit.telling_comparing import contrasted, planned, responses_told
from tests.sample.conftest import SAMPLE

NOISE, MEMORY = 0.03, 0.5


def noisy(areas, random):
    """True areas of a region by day, with errors that remember the day before; cm²."""
    error, found = 0.0, {}
    for day in sorted(areas):
        error = MEMORY * error + random.normal(0, NOISE * np.sqrt(1 - MEMORY**2))
        found[day] = areas[day] * np.exp(error) if areas[day] > 0.3 else None
    return found


@pytest.fixture(scope="module", params=[1, 2, 3])
def season(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("season") / "sample"
    copy_sample_season(SAMPLE, folder)
    season = Season(folder)
    random = np.random.default_rng(request.param)
    rows = [
        Daily(region, day, None, None, None, area, None, None, 5 if area else 0, {})
        for region, areas in true_daily_areas(SAMPLE, season.zone).items()
        for day, area in noisy(areas, random).items()
    ]
    season.catalogue.store_daily(rows)
    yield season
    season.catalogue.close()


@pytest.fixture(scope="module")
def answers(season):
    found, problems = responses_of(season)
    assert problems == []
    return {(f"{r.event.day:%m-%d}", r.event.region, r.event.what): r for r in found}


def claims(answer):
    found = answer.response
    if found is None or answer.refusal:
        return set()
    return {name for name in ("rate", "step") if found.is_claimed(getattr(found, name))}


def test_the_events_that_struck_a_plant_are_found_and_with_their_sign(answers):
    potted = answers["04-08", "basil", "potted on"]
    assert "rate" in claims(potted)
    assert potted.response.after == pytest.approx(0.0, abs=0.02)
    assert potted.response.rate.high < 0
    for key, least, most in (
        (("04-17", "chard", "transplanted"), 0.40, 0.70),
        (("04-28", "green-lettuce", "cut"), 0.20, 0.42),
        (("05-05", "sunflower", "wilted"), 0.20, 0.50),
    ):
        assert "step" in claims(answers[key]), key
        assert least < 1 - np.exp(answers[key].response.step.estimate) < most, key


def test_moving_pots_did_nothing_and_is_credited_with_nothing(answers):
    for region in ("basil", "chives"):
        assert claims(answers["04-29", region, "moved"]) == set()


def test_what_the_whole_bench_had_is_told_from_nothing(answers):
    for key in (("04-06", "", "fed"), ("05-05", "", "cold"), ("05-24", "", "harvest")):
        assert "whole bench" in answers[key].refusal
    assert not any(what in ("watered", "sown", "emerged", "recovered") for *_, what in answers)


def test_a_plant_that_wilts_of_the_transplanting_is_not_asked_twice(answers):
    assert ("04-18", "chard", "wilted") not in answers


def test_the_faster_tray_is_found_with_its_factor_inside_the_interval(season):
    """Its plugs grow 1.2 times as fast from plant age 28 on, until leaves hide each other."""
    report = compare_groups(season, ["Tray A", "Tray B"], "rgr-ratio", (30, 65))
    (found,) = report.contrasts
    assert found.is_claimed
    assert np.exp(found.low) < 1.2 < np.exp(found.high)
    assert found.low > 0
    assert "they differ" in " ".join(contrasted(report))


@pytest.mark.parametrize(
    ("measure", "stretch", "said"),
    [
        ("area", (500, None), r"^--from 500: these plants have days in common from plant age"),
        ("rgr", (500, None), r"^--from 500: these plants have days in common from plant age"),
        ("area", (None, 500), r"^--until 500: these plants have days in common"),
        ("area", (30, 20), r"^--from 30 --until 20: the later age must be larger"),
    ],
)
def test_an_age_that_no_plant_has_is_refused_by_the_option_that_gave_it(
    season, measure, stretch, said
):
    with pytest.raises(SettingsError, match=said):
        compare_groups(season, ["Tray A", "Tray B"], measure, stretch)


def test_odd_and_even_plugs_are_not_called_different(season):
    """Within tray A and B, odd against even plugs, whose means are equal in truth."""
    text = (season.folder / "regions.toml").read_text()
    swapped = text
    for tray in "ab":
        for plug in range(1, 11):
            side = "odd" if plug % 2 else "even"
            name = f'name = "tray-{tray}-{plug}"'
            before, after = swapped.split(name, 1)
            group = f'group = "Tray {tray.upper()}"'
            swapped = before + name + after.replace(group, f'group = "{side}"', 1)
    (season.folder / "regions.toml").write_text(swapped)
    try:
        again = Season(season.folder)
        for measure in ("area", "area-days", "rgr"):
            report = compare_groups(again, [], measure, (30, 65))
            assert {g: len(n) for g, n in report.groups.items()} == {"odd": 10, "even": 10}
            assert not report.contrasts[0].is_claimed, measure
        again.catalogue.close()
    finally:
        (season.folder / "regions.toml").write_text(text)


def test_a_plan_takes_the_seasons_own_scatter(season):
    report = plan_plants(season, 1.3, None, age_days=60)
    assert 0.05 < report.scatter.sd < 0.5
    assert report.scatter.free == 18
    assert report.plan == plan_plants(None, 1.3, report.scatter.sd).plan
    assert "this season's own" in planned(report)[0]


def test_every_answer_is_a_sentence(answers, season):
    lines = responses_told(list(answers.values()), season)
    assert len(lines) == len(answers) + 1
    assert all(line.endswith(".") for line in lines)
    assert any("Basil, potted on: growth went from 0.1" in line for line in lines)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((["tray a", "Tray B"],), 'did you mean "Tray A"'),
        ((["Tray A"],), "two groups are needed"),
        ((["Tray A", "Tray B"], "areas"), 'did you mean "area"'),
        ((["Tray A", "Tray B"], "rgr", (50, 40)), "--from 50 --until 40"),
    ],
)
def test_what_cannot_be_compared_is_refused_with_the_nearest(season, arguments, said):
    with pytest.raises(SettingsError, match=said):
        compare_groups(season, *arguments)
