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
from lapsekit.growth.stretches import AROUND_DAYS, Stretch, stretches
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
    found = [
        Daily(
            "basil",
            FIRST + timedelta(days=int(n)),
            *(0.2, 0.19, 0.21),
            *(float(a * f) for f in (1, 0.97, 1.03)),
            5,
            {},
        )
        for n, a in zip(days, area, strict=True)
        if n not in (20, 21, 130)
    ]
    return found, np.exp(true)


def growth_of(season, rows, settled=None):
    return Growth(season.regions.region[0], rows, settled or {})


def told(growth):
    """All that is told of growth, fit to be compared to the bit."""
    curve = {f.name: getattr(growth.curve, f.name).tobytes() for f in fields(GrowthCurve)}
    return curve, growth.pauses, growth.losses


@given(st.integers(700_000, 700_100), st.integers(0, 800))
def test_stretches_are_all_days_once_and_a_day_more_leaves_what_is_settled(first, length):
    found = stretches(first, first + length)
    assert found[0].first == first and found[-1].end == first + length + 1
    assert all(a.end == b.first for a, b in pairwise(found))
    assert [one.is_settled for one in found] == [True] * (len(found) - 1) + [False]
    assert length >= 104 or len(found) == 1
    for one in found[:-1]:
        assert one.seen_end == one.end + AROUND_DAYS <= first + length + 1
        assert one.seen_first == max(first, one.first - AROUND_DAYS)
    assert found[:-1] == stretches(first, first + length + 1)[: len(found) - 1]
    assert found[-1].seen_end - found[-1].seen_first <= 135, "what a morning has to look at"


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

    def one_piece(first, last):
        return [Stretch(first, last + 1, first, last + 1, False)]

    monkeypatch.setattr(growing, "stretches", one_piece)
    whole = growth_of(season, rows).curve
    half = np.log(whole.high_cm2 / whole.low_cm2) / 2
    apart = np.abs(np.log(curve.area_cm2 / whole.area_cm2))
    assert np.nanmedian(apart / half) < 0.1 and np.nanmax(apart) < 0.01


def test_a_canopy_that_is_back_after_months_is_told_so(season):
    """From the joined curve: the stretch of the cut does not see so far."""
    days = np.arange(220)
    area = np.exp(np.log(20) + 0.008 * days - 1.0 * (days >= 30))
    rows = [
        Daily(
            *("basil", FIRST + timedelta(days=int(n)), 0.2, 0.19, 0.21),
            *(float(a * (1 + 0.004 * (-1) ** n) * f) for f in (1, 0.98, 1.02)),
            *(5, {}),
        )
        for n, a in zip(days, area, strict=True)
    ]
    (cut,) = growth_of(season, rows).losses
    assert cut.recovered_days == pytest.approx(124, abs=2)
    assert cut.recovered_low <= cut.recovered_days <= cut.recovered_high


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
    assert kept and grow(season)[name].settled == kept
    monkeypatch.setattr(growing, "ARITHMETIC", growing.ARITHMETIC + 1)
    growths = grow(season)
    assert not growths[name].settled_now.keys() & kept.keys()
    keep_settled(season, growths)
    assert season.catalogue.settled_growth(name) == growths[name].settled_now, "and no more"
    season.catalogue.close()
