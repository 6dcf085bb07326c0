"""Pauses and losses of a season's plants are told with their dates, and with what lay near them."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from lapsekit.catalogue import Daily
from lapsekit.diary import Event
from lapsekit.edits.regions_text import end_region
from lapsekit.noticing import event_near, notice
from lapsekit.reporting import work_out
from lapsekit.season import Season
from lapsekit.telling_growth import noticed
from lapsekit.unattended.news import look_sentences
from tests.scenes import FIRST_DAY, make_season

DAYS, NOISE = 45, 0.02
PAUSED, GOES_ON, CUT = 14, 24, 30


def grown(name):
    """Log area of a plant by day: basil pauses, chives are cut."""
    days = np.arange(DAYS, dtype=float)
    if name == "basil":
        rate = np.where((days >= PAUSED) & (days < GOES_ON), 0.0, 0.1)
    else:
        rate = np.full(DAYS, 0.07)
        rate[CUT] += np.log(0.5)
    return np.log(12.0) + np.concatenate([[0], np.cumsum(rate)[:-1]])


def rows_of(name, seed):
    noise = np.random.default_rng(seed).normal(0, NOISE, DAYS)
    areas = np.exp(grown(name) + noise)
    for number, area in enumerate(areas):
        half = 1.96 * NOISE * area
        cover, stated = (0.1, 0.09, 0.11), (area, area - half, area + half)
        yield Daily(name, FIRST_DAY + timedelta(number), *cover, *stated, 5, {})


@pytest.fixture
def season(tmp_path):
    season = make_season(tmp_path / "bench")
    (season.folder / "diary.csv").write_text(
        "date,region,event,note\n"
        f"{FIRST_DAY + timedelta(PAUSED)},basil,potted on,\n"
        f"{FIRST_DAY + timedelta(PAUSED)},,watered,\n"
        f"{FIRST_DAY + timedelta(CUT)},chives,cut,\n"
        f"{FIRST_DAY + timedelta(5)},chives,fed,\n"
    )
    season.catalogue.store_daily([*rows_of("basil", 1), *rows_of("chives", 2)])
    yield season
    season.catalogue.close()


def test_a_pause_is_told_with_its_dates_and_the_act_before_it(season):
    (found,) = notice(season).pauses
    start = date.fromordinal(round(found.pause.start)) - FIRST_DAY
    end = date.fromordinal(round(found.pause.end)) - FIRST_DAY
    assert abs(start.days - PAUSED) <= 1 and abs(end.days - GOES_ON) <= 1
    assert (found.region, found.event.what) == ("basil", "potted on")
    assert (found.others_paused, found.others) == (0, 1)


def test_a_cut_is_a_loss_of_its_share_and_no_pause(season):
    (found,) = notice(season).losses
    assert found.region == "chives" and found.event.what == "cut"
    assert found.loss.share_low <= 0.5 <= found.loss.share_high
    assert date.fromordinal(found.loss.day) == FIRST_DAY + timedelta(CUT + 1)


def test_sentences_name_plant_length_act_and_neighbours(season):
    told = "\n".join(noticed(notice(season), season))
    assert "Basil: growth paused for 10 days" in told
    day = FIRST_DAY + timedelta(PAUSED)
    assert f"after “potted on” on {day.day} {day:%b}; the other plant did not pause" in told
    assert "fed" not in told and "watered" not in told


def test_seedlings_are_not_asked(tmp_path):
    season = make_season(tmp_path / "bench")
    small = [
        Daily(d.region, d.day, 0.1, 0.1, 0.1, d.area_cm2 / 1000, d.area_low_cm2 / 1000,
              d.area_high_cm2 / 1000, 5, {})
        for d in rows_of("basil", 1)
    ]  # fmt: skip
    season.catalogue.store_daily(small)
    found = notice(season)
    assert not found.pauses and not found.losses


def fallen(tmp_path, days_later=0):
    """A season whose chives are cut on the last day, seen so many days later."""
    season = make_season(tmp_path / "bench")
    rows = [*rows_of("basil", 1), *rows_of("chives", 2)][: DAYS + CUT + 2]
    last = rows[-1].day
    season.catalogue.store_daily([d for d in rows if d.day <= last])
    season.catalogue.close()
    now = datetime.combine(last + timedelta(days_later), datetime.min.time(), UTC)
    return Season(season.folder, lambda: now)


def test_a_fall_of_the_last_day_is_told_with_what_the_others_did(tmp_path):
    season = fallen(tmp_path)
    (alert,) = work_out(season).alerts
    assert (alert.region, alert.event) == ("chives", None)
    assert alert.fall.share == pytest.approx(1 - 0.5 * np.exp(0.07), abs=0.08)
    (line,) = look_sentences(season, [alert])
    assert "the canopy of Chives was 4" in line and "look for wilting" in line
    day = date.fromordinal(alert.fall.day)
    (season.folder / "diary.csv").write_text(f"date,region,event,note\n{day},chives,cut,\n")
    (line,) = look_sentences(season, work_out(season).alerts)
    season.catalogue.close()
    assert "look for wilting" in line and f"the diary says “cut” on {day.day} {day:%b}" in line


def test_old_news_is_none(tmp_path):
    season = fallen(tmp_path, days_later=3)
    assert work_out(season).alerts == []
    season.catalogue.close()


def test_nobody_is_called_about_a_plant_that_the_grower_has_ended(tmp_path):
    season = fallen(tmp_path, days_later=1)
    assert [alert.region for alert in work_out(season).alerts] == ["chives"]
    last = season.catalogue.daily("chives")[-1].day
    path = season.folder / "regions.toml"
    path.write_text(end_region(path.read_text(), "chives", last, "died"))
    season.catalogue.close()
    season = Season(season.folder, season.clock)
    assert work_out(season).alerts == []
    season.catalogue.close()


def test_a_plant_that_is_gone_altogether_is_told(tmp_path):
    season = fallen(tmp_path)
    last = season.catalogue.daily("basil")[-1]
    gone = replace(
        last, area_cm2=0.0, area_low_cm2=0.0, area_high_cm2=0.5, cover=0.0, cover_low=0.0
    )
    season.catalogue.store_daily([gone])
    found = {alert.region: alert.fall.share for alert in work_out(season).alerts}
    season.catalogue.close()
    assert found["basil"] == 1.0


def test_plants_that_could_not_have_shown_it_are_not_counted_as_others(tmp_path):
    """The chives' first day lies behind the end of basil's pause."""
    season = make_season(tmp_path / "bench")
    late = [d for d in rows_of("chives", 2) if d.day > FIRST_DAY + timedelta(GOES_ON + 2)]
    season.catalogue.store_daily([*rows_of("basil", 1), *late])
    (found,) = notice(season).pauses
    told = noticed(notice(season), season)[0]
    season.catalogue.close()
    assert (found.others_paused, found.others) == (0, 0)
    assert "no other plant was measured then" in told


@pytest.mark.parametrize(
    ("days_after", "named"), [(-4, False), (-3, True), (-1, True), (0, True), (1, False)]
)
def test_an_event_after_a_change_is_never_named_behind_it(days_after, named):
    """It may lie a few days before; on the last day on which the change began it counts too."""
    since, day = date(2031, 5, 11), date(2031, 5, 12)
    start = since if days_after < 0 else day
    event = Event(start + timedelta(days_after), "basil", "cold", "")
    near = event_near([event], "basil", since.toordinal(), day.toordinal())
    assert near == (event if named else None)
