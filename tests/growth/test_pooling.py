"""Plants that differ are brought together in their true mean, each weighed by what it tells."""

import numpy as np
import pytest

from lapsekit.growth.fits import fit_laws
from lapsekit.growth.pooling import pooled

TRUE = np.array([20.0, 55.0, 8.0])
SPREAD = np.array([3.0, 4.0, 0.5])


def fits(seed, days, plants=40, noise=0.3):
    random = np.random.default_rng(seed)
    found = []
    for number in range(plants):
        full, middle, scale = random.normal(TRUE, SPREAD)
        shown = days(number)
        weight = full / (1 + np.exp((middle - shown) / scale)) + random.normal(0, noise, shown.size)
        found += fit_laws(shown, weight, laws=("logistic",)).fits
    return found


def test_the_mean_is_that_of_the_plants_and_so_is_their_spread():
    found = pooled(fits(1, lambda _: np.arange(14, 90, 7.0)))
    assert found.plants == 40
    for name, true, spread in zip(found.parameters, TRUE, SPREAD, strict=True):
        assert abs(found.parameters[name] - true) < 3 * found.errors[name], name
        assert found.spread[name] == pytest.approx(spread, rel=0.45), name


def test_plants_seen_for_too_short_a_time_do_not_spoil_the_mean():
    """Every third is last seen on day 60, from where its final weight can hardly be told."""
    cut = fits(2, lambda number: np.arange(14, 62 if number % 3 == 0 else 90, 7.0))
    alone = np.mean([fit.parameters["full"] for fit in cut])
    found = pooled(cut)
    assert abs(found.parameters["full"] - TRUE[0]) < 3 * found.errors["full"]
    assert abs(found.parameters["full"] - TRUE[0]) < 0.5 * abs(alone - TRUE[0])


def test_two_plants_are_too_few_and_two_laws_too_many():
    two = fits(3, lambda _: np.arange(14, 90, 7.0), plants=2)
    assert pooled(two) is None
    other = fit_laws(np.arange(14, 90, 7.0), np.exp(0.05 * np.arange(11)), laws=("gompertz",)).fits
    with pytest.raises(ValueError, match="gompertz, logistic cannot be pooled"):
        pooled([*two, *other])
