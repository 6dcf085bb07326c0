"""Growth laws: parameters come back, asymptotes that were not reached are refused."""

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from lapsekit.growth.fits import fit_laws
from lapsekit.growth.laws import LAWS
from lapsekit.growth.reaching import day_reached

DAYS = np.arange(10, 80)
TRUE = {
    "logistic": (300.0, 45.0, 7.0),
    "gompertz": (300.0, 38.0, 12.0),
    "richards": (300.0, 45.0, 5.0, 2.5),
    "expolinear": (9.0, 0.15, 35.0),
}


def measured(law, noise=0.0, days=DAYS, seed=3):
    random = np.random.default_rng(seed)
    return LAWS[law].value(days, np.array(TRUE[law])) * np.exp(random.normal(0, noise, len(days)))


@pytest.fixture(scope="module")
def soybean():
    given = os.environ.get("LAPSEKIT_PHOTOS")
    if not given or not (Path(given) / "growth-tables").is_dir():
        pytest.skip("LAPSEKIT_PHOTOS names no folder with growth-tables in it")
    with (Path(given) / "growth-tables" / "nlme_Soybean.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["Plot"] == "1988F1"]
    return np.array([[float(row["Time"]), float(row["weight"])] for row in rows]).T


@pytest.mark.parametrize("law", TRUE)
def test_every_law_finds_the_parameters_it_was_drawn_with(law):
    area = measured(law)
    (fit,) = fit_laws(DAYS, area, laws=(law,)).fits
    assert list(fit.parameters.values()) == pytest.approx(TRUE[law], rel=1e-3)


@pytest.mark.parametrize("law", ["logistic", "gompertz", "expolinear"])
def test_the_law_a_plant_follows_is_preferred(law):
    area = measured(law, 0.03)
    assert fit_laws(DAYS, area, 0.03 * area).fits[0].law == law


@pytest.mark.parametrize("law", TRUE)
def test_the_day_of_an_area_is_where_the_curve_has_it(law):
    fit = fit_laws(DAYS, measured(law, 0.01), laws=(law,)).fits[0]
    day = day_reached(fit, 150.0).day
    assert fit.at([day])[0] == pytest.approx(150.0, rel=1e-6)


def test_intervals_of_a_day_hold_the_true_day_as_often_as_they_say():
    """200 logistic plants, 4 % errors: the day of 150 cm² lies inside in 90 to 99 %."""
    inside = 0
    for seed in range(200):
        area = measured("logistic", 0.04, seed=seed)
        fit = fit_laws(DAYS, area, 0.04 * area, laws=("logistic",)).fits[0]
        reach = day_reached(fit, 150.0)
        inside += reach.low <= 45.0 <= reach.high
    assert 0.90 <= inside / 200 <= 0.99


def test_an_asymptote_not_reached_is_refused_in_words():
    days = np.arange(10, 42)
    (fit,) = fit_laws(days, measured("logistic", 0.02, days), laws=("logistic",)).fits
    assert fit.asymptote is None
    assert "asymptote" in fit.refusal


def test_an_asymptote_that_was_reached_is_stated_and_holds_the_truth():
    (fit,) = fit_laws(DAYS, measured("logistic", 0.03), laws=("logistic",)).fits
    assert fit.refusal == ""
    assert fit.asymptote_low < 300 < fit.asymptote_high


def test_a_day_after_the_last_one_says_that_it_is_extrapolated():
    days = np.arange(10, 50)
    fit = fit_laws(days, measured("expolinear", 0.02, days), laws=("expolinear",)).fits[0]
    reach = day_reached(fit, 200.0)
    assert reach.extrapolated
    assert "extrapolated by" in reach.note
    assert not day_reached(fit, 50.0).extrapolated


def test_an_area_too_far_ahead_is_refused():
    days = np.arange(10, 30)
    fit = fit_laws(days, measured("expolinear", 0.02, days), laws=("expolinear",)).fits[0]
    reach = day_reached(fit, 400.0)
    assert reach.day is None
    assert "too far" in reach.note


def test_an_area_above_the_asymptote_is_never_reached():
    fit = fit_laws(DAYS, measured("logistic"), laws=("logistic",)).fits[0]
    assert day_reached(fit, 400.0).note == "the curve stays below 400"


def test_too_few_days_are_told():
    found = fit_laws(DAYS[:5], measured("logistic")[:5])
    assert found.fits == ()
    assert "5 measured days are too few for 4" in found.failed["richards"]


def test_errors_that_hang_together_widen_the_interval():
    random = np.random.default_rng(1)
    errors = random.normal(size=len(DAYS))
    loose = measured("logistic") * np.exp(0.03 * errors)
    tied = measured("logistic") * np.exp(0.03 * np.convolve(errors, np.ones(6) / 6**0.5, "same"))
    widths = [fit_laws(DAYS, x, 0.03 * x, ("logistic",)).fits[0].correlation for x in (loose, tied)]
    assert widths[0] < 0.3 < widths[1]


def test_the_soybean_plot_has_the_published_programs_parameters(soybean):
    """Logistic of plot 1988F1 against the reference output: within 1 %."""
    (fit,) = fit_laws(*soybean, laws=("logistic",)).fits
    assert list(fit.parameters.values()) == pytest.approx((20.3384, 57.4024, 9.6047), rel=0.01)


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("logistic", (300.0, 30.0, 7.0)),
        ("gompertz", (300.0, 25.0, 11.0)),
        ("richards", (300.0, 40.0, 6.0, 2.5)),
        ("richards", (300.0, 20.0, 12.0, 0.05)),
        ("expolinear", (9.0, 0.12, 35.0)),
    ],
)
def test_slopes_are_those_of_the_value(name, values):
    """By central differences, from days long before the start to long after the end."""
    law, values = LAWS[name], np.array(values)
    days = np.linspace(-40, 160, 41)
    found = law.slopes(days, values)
    for place, value in enumerate(values):
        step = np.zeros(values.size)
        step[place] = 1e-5 * value
        risen = law.value(days, values + step) - law.value(days, values - step)
        true = risen / (2 * step[place])
        assert found[:, place] == pytest.approx(true, rel=1e-5, abs=1e-6 * np.abs(true).max())


def test_far_from_all_growth_slopes_stay_finite():
    for law in LAWS.values():
        low, high = law.bounds(np.array([0.0, 70.0]), np.array([1.0, 900.0]))
        for corner in (low, high, (low + high) / 2):
            with np.errstate(over="ignore", invalid="ignore"):
                assert np.isfinite(law.slopes(np.array([0.0, 35.0, 70.0]), corner)).all(), law.name
