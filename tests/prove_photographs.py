"""How well the canopy model does on real photographs of plots it has not seen.

    python tests/prove_photographs.py --data DIR [--by season] [--json]

DIR is the folder that contains field-wheat/ (or set LAPSEKIT_PHOTOS): 142 photographs of wheat
plots with a mask each, doi:10.3929/ethz-b-000512332, CC BY-SA 4.0. Each photograph is measured by
a model of the shipped kind that was trained without any photograph of its plot (``--by season``:
of its trial year), through the same code that measures a season. Takes some minutes on one core.
"""

import argparse
import json

import train_canopy_model
from train_canopy_model import DOI, all_samples, cross_validate, photograph_folder, read_photographs

model_without = train_canopy_model.model_without


def table(result: dict, by: str) -> str:
    """The scores as text, one line for each method and class of cover."""
    total = result["model"]["all"]["photographs"]
    lines = [
        f"{total} field photographs of wheat, {DOI}, out of fold by {by}",
        f"{'':34}{'photos':>7}{'IoU':>8}{'median':>8}{'median':>8}{'area':>8}{'cover':>8}",
        f"{'':34}{'':7}{'pooled':>8}{'IoU':>8}{'Dice':>8}{'bias':>8}{'error':>8}",
    ]
    for method, groups in result.items():
        for group, row in groups.items():
            lines.append(
                f"{method + ', ' + group:34}{row['photographs']:7d}{row['pooled_iou']:8.3f}"
                f"{row['median_iou']:8.3f}{row['median_dice']:8.3f}{row['area_bias']:+8.1%}"
                f"{row['mean_absolute_cover_error']:8.3f}"
            )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", help="folder that contains field-wheat/")
    parser.add_argument("--by", choices=("plot", "season"), default="plot")
    parser.add_argument("--json", action="store_true", help="print the scores as JSON")
    given = parser.parse_args()
    photos = read_photographs(photograph_folder(given.data))
    result = cross_validate(photos, all_samples(photos), given.by)
    if given.json:
        print(json.dumps({"data": DOI, "by": given.by, "scores": result}, indent=1))
    else:
        print(table(result, given.by))


if __name__ == "__main__":
    main()
