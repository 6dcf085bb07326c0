"""How time runs in a film: lengths, fades, gaps, growth, events; what a new day leaves alone."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from lapsekit.film.pacing import (
    CARD_SECONDS,
    beats_of,
    even_pace,
    event_pace,
    growth_pace,
    lasting,
    stretches,
)

FPS = 24


def film(days, counts=None, beats_a_day=10, between="fade", pace=None):
    """Stretches with their beats, as the stage makes them."""
    counts = counts or dict.fromkeys(days, 1)
    runs = stretches(pace or even_pace(days, beats_a_day), FPS)
    told = []
    for run, after in zip(runs, [*runs, None][1:], strict=True):
        follows = after.day if after and not after.gap else None
        told.append((run, beats_of(run, counts, follows, between, FPS)))
    return told


def test_every_day_lasts_alike_and_fractions_are_carried_on():
    runs = stretches(even_pace(range(100), 9.6), FPS)
    assert {run.beats for run in runs} == {9, 10}
    assert sum(run.beats for run in runs) == 960


def test_a_picture_stands_then_fades_into_the_next_and_never_back():
    mixes = [beat.mix for beat in film([0, 1])[0][1]]
    assert mixes[:6] == [0] * 6
    assert mixes == sorted(mixes)
    assert 0.5 < mixes[-1] < 1


def test_the_last_day_fades_into_nothing():
    assert all(beat.second is None for beat in film([0, 1])[-1][1])


def test_pictures_held_give_way_at_once():
    beats = [beat for _, of_day in film(range(3), between="hold") for beat in of_day]
    assert all(beat.mix == 0 for beat in beats)
    assert [beat.first for beat in beats[9:11]] == [(0, 0), (1, 0)]


def test_every_frame_of_a_day_has_its_share_of_it_in_order():
    (_, beats), *_ = film([0], {0: 5}, beats_a_day=50)
    shown = [beat.first[1] for beat in beats]
    assert shown == sorted(shown)
    assert {n: shown.count(n) for n in range(5)} == dict.fromkeys(range(5), 10)


def test_days_without_a_frame_are_a_card_that_names_them_and_no_picture_fades_across():
    told = film([0, 1, 5, 6])
    gaps = [(run, beats) for run, beats in told if run.gap]
    ((run, beats),) = gaps
    assert (run.day, run.last) == (2, 4)
    assert all(beat.second is None and beat.gap == (2, 4) for beat in beats)
    assert max(beat.paper for beat in beats) == 1
    assert beats[0].first == (1, 0)
    assert beats[-1].first == (5, 0)
    before = next(of_day for each, of_day in told if each.day == 1)
    assert all(beat.second is None for beat in before)


def test_at_the_moment_that_pictures_change_beneath_it_the_card_hides_them():
    beats = next(beats for run, beats in film([0, 9]) if run.gap)
    change = next(n for n, beat in enumerate(beats) if beat.first[0] == 9)
    assert beats[change - 1].paper == beats[change].paper == 1


@given(gap=some.integers(1, 300))
def test_a_card_can_be_read_and_a_long_gap_does_not_stop_the_film(gap):
    run = stretches(even_pace([0, gap + 1], 10), FPS)[1]
    assert CARD_SECONDS[0] * FPS - 1 <= run.beats <= CARD_SECONDS[1] * FPS + 1


def test_at_the_pace_of_growth_every_second_gains_alike():
    gain = {day: 1.0 if day < 10 else 9.0 for day in range(20)}
    pace = growth_pace(range(20), gain, 10)
    assert sum(pace.values()) == pytest.approx(200)
    slow, fast = pace[0] - 1.5, pace[15] - 1.5  # without the floor of 0.15 x 10
    assert fast / slow == pytest.approx(9)


def test_where_nothing_grows_time_runs_evenly():
    assert growth_pace([0, 1], {0: -2.0}, 10) == {0: 10, 1: 10}


def test_time_slows_down_around_an_act_and_is_itself_again_two_days_off():
    pace = event_pace(range(10), [5], 10)
    assert pace[5] == 40
    assert pace[3] == pace[7] == 10
    assert 10 < pace[4] == pace[6] < 40


def test_the_whole_lasts_as_long_as_was_asked_cards_included():
    pace = lasting(even_pace([*range(30), *range(40, 70)], 1), 20, FPS)
    assert sum(run.beats for run in stretches(pace, FPS)) == pytest.approx(20 * FPS, abs=1)


@settings(max_examples=60)
@given(
    days=some.lists(some.integers(0, 60), min_size=2, max_size=30, unique=True).map(sorted),
    beats_a_day=some.floats(0.3, 40),
)
def test_a_day_more_changes_nothing_but_how_the_last_one_ends(days, beats_a_day):
    kept = film(days[:-1], None, beats_a_day)[:-1]
    assert film(days, None, beats_a_day)[: len(kept)] == kept


@settings(max_examples=60)
@given(
    days=some.lists(some.integers(0, 60), min_size=1, max_size=30, unique=True).map(sorted),
    counts=some.integers(1, 7),
    beats_a_day=some.floats(0.3, 40),
    between=some.sampled_from(["fade", "hold", "motion"]),
)
def test_time_never_runs_backwards_and_no_picture_is_made_up(days, counts, beats_a_day, between):
    told = film(days, dict.fromkeys(days, counts), beats_a_day, between)
    beats = [beat for run, of_run in told for beat in of_run]
    assert [beat.at_day for beat in beats] == sorted(beat.at_day for beat in beats)
    assert all(len(of_run) == run.beats for run, of_run in told)
    for beat in beats:
        assert 0 <= beat.mix < 1
        for shown in filter(None, (beat.first, beat.second)):
            assert shown[0] in days and 0 <= shown[1] < counts
        if beat.second:
            assert beat.second > beat.first
            assert not set(range(beat.first[0] + 1, beat.second[0])) - set(days), "across a gap"
