"""Corrections of log odds are the likeliest ones at their cost."""

import numpy as np
import pytest

from lapsekit.vision.likeliest import LEAST_SURPRISE, SOFT, likeliest


def slope(found, looks):
    """Of what is made least; 0 at its minimum."""
    cost = LEAST_SURPRISE * found / np.hypot(found, SOFT)
    return cost + sum(every / (1 + np.exp(-odds - found)) - yes for odds, yes, every in looks)


def test_what_is_found_is_the_minimum():
    """At ten thousand mixtures of looks, few and many, of models sure and unsure."""
    rng = np.random.default_rng(3)
    looks = []
    for odds in np.linspace(-5, 5, 9):
        every = np.exp(rng.uniform(-7, 5, 10_000)) * (rng.uniform(size=10_000) < 0.3)
        looks.append((odds, every * rng.choice([0, 0.5, 1], 10_000), every))
    found = likeliest(looks)
    # A step of a thousandth is left to go at most
    steepest = 1 / SOFT + sum(every for *_, every in looks) / 4
    assert (np.abs(slope(found, looks)) < 0.02 * steepest).all()
    better = [slope(found + way, looks) * way for way in (-0.05, 0.05)]
    assert min(each.min() for each in better) > 0


@pytest.mark.parametrize("odds", [-5, -1, 0, 2, 5])
def test_many_looks_end_at_their_share(odds):
    """Of a thousand looks a quarter say yes: one in four, whatever the model said."""
    (found,) = likeliest([(odds, np.array([250.0]), np.array([1000.0]))])
    assert 1 / (1 + np.exp(-odds - found)) == pytest.approx(0.25, abs=0.01)


def test_nothing_told_corrects_nothing():
    assert not likeliest([(3.0, np.zeros(4), np.zeros(4))]).any()
    assert likeliest([]).size == 0
