"""Captures come when the settings say, through both changes of the clock."""

import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from lapsekit.settings import load_settings
from lapsekit.unattended.schedule import captures, mornings
from tests.scenes import SETTINGS

CET = ZoneInfo("CET")
PLAN = '[capture]\nevery_minutes = 120\nfrom = "08:00"\nuntil = "14:00"\ndaily_at = "11:30"\n'


def settings(tmp_path, capture=PLAN, morning=""):
    path = tmp_path / "season.toml"
    path.write_text(SETTINGS.split("[capture]")[0] + capture + morning)
    return load_settings(path)


def fired(trigger, start, count):
    """Local wall-clock times of the next `count` firings."""
    moments, previous, now = [], None, start
    for _ in range(count):
        previous = trigger.after(previous, now)
        now = previous + timedelta(microseconds=1)
        moments.append(previous.astimezone(CET))
    return moments


def test_a_day_holds_its_window_and_the_daily_picture(tmp_path):
    start = datetime(2031, 4, 1, 0, 0, tzinfo=CET)
    got = [f"{m:%d %H:%M}" for m in fired(captures(settings(tmp_path)), start, 6)]
    assert got == ["01 08:00", "01 10:00", "01 11:30", "01 12:00", "01 14:00", "02 08:00"]


def test_the_daily_picture_keeps_its_wall_clock_time_through_both_changes(tmp_path):
    daily = '[capture]\nevery_minutes = 1440\nfrom = "11:30"\nuntil = "11:30"\ndaily_at = "11:30"\n'
    for month, day in ((3, 29), (10, 25)):
        start = datetime(2031, month, day, 0, 0, tzinfo=CET)
        moments = fired(captures(settings(tmp_path, daily)), start, 3)
        assert [f"{m:%H:%M}" for m in moments] == ["11:30"] * 3
        hours = {(b - a) / timedelta(hours=1) for a, b in itertools.pairwise(moments)}
        utc = {
            (b.astimezone(UTC) - a.astimezone(UTC)) / timedelta(hours=1)
            for a, b in itertools.pairwise(moments)
        }
        assert hours == {24.0}
        assert utc == ({23.0, 24.0} if month == 3 else {24.0, 25.0})


def test_every_day_of_a_year_has_its_morning(tmp_path):
    plan = settings(tmp_path, morning='[morning]\nat = "02:30"\n')
    moments = fired(mornings(plan), datetime(2031, 1, 1, 0, 0, tzinfo=CET), 365)
    assert len({m.date() for m in moments}) == 365
    late = [f"{m:%m-%d %H:%M}" for m in moments if f"{m:%H:%M}" != "02:30"]
    assert late == ["03-30 03:30"]


def test_a_moment_that_is_due_now_is_not_missed(tmp_path):
    due = datetime(2031, 4, 1, 8, 0, tzinfo=CET)
    trigger = captures(settings(tmp_path))
    assert trigger.after(None, due) == due
    assert trigger.after(due, due) == due + timedelta(hours=2)
