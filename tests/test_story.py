"""What truly happened to the sample season's plants is told from its pictures, and nothing else."""

import shutil
from datetime import date

import numpy as np
import pytest

from lapsekit.checking import check
from lapsekit.contrasting import compare_groups
from lapsekit.noticing import notice
from lapsekit.responding import responses_of
from lapsekit.sample import true_daily_areas
from lapsekit.season import Season
from lapsekit.when import day_of
from tests.sample.conftest import SAMPLE

FELL = {
    "green-lettuce": (date(2026, 4, 28), date(2026, 4, 29)),
    "chard": (date(2026, 4, 17), date(2026, 4, 18)),
    "sunflower": (date(2026, 5, 4), date(2026, 5, 5)),
    "basil": (date(2026, 5, 4), date(2026, 5, 5)),
}
"""Cut, transplanted, and the two that hung after the cold night."""


@pytest.fixture(scope="module")
def season(demo):
    season = Season(demo)
    yield season
    season.catalogue.close()


def test_the_one_pause_is_basils_with_its_dates_and_its_act(season):
    (found,) = notice(season).pauses
    assert found.region == "basil" and found.event.what == "potted on"
    assert abs((day_of(found.pause.start) - date(2026, 4, 8)).days) <= 1
    assert abs((day_of(found.pause.end) - date(2026, 4, 22)).days) <= 1
    assert found.pause.length_low - 0.5 <= 14 <= found.pause.length_high + 0.5
    assert found.others_paused == 0 and found.others > 5


def test_every_sudden_loss_is_told_with_its_day_and_size_and_no_other(season):
    truth = true_daily_areas(SAMPLE, season.zone)
    found = {x.region: x for x in notice(season).losses}
    assert {r: (day_of(x.loss.since), day_of(x.loss.day)) for r, x in found.items()} == FELL
    for region, (before, after) in FELL.items():
        areas = truth[region]
        loss = found[region].loss
        grown = areas[before] / areas[date.fromordinal(before.toordinal() - 1)]
        true = 1 - areas[after] / (areas[before] * grown)
        assert loss.share_low - 0.04 <= true <= loss.share_high + 0.04, region
        assert found[region].event is not None


def test_acts_that_struck_a_plant_are_credited_and_those_that_did_nothing_are_not(season):
    claimed = set()
    for answer in responses_of(season)[0]:
        found = answer.response
        if found is not None and not answer.refusal:
            kinds = {"rate": found.rate, "step": found.step}
            claimed |= {
                (answer.event.region, answer.event.what, kind)
                for kind, effect in kinds.items()
                if found.is_claimed(effect)
            }
    assert {
        ("basil", "potted on", "rate"),
        ("chard", "transplanted", "step"),
        ("green-lettuce", "cut", "step"),
        ("sunflower", "wilted", "step"),
    } <= claimed
    struck = {"basil", "chard", "green-lettuce", "sunflower", "pak-choi"}
    assert {region for region, *_ in claimed} <= struck
    assert not any(what == "moved" for _, what, _ in claimed)


def test_the_faster_tray_has_its_factor_inside_the_interval(season):
    (found,) = compare_groups(season, ["Tray A", "Tray B"], "rgr-ratio").contrasts
    assert found.is_claimed
    assert np.exp(found.low) < 1.2 < np.exp(found.high)


def test_odd_and_even_plugs_are_not_called_different(demo, season, tmp_path):
    """The same measured season with its plugs in other groups."""
    folder = tmp_path / "season"
    folder.mkdir()
    for name in ("season.toml", "regions.toml", "diary.csv", "catalogue.sqlite"):
        shutil.copy(demo / name, folder / name)
    text = (folder / "regions.toml").read_text()
    for tray in "ab":
        for plug in range(1, 11):
            before, after = text.split(f'name = "tray-{tray}-{plug}"', 1)
            side = "odd" if plug % 2 else "even"
            after = after.replace(f'group = "Tray {tray.upper()}"', f'group = "{side}"', 1)
            text = f'{before}name = "tray-{tray}-{plug}"{after}'
    (folder / "regions.toml").write_text(text)
    again = Season(folder)
    for measure in ("area", "area-days", "rgr", "rgr-ratio"):
        report = compare_groups(again, [], measure)
        assert {g: len(n) for g, n in report.groups.items()} == {"odd": 10, "even": 10}
        assert not report.contrasts[0].is_claimed, measure
    again.catalogue.close()


def test_the_view_is_told_as_it_was_left_after_the_knock(season):
    """Half of 14.02 px was put back: 7.01 px, and a turn that moves the corner by some more."""
    (found,) = [each for each in check(season) if each.what == "view of bench"]
    assert found.how == "fine"
    assert 2 < float(found.told.split()[0]) < 20
