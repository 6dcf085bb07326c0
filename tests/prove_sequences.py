"""Real photographs through the whole road: three plots from winter to spring.

    python tests/prove_sequences.py --data DIR [--folder DIR] [--json]

DIR holds field-wheat (doi:10.3929/ethz-b-000512332, CC BY-SA 4.0). The dated photographs of
three plots are imported by name pattern as a camera each, measured with a model trained
*without* those plots, and built into a site and films. Printed for each plot: measured cover
against the cover of the drawn masks (mean absolute error in percentage points, correlation, and
the share of days whose interval holds the drawn cover).
"""

import argparse
import csv
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

HELD_OUT = Path(__file__).resolve().parents[1] / "sample_frames" / "held_out" / "plots-1.json"
PLOTS = {"FPWW0280001": 16, "FPWW0280008": 16, "FPWW0220032": 12}
PATTERN = "{plot}_RGB1_%Y%m%d_%H%M%S_6"

SETTINGS = """\
[season]
title = "Three plots of winter wheat"
time_zone = "CET"
sown = 2017-10-15

[canopy]
model_file = "model.json"

[film]
day_seconds = 0.25
"""


def make_season(folder: Path, model_text: str) -> None:
    """A season of three cameras with one region over the whole picture each."""
    folder.mkdir(parents=True)
    cameras = "".join(f'\n[cameras.{p.lower()}]\nkind = "files"\n' for p in PLOTS)
    regions = "".join(
        f'[[region]]\nname = "{p.lower()}"\nlabel = "Plot {p[-4:]}"\ncamera = "{p.lower()}"\n'
        "[[region.outline]]\nfrom = 2017-10-15\n\n"
        for p in PLOTS
    )
    (folder / "season.toml").write_text(SETTINGS + cameras)
    (folder / "regions.toml").write_text(regions)
    (folder / "model.json").write_text(model_text)


def lapsekit(*arguments: object) -> None:
    """Run a released command; its progress goes to standard error."""
    command = [sys.executable, "-m", "lapsekit", *map(str, arguments)]
    subprocess.run(command, check=True, stdout=sys.stderr)


def walk_the_road(data: Path, folder: Path) -> None:
    """Import, measure, growth, films, site."""
    photographs = data / "field-wheat" / "img"
    for plot in PLOTS:
        pattern = PATTERN.format(plot=plot)
        lapsekit(
            "import",
            photographs,
            "--camera",
            plot.lower(),
            "--pattern",
            pattern,
            "--season",
            folder,
        )
    lapsekit("measure", "--season", folder)
    lapsekit("growth", "--season", folder)
    for plot in PLOTS:
        lapsekit("film", "--camera", plot.lower(), "--season", folder)
    lapsekit("site", "--season", folder)


def compare(data: Path, folder: Path) -> list[dict]:
    """Measured cover beside the truth, a row for each plot."""
    with (data / "field-wheat" / "truth_cover.csv").open() as file:
        truth = {
            (r["plot"], r["datetime"][:10]): float(r["truth_cover"]) for r in csv.DictReader(file)
        }
    with (folder / "growth" / "daily.csv").open() as file:
        measured = [r for r in csv.DictReader(file) if r["cover"]]
    rows = []
    for plot, dates in PLOTS.items():
        days = [
            (
                *(float(r[key]) for key in ("cover", "cover_low", "cover_high")),
                truth[plot, r["day"]],
            )
            for r in measured
            if r["region"] == plot.lower()
        ]
        cover, low, high, true = np.array(days).T
        rows.append(
            {
                "plot": plot,
                "dates": dates,
                "measured": len(days),
                "mean_absolute_error": float(np.abs(cover - true).mean()),
                "bias": float((cover - true).mean()),
                "correlation": float(np.corrcoef(cover, true)[0, 1]),
                "held": float(((low <= true) & (true <= high)).mean()),
                "days": [
                    dict(zip(("measured", "low", "high", "truth"), d, strict=True)) for d in days
                ],
            }
        )
    return rows


def prove(data: Path, folder: Path) -> list[dict]:
    """Walk the road with the model that has not seen these plots, compare."""
    text = HELD_OUT.read_text("utf-8")
    assert set(json.loads(text)["held_out_plots"]) == set(PLOTS)
    make_season(folder, text)
    walk_the_road(data, folder)
    return compare(data, folder)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", type=Path, required=True, help="folder that holds field-wheat")
    parser.add_argument("--folder", type=Path, help="keep the season here; must not exist yet")
    parser.add_argument("--json", action="store_true", help="print JSON")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        rows = prove(given.data, given.folder or Path(scratch, "season"))
    if given.json:
        print(json.dumps(rows, indent=2))
        return
    print("Cover measured by lapsekit against drawn masks; model trained without these plots.")
    print("Photographs: doi:10.3929/ethz-b-000512332 (CC BY-SA 4.0)\n")
    heads = f"{'plot':13}{'dates':>6}{'measured':>10}{'mean abs. error':>17}"
    print(f"{heads}{'bias':>8}{'r':>8}{'held':>7}")
    for r in rows:
        print(
            f"{r['plot']:13}{r['dates']:>6}{r['measured']:>10}"
            f"{100 * r['mean_absolute_error']:>14.1f} pp{100 * r['bias']:>+8.1f}"
            f"{r['correlation']:>8.3f}{r['held']:>7.0%}"
        )


if __name__ == "__main__":
    main()
