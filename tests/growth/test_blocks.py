"""Two groups on several benches: the difference is the groups', whatever the benches do."""

from itertools import combinations, product

import numpy as np
import pytest

from lapsekit.growth.blocks import blocked_contrast, smallest_blocked_p
from lapsekit.growth.contrasts import contrast
from lapsekit.growth.permutation import DRAWS, permutation_interval, permutation_p, smallest_p


def benches(*sides):
    """Plants by bench of one group."""
    return {
        f"bench {n}": {f"p{n}-{k}": value for k, value in enumerate(values)}
        for n, values in enumerate(sides)
    }


def differences_by_hand(first, second):
    """Every dealing within benches, written down plainly; the one that was made first."""
    weights = [len(a) * len(b) / (len(a) + len(b)) for a, b in zip(first, second, strict=True)]
    ways = []
    for a, b in zip(first, second, strict=True):
        every = [*a, *b]
        chosen = combinations(range(len(every)), len(a))
        ways.append(
            [
                np.mean([every[k] for k in range(len(every)) if k not in side])
                - np.mean([every[k] for k in side])
                for side in chosen
            ]
        )
    return [np.average(each, weights=weights) for each in product(*ways)]


@pytest.mark.parametrize("sizes", [[(2, 2), (2, 2)], [(3, 2), (1, 3), (2, 2)], [(1, 1)] * 6])
def test_exact_p_is_that_of_every_dealing_written_down(sizes):
    random = np.random.default_rng(len(sizes))
    first = [random.normal(n, 1, a) for n, (a, _) in enumerate(sizes)]
    second = [random.normal(n + 0.8, 1, b) for n, (_, b) in enumerate(sizes)]
    found = blocked_contrast(benches(*first), benches(*second)).contrast
    every = differences_by_hand(first, second)
    assert found.estimate == pytest.approx(every[0])
    assert found.p == pytest.approx(np.mean(np.abs(every) >= abs(every[0]) - 1e-12))
    assert found.is_exact


def test_one_bench_alone_is_the_comparison_without_benches():
    random = np.random.default_rng(1)
    first, second = random.normal(0, 1, 5), random.normal(1, 1, 4)
    blocked = blocked_contrast(benches(first), benches(second)).contrast
    plain = contrast(
        {f"a{n}": v for n, v in enumerate(first)}, {f"b{n}": v for n, v in enumerate(second)}
    )
    told = ("estimate", "p", "low", "high", "smallest_p")
    assert [getattr(blocked, name) for name in told] == pytest.approx(
        [getattr(plain, name) for name in told]
    )


def test_benches_that_differ_tenfold_hide_nothing_and_make_up_nothing():
    """Most of the second group stands on the good bench; by itself it is no better."""
    random = np.random.default_rng(2)
    poor, good = random.normal(0, 0.1, 10), random.normal(2.3, 0.1, 10)
    first, second = (poor[:8], good[:2]), (poor[8:], good[2:])
    blocked = blocked_contrast(benches(*first), benches(*second)).contrast
    assert abs(blocked.estimate) < 0.15 and not blocked.is_claimed
    flat = [{f"{n}": v for n, v in enumerate(np.concatenate(side))} for side in (first, second)]
    naive = contrast({f"a{n}": v for n, v in flat[0].items()}, flat[1])
    assert naive.estimate > 1 and naive.is_claimed
    better = blocked_contrast(benches(*first), benches(*(side + 0.4 for side in second))).contrast
    assert better.is_claimed and better.low < 0.4 < better.high


@pytest.mark.parametrize("sizes", [[(4, 4), (4, 4)], [(5, 2), (2, 4), (3, 3)]])
def test_of_a_hundred_intervals_about_95_hold_the_truth_and_few_claims_are_false(sizes):
    random = np.random.default_rng(3)
    held = claimed = 0
    for _ in range(200):
        level = random.normal(0, 2, len(sizes))
        first = [random.normal(x, 0.3, a) for x, (a, _) in zip(level, sizes, strict=True)]
        second = [random.normal(x, 0.3, b) for x, (_, b) in zip(level, sizes, strict=True)]
        found = blocked_contrast(benches(*first), benches(*second)).contrast
        held += found.low <= 0 <= found.high
        claimed += found.is_claimed
    assert 182 <= held <= 199
    assert claimed == 200 - held <= 18


def test_more_dealings_than_can_be_looked_at_are_drawn_and_agree():
    random = np.random.default_rng(4)
    first, second = random.normal(0, 1, (3, 6)), random.normal(0.45, 1, (3, 6))
    found = blocked_contrast(benches(*first), benches(*second)).contrast
    assert not found.is_exact
    centred = [
        np.concatenate(x) - np.mean(np.concatenate(x)) for x in zip(first, second, strict=True)
    ]
    draws = [
        np.mean([x[6:].mean() - x[:6].mean() for x in map(random.permutation, centred)])
        for _ in range(4000)
    ]
    p = np.mean(np.abs(draws) >= abs(found.estimate))
    assert found.p == pytest.approx(p, abs=0.035)


@pytest.mark.parametrize("difference", [0.7, 30.0])
def test_one_bench_of_twelve_against_twelve_is_the_drawn_comparison_without_benches(difference):
    random = np.random.default_rng(5)
    first, second = random.normal(0, 1, 12), random.normal(difference, 1, 12)
    found = blocked_contrast(benches(first), benches(second)).contrast
    assert not found.is_exact and found.p == permutation_p(first, second)
    assert (found.low, found.high) == pytest.approx(permutation_interval(first, second, 0.95))
    least = 1 / (DRAWS + 1)
    assert found.smallest_p == smallest_p(12, 12) == least
    assert found.p == least if difference == 30 else found.p > 100 * least


def test_two_benches_of_twelve_against_twelve_have_p_of_ten_times_as_many_fresh_dealings():
    random = np.random.default_rng(6)
    first, second = random.normal(0, 1, (2, 12)), random.normal(0.8, 1, (2, 12))
    found = blocked_contrast(benches(*first), benches(*second)).contrast
    every = np.concatenate([first, second], axis=1)
    draws = np.zeros(200_000)
    for bench in every:
        dealt = random.permuted(np.tile(bench, (len(draws), 1)), axis=1)
        draws += (dealt[:, 12:].mean(axis=1) - dealt[:, :12].mean(axis=1)) / 2
    p = np.mean(np.abs(draws) >= abs(found.estimate))
    assert 0.01 < p < 0.2
    assert found.p == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / DRAWS))


def test_groups_that_never_stand_on_one_bench_are_not_compared_and_it_says_why():
    found = blocked_contrast(
        {"north": {"a": 1.0, "b": 1.1}}, {"south": {"c": 2.0, "d": 2.1}}, names=("fed", "plain")
    )
    assert found.contrast.estimate is None and found.contrast.p is None
    assert "no bench has measured plants of both fed and plain" in found.contrast.refusal
    assert set(found.left_out) == {"north", "south"} and not found.contrast.is_claimed


def test_too_few_plants_claim_nothing_however_they_grew():
    found = blocked_contrast(benches([0.0, 0.1], [1.0, 1.1]), benches([5.0, 5.1], [6.0, 6.1]))
    assert found.contrast.smallest_p == pytest.approx(2 / 36)
    assert "no p below 0.06" in found.contrast.refusal and not found.contrast.is_claimed
    assert found.contrast.low is None
    alone = blocked_contrast(benches([0.0]), benches([5.0])).contrast
    assert alone.p is None and alone.estimate == 5 and not alone.is_claimed
    assert smallest_blocked_p([([0.0], [1.0])] * 6) == pytest.approx(2 / 64)


def test_a_plant_without_a_number_is_left_out_and_named():
    found = blocked_contrast(
        {"north": {"a": 1.0, "b": float("nan")}}, {"north": {"c": 2.0, "d": 2.2}}
    ).contrast
    assert found.without_number == ("b (north)",)
    assert (found.first_plants, found.second_plants) == (1, 2)
