"""Published growth tables by our methods, beside a reference run of mixed models and laws.

    python -m tests.bench.real_tables --data DIR [--plot maize.png]

DIR contains ``growth-tables``. Soybean (Davidian & Giltinan 1995): logistic laws of one plot and of
all. Maize (Kreusler's weekly leaf areas of 1875 to 1878, which Briggs, Kidd & West 1920 and Hunt &
Evans 1980 used): relative growth rate of leaf area, by the smooth curve and week by week.
"""

import argparse
import csv
import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from lapsekit.growth.curves import GrowthCurve, growth_curve
from lapsekit.growth.fits import Fit, fit_laws
from lapsekit.growth.pooling import pooled

NEEDS = "published growth tables (--data DIR)"

MAIZE_ERROR = 0.1
"""Assumed error of a week's leaf area, as a share: a few plants were harvested each week."""


def reference(tables: Path, pattern: str) -> list[float]:
    """Numbers out of the reference run."""
    text = (tables / "reference_r_output.txt").read_text(encoding="utf-8")
    return [float(number) for number in re.search(pattern, text).groups()]


def soybeans(tables: Path) -> dict[str, Fit]:
    """A logistic law for each plot."""
    plots = defaultdict(list)
    with (tables / "nlme_Soybean.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            plots[row["Plot"]].append((float(row["Time"]), float(row["weight"])))
    fits = {name: fit_laws(*zip(*sorted(rows), strict=True), laws=("logistic",)).fits
            for name, rows in plots.items()}  # fmt: skip
    return {name: found[0] for name, found in fits.items() if found}


@dataclass(frozen=True)
class Maize:
    """One variety in one year: days of the year, leaf areas, and the curve through them.

    The curve runs by weeks, as the harvests do.
    """

    name: str
    days: np.ndarray
    area_cm2: np.ndarray
    curve: GrowthCurve

    @property
    def smooth(self) -> tuple[np.ndarray, ...]:
        """Days of the year, RGR per day and both ends of its interval."""
        c = self.curve
        rates = (each / 7 for each in (c.rgr_per_day, c.rgr_low, c.rgr_high))
        return self.days[0] + 7 * c.days, *rates

    @property
    def weekly(self) -> tuple[np.ndarray, np.ndarray]:
        """Middles of the weeks, and RGR from one harvest to the next (Hoffmann & Poorter 2002)."""
        rates = np.diff(np.log(self.area_cm2)) / np.diff(self.days)
        return (self.days[1:] + self.days[:-1]) / 2, rates


def maize(tables: Path) -> list[Maize]:
    """Every variety and year with leaf areas."""
    series = defaultdict(dict)
    with (tables / "agridat_kreusler.maize.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            if row["leafarea"] and float(row["leafarea"]) > 0:
                day = datetime.strptime(row["date"], "%d %b %Y").timetuple().tm_yday
                series[f"{row['gen']} {row['year']}"][day] = float(row["leafarea"])
    found = []
    for name, rows in series.items():
        days, areas = map(np.array, zip(*sorted(rows.items()), strict=True))
        weeks = np.rint((days - days[0]) / 7)
        found.append(Maize(name, days, areas, growth_curve(weeks, areas, MAIZE_ERROR * areas)))
    return [each for each in found if each.curve is not None]


def plot(found: list[Maize], path: Path) -> None:
    """RGR of leaf area by day of the year: the curve with its band, and the weeks."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    from lapsekit.plotting import BLUE, HAIR, INK, PAPER, STYLE, file_of

    lines = -(-len(found) // 2)
    with rc_context({**STYLE, "font.size": 9.5}):
        figure = Figure(figsize=(5.8, 1.6 * lines), facecolor=PAPER, layout="constrained")
        axes = figure.subplots(lines, 2, squeeze=False, sharex=True, sharey=True).ravel()
        for axis, each in zip(axes, found, strict=False):
            days, rates, low, high = each.smooth
            axis.fill_between(days, low, high, color=BLUE, alpha=0.3, linewidth=0)
            axis.plot(days, rates, color=BLUE, linewidth=1.3)
            axis.plot(*each.weekly, "o", color=INK, markersize=2.4)
            axis.axhline(0, color=INK, linewidth=0.6)
            axis.set_title(each.name, loc="left", fontsize=9.5)
            axis.set_facecolor(PAPER)
            axis.grid(axis="y", color=HAIR, linewidth=0.6)
            axis.spines[["top", "right"]].set_visible(False)
        for axis in axes[len(found) :]:
            axis.set_visible(False)
        figure.supxlabel("day of the year", fontsize=9)
        figure.supylabel("relative growth rate of leaf area, per day", fontsize=9)
        path.write_bytes(file_of(figure, path.suffix[1:]))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", required=True, type=Path, help="folder with growth-tables/")
    parser.add_argument("--plot", type=Path, help="draw the maize here (PNG or SVG)")
    given = parser.parse_args()
    tables = given.data / "growth-tables"
    fits = soybeans(tables)
    one, own = fits["1988F1"], reference(tables, r"1988F1 (\S+) (\S+)\s+(\S+)")
    together = pooled(list(fits.values()))
    mixed = reference(tables, r"fm1Soy\.nlme\n.*\n\s*(\S+)\s+(\S+)\s+(\S+)")
    print(f"{'soybean, logistic':36} {'full, g':>9} {'middle, d':>10} {'scale, d':>9}")
    for name, values in (
        ("plot 1988F1", one.parameters.values()),
        ("  reference (nonlinear least squares)", own),
        (f"{together.plants} plots, two-stage mean", together.parameters.values()),
        ("  its standard errors", together.errors.values()),
        ("  reference (mixed model)", mixed),
    ):
        print(f"{name:36} {' '.join(f'{value:9.2f}' for value in values)}")
    found = maize(tables)
    print(f"\n{'maize, RGR of leaf area per day':36} {'May/June':>9} {'July':>9} {'August':>9}")
    for each in found:
        days, rates, *_ = each.smooth
        spans = ((0, 182), (182, 213), (213, 244))
        means = [np.nanmean(rates[(days >= first) & (days < last)]) for first, last in spans]
        print(f"{each.name:36} {' '.join(f'{mean:9.3f}' for mean in means)}")
    if given.plot:
        plot(found, given.plot)
        print(f"written: {given.plot}")


if __name__ == "__main__":
    main()
