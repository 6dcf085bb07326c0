"""The groundwork of the rendered season: its story and its exact truth."""

import sys

import pytest

from tests.conftest import CHECKOUT


@pytest.fixture(scope="module")
def render():
    sys.path.insert(0, str(CHECKOUT / "sample_frames"))
    try:
        from render import story, truth
    finally:
        sys.path.pop(0)
    return story, truth


def test_the_season_has_its_days_frames_and_mishaps(render):
    story, _ = render
    frames = story.frames()
    days = {f.moment.astimezone(story.ZONE).date() for f in frames}
    usable = [f for f in frames if f.state == "usable"]
    assert len(days) >= 72
    assert len(usable) >= 4 * len(days)
    assert len({f.path for f in frames}) == len(frames)
    assert {f.state for f in frames} > {"usable"}


def test_the_truth_of_a_frame_is_the_same_every_time_and_agrees_with_its_mask(render):
    story, truth = render
    usable = [f for f in story.frames() if f.state == "usable"]
    first, second = (truth.truth_of(usable[60]) for _ in range(2))
    assert (first.mask == second.mask).all()
    assert [s.area_px for s in first.seen] == [s.area_px for s in second.seen]
    for number, plant in enumerate(first.seen, start=1):
        assert plant.area_level_cm2 <= plant.area_cm2, "nearness to the camera only enlarges"
        if plant.area_px > 500:
            assert (first.mask == number).sum() == pytest.approx(plant.area_px, rel=0.005)
