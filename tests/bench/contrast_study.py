"""How often groups are called different when they are not, and how often when they are.

    python tests/bench/contrast_study.py [EXPERIMENTS]

Each experiment grows two groups of plants over 40 days: sizes and growth rates differ between
plants, days err by 4 % and remember the day before. Every plant becomes one number, groups are
compared by permutation, and the three questions of one experiment (area, area under the curve,
growth rate) are corrected by Holm. Beside it stand Student's t test on one slope per plant, and
the pooled regression over all days, which takes days for replicates.
"""

import sys
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr
from scipy.stats import linregress, ttest_ind

from lapsekit.growth.contrasts import area_at, area_days, contrasts, rgr
from lapsekit.growth.planning import power_of
from lapsekit.growth.plants import Plant, growth_rate

SIDES = (3, 4, 8)
DAYS = 40
RGR, RGR_SCATTER, RGR_DIFFERENCE = 0.08, 0.006, 0.009
SIZE_SCATTER = 0.25
NOISE, MEMORY = 0.04, 0.6
LEVEL = 0.95


@dataclass(frozen=True)
class Claims:
    """Share of experiments that claim a difference, by who is asked."""

    rate: float
    """Growth rate alone, by permutation of one slope per plant."""
    any_of_three: float
    """Any of area, area under the curve, growth rate; by permutation, Holm's correction."""
    covered: float
    """Share of intervals of the growth rate's difference that hold the true one."""
    t_test: float
    """Student's t on one slope per plant."""
    pooled: float
    """One regression over all days of all plants."""


def grown(random, plants, rate):
    """Plants whose curves are known; days 10 to 49 after sowing."""
    ages = np.arange(10.0, 10 + DAYS)
    found = []
    for number in range(plants):
        own_rate = rate + random.normal(0, RGR_SCATTER)
        errors = np.empty(DAYS)
        errors[0] = random.normal(0, NOISE)
        for day in range(1, DAYS):
            fresh = random.normal(0, NOISE * np.sqrt(1 - MEMORY**2))
            errors[day] = MEMORY * errors[day - 1] + fresh
        logs = 1 + random.normal(0, SIZE_SCATTER) + own_rate * (ages - ages[0]) + errors
        name = f"{rate:g}-{number}"
        found.append(Plant(name, tuple(ages), tuple(np.exp(logs))))
    return found


def pooled_p(first, second):
    """P of the slopes' difference when all days of all plants stand for themselves."""
    fits = []
    for plants in (first, second):
        days = np.concatenate([p.ages_days for p in plants])
        fits.append(linregress(days, np.log(np.concatenate([p.areas for p in plants]))))
    away = (fits[1].slope - fits[0].slope) / np.hypot(fits[0].stderr, fits[1].stderr)
    return 2 * ndtr(-abs(away))


def study(plants, difference, experiments, seed=5):
    """Claims in many experiments of `plants` a side whose growth rates truly differ so much."""
    random = np.random.default_rng([seed, plants, round(difference * 1e6)])
    last = 9.0 + DAYS
    measures = [rgr(10, last), area_at(last), area_days(10, last)]
    rows = []
    for _ in range(experiments):
        first = grown(random, plants, RGR)
        second = [Plant(f"b-{p.name}", p.ages_days, p.areas)
                  for p in grown(random, plants, RGR + difference)]  # fmt: skip
        (rate,) = contrasts({"a": first, "b": second}, measures[:1], LEVEL)
        every = contrasts({"a": first, "b": second}, measures, LEVEL)
        slopes = [[growth_rate(p, 10, last) for p in side] for side in (first, second)]
        rows.append(
            (
                rate.is_claimed,
                any(c.is_claimed for c in every),
                rate.low <= difference <= rate.high,
                ttest_ind(*slopes).pvalue <= 1 - LEVEL,
                pooled_p(first, second) <= 1 - LEVEL,
            )
        )
    return Claims(*(float(share) for share in np.mean(rows, axis=0)))


def main(experiments):
    """Print the table."""
    print(
        f"{experiments} experiments each; growth rate {RGR} per day, ± {RGR_SCATTER} between them"
    )
    print(
        f"{'a side':>6} {'true difference':>15} {'rate':>7} {'any of 3':>9} {'t test':>7} "
        f"{'pooled':>7} {'interval holds':>15} {'planned':>8}"
    )
    slope_error = np.sqrt(RGR_SCATTER**2 + 2e-7)
    for difference in (0.0, RGR_DIFFERENCE):
        for plants in SIDES:
            found = study(plants, difference, experiments)
            planned = power_of(plants, difference / slope_error, LEVEL)
            print(
                f"{plants:6} {difference:15g} {found.rate:7.1%} {found.any_of_three:9.1%} "
                f"{found.t_test:7.1%} {found.pooled:7.1%} {found.covered:15.1%} {planned:8.1%}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
