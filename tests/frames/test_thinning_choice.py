"""Which frames of a day stay: the daily picture, what is named, and some spread over the day."""

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.catalogue import Frame
from lapsekit.daylight import Window
from lapsekit.frames.choosing import daily_picture
from lapsekit.frames.thinning import staying

DAY = date(2031, 5, 1)
START = datetime(2031, 5, 1, tzinfo=UTC)
NOON = START + timedelta(hours=12)
WINDOW = Window(START + timedelta(hours=8), START + timedelta(hours=18))


def frame(minute):
    at = START + timedelta(minutes=minute)
    return Frame("bench", at, DAY, f"{minute:04d}.jpg", f"h{minute}", 1000, 10, 10, "capture")


def stay(minutes, a_day, usable=None, named=(), window=WINDOW):
    frames = [frame(m) for m in minutes]
    usable = minutes if usable is None else usable
    found = staying(
        frames,
        usable={frame(m).path for m in usable},
        named={frame(m).path for m in named},
        daily_at=NOON,
        window=window,
        a_day=a_day,
    )
    return sorted(int(path[:4]) for path in found)


HALF_HOURS = list(range(480, 1081, 30))


def test_frames_stay_spread_over_the_window_with_the_daily_picture_among_them():
    assert stay(HALF_HOURS, 1) == [720]
    assert stay(HALF_HOURS, 3) == [480, 720, 1080]
    assert stay(HALF_HOURS, 5) == [480, 600, 720, 900, 1080]


def test_frames_outside_the_window_stay_only_where_the_window_has_too_few():
    minutes = [60, 600, 720, 840, 1400]
    assert stay(minutes, 3) == [600, 720, 840]
    assert stay(minutes, 4) == [600, 720, 840, 1400]


def test_left_out_frames_go_before_usable_ones_and_the_last_few_never_go():
    assert stay(HALF_HOURS, 3, usable=[510, 750, 900]) == [510, 750, 900]
    assert stay(HALF_HOURS, 3, usable=[510]) == [510, 780, 1080]
    assert len(stay(HALF_HOURS, 3, usable=[])) == 3
    assert stay([480, 510], 3, usable=[]) == [480, 510]


def test_named_frames_stay_besides():
    assert stay(HALF_HOURS, 1, named=[510, 540]) == [510, 540, 720]
    assert stay(HALF_HOURS, 2, usable=set(HALF_HOURS) - {510}, named=[510]) == [510, 720, 1080]


@given(
    st.sets(st.integers(0, 1439), min_size=1, max_size=40),
    st.sets(st.integers(0, 1439)),
    st.sets(st.integers(0, 1439), max_size=4),
    st.integers(1, 8),
    st.integers(0, 7),
)
def test_whatever_the_day_thinning_keeps_its_promises_and_again_changes_nothing(
    minutes, out, named, a_day, fewer
):
    minutes = sorted(minutes)
    usable = [m for m in minutes if m not in out]
    kept = stay(minutes, a_day, usable, named)
    assert len(kept) >= min(a_day, len(minutes))
    assert sum(m in usable for m in kept) >= min(a_day, len(usable))
    assert set(named) & set(minutes) <= set(kept)
    if usable:
        daily = daily_picture([frame(m) for m in usable], NOON)
        assert int(daily.path[:4]) in kept
    assert stay(kept, a_day, [m for m in kept if m in usable], named) == kept
    less = max(1, a_day - fewer)
    of_kept = stay(kept, less, [m for m in kept if m in usable], named)
    assert of_kept == stay(minutes, less, usable, named)


@pytest.mark.parametrize("window", [None, Window(NOON, NOON)])
def test_a_day_without_sun_is_thinned_too(window):
    assert stay(HALF_HOURS, 3, window=window) == [480, 720, 1080]
