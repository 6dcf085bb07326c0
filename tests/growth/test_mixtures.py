"""Quantiles of mixtures are those that draws from them have."""

import numpy as np
import pytest
from scipy.stats import t

from lapsekit.growth.mixtures import quantile


def test_one_cast_has_students_own_quantiles():
    found = quantile(0.975, np.ones(1), np.array([[3.0, -1.0]]), np.array([[4.0, 0.01]]), 7)
    assert found == pytest.approx([3 + 2 * t.ppf(0.975, 7), -1 + 0.1 * t.ppf(0.975, 7)])


@pytest.mark.parametrize("level", [0.025, 0.5, 0.8, 0.975])
def test_so_much_of_the_mixture_lies_below(level):
    """Casts of very unlike spread and place, some far from the rest."""
    random = np.random.default_rng(4)
    shares = random.dirichlet(np.full(12, 0.3))
    means, spreads = random.normal(0, 3, (12, 50)), np.exp(random.normal(-2, 3, (12, 50)))
    found = quantile(level, shares, means, spreads**2, 5.0)
    assert shares @ t.cdf((found - means) / spreads, 5.0) == pytest.approx(level, abs=1e-8)


def test_a_wide_cast_of_little_weight_hardly_widens_the_interval():
    """By its variance alone it would be twice as wide."""
    shares, spreads = np.array([0.97, 0.03]), np.array([[1.0], [12.0]])
    high = quantile(0.975, shares, np.zeros((2, 1)), spreads**2, 60.0)[0]
    drawn = np.random.default_rng(1)
    which = drawn.choice(2, 400_000, p=shares)
    values = spreads[which, 0] * drawn.standard_t(60.0, which.size)
    assert high == pytest.approx(np.quantile(values, 0.975), rel=0.01)
    assert high < 0.6 * 2 * np.sqrt(shares @ spreads[:, 0] ** 2)


def test_what_is_sure_has_no_width():
    found = quantile(0.5, np.array([0.4, 0.6]), np.array([[1.0], [2.5]]), np.zeros((2, 1)), 9.0)
    assert found == pytest.approx(2.5, abs=1e-9)
