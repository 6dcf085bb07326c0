"""Growth of long seasons: worked out in stretches, of which old ones are settled."""

from dataclasses import fields, replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import lapsekit.growing as growing
from lapsekit.catalogue import Daily
from lapsekit.growing import Growth, grow, keep_settled
from lapsekit.growth.curves import GrowthCurve
from lapsekit.growth.stretches import AFTER, AROUND_DAYS, BEFORE, Stretch, stretches
from lapsekit.reporting import write_daily
from tests.scenes import make_season

FIRST = date(2031, 3, 1)
PAUSES = ((52, 62), (143, 155))
CUT = 97


@pytest.fixture(scope="module")
def daily():
    """Two hundred days of a plant that pauses twice, the second time where stretches meet."""
    random = np.random.default_rng(4)
    days = np.arange(200)
    passed = days - sum(np.clip(days - first, 0, last - first) for first, last in PAUSES)
    true = np.log(8) + 0.02 * passed - 0.6 * (days >= CUT)
    area = np.exp(true + 0.014 * random.normal(size=days.size))
    kept = ~np.isin(days, (20, 21, 130))
    return rows_of(days[kept], area[kept]), np.exp(true)


def growth_of(season, rows, settled=None):
    return Growth(season.regions.region[0], rows, lambda: settled or {})


def rows_of(days, area):
    """Daily values, in cm², two in a hundred sure."""
    return [
        Daily(
            *("basil", FIRST + timedelta(days=int(n)), 0.2, 0.19, 0.21),
            *(float(a * f) for f in (1, 0.98, 1.02)),
            *(5, {}),
        )
        for n, a in zip(days, area, strict=True)
    ]


def faint(day, area, colours, frames):
    """A daily value whose interval has these two parts, cut off below at nothing."""
    half = np.hypot(colours, frames)
    span = (area, max(0.0, area - half), area + half)
    parts = {"colours": colours, "frames": frames}
    return Daily("basil", FIRST + timedelta(days=day), 0.2, 0.19, 0.21, *span, 5, {}, parts)


def test_a_day_is_no_surer_by_itself_where_more_of_it_hangs_on_colours(season):
    """Nor where that is more than all of it, and its interval ends at nothing."""
    rows = [faint(n, 100.0, colours, 4.0) for n, colours in enumerate((0, 50, 99, 110, 300))]
    growth = growth_of(season, rows)
    seen = growth._seen(rows)
    assert seen.errors == pytest.approx([4.0 / 1.96] * 5)
    assert seen.lasting == pytest.approx(np.array([0, 50, 99, 110, 300]) / 1.96)
    assert growth.series(rows)[2] == pytest.approx(np.hypot(seen.errors, seen.lasting))


def told(growth):
    """All that is told of growth, fit to be compared to the bit."""
    curve = {f.name: getattr(growth.curve, f.name).tobytes() for f in fields(GrowthCurve)}
    return curve, growth.pauses, growth.losses


def one_piece(days):
    return [Stretch(days[0], days[-1] + 1, days[0], days[-1] + 1, days[-1] - days[0], False)]


@given(
    st.integers(700_000, 700_100),
    st.lists(st.integers(1, 3) | st.just(1) | st.integers(1, 80), min_size=1, max_size=300),
)
def test_stretches_are_all_days_once_and_a_value_more_leaves_what_is_settled(first, gaps):
    days = [first, *(int(d) for d in first + np.cumsum(gaps))]
    found = stretches(days)
    assert found[0].first == first and found[-1].end == days[-1] + 1
    assert all(a.end == b.first for a, b in pairwise(found))
    assert [one.is_settled for one in found] == [True] * (len(found) - 1) + [False]
    assert days[-1] - first >= 104 or len(found) == 1
    for one in found:
        seen = [day for day in days if one.seen_first <= day < one.seen_end]
        assert one.seen_first == first or sum(day < one.first for day in seen) >= BEFORE
        assert one.seen_first == first or one.seen_first <= one.first - AROUND_DAYS
        assert one.among_days == one.seen_end - first
        if one.is_settled:
            assert sum(day >= one.end for day in seen) >= AFTER
            assert one.end + AROUND_DAYS <= one.seen_end <= days[-1] + 1
    assert found[:-1] == stretches([*days, days[-1] + 1])[: len(found) - 1]
    assert found[:-1] == stretches([*days, days[-1] + 90])[: len(found) - 1]


def test_of_a_year_without_gaps_a_morning_looks_at_a_season_at_most():
    newest = [stretches(range(700_000, 700_000 + n))[-1] for n in range(200, 400)]
    assert max(one.seen_end - one.seen_first for one in newest) <= 120


def test_in_stretches_pauses_cuts_and_curve_are_the_truth_and_what_the_whole_gives(
    season, daily, monkeypatch
):
    rows, true = daily
    pieces = growth_of(season, rows)
    assert len(pieces.settled_now) >= 3
    start = FIRST.toordinal()
    assert [round(p.start - start) for p in pieces.pauses] == pytest.approx([52, 143], abs=1)
    assert [round(p.end - start) for p in pieces.pauses] == pytest.approx([62, 155], abs=1)
    (cut,) = pieces.losses
    assert cut.day - start == CUT and cut.share_low < 1 - np.exp(-0.6) < cut.share_high
    curve = pieces.curve
    assert curve.days.tolist() == list(range(start, start + 200))
    assert curve.breaks.tolist() == [start + CUT]
    inside = (curve.low_cm2 <= true) & (true <= curve.high_cm2)
    assert inside.mean() > 0.93

    monkeypatch.setattr(growing, "stretches", one_piece)
    at_once = growth_of(season, rows)
    for name in ("start", "end"):
        both = ([getattr(pause, name) for pause in one.pauses] for one in (at_once, pieces))
        assert next(both) == pytest.approx(next(both), abs=1)
    assert [(x.since, x.day) for x in at_once.losses] == [(cut.since, cut.day)]
    whole = at_once.curve
    half = np.log(whole.high_cm2 / whole.low_cm2) / 2
    apart = np.abs(np.log(curve.area_cm2 / whole.area_cm2))
    assert np.nanmedian(apart / half) < 0.1 and np.nanmax(apart) < 0.01


def test_a_canopy_that_is_back_after_months_is_told_so(season):
    """From the joined curve: the stretch of the cut does not see so far."""
    days = np.arange(220)
    area = np.exp(np.log(20) + 0.008 * days - 1.0 * (days >= 30))
    rows = rows_of(days, area * (1 + 0.004 * (-1) ** days))
    (cut,) = growth_of(season, rows).losses
    assert cut.recovered_days == pytest.approx(124, abs=2)
    assert cut.recovered_low <= cut.recovered_days <= cut.recovered_high


@pytest.mark.parametrize("back", (128, 131, 145, 157, 160))
def test_what_went_while_nobody_looked_is_told_whatever_day_it_is_seen_and_ever_after(season, back):
    """A gap longer than a stretch looks back; the season grows on."""
    days = np.array([n for n in range(300) if not back - 50 <= n < back])
    area = np.exp(np.log(20) + 0.01 * days - 0.9 * (days >= back))
    rows = rows_of(days, area * (1 + 0.004 * (-1) ** days))
    for seen in (back + 8, back + 40, back + 70, 300):
        growth = growth_of(season, [row for row in rows if row.day < FIRST + timedelta(seen)])
        assert [loss.day for loss in growth.losses] == [FIRST.toordinal() + back], seen
        assert FIRST.toordinal() + back in growth.curve.breaks


@pytest.mark.parametrize("step", [7, 14, 30])
def test_weekly_fortnightly_and_monthly_values_have_their_curve_and_their_loss(season, step):
    days = np.arange(0, 40 * step, step)
    area = np.exp(np.log(20) + 0.05 * days / step - 0.9 * (days >= 20 * step))
    growth = growth_of(season, rows_of(days, area * (1 + 0.004 * (-1) ** np.arange(40))))
    assert [loss.day - FIRST.toordinal() for loss in growth.losses] == [20 * step]
    measured = growth.curve.days[growth.curve.measured] - FIRST.toordinal()
    assert measured.tolist() == days.tolist()


def test_a_damaged_keep_is_made_again(season, daily):
    rows, _ = daily
    right = growth_of(season, rows)
    for content in ("", "null", "{}", '{"curve": {"days": [1]}, "pauses": [], "losses": []}'):
        damaged = growth_of(season, rows, dict.fromkeys(right.settled_now, content))
        assert told(damaged) == told(right) and damaged.settled_now == right.settled_now


def test_what_is_settled_is_taken_as_it_was_to_the_bit_and_nothing_else_is(season, daily):
    rows, _ = daily
    anew = growth_of(season, rows)
    again = growth_of(season, rows, anew.settled_now)
    assert told(again) == told(anew) and again.settled_now == anew.settled_now
    emptied = dict.fromkeys(anew.settled_now, '{"curve": {}, "pauses": [], "losses": []}')
    assert growth_of(season, rows, emptied).pauses != anew.pauses, "it is read, not made again"
    corrected = [replace(rows[0], area_cm2=rows[0].area_cm2 * 1.01), *rows[1:]]
    assert told(growth_of(season, corrected, anew.settled_now)) == told(
        growth_of(season, corrected)
    )
    assert len(growth_of(season, corrected).settled_now.keys() - anew.settled_now.keys()) == 1


def test_a_morning_keeps_what_is_settled_and_a_changed_rule_makes_it_again(
    tmp_path, daily, monkeypatch
):
    season = make_season(tmp_path / "bench")
    name = season.regions.region[0].name
    season.catalogue.store_daily([replace(row, region=name) for row in daily[0]])
    write_daily(season)
    kept = season.catalogue.settled_growth(name)
    assert kept and grow(season)[name].settled() == kept
    monkeypatch.setattr(growing, "ARITHMETIC", growing.ARITHMETIC + 1)
    growths = grow(season)
    assert not growths[name].settled_now.keys() & kept.keys()
    keep_settled(season, growths)
    assert season.catalogue.settled_growth(name) == growths[name].settled_now, "and no more"
    season.catalogue.close()
