"""Those who are called hear of each thing once, at a civil hour, and when it is over."""

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.unattended.calling import State, decide, is_quiet, with_news

NOON = datetime(2031, 4, 2, 12, tzinfo=UTC)
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
FULL = ("disk", "room for 3 days")
DARK = ("frames of bench", "none for 6 hours")


class Desk:
    """Looks from hour to hour; every message goes out unless `fails`."""

    def __init__(self, now=NOON):
        self.state, self.now = State(), now

    def look(self, *found, after=HOUR, quiet=False, fails=False, blind=False):
        self.now += after
        made = decide(
            self.state, found, self.now, is_quiet=quiet, remind_after=7 * DAY, is_blind=blind
        )
        self.state = made.observed if fails else made.told
        message = made.message
        parts = (message.begun, message.still, message.over, message.news)
        return tuple([each.key for each in part] for part in parts)


NOTHING = ([], [], [], [])


def test_what_begins_is_told_once_and_its_end_after_an_hour():
    desk = Desk()
    assert desk.look() == NOTHING
    assert desk.look(FULL) == (["disk"], [], [], [])
    for _ in range(48):
        assert desk.look(FULL) == NOTHING
    assert desk.look(after=timedelta(minutes=5)) == NOTHING
    assert desk.look(after=timedelta(minutes=59)) == NOTHING
    assert desk.look(after=timedelta(minutes=1)) == ([], [], ["disk"], [])
    assert desk.look() == NOTHING


def test_what_goes_on_is_told_again_after_a_week():
    desk = Desk()
    desk.look(FULL)
    told = [hour for hour in range(1, 24 * 15) if desk.look(FULL) == ([], ["disk"], [], [])]
    assert told == [24 * 7, 24 * 14]


def test_all_of_one_moment_is_one_message():
    desk = Desk()
    desk.look(FULL)
    desk.state = with_news(desk.state, [("growth of basil, 2031-04-02", "LOOK")], desk.now)
    desk.look(DARK, after=timedelta(minutes=1), quiet=True)
    assert desk.look(DARK, after=2 * HOUR) == (
        ["frames of bench"],
        [],
        ["disk"],
        ["growth of basil, 2031-04-02"],
    )


def test_in_quiet_hours_nothing_is_told_and_at_their_end_what_still_stands_and_news():
    desk = Desk()
    desk.state = with_news(desk.state, [("growth of basil, 2031-04-02", "LOOK")], desk.now)
    assert desk.look(FULL, DARK, quiet=True) == NOTHING
    assert desk.look(DARK, quiet=True) == NOTHING
    assert desk.look(DARK) == (["frames of bench"], [], [], ["growth of basil, 2031-04-02"])


def test_what_came_and_went_in_quiet_hours_is_never_told():
    desk = Desk()
    desk.look(FULL, quiet=True)
    desk.look(quiet=True)
    assert [desk.look() for _ in range(5)] == [NOTHING] * 5


def test_news_is_told_once_under_its_key_and_has_no_all_clear():
    desk = Desk()
    told = []
    for _ in range(24 * 3):
        news = [("growth of basil, 2031-04-02", "LOOK")]
        desk.state = with_news(desk.state, news, desk.now)
        told += desk.look()[3]
    assert told == ["growth of basil, 2031-04-02"]


def test_a_message_that_did_not_go_out_is_tried_again_with_what_came_since():
    desk = Desk()
    desk.state = with_news(desk.state, [("growth of basil, 2031-04-02", "LOOK")], desk.now)
    assert desk.look(FULL, fails=True)[0] == ["disk"]
    assert desk.look(FULL, DARK, fails=True)[0] == ["disk", "frames of bench"]
    assert desk.look(FULL, DARK) == (
        ["disk", "frames of bench"],
        [],
        [],
        ["growth of basil, 2031-04-02"],
    )
    assert desk.look(FULL, DARK) == NOTHING


def test_an_all_clear_that_did_not_go_out_is_tried_again():
    desk = Desk()
    desk.look(FULL)
    desk.look()
    assert desk.look(fails=True)[2] == ["disk"]
    assert desk.look()[2] == ["disk"]
    assert desk.look() == NOTHING


def test_what_is_gone_for_minutes_only_is_not_told_again():
    desk = Desk()
    desk.look(FULL)
    for _ in range(50):
        assert desk.look(after=timedelta(minutes=30)) == NOTHING
        assert desk.look(FULL, after=timedelta(minutes=29)) == NOTHING


@pytest.mark.parametrize("period_h", [2, 3, 6, 12])
def test_what_comes_and_goes_calls_less_and_less(period_h):
    desk = Desk()
    messages = 0
    for hour in range(24 * 10):
        standing = hour % (2 * period_h) < period_h
        messages += desk.look(*([FULL] if standing else [])) != NOTHING
    assert 1 <= messages <= 8


def test_what_could_not_be_looked_at_is_not_called_over():
    desk = Desk()
    desk.look(FULL)
    for _ in range(5):
        assert desk.look(("catalogue", "locked"), blind=True)[2] == []
    assert desk.look(FULL)[0] == []


def test_a_clock_that_was_ahead_does_not_keep_reminders_and_all_clears_back():
    desk = Desk(NOON + 4000 * DAY)
    desk.look(FULL)
    desk.now = NOON
    assert desk.look(FULL) == NOTHING
    told = [day for day in range(1, 9) if desk.look(FULL, after=DAY)[1] == ["disk"]]
    assert told == [7]
    desk.look()
    assert desk.look()[2] == ["disk"]


@given(st.lists(st.tuples(st.sets(st.sampled_from("abc")), st.booleans(), st.booleans())))
def test_begin_and_end_alternate_whatever_happens(course):
    """Of each condition: told to begin, then over, then to begin; nothing in quiet hours."""
    desk, last = Desk(), dict.fromkeys("abc", "over")
    for standing, quiet, fails in course:
        told = desk.look(*((key, key) for key in standing), quiet=quiet, fails=fails)
        if quiet:
            assert told == NOTHING
        if fails:
            continue
        for part, before in ((0, "over"), (2, "begun")):
            for key in told[part]:
                assert last[key] == before
                last[key] = "begun" if part == 0 else "over"


ZONE = ZoneInfo("CET")


def quiet_from_to(first, last, start, hours=48):
    """Instants of a UTC hour grid that are quiet, by their distance from `start` in hours."""
    moments = [start + n * HOUR for n in range(hours)]
    return [n for n, m in enumerate(moments) if is_quiet(m.astimezone(ZONE).time(), first, last)]


def test_quiet_hours_pass_midnight():
    start = datetime(2031, 1, 1, 12, tzinfo=UTC)  # 13:00 on the wall
    assert quiet_from_to(time(21), time(7), start, 24) == list(range(8, 18))
    assert quiet_from_to(time(13), time(15), start, 24) == [0, 1]
    assert quiet_from_to(time(8), time(8), start, 24) == []


def test_quiet_hours_are_those_of_the_wall_on_both_nights_that_change_the_clock():
    """Nine hours of the night to summer time are ten on the wall; eleven in autumn."""
    spring = datetime(2031, 3, 29, 12, tzinfo=UTC)  # 13:00; the night has no 02:00 to 03:00
    assert quiet_from_to(time(21), time(7), spring, 24) == list(range(8, 17))
    autumn = datetime(2031, 10, 25, 12, tzinfo=UTC)  # 14:00; the night has 02:00 to 03:00 twice
    assert quiet_from_to(time(21), time(7), autumn, 24) == list(range(7, 18))
    skipped = datetime(2031, 3, 30, 0, tzinfo=UTC)  # 01:00, then 03:00: the end is never shown
    assert quiet_from_to(time(0), time(2, 30), skipped, 3) == [0]
