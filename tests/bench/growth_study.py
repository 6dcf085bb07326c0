"""How honest growth curves, pauses and losses are, on simulated plants whose truth is known.

    python -m tests.bench.growth_study [--plants N] [--correlation RHO] [--weather SD] [--seed N]

Plants grow by logistic, Gompertz or expolinear laws at 0.03 to 0.12 per day for 72 days; half of
them pause, a third are cut, days are missing, and neighbouring days' errors are correlated. The
table has one line for each size of the daily errors. As many plants again grow without a pause but
meet a knock, an obstruction or a crowded end, flagged as measuring flags them, or a change of the
area's scale that nothing flagged: none of these is a pause. Power is told apart by what the pause
cost the plant, its true growth rate times the days of the pause, beside the power of a test that is
told the dates, the errors' size and their correlation.
"""

import argparse
import time
from collections import defaultdict

import numpy as np
from scipy.stats import norm

from lapsekit.growth.curves import growth_curve
from lapsekit.growth.losses import find_losses
from lapsekit.growth.pauses import find_pauses, turns_of
from tests.growth.plants import Plant, simulated

NEEDS = "five minutes"

DAYS = 72
COSTS = ((0.0, 0.2), (0.2, 0.3), (0.3, 0.45), (0.45, 2.0))
RATES = ((0.0, 0.03), (0.03, 0.05), (0.05, 0.08), (0.08, 0.12), (0.03, 0.12))
"""True growth rates just before the pause. Plants are drawn by their rate as seedlings, and some
grow at less than 0.03 per day by the time they pause."""

NEAR_TURN = (1, 3)
"""Days from the start or end of a pause within which the bands are counted on their own."""


def drawn(random, noise: float, rho: float, weather: float = 0.0) -> Plant:
    """A plant of the study: half of them pause for 4 to 14 days, a third are cut."""
    pause = cut = None
    if random.random() < 0.5:
        start = random.uniform(8, 50)
        pause = (start, start + random.uniform(4, 14))
    if random.random() < 1 / 3:
        cut = (int(random.integers(10, 66)), float(random.uniform(0.25, 0.7)))
        if pause and abs(cut[0] - np.mean(pause)) < 12:
            cut = None
    return simulated(random, noise, rho, DAYS, pause=pause, cut=cut, weather=weather)


def mishaps(random, plant: Plant) -> dict[str, tuple[np.ndarray, np.ndarray | None]]:
    """What may be taken for a pause and is none: shares of the area measured, days flagged."""
    day = random.integers(10, DAYS - 10)
    after, within = plant.days >= day, np.abs(plant.days - day - 3) <= random.integers(1, 4)
    knocked = np.where(after, np.exp(random.uniform(-0.2, 0.2)), 1.0)
    hidden = np.where(within, random.uniform(0.6, 1.0), 1.0)
    crowded = np.minimum(1.0, plant.true_cm2[day] / plant.true_cm2)
    return {
        "knock": (knocked, plant.days == day),
        "obstruction": (hidden, within),
        "crowded end": (crowded, after),
        "change of scale, not flagged,": (knocked, None),
    }


def cost_of(plant: Plant) -> float:
    """Growth of log area that the pause cost."""
    start, end = plant.pause
    return float(plant.true_rgr[int(start) - 1] * (end - start))


def told_power(plant: Plant, rho: float) -> float:
    """Power (errors of the first kind 1 %) of a test told dates, errors and that growth is cubic.

    No method can do better that has to find out all of these, so this is the ceiling.
    """
    measured = np.isfinite(plant.area_cm2)
    days, noise = plant.days[measured], plant.noise[measured]
    apart = np.abs(np.subtract.outer(days, days))
    root = np.linalg.cholesky(rho**apart * np.outer(noise, noise))
    start, end = plant.pause
    lost = cost_of(plant) / (end - start) * np.clip(days - start, 0, end - start)
    smooth = np.vander((days - days.mean()) / DAYS, 4)
    lost, smooth = np.linalg.solve(root, lost), np.linalg.solve(root, smooth)
    lost = lost - smooth @ np.linalg.lstsq(smooth, lost, rcond=None)[0]
    return float(norm.cdf(np.linalg.norm(lost) - norm.ppf(0.99)))


def judged(plant: Plant, rho: float) -> dict[str, list]:
    """What was found of one plant, held against its truth."""
    measured = plant.days, plant.area_cm2, plant.error_cm2
    found = defaultdict(list)
    pauses = find_pauses(*measured)
    turns = turns_of(pauses)
    _judge_pauses(found, plant, pauses, rho)
    _judge_curve(found, plant, growth_curve(*measured, turns=turns))
    _judge_losses(found, plant, find_losses(*measured, turns=turns))
    return found


def _judge_pauses(found, plant: Plant, pauses, rho: float) -> None:
    if plant.pause is None:
        found["false pause"].append(bool(pauses))
        return
    start, end = plant.pause
    right = [p for p in pauses if min(p.end, end) > max(p.start, start)]
    found["power"].append(bool(right))
    cost, rate = cost_of(plant), plant.true_rgr[int(start) - 1]
    for low, high in COSTS:
        if low <= cost < high:
            found[f"power at cost {low:g} to {high:g}"].append(bool(right))
            found[f"power at cost {low:g} to {high:g}, ceiling"].append(told_power(plant, rho))
    for low, high in RATES:
        if low <= rate < high:
            found[f"power at RGR {low:g} to {high:g}"].append(bool(right))
    found["second pause claimed"].append(len(pauses) > len(right[:1]))
    if right:
        pause = max(right, key=lambda p: p.gain)
        found["start error"].append(abs(pause.start - start))
        found["end error"].append(abs(pause.end - end))
        found["start covered"].append(pause.start_low <= start <= pause.start_high)
        found["end covered"].append(pause.end_low <= end <= pause.end_high)
        found["length covered"].append(pause.length_low <= end - start <= pause.length_high)


def _judge_mishaps(found, random, plant: Plant) -> None:
    for name, (share, flagged) in mishaps(random, plant).items():
        measured = plant.area_cm2 * share, plant.error_cm2 * share
        found[f"{name} called a pause"].append(bool(find_pauses(plant.days, *measured, flagged)))


def _judge_curve(found, plant: Plant, curve) -> None:
    true, rate = plant.true_cm2[curve.days], plant.true_rgr[curve.days]
    drawn = np.isfinite(curve.area_cm2)
    found["area covered"].extend(((curve.low_cm2 <= true) & (true <= curve.high_cm2))[drawn])
    found["RGR covered"].extend(((curve.rgr_low <= rate) & (rate <= curve.rgr_high))[drawn])
    inside = (curve.rgr_low <= rate) & (rate <= curve.rgr_high)
    for reach in NEAR_TURN:
        near = np.zeros(len(true), bool)
        for moment in plant.pause or ():
            near |= np.abs(curve.days - moment) <= reach
        found[f"RGR covered within {reach} days of a turn"].extend(inside[drawn & near])
    seven = np.lib.stride_tricks.sliding_window_view
    error = seven(curve.rgr_per_day, 7).mean(axis=1) - seven(rate, 7).mean(axis=1)
    found["7-day RGR error"].extend(error[np.isfinite(error)])


def _judge_losses(found, plant: Plant, losses) -> None:
    if plant.cut is None:
        found["false loss"].append(bool(losses))
        return
    day, share = plant.cut
    right = [loss for loss in losses if loss.since < day <= loss.day]
    found["cut found"].append(bool(right))
    found["false loss"].append(len(losses) > len(right))
    if right:
        found["share covered"].append(right[0].share_low <= share <= right[0].share_high)


def study(plants: int, noise: float, rho: float, weather: float = 0.0, seed: int = 1) -> dict:
    """All plants of one size of errors, judged; every entry a list over plants or days."""
    random, strange = np.random.default_rng(seed), np.random.default_rng([seed, 1])
    together = defaultdict(list)
    for _ in range(plants):
        for name, values in judged(drawn(random, noise, rho, weather), rho).items():
            together[name].extend(values)
        _judge_mishaps(together, strange, simulated(strange, noise, rho, DAYS, weather=weather))
    return together


def summed_up(name: str, values: list) -> str:
    """One figure of the table."""
    if name.endswith("RGR error"):
        return f"{np.sqrt(np.mean(np.square(values))):.4f} per day (RMSE)"
    if name.endswith(" error"):
        return f"{np.median(values):.2f} days (median)"
    return f"{100 * np.mean(values):.1f} % of {len(values)}"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--plants", type=int, default=1000)
    parser.add_argument("--noise", type=float, nargs="+", default=[0.02, 0.04, 0.06])
    parser.add_argument("--correlation", type=float, default=0.45)
    parser.add_argument("--weather", type=float, default=0.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for noise in given.noise:
        began = time.process_time()
        found = study(given.plants, noise, given.correlation, given.weather, given.seed)
        print(
            f"\n{noise:.1%} errors, correlation {given.correlation:g}, weather {given.weather:g}, "
            f"{given.plants} plants, {time.process_time() - began:.0f} s"
        )
        for name in sorted(found):
            print(f"  {name:38} {summed_up(name, found[name]) if found[name] else '-'}")


if __name__ == "__main__":
    main()
