"""Photographs are judged by models that never saw their plot, and none without one."""

import csv

import numpy as np
import pytest

from lapsekit.errors import SettingsError
from lapsekit.photographs import (
    BASELINE,
    Photograph,
    held_out_models,
    judge_photographs,
    read_photographs,
)
from lapsekit.vision.canopy import CanopyModel
from tests.conftest import CHECKOUT

HELD_OUT = CHECKOUT / "sample_frames" / "held_out"


def test_every_model_says_which_plots_it_never_saw():
    models = held_out_models(HELD_OUT)
    assert len({id(model) for model in models.values()}) == 5
    for path in HELD_OUT.glob("plots-*.json"):
        record = CanopyModel.from_json(path.read_text("utf-8")).record
        assert not set(record["held_out_plots"]) & set(record["plots"])


def test_a_plot_without_a_model_of_its_own_is_refused():
    photo = Photograph("NEWPLOT_1", np.zeros((32, 32, 3), np.uint8), np.zeros((32, 32), bool))
    with pytest.raises(SettingsError, match="NEWPLOT_1: no held-out model for plot NEWPLOT"):
        judge_photographs([photo], held_out_models(HELD_OUT))


def test_a_folder_without_photographs_says_what_to_give(tmp_path):
    with pytest.raises(SettingsError, match="field-wheat"):
        read_photographs(tmp_path)
    with pytest.raises(SettingsError, match="no held-out models"):
        held_out_models(tmp_path)


@pytest.mark.photographs
def test_the_drawn_masks_are_read_as_their_table_says(photographs):
    with (photographs / "field-wheat" / "truth_cover.csv").open(newline="") as file:
        told = {row["image"].removesuffix(".png"): float(row["truth_cover"])
                for row in csv.DictReader(file)}  # fmt: skip
    found = {photo.name: float(photo.mask.mean()) for photo in read_photographs(photographs)}
    assert len(found) == 142
    assert found == pytest.approx({name: told[name] for name in found}, abs=6e-5)


@pytest.mark.photographs
def test_plots_never_seen_are_found_as_well_as_published_networks_find_them(photographs):
    """Zenkl and others (2022) tell 0.77 for plants; the same figure here, pooled over plots."""
    judged = judge_photographs(read_photographs(photographs), held_out_models(HELD_OUT))
    found = judged["mask"]["all"]
    assert found.pictures == 142
    assert found.pooled_iou >= 0.775
    assert found.median_dice >= 0.852
    assert abs(found.area_bias) < 0.05
    assert found.pooled_iou > judged[BASELINE]["all"].pooled_iou + 0.3
