"""The curve that draws itself knows no later day, joins no gap, and its axes never jump."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapsekit.film.face.curve_scale import Axes, axes, drawn

POINTS = [(day + 0.5, 2.0 * day) for day in range(30)]


def test_on_a_line_the_pen_is_on_the_line_half_a_day_behind():
    for now in np.arange(3, 20, 0.1):
        (stretch,) = drawn(POINTS, 0.0, now).stretches
        assert stretch[-1] == pytest.approx((now - 0.5, 2.0 * (now - 1.0)))


@given(st.floats(0.5, 29.5), st.floats(0, 1e6))
@settings(max_examples=200, deadline=None)
def test_no_value_of_a_later_day_is_used(now, other):
    later = [point if point[0] < np.floor(now) + 1 else (point[0], other) for point in POINTS]
    assert drawn(POINTS, 0.0, now) == drawn(later, 0.0, now)


def test_days_without_a_value_are_a_gap_and_the_value_shown_is_not_an_old_one():
    points = [point for point in POINTS if not 10 <= point[0] < 14]
    assert [len(part) for part in drawn(points, 0.0, 19.9).stretches] == [10, 6]
    assert drawn(points, 0.0, 13.0).value is None
    assert drawn(points, 0.0, 10.2).value == 18.0


def test_the_axes_hold_all_that_is_drawn_and_do_not_jump():
    tops, ends = [], []
    for now in np.arange(0.5, 29.5, 1 / 24):
        known = drawn(POINTS, 0.0, now)
        scale = axes([known], 0.0, now, 5.0)
        places = [scale.places(part, (0, 0, 100, 100)) for part in known.stretches]
        assert all(part.min() >= 0 and part.max() <= 100 for part in places)
        tops.append(scale.top)
        ends.append(scale.to_days)
    assert max(np.diff(tops)) < 0.15 and min(np.diff(tops)) >= 0
    assert max(np.diff(ends)) < 0.06 and min(np.diff(ends)) >= 0


@given(st.floats(1e-6, 1e6))
def test_ticks_are_round_few_and_apart(top):
    ticks = Axes(0.0, 7.0, top).ticks()
    assert 1 <= len(ticks) <= 2
    assert all(0 < tick <= top for tick in ticks)
    assert all(b - a >= 0.3 * top for a, b in pairwise(ticks))
    lead = {float(f"{tick:.3e}".split("e")[0]) for tick in ticks}
    assert lead <= {1.0, 2.0, 4.0, 5.0}
