"""What holds ARM's numbers against this machine's: it sees a difference where there is one."""

from math import inf

import pytest

from lapsekit.catalogue import Placement
from lapsekit.measuring import measure
from tests.bench.arm import agreement
from tests.bench.on_arm import KINDS, chosen
from tests.conftest import CHECKOUT
from tests.scenes import fill, make_season


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """The same season twice, measured apart, and once more with plants that grow half as fast."""
    folder = tmp_path_factory.mktemp("seasons")
    seasons = [make_season(folder / name) for name in ("first", "again", "slower")]
    for season, growth in zip(seasons, (1.0, 1.0, 0.5), strict=True):
        fill(season, growth=growth)
        measure(season, workers=1)
    yield seasons
    for season in seasons:
        season.catalogue.close()


@pytest.mark.parametrize("kind", ["frames, areas", "frames, colours", "days"])
def test_a_season_measured_twice_agrees_in_every_number(measured, kind):
    found = agreement.agreement(*(KINDS[kind](season) for season in measured[:2]))
    assert found.compared == found.equal > 0
    assert found.largest == 0


@pytest.mark.parametrize("kind", ["frames, areas", "days"])
def test_plants_that_grew_otherwise_are_seen_with_frame_or_day_and_region(measured, kind):
    found = agreement.agreement(*(KINDS[kind](season) for season in measured[::2]))
    assert found.equal < found.compared
    assert found.largest > 0.1
    assert "basil" in found.where or "chives" in found.where


def test_other_pictures_are_told_by_their_hashes(measured):
    first, again, slower = map(agreement.words, measured)
    assert first == again
    assert first.keys() == slower.keys()
    assert first != slower


def test_a_number_more_than_a_thousandth_off_is_counted_and_told_with_its_share_and_its_name():
    first = {"a": 5.0, "b": 1000.0, "c": None, "d": 1000.0}
    found = agreement.agreement(first, first | {"b": 998.5, "d": 999.5})
    assert (found.compared, found.equal, found.over, found.where) == (4, 2, 1, "b")
    assert found.largest == pytest.approx(0.0015)


def test_a_day_that_hardly_moved_is_not_held_against_how_little_it_moved():
    """5 and 2 hundred-thousandths of the plant's area are the same; 3 and 5 hundredths are not."""
    still = ({"day basil range_share": 5e-5}, {"day basil range_share": 2e-5})
    moved = ({"day basil movement": 0.03}, {"day basil movement": 0.05})
    assert agreement.agreement(*still).largest == pytest.approx(3e-5)
    assert agreement.agreement(*moved).largest == pytest.approx(0.02)


@pytest.mark.parametrize("other", [{}, {"a": None}, {"a": float("nan")}, {"a": 1.0, "b": 2.0}])
def test_a_number_that_one_side_lacks_is_no_agreement(other):
    assert agreement.agreement({"a": 1.0}, other).largest == inf


def test_nothing_compared_is_no_agreement():
    assert agreement.agreement({}, {}).largest == inf


def test_places_are_held_against_each_other_by_the_corners_of_the_view():
    still = Placement("f", (1, 0, 0, 0, 1, 0, 0, 0, 1), 0.1, 0.1, "static surroundings")
    moved = Placement("f", (1, 0, 3, 0, 1, 4, 0, 0, 1), 0.1, 0.1, "static surroundings")
    corners = [agreement.corners(place, 320, 240) for place in (still, moved)]
    assert corners[0] == [(0, 0), (0, 240), (320, 0), (320, 240)]
    assert agreement.farthest_px({"f": corners[0]}, {"f": corners[1]}) == 5
    assert agreement.farthest_px({"f": corners[0]}, {}) == inf


def test_ten_frames_of_five_days_that_follow_one_another_are_played():
    frames = chosen(CHECKOUT / "sample_frames", days=5, a_day=2)
    days = sorted({frame.parent.name for frame in frames})
    assert len(frames) == len(set(frames)) == 10
    assert len(days) == 5
    assert (int(days[-1][-2:]) - int(days[0][-2:])) == 4
