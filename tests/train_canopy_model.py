"""Train a canopy model of the kind that lapsekit ships, and others for plots that it has not seen.

    python tests/train_canopy_model.py --data DIR --benches DIR --out FILE [--held-out DIR]
    python tests/train_canopy_model.py --data DIR --benches DIR --on FILE [FILE ...]

--data is the folder that contains field-wheat/, --benches what ``tests/render_training_frames.py``
made. Needs the extra [train]. About three hours on one core.

The network learns from rendered benches and drawings first, then from these and photographs
together. The perceptron learns from photographs alone. ``lapsekit prove --data DIR`` judges every
photograph by the held-out model that has not seen its plot: --held-out writes these. The first, for
plots that ``tests/prove_sequences.py`` measures, is trained as the shipped one is. Areas matter
there; masks are mostly the perceptron's, so that the others take the network of before it saw any
photograph.

The shipped model went on from model to model instead of beginning anew; ``training`` in its file
tells its steps, and from what and by what means. Of the held-out models only the first was trained
on outdoors, and none on other grounds. --on trains networks of models on by a course (`COURSES`),
without the plots that they are held out from; a quarter of an hour each.
``tests/train_second_look.py`` trains what looks again, after the network.
"""

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import cv2
import numpy as np
import torch
from canopy_network import WIDTHS, CanopyNetwork, as_onnx, read_network
from train_network import ALONE, COURSES, SETTLING, TOGETHER, Course, Shown, shown, train
from train_perceptron import SEEDS, UNITS, Samples, samples_of, train_perceptron
from train_second_look import KEPT
from training_pictures import (
    BENCH_SCALES,
    BENCH_VIEWS,
    PHOTOGRAPH_VIEWS,
    REDUCED,
    Bench,
    Drawing,
    read_benches,
)

from lapsekit.photographs import DOI, Photograph, read_photographs
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.network import Network
from lapsekit.vision.second_look import SecondLook

SEED = 20310417
DRAWINGS = 520
FOLDS = 4
WALKED = ("FPWW0280001", "FPWW0280008", "FPWW0220032")
"""Plots that ``tests/prove_sequences.py`` takes through the whole road: a fold of their own."""


NETWORK = "the network of before it saw any photograph"
THRESHOLD = 0.28
"""For masks; from scores of held-out plots, on which it matters little (0.25 to 0.35 cost less than
0.005 of overlap)."""

CITATION = (
    "Zenkl R, Timofte R, Kirchgessner N, Roth L, Hund A, Van Gool L, Walter A, Aasen H (2022) "
    "Outdoor Plant Segmentation With Deep Learning for High-Throughput Field Phenotyping on a "
    "Diverse Wheat Dataset. Front. Plant Sci. 12:774068. doi:10.3389/fpls.2021.774068"
)


def folds(photos: list[Photograph]) -> list[set[str]]:
    """Plots to hold out together; every plot is in one fold."""
    from sklearn.model_selection import GroupKFold

    groups = [photo.plot for photo in photos if photo.plot not in WALKED]
    splits = GroupKFold(FOLDS).split(groups, groups=groups)
    return [set(WALKED), *({groups[i] for i in test} for _, test in splits)]


def first_part(benches: list, kept: Path | None) -> CanopyNetwork:
    """The network that has seen no photograph: taken from a file, or trained and kept there."""
    torch.manual_seed(SEED)
    network = CanopyNetwork()
    if kept and kept.exists():
        network.load_state_dict(torch.load(kept))
        return network
    others = [*benches, *(Drawing(number) for number in range(DRAWINGS))]
    network = train(network, [v for one in others for v in shown(one, SEED)], ALONE, SEED)
    if kept:
        torch.save(network.state_dict(), kept)
    return network


def with_photographs(first: CanopyNetwork, pool: list[Shown]) -> CanopyNetwork:
    """`first` trained on with photographs too."""
    own = CanopyNetwork()
    own.load_state_dict(first.state_dict())
    for how in (TOGETHER, SETTLING):
        own = train(own, pool, how, SEED)
    return own


def model_of(photos: list[Photograph], network: CanopyNetwork, samples: Samples) -> CanopyModel:
    """A model whose perceptron has seen these photographs and no others."""
    names = sorted(photo.name for photo in photos)
    perceptron = train_perceptron(names, samples, SEED)
    return CanopyModel(Network(as_onnx(network)), SecondLook.idle(), perceptron, THRESHOLD)


def trained_on(path: Path, pool: list[Shown], plot_of: dict[str, str], course: Course) -> None:
    """A model's file with its network trained on, without the plots that it is held out from."""
    model = CanopyModel.from_json(path.read_text("utf-8"))
    without = set(model.record.get("held_out_plots", ()))
    own = [view for view in pool if plot_of.get(view.name) not in without]
    network = train(read_network(model.network.content), own, course, SEED)
    told = {
        **rendered({view.name for view in own if view.kind is Bench}),
        "steps": course.steps,
        "shares": {kind.__name__.lower(): share for kind, share in course.shares.items()},
    }
    training = {**model.record["training"], "trained_on": told}
    about = {**model.record, "training": training}
    better = replace(model, network=Network(as_onnx(network)), record=about)
    path.write_text(better.to_json(), encoding="utf-8")
    print(f"{path}: mark {better.mark}", flush=True)


def rendered(frames: set[str]) -> dict[str, int]:
    """How many benches and frames these are, by the frames' names."""
    benches = {name.rsplit("-", 1)[0] for name in frames}
    return {"rendered_benches": len(benches), "rendered_frames": len(frames)}


def record(photos: list[Photograph], benches: list, date: str) -> dict:
    """What the model's file says about itself before its numbers."""
    import sklearn

    return {
        "what": "How much of each pixel of a colour picture seen from above is leaf: a U-net of "
        f"{', '.join(map(str, WIDTHS))} channels on logarithmic colours and on how finely the file "
        "keeps them, in ONNX, base64; and "
        f"what hands draw as leaf: the mean log odds of {SEEDS} perceptrons of {UNITS} units",
        "licence": "CC BY-SA 4.0 for the numbers in this file, which were derived from "
        "photographs under that licence; the code of lapsekit is MIT",
        "training": {
            "data_set": "Eschikon Wheat Segmentation (EWS), training split",
            "doi": DOI,
            "data_licence": "CC BY-SA 4.0",
            "citation": CITATION,
            "photographs": len(photos),
            **rendered({bench.name for bench in benches}),
            "drawings": DRAWINGS,
            "rendered_by": "tests/render_training_frames.py: plants, colours, things and light "
            "of their own; no frame of the sample season was seen",
            "date": date,
            "seed": SEED,
            "photograph_views": [list(each) for each in PHOTOGRAPH_VIEWS],
            "bench_views": BENCH_VIEWS,
            "bench_scales": list(BENCH_SCALES),
            "pictures_decoded_at_half": REDUCED,
            "steps": [course.steps for course in (ALONE, TOGETHER, SETTLING)],
            "libraries": {
                "torch": torch.__version__,
                "opencv": cv2.__version__,
                "scikit-learn": sklearn.__version__,
                "numpy": np.__version__,
            },
        },
        "plots": sorted({photo.plot for photo in photos}),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--data", required=True, type=Path, help="folder with field-wheat/")
    parser.add_argument("--benches", required=True, type=Path, help="rendered training frames")
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--out", type=Path, help="file to write the model to")
    where.add_argument("--on", type=Path, nargs="+", help="models to train on instead")
    parser.add_argument("--course", choices=COURSES, default="grounds", help="of --on")
    parser.add_argument("--held-out", type=Path, help="folder to write models without plots to")
    parser.add_argument("--first", type=Path, help="keep here, or take from here, the first part")
    today = datetime.now(UTC).date().isoformat()
    parser.add_argument("--date", default=today, help="date for the record (default: today)")
    given = parser.parse_args()
    if given.on and (given.held_out or given.first):
        parser.error("--held-out and --first go with --out: --on takes models as they are")
    torch.set_num_threads(1)
    cv2.setNumThreads(1)  # threads of OpenCV would not outlive the fork that feeds the network
    photos, benches = read_photographs(given.data), read_benches(given.benches)
    benches = [bench for bench in benches if int(bench.name.split("-")[1]) not in KEPT]
    first = None if given.on else first_part(benches, given.first)
    things = [*photos, *benches, *(Drawing(number) for number in range(DRAWINGS))]
    pool = [v for one in things for v in shown(one, SEED)]
    if given.on:
        for path in given.on:
            plots = {photo.name: photo.plot for photo in photos}
            trained_on(path, pool, plots, COURSES[given.course])
        return
    samples = samples_of(photos, SEED)

    def written(known: list[Photograph], network: CanopyNetwork, path: Path, **told: object):
        model = model_of(known, network, samples)
        about = record(known, benches, given.date) | told
        path.write_text(replace(model, record=about).to_json(), encoding="utf-8")
        print(f"{path}: mark {model.mark}", flush=True)

    for number, plots in enumerate(folds(photos) if given.held_out else [], 1):
        known = [photo for photo in photos if photo.plot not in plots]
        path, told = given.held_out / f"plots-{number}.json", {"held_out_plots": sorted(plots)}
        if number == 1:
            names = {photo.name for photo in known}
            own = [v for v in pool if v.kind is not Photograph or v.name in names]
            written(known, with_photographs(first, own), path, **told)
        else:
            written(known, first, path, **told, judged_with=NETWORK)
    written(photos, with_photographs(first, pool), given.out)


if __name__ == "__main__":
    main()
