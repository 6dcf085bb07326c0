"""A day's value is the middle of its frames, with their range."""

from hypothesis import given
from hypothesis import strategies as st

from lapsekit.vision.daily import DayValue, day_value


def test_one_wild_frame_does_not_move_the_day():
    assert day_value([10.0, 10.2, 80.0]) == DayValue(10.2, 10.0, 80.0)


def test_a_day_without_values_stays_without():
    assert day_value([]) == DayValue(None, None, None)
    assert day_value([None, None]) == DayValue(None, None, None)


@given(st.lists(st.floats(0, 1e4), min_size=1))
def test_the_middle_lies_in_the_range_whatever_the_order(values):
    value = day_value(values)
    assert value.low <= value.middle <= value.high
    assert day_value(values[::-1]) == value
