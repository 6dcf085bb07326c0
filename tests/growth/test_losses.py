"""Sudden losses of plants whose every day is known."""

import numpy as np
import pytest

from lapsekit.growth.curves import growth_curve
from lapsekit.growth.losses import find_losses
from tests.growth.plants import correlated

DAYS = np.arange(60)


def measured(true, noise=0.03, seed=1):
    errors = noise * correlated(np.random.default_rng(seed), len(true), 0.4)
    return true * np.exp(errors), noise * true


def cut(day=30, share=0.5, rgr=0.08):
    return 3 * np.exp(rgr * DAYS) * np.where(day <= DAYS, 1 - share, 1)


def test_a_harvest_is_found_with_its_day_and_share():
    (loss,) = find_losses(DAYS, *measured(cut()))
    assert (loss.since, loss.day) == (29, 30)
    assert loss.share == pytest.approx(0.5, abs=0.05)
    assert loss.confirmed


def test_the_interval_of_the_share_holds_the_true_share_as_often_as_it_says():
    """Of 30 plants at least 26, with intervals of 4 to 15 points."""
    inside = 0
    for seed in range(30):
        (loss,) = find_losses(DAYS, *measured(cut(), seed=seed))
        inside += loss.share_low <= 0.5 <= loss.share_high
        assert 0.03 < loss.share_high - loss.share_low < 0.15
    assert inside >= 26


def test_regrowth_to_the_size_before_takes_as_long_as_it_truly_did():
    """Half is gone, RGR 0.08: back at the size of the day before after ln 2 / 0.08 - 1 days."""
    (loss,) = find_losses(DAYS, *measured(cut()))
    assert loss.recovered_days == pytest.approx(np.log(2) / 0.08 - 1, abs=2)
    assert loss.recovered_low <= loss.recovered_days <= loss.recovered_high


def test_what_never_grows_back_has_no_recovery_time():
    true = np.where(DAYS >= 30, 40.0, 100.0)
    (loss,) = find_losses(DAYS, *measured(true))
    assert loss.recovered_days is None
    assert loss.recovered_high is None


def test_wilting_that_passes_in_five_days_is_a_loss_with_its_recovery():
    """30 % of the projection goes in a cold night and comes back evenly in 5 days."""
    gone = np.interp(DAYS, [39.9, 40, 45], [0, 0.3, 0])
    true = 3 * np.exp(0.05 * DAYS) * (1 - gone)
    (loss,) = find_losses(DAYS, *measured(true, 0.015))
    assert loss.day == 40
    assert loss.share == pytest.approx(0.3, abs=0.08)
    assert loss.recovered_days == pytest.approx(4, abs=2)


@pytest.mark.parametrize("seed", range(3))
def test_wilting_over_days_is_told_alike_in_any_unit_of_area(seed):
    """Within it a bad day and one more break are the same thing, which rounding must not settle."""
    gone = np.zeros(60)
    gone[40:44] = 0.34, 0.36, 0.25, 0.1
    area, error = measured(100 * np.exp(0.02 * DAYS) * (1 - gone), 0.01, seed)
    told = set()
    for unit in (1, 1.01, 1.1, 2, 3.7, 0.2, 0.77):
        curve = growth_curve(DAYS, unit * area, unit * error)
        told.add((*curve.breaks.tolist(), "bad", *curve.days[curve.bad].tolist()))
        (loss,) = find_losses(DAYS, unit * area, unit * error)
        assert (loss.since, loss.day) == (39, 40)
    assert len(told) == 1


def test_a_fall_on_the_last_day_is_told_but_not_confirmed():
    area, error = measured(cut(day=59, share=0.25))
    (loss,) = find_losses(DAYS, area, error)
    assert (loss.day, loss.confirmed) == (59, False)


def test_a_single_low_day_is_no_loss():
    area, error = measured(3 * np.exp(0.08 * DAYS))
    area[30] *= 0.5
    assert find_losses(DAYS, area, error) == []


def test_leaves_lost_little_by_little_are_no_sudden_loss():
    true = 100 * np.exp(0.05 * np.minimum(DAYS, 40) - 0.05 * np.maximum(DAYS - 40, 0))
    assert find_losses(DAYS, *measured(true)) == []


def test_a_rise_at_once_is_no_loss():
    assert find_losses(DAYS, *measured(cut(share=-0.5))) == []


def test_a_low_spell_on_doubtful_days_is_no_loss():
    """Someone stands in the picture on days 30 to 32: flagged, nothing is lost."""
    area, error = measured(3 * np.exp(0.08 * DAYS))
    hidden = (DAYS >= 30) & (DAYS <= 32)
    area[hidden] *= 0.6
    assert find_losses(DAYS, area, error, hidden) == []


def test_a_harvest_behind_a_gap_is_told_with_the_days_it_lies_between():
    area, error = measured(cut())
    area[28:33] = np.nan
    (loss,) = find_losses(DAYS, area, error)
    assert (loss.since, loss.day) == (27, 33)


def test_two_harvests_are_two_losses():
    true = cut(20, 0.5) * np.where(DAYS >= 40, 0.4, 1)
    losses = find_losses(DAYS, *measured(true))
    assert [loss.day for loss in losses] == [20, 40]
    assert [loss.share for loss in losses] == pytest.approx([0.5, 0.6], abs=0.07)


def test_a_cut_is_found_whatever_its_days_share_and_hides_behind_nothing_that_came_later():
    """Of leaves as hard to tell from soil before the cut as after, the share that went is sure."""
    area, error = measured(cut(10, 0.4))
    widths = []
    for shared in (np.full(60, 0.3), np.where(DAYS < 20, 0.2, 0.03), np.zeros(60)):
        (loss,) = find_losses(DAYS, area, error, lasting_cm2=shared * area)
        assert (loss.since, loss.day) == (9, 10)
        assert loss.share == pytest.approx(0.4, abs=0.05)
        widths.append(loss.share_high - loss.share_low)
    assert max(widths) < 2 * min(widths), "what is stated counts as one day of scatter"


def test_what_the_days_before_and_after_do_not_share_makes_the_lost_share_less_sure():
    area, error = measured(cut())
    alike, apart = (
        find_losses(DAYS, area, error, lasting_cm2=np.where(DAYS >= 30, later, 0.02) * area)[0]
        for later in (0.02, 0.12)
    )
    assert apart.share_high - apart.share_low > 1.5 * (alike.share_high - alike.share_low)
    assert apart.share_low < 0.5 < apart.share_high
