"""Two seasons of known growth: how far one is ahead, by age, by calendar and by warmth."""

from datetime import UTC, date, datetime, timedelta
from math import exp, log

import numpy as np
import pytest

from lapsekit.besides import beside
from lapsekit.catalogue import Daily
from lapsekit.errors import SettingsError
from lapsekit.season import Season
from lapsekit.telling_growth import beside_told
from tests.scenes import SETTINGS, make_season

DAYS, PER_DEGREE_DAY, NOISE = 40, 0.008, 0.02
SOWN = {"own": date(2031, 3, 25), "then": date(2030, 4, 4)}
WARMTH_C = {"own": 17.0, "then": 15.0}  # base 5 °C: 12 and 10 degree days a day


def season_of(folder, name, seed):
    """Basil that grows by degree days alone, from 4 cm² on the tenth day after sowing."""
    text = SETTINGS.replace("sown = 2031-03-25", f"sown = {SOWN[name]}")
    assert str(SOWN[name]) in text
    season = make_season(folder / name, text)
    random = np.random.default_rng(seed)
    degree_days = WARMTH_C[name] - 5.0
    rows, start = [], SOWN[name] + timedelta(10)
    for day in range(DAYS):
        area = 4 * exp(PER_DEGREE_DAY * degree_days * (day + 10)) * exp(random.normal(0, NOISE))
        half = 1.96 * NOISE * area
        rows.append(
            Daily("basil", start + timedelta(day), 0.1, 0.09, 0.11, area, area - half, area + half,
                  5, {})
        )  # fmt: skip
    season.catalogue.store_daily(rows)
    hours = ["time,temp_c"]
    moment = datetime.combine(SOWN[name], datetime.min.time(), UTC)
    for hour in range((DAYS + 12) * 24):
        hours.append(f"{moment + timedelta(hours=hour):%Y-%m-%dT%H:%M:%SZ},{WARMTH_C[name]}")
    (season.folder / "weather.csv").write_text("\n".join(hours) + "\n")
    return season


@pytest.fixture
def seasons(tmp_path):
    own, then = season_of(tmp_path, "own", 1), season_of(tmp_path, "then", 2)
    yield own, then
    own.catalogue.close()
    then.catalogue.close()


def test_by_age_the_warmer_season_is_ahead_by_its_warmth(seasons):
    (pair,) = beside(*seasons).pairs
    last = pair.own_line.at[pair.found.index[-1]]
    true = exp(PER_DEGREE_DAY * (12 - 10) * last)
    assert pair.found.low[-1] < true < pair.found.high[-1]
    inside = [
        low < exp(PER_DEGREE_DAY * 2 * at) < high
        for at, low, high in zip(
            pair.own_line.at[pair.found.index], pair.found.low, pair.found.high, strict=True
        )
    ]
    assert np.mean(inside) > 0.9


def test_by_degree_days_both_seasons_are_alike(seasons):
    (pair,) = beside(*seasons, "degree-days").pairs
    assert pair.own_line.at[0] == pytest.approx(12 * 11)
    assert np.abs(np.log(pair.found.ratio)).max() < 0.04


def test_by_calendar_the_later_sown_is_as_much_behind(seasons):
    """Own is sown 10 days earlier in its year and 1.2 times as warm."""
    own, then = seasons
    (pair,) = beside(then, own, "date").pairs
    at = pair.own_line.at[pair.found.index[-1]]
    since_own = at - SOWN["own"].timetuple().tm_yday
    since_then = at - SOWN["then"].timetuple().tm_yday
    true = exp(PER_DEGREE_DAY * (10 * since_then - 12 * since_own))
    assert pair.found.low[-1] < true < pair.found.high[-1]
    assert pair.found.ratio[-1] < 0.5


def test_ahead_is_in_days_of_the_clock(seasons):
    """The own area of age a was reached then at 1.2 a: 0.2 a later."""
    own, then = seasons
    rows = [d for d in own.catalogue.daily("basil") if d.day < SOWN["own"] + timedelta(36)]
    short = [d.day for d in own.catalogue.daily("basil") if d not in rows]
    own.catalogue.store_daily(
        [Daily("basil", day, None, None, None, None, None, None, 0, {}) for day in short]
    )
    report = beside(own, then)
    assert report.pairs[0].found.ahead == pytest.approx(0.2 * 35, abs=0.8)
    told = beside_told(report)
    assert told[1].startswith("Basil: ") and told[1].endswith(" days earlier.")
    assert told[-1].count("beside.") == 3


def test_table_and_plots_are_written_and_the_same_twice(seasons):
    report = beside(*seasons)
    assert [path.name for path in report.written] == ["beside.csv", "beside.svg", "beside.png"]
    first = [path.read_bytes() for path in report.written]
    assert [path.read_bytes() for path in beside(*seasons).written] == first
    header, row = first[0].decode().splitlines()[:2]
    assert header.startswith("region,day,at,area_cm2,earlier_region,earlier_cm2,ratio,")
    assert row.startswith("basil,2031-04-04,10,")


@pytest.mark.parametrize(
    ("clock", "pairs", "said"),
    [
        ("degree-day", (), 'did you mean "degree-days"'),
        ("age", [("basil", "basl")], 'has no region "basl"; did you mean "basil"'),
        ("age", [("bsail", "basil")], 'this season has no region "bsail"'),
    ],
)
def test_what_cannot_be_is_refused_with_the_nearest_match(seasons, clock, pairs, said):
    with pytest.raises(SettingsError, match=said):
        beside(*seasons, clock, pairs)


def test_without_weather_degree_days_are_refused_with_what_to_do(seasons):
    own, then = seasons
    (then.folder / "weather.csv").unlink()
    with pytest.raises(
        SettingsError, match=r"has no readings from its sowing .* --by age needs none"
    ):
        beside(own, then, "degree-days")
    assert not (own.tables / "beside.csv").exists()


def test_a_season_is_not_held_against_itself(seasons):
    with pytest.raises(SettingsError, match="is this season itself"):
        beside(seasons[0], seasons[0])


def test_a_crop_has_its_own_base_and_cap(tmp_path):
    season = season_of(tmp_path, "own", 1)
    path = season.folder / "regions.toml"
    path.write_text(path.read_text().replace('name = "basil"', 'name = "basil"\nbase_c = 10.0'))
    again = Season(season.folder)
    (pair,) = beside(again, again, "degree-days", [("basil", "basil")]).pairs
    assert pair.own_line.at[0] == pytest.approx(7 * 11)
    assert log(pair.found.ratio[0]) == 0
    path.write_text(path.read_text().replace("base_c = 10.0", "base_c = 10.0\ncap_c = 9.0"))
    with pytest.raises(SettingsError, match=r"cap_c \(9\) must lie above base_c \(10\)"):
        Season(season.folder).regions  # noqa: B018


def test_a_date_has_one_number_in_leap_years_and_others_and_runs_across_new_year():
    from lapsekit.besides import _day_of_year, _same_year
    from lapsekit.growth.alignment import Line

    assert _day_of_year(date(2032, 4, 1)) == _day_of_year(date(2031, 4, 1))
    winter = np.array([_day_of_year(date(2031, 12, 20) + timedelta(n)) for n in range(40)])
    spring = np.array([_day_of_year(date(2031, 1, 5) + timedelta(n)) for n in range(40)])
    lines = (Line(at, at, at, at) for at in (np.unwrap(winter, period=366), spring))
    own, then = _same_year(*lines)
    assert (np.diff(own.at) > 0).all()
    assert then.at[0] - own.at[0] == pytest.approx(16, abs=1)
