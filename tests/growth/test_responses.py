"""Around an event of known effect: found with its size; without one, nothing is credited."""

from math import exp, log

import numpy as np
import pytest

from lapsekit.growth.changes import Window, change_around, window_around
from lapsekit.growth.permutation import holm
from lapsekit.growth.plants import Plant
from lapsekit.growth.responses import corrected, response

DAYS = tuple(range(60, 101))
EVENT = 80
WINDOW = window_around(EVENT, 7)


def bench(random, count, noise=0.03, size=100.0):
    """Plants whose growth slows with age, each in its own measure, on dull and bright days."""
    weather = np.where(np.array(DAYS) > EVENT, 0.7, 1.0)
    found = []
    for number in range(count):
        rates = weather * (0.1 * random.uniform(0.8, 1.2)) * np.exp(-0.02 * (np.array(DAYS) - 60))
        logs = log(size) + random.normal(0, 0.4) + np.cumsum(rates)
        found.append((f"p{number}", logs + random.normal(0, noise, len(DAYS))))
    return found


def plants(curves):
    return [Plant(name, DAYS, tuple(np.exp(logs))) for name, logs in curves]


def test_exact_curves_give_their_rates_and_their_jump():
    """0.08 per day before, 0.02 after, and a fifth cut off on the day."""
    areas = [exp(0.08 * (d - EVENT)) if d < EVENT else 0.8 * exp(0.02 * (d - EVENT)) for d in DAYS]
    found = change_around(Plant("x", DAYS, tuple(areas)), WINDOW)
    assert (found.before, found.after) == pytest.approx((0.08, 0.02))
    assert exp(found.step) == pytest.approx(0.8)


def test_the_day_itself_counts_on_neither_side():
    areas = [exp(0.05 * d) for d in DAYS]
    areas[DAYS.index(EVENT)] *= 3
    found = change_around(Plant("x", DAYS, tuple(areas)), WINDOW)
    assert (found.before, found.after, found.step) == pytest.approx((0.05, 0.05, 0))


def test_windows_end_where_another_event_of_the_plant_begins():
    assert window_around(80, 7, [70, 75, 80, 84, 99]) == Window(80, 76, 83)
    assert window_around(80, 7, [79, 81]) == Window(80, 79, 81)
    with pytest.raises(ValueError, match="3 days is too short"):
        window_around(80, 3)


def test_dull_weather_is_not_blamed_on_the_event():
    """All plants slow down by a third from the day on; in 200 benches few claim the event."""
    random = np.random.default_rng(11)
    claimed = slowed = 0
    for _ in range(200):
        one, *others = plants(bench(random, 12))
        found = response([one], others, WINDOW)
        slowed += found.after < found.before
        claimed += found.is_claimed(found.rate)
        assert found.rate.p == found.rate.p_corrected
    assert slowed == 200
    assert claimed / 200 <= 0.09


@pytest.mark.parametrize("count", [6, 12])
def test_intervals_hold_the_true_effect_as_often_as_they_say(count):
    """Rate less by 0.03 per day, area less by 20 % at once; 300 benches of two sizes."""
    random = np.random.default_rng(12)
    rate_held = step_held = 0
    for _ in range(300):
        (name, logs), *others = bench(random, count)
        after = np.clip(np.array(DAYS) - EVENT, 0, None)
        logs = logs - 0.03 * after + np.where(after > 0, log(0.8), 0)
        found = response([*plants([(name, logs)])], plants(others), WINDOW)
        rate_held += found.rate.low <= -0.03 <= found.rate.high
        # The jump is read two days off, where the mean of both rates stands for the true course.
        step_held += found.step.low <= log(0.8) <= found.step.high
    assert 0.91 <= rate_held / 300 <= 0.98
    assert 0.9 <= step_held / 300 <= 0.98


def test_a_pause_is_found_among_seedlings_that_all_slow_down():
    random = np.random.default_rng(13)
    (name, logs), *others = bench(random, 12)
    at = DAYS.index(EVENT)
    logs[at:] = logs[at] + random.normal(0, 0.03, len(logs) - at)
    found = response(plants([(name, logs)]), plants(others), WINDOW)
    assert found.is_claimed(found.rate)
    assert found.rate.high < 0
    assert found.after == pytest.approx(0, abs=0.02)


def test_rates_are_held_against_plants_of_like_size_only():
    random = np.random.default_rng(14)
    one, *grown = plants(bench(random, 6))
    seedlings = [Plant(f"s{n}", p.ages_days, p.areas) for n, p in
                 enumerate(plants(bench(random, 9, size=1.0)))]  # fmt: skip
    found = response([one], grown + seedlings, WINDOW)
    assert set(found.others) == {p.name for p in grown}
    assert len(found.step_others) == 14
    alone = response([one], seedlings, WINDOW)
    assert alone.rate is None
    assert alone.step is not None


def test_too_few_values_or_others_are_a_plain_refusal():
    random = np.random.default_rng(15)
    one, *others = plants(bench(random, 6))
    assert "4 are needed" in response([one], others[:3], WINDOW).refusal
    gone = Plant("gone", DAYS, tuple(a if d < EVENT + 2 else None
                                     for d, a in zip(DAYS, one.areas, strict=True)))  # fmt: skip
    found = response([gone], others, WINDOW)
    assert "too few days" in found.refusal
    assert (found.rate, found.before) == (None, None)
    with pytest.raises(ValueError, match="p0 cannot be its own control"):
        response([one], [one, *others], WINDOW)


def test_all_questions_asked_are_corrected_together():
    random = np.random.default_rng(16)
    found = []
    for _ in range(3):
        one, *others = plants(bench(random, 8))
        found.append(response([one], others, WINDOW))
    refused = response([one], [], WINDOW)
    told = corrected([*found, refused])
    p_values = [e.p for r in found for e in (r.rate, r.step)]
    assert [e.p_corrected for r in told[:3] for e in (r.rate, r.step)] == holm(p_values)
    assert told[3] == refused
