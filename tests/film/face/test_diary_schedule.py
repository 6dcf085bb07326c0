"""Lines of the diary are shown one day after the other, long enough, and never ahead of time."""

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from lapsekit.film.face.schedule import FADE_S, opacity, reading_s, scheduled
from lapsekit.film.face.told import Event

SPEED = 24.0
AT_DAYS = [0.5 + number / 20 for number in range(20 * 40)]
DAYS = st.lists(st.integers(0, 39), max_size=40).map(sorted)


def events(days):
    return [Event(float(day), "cut, the outer leaves for lunch", "Lettuce") for day in days]


def test_a_caption_comes_with_its_day_and_stays_as_long_as_it_takes_to_read():
    ((shown,), left_out) = scheduled(events([7]), AT_DAYS, SPEED)
    assert AT_DAYS[shown.start - 1] < 7 <= AT_DAYS[shown.start]
    letters = len("cut, the outer leaves for lunch") + len("Lettuce")
    assert shown.end - shown.start == round(reading_s(letters) * SPEED)
    assert left_out == []


def test_longer_texts_stay_longer_within_bounds():
    assert reading_s(3) == 2.0
    assert reading_s(40) == 3.5
    assert reading_s(10_000) == 6.0


def test_a_caption_comes_and_goes_gently_and_is_whole_between():
    ((shown,), _) = scheduled(events([7]), AT_DAYS, SPEED)
    strong = [opacity(shown, beat, SPEED) for beat in range(len(AT_DAYS))]
    assert strong[shown.start - 1] == 0 and 0 < strong[shown.start] < 0.5
    whole = strong[shown.start + 6 : shown.end]
    assert set(whole) == {1.0}
    fade = round(FADE_S * SPEED)
    assert strong[shown.end + fade] == 0 and 0 < strong[shown.end] < 1
    assert max(abs(a - b) for a, b in pairwise(strong)) < 0.2


def test_events_of_one_day_share_a_caption():
    (shown, _) = scheduled(events([7, 7, 7]), AT_DAYS, SPEED)
    assert [len(each.events) for each in shown] == [3]


def test_lines_of_days_in_a_row_wait_for_each_other_or_share_or_are_told_as_left_out():
    (shown, left_out) = scheduled(events([3, 4, 5, 6, 7, 8]), AT_DAYS, SPEED)
    assert sum(len(each.events) for each in shown) + len(left_out) == 6
    assert any(len(each.events) > 1 for each in shown)


def test_what_happened_before_and_after_the_film_is_not_shown():
    at_days = [10.5, 11.0, 11.5]
    assert scheduled(events([3, 9, 12, 30]), at_days, SPEED) == ([], [])
    assert scheduled(events([3]), [], SPEED) == ([], [])


@given(DAYS)
@settings(max_examples=200, deadline=None)
def test_no_two_are_whole_at_once_and_none_is_shown_before_its_day(days):
    shown, left_out = scheduled(events(days), AT_DAYS, SPEED)
    for one, other in pairwise(shown):
        assert one.end + round(FADE_S * SPEED) <= other.start
        assert one.end - one.start >= SPEED
    assert all(AT_DAYS[each.start] >= each.events[-1].at_days for each in shown)
    told = [event for each in shown for event in each.events] + left_out
    first = [event for event in events(days) if event.at_days >= 0]
    assert sorted(told, key=repr) == sorted(first, key=repr)


@given(DAYS, st.integers(1, 39))
@settings(max_examples=200, deadline=None)
def test_events_of_later_days_change_nothing_before_them(days, until):
    """Each film picture before day `until` shows the same, whether more follows or not."""
    before = [day for day in days if day < until]
    full, _ = scheduled(events(days), AT_DAYS, SPEED)
    cut, _ = scheduled(events(before), AT_DAYS, SPEED)

    def seen(shown, beat):
        found = [(each.events, opacity(each, beat, SPEED)) for each in shown]
        return [each for each in found if each[1] > 0]

    for beat, at in enumerate(AT_DAYS):
        if at < until:
            assert seen(full, beat) == seen(cut, beat)
