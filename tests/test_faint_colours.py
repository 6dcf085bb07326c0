"""Leaves that are hard to tell from soil: wide intervals, and advice."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.fading import Fading
from lapsekit.measuring import measure
from lapsekit.season import COLOURS_FILE
from tests.scenes import FIRST_DAY, SETTINGS, encoded, faint_leaves, make_season

CENTRES, RADIUS = [(80, 120), (240, 120)], 45
AREA_CM2 = np.pi * RADIUS**2 / 100


def measured(folder, strength):
    """What is told, and the days of one region, of a bench photographed three times."""
    season = make_season(folder, SETTINGS.replace('"exgr"', '"model"'))
    for day in range(3):
        moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC) + timedelta(day, hours=10)
        season.archive.store(
            "bench", moment, encoded(faint_leaves(CENTRES, RADIUS, strength, seed=day)), ".png"
        )
    told, days = measure(season).notes, season.catalogue.daily("basil")
    season.catalogue.close()
    return [note for note in told if "hard to tell" in note], days


def test_leaves_of_strong_colours_are_sure_and_nothing_is_said(tmp_path):
    told, days = measured(tmp_path / "bench", 1.0)
    assert told == []
    for day in days:
        assert day.area_cm2 == pytest.approx(AREA_CM2, rel=0.01)
        assert day.parts["colours"] < 0.01 * AREA_CM2


@pytest.mark.parametrize("strength", [0.35, 0.3, 0.27, 0.25, 0.23, 0.2, 0.18])
def test_however_weak_their_colours_are_the_interval_holds_the_truth(tmp_path, strength):
    for day in measured(tmp_path / "bench", strength)[1]:
        assert day.area_low_cm2 < AREA_CM2 < day.area_high_cm2


def test_where_the_area_is_wrong_by_weak_colours_it_is_said_what_to_do(tmp_path):
    """A quarter of the leaf is missed, which neither frames nor the model's doubt would tell."""
    told, days = measured(tmp_path / "bench", 0.18)
    assert days[-1].area_cm2 < 0.8 * AREA_CM2
    missed = AREA_CM2 - days[-1].area_cm2
    assert np.hypot(days[-1].parts["frames"], days[-1].parts["canopy"]) < missed / 2
    assert len(told) == 2, "one for each region"
    assert f"lapsekit explain basil {days[-1].day}" in told[0]
    assert COLOURS_FILE in told[0]


def test_where_the_middle_frame_can_no_longer_be_read_the_nearest_one_tells(tmp_path):
    season = make_season(tmp_path / "bench", SETTINGS)
    for hour in (8, 9, 10, 11, 12):
        moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC) + timedelta(hours=hour)
        season.archive.store("bench", moment, encoded(faint_leaves(CENTRES, RADIUS, 1.0)), ".png")
    season.index()
    frames = season.catalogue.frames("bench")
    broken = {frames[2].path, frames[1].path}

    class Ruler:
        def faded_shares(self, frame, placement):
            if frame.path in broken:
                raise PictureError(f"{frame.path}: cannot be read")
            return {"basil": 0.1}

        def rest(self):
            pass

    fading = Fading(Ruler(), [FIRST_DAY], lambda frame: True)
    regions = list(season.regions.region)
    assert fading.told(regions, frames, {}) == {"basil": (frames[3].path, 0.1)}
    broken.update(frame.path for frame in frames)
    assert fading.told(regions, frames, {}) == {}
