"""How well the canopy model does on real photographs of plots it has not seen.

    python tests/prove_photographs.py --data DIR --benches DIR [--alone FILE] [--json]

DIR is the folder that contains field-wheat/ (or set LAPSEKIT_PHOTOS): 142 photographs of wheat
plots with a mask each, doi:10.3929/ethz-b-000512332, CC BY-SA 4.0. Each photograph is judged by a
model of the shipped kind that was trained without any photograph of its plot. --benches is what
``tests/render_training_frames.py`` made, --alone the network before it saw any photograph, as
``tests/train_canopy_model.py`` keeps it; without it that is trained first. Half an hour on one
core with it, twice that without. The shipped model's file carries the result of its own training
(``lapsekit prove`` prints it).
"""

import argparse
import json
from pathlib import Path

import torch
from train_canopy_model import cross_validate, first_part, other_pictures, shown
from training_pictures import DOI, photograph_folder, read_photographs


def table(result: dict) -> str:
    """The scores as text, one line for each method and class of cover."""
    total = result["model"]["all"]["photographs"]
    lines = [
        f"{total} field photographs of wheat, {DOI}, out of fold by plot",
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
    parser.add_argument("--benches", required=True, type=Path, help="rendered training frames")
    parser.add_argument("--alone", type=Path, help="the network that has seen no photograph")
    parser.add_argument("--json", action="store_true", help="print the scores as JSON")
    given = parser.parse_args()
    torch.set_num_threads(1)
    photos = read_photographs(photograph_folder(given.data))
    pool = [view for thing in (*photos, *other_pictures(given.benches)) for view in shown(thing)]
    result = cross_validate(photos, pool, first_part(pool, given.alone))
    print(json.dumps({"data": DOI, "scores": result}, indent=1) if given.json else table(result))


if __name__ == "__main__":
    main()
