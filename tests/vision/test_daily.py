"""A day's value is what its frames agree on, with an interval that covers the truth."""

from dataclasses import astuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.vision.daily import (
    FADED_SHARE,
    UNSURE_SHARE,
    USUAL_SHARE,
    DayValue,
    Doubts,
    day_area,
    day_value,
    scatter,
    usual_scatter,
)


def test_one_wild_frame_does_not_move_the_day():
    assert day_value([10.0, 10.2, 80.0]) == DayValue(10.2, 10.0, 80.0)


def test_a_day_without_values_stays_without():
    assert day_value([]) == DayValue(None, None, None)
    assert day_value([None, None]) == DayValue(None, None, None)
    assert day_area([], Doubts()) is None


@given(st.lists(st.floats(0, 1e4), min_size=1))
def test_the_middle_lies_in_the_range_whatever_the_order(values):
    value = day_value(values)
    assert value.low <= value.middle <= value.high
    assert day_value(values[::-1]) == value


def test_the_vote_is_published_but_not_beyond_the_middle_half_of_the_frames():
    areas = [96.0, 99.0, 100.0, 101.0, 104.0]
    assert day_area(areas, Doubts(), vote_cm2=100.4).area_cm2 == 100.4
    assert day_area(areas, Doubts(), vote_cm2=80.0).area_cm2 == 99.0
    assert day_area(areas, Doubts()).area_cm2 == 100.0


def simulated_coverage(frames, edge_px=0.0, days=400, seed=3):
    """Share of days whose interval covers, and the median half-width, under a known error model.

    Plants of one kind each have an error of 2 % that all their frames share and an edge displaced
    all around; frames differ by 1.5 %.
    """
    rng = np.random.default_rng(seed)
    truth, edge_cm, pixel_cm = 200.0, 80.0, 0.14
    usual = usual_scatter([scatter(truth * (1 + rng.normal(0, 0.015, 5))) for _ in range(14)])
    covered, halves = 0, []
    for _ in range(days):
        shared = 1 + rng.normal(0, 0.02)
        displaced = rng.normal(0, edge_px) * pixel_cm * edge_cm
        areas = truth * shared * (1 + rng.normal(0, 0.015, frames)) + displaced
        doubts = Doubts(edge_cm=edge_cm, pixel_cm=pixel_cm, usual_share=usual)
        found = day_area(areas, doubts, vote_cm2=float(np.mean(areas)))
        covered += found.low_cm2 <= truth <= found.high_cm2
        halves.append(found.parts.together / found.area_cm2)
    return covered / days, float(np.median(halves))


@pytest.mark.parametrize("frames", [1, 2, 5, 9])
def test_stated_intervals_cover_the_truth_as_often_as_they_say(frames):
    coverage, half = simulated_coverage(frames, edge_px=0.14)
    assert 0.92 <= coverage <= 0.99
    assert half <= (0.075 if frames == 1 else 0.06)


def test_errors_twice_as_large_as_stated_would_be_seen_by_the_coverage():
    assert simulated_coverage(5, edge_px=0.6)[0] < 0.9


def test_the_interval_widens_with_fewer_frames_contact_smallness_and_scatter():
    areas = [99.0, 101.0, 100.0, 98.0, 102.0]
    plain = day_area(areas, Doubts()).parts.together
    assert day_area(areas[:2], Doubts()).parts.together > plain
    assert day_area([90.0, 110.0, 100.0, 95.0, 105.0], Doubts()).parts.together > plain
    assert day_area(areas, Doubts(doubtful_cm2=3)).parts.together > plain
    meeting = Doubts(contact_cm=20, residual_px=0.5, pixel_cm=0.1)
    assert day_area(areas, meeting).parts.together > plain
    assert day_area(areas, Doubts(scale_share=0.01)).parts.scale == pytest.approx(3.92)
    small = day_area([a / 100 for a in areas], Doubts(edge_cm=4, pixel_cm=0.1))
    large = day_area(areas, Doubts(edge_cm=40, pixel_cm=0.1))
    assert small.parts.together / small.area_cm2 > 2 * large.parts.together / large.area_cm2


def test_what_the_model_doubts_widens_the_interval_in_step():
    areas = [99.0, 101.0, 100.0]
    certain, unsure, more = (day_area(areas, Doubts(unsure_cm2=d)).parts for d in (0.0, 10.0, 20.0))
    assert certain.canopy == 0
    assert unsure.canopy == pytest.approx(1.96 * UNSURE_SHARE * 10)
    assert more.canopy == pytest.approx(2 * unsure.canopy)
    assert certain.together < unsure.together < more.together


def test_canopy_that_hangs_on_faint_colours_widens_the_interval_with_its_area():
    """What fades is a part of the plant: of twice the plant it is twice as much."""
    none, some = (day_area([99.0, 101.0], Doubts(0.0, f)).parts for f in (0.0, 0.05))
    twice = day_area([198.0, 202.0], Doubts(0.0, 0.05)).parts
    assert none.colours == 0
    assert some.colours == pytest.approx(1.96 * FADED_SHARE * 5)
    assert twice.colours == pytest.approx(2 * some.colours)
    assert some.together > none.together


def test_the_parts_make_up_the_interval():
    found = day_area([99.0, 101.0, 100.0], Doubts(edge_cm=40, pixel_cm=0.1, scale_share=0.01))
    half = np.sqrt(np.square(astuple(found.parts)).sum())
    assert (found.low_cm2, found.high_cm2) == pytest.approx((100 - half, 100 + half))


def test_an_empty_pot_has_room_for_the_smallest_patch_only():
    found = day_area([0.0, 0.0], Doubts(least_cm2=0.3))
    assert (found.area_cm2, found.low_cm2, found.high_cm2) == (0.0, 0.0, 0.3)


def usual(days):
    return usual_scatter([scatter(day) for day in days])


def test_the_usual_scatter_is_learned_and_one_cut_does_not_spoil_it():
    rng = np.random.default_rng(5)
    days = [50 * (1 + rng.normal(0, 0.04, 5)) for _ in range(40)]
    assert usual(days) == pytest.approx(0.04, rel=0.15)
    assert usual([*days, [50.0, 20.0, 20.0]]) == pytest.approx(0.04, rel=0.15)
    assert usual([]) == USUAL_SHARE
    assert usual([[7.0, 7.0, 7.0]] * 20) == USUAL_SHARE / 2
    assert usual([[0.0, 0.0], [3.0]]) == USUAL_SHARE
