"""The canopy model keeps its promises on scenes of known truth, and its score on photographs."""

import json
import pickle
from concurrent.futures import ThreadPoolExecutor
from importlib import resources

import numpy as np
import pytest

from lapsekit.errors import PictureError, SettingsError
from lapsekit.vision.canopy import METHODS, CanopyModel, classify, cover_and_doubt
from lapsekit.vision.colour import opponent_logarithms

SOIL, LEAF = (96, 76, 58), (72, 120, 48)


@pytest.fixture(scope="module")
def text():
    return resources.files("lapsekit.vision").joinpath("canopy_model.json").read_text("utf-8")


@pytest.fixture(scope="module")
def model(text):
    return CanopyModel.from_json(text)


def soil(height=160, width=160):
    """Rough soil: brown with crumbs of light and shade."""
    rng = np.random.default_rng(7)
    light = np.kron(rng.normal(1, 0.12, (height // 4, width // 4, 1)), np.ones((4, 4, 1)))
    return np.clip(light * SOIL + rng.normal(0, 2, (height, width, 1)), 0, 255).astype(np.uint8)


def leaves(height=160, width=160):
    """A round leaf and a long one on soil, with the truth."""
    y, x = np.mgrid[:height, :width]
    truth = (np.hypot(y - 60, x - 60) < 30) | ((np.abs(y - 120) < 6) & (np.abs(x - 90) < 50))
    picture = soil(height, width)
    grain = np.random.default_rng(8).normal(0, 3, (height, width, 1))
    picture[truth] = np.clip(LEAF + grain, 0, 255).astype(np.uint8)[truth]
    return picture, truth


def overlap(mask, truth):
    return (mask & truth).sum() / (mask | truth).sum()


# --- colours


def test_exposure_moves_lightness_only():
    """Half as bright, a leaf is the same in both colour differences to 0.11."""
    bright, dim = np.array([[[120, 200, 80]]], np.uint8), np.array([[[60, 100, 40]]], np.uint8)
    change = (opponent_logarithms(dim) - opponent_logarithms(bright)).ravel()
    assert change[0] == pytest.approx(np.log(0.5), abs=0.1)
    assert np.abs(change[1:]).max() < 0.11


# --- model


def test_doubt_lies_along_edges_not_inside_leaves_nor_on_soil(model):
    """The model doubts where a pixel is part leaf; indices state no doubt."""
    picture, truth = leaves()
    doubt = model.cover_and_doubt(picture)[1]
    shifted = [np.roll(truth, s, axis) for s in (-5, 5) for axis in (0, 1)]
    away = np.all([truth == each for each in shifted], axis=0)
    assert doubt[~away].sum() > 20 * doubt[away].sum()
    assert 0 < doubt.max() <= 0.5
    assert not cover_and_doubt(picture, "exgr")[1].any()


@pytest.mark.parametrize("shape", [(1, 1), (3, 200), (97, 61), (130, 128)])
def test_pictures_of_any_size_have_odds(model, shape):
    """Every pixel of any picture has finite odds, the same ones each time."""
    picture = np.random.default_rng(1).integers(0, 256, (*shape, 3)).astype(np.uint8)
    odds = model.odds(picture)
    assert odds.shape == shape and odds.dtype == np.float32 and np.isfinite(odds).all()
    np.testing.assert_array_equal(model.odds(picture), odds)


def test_threads_share_a_model(model):
    """Eight threads at once get what one gets alone."""
    pictures = [np.roll(leaves()[0], 10 * k, axis=1) for k in range(8)]
    alone = [model.odds(picture) for picture in pictures]
    with ThreadPoolExecutor(8) as pool:
        for one, other in zip(pool.map(model.odds, pictures), alone, strict=True):
            np.testing.assert_array_equal(one, other)


def test_a_model_travels_between_processes(model):
    """Pickled and unpickled, a model gives the same odds."""
    picture, _ = leaves()
    again = pickle.loads(pickle.dumps(model))
    np.testing.assert_array_equal(again.odds(picture), model.odds(picture))


def test_bare_soil_has_no_canopy(model):
    """Less than a thousandth of bare soil, wood, terracotta and grey is called canopy."""
    assert model.mask(soil()).mean() < 0.001
    for colour in ((158, 138, 115), (196, 120, 88), (128, 128, 128), (30, 28, 26)):
        picture = np.clip(soil().astype(int) * np.array(colour) // SOIL, 0, 255).astype(np.uint8)
        assert model.mask(picture).mean() < 0.001


def test_leaves_are_found(model):
    """Leaves on soil are found, and their cover sums up to their area within 4 %."""
    picture, truth = leaves()
    assert overlap(model.mask(picture), truth) > 0.85
    assert overlap(model.cover(picture) > 0.5, truth) > 0.9
    assert model.cover(picture).sum() == pytest.approx(truth.sum(), rel=0.04)


def test_a_smooth_leaf_larger_than_any_window_is_canopy(model):
    """The inside of a leaf that fills the picture is canopy, whatever the shade of green."""
    for green in (LEAF, (110, 170, 60), (40, 90, 40), (150, 200, 90)):
        assert model.mask(np.full((200, 200, 3), green, np.uint8)).all()


def test_turning_the_picture_turns_the_mask(model):
    """A quarter turn gives the turned mask, but for a few pixels of edge."""
    picture, _ = leaves()
    turned = model.mask(np.ascontiguousarray(np.rot90(picture)))
    assert (turned != np.rot90(model.mask(picture))).mean() < 0.002


def test_the_model_survives_its_text(model):
    """Written and read again, the model has the same mark and gives the same numbers."""
    again = CanopyModel.from_json(model.to_json())
    picture, _ = leaves()
    assert again.mark == model.mark and again.record == model.record
    np.testing.assert_array_equal(again.odds(picture), model.odds(picture))


def test_the_mark_follows_the_numbers_only(text, model):
    """A changed threshold changes the mark, a changed record does not."""
    fields = json.loads(text)
    assert CanopyModel.from_json(json.dumps({**fields, "what": "x"})).mark == model.mark
    assert CanopyModel.from_json(json.dumps({**fields, "threshold": 0.5})).mark != model.mark


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"threshold": 1.5}, "between 0 and 1"),
        ({"threshold": float("nan")}, "between 0 and 1"),
        ({"threshold": "a lot"}, "cannot be read"),
        ({"network": None}, "cannot be read"),
        ({"perceptron": {}}, "cannot be read"),
        ({"perceptron": {"features": ["hue"]}}, "other features"),
        ({"network": ["no base64!"]}, "cannot be read"),
        ({"network": ["aGVsbG8="]}, "cannot be read"),
        ({"network": ["eNrLSM3JyQcABiwCFQ=="]}, "cannot run its network"),
    ],
)
def test_a_damaged_model_is_refused(text, change, message):
    """A file that does not fit is refused with what is wrong."""
    with pytest.raises(SettingsError, match=message):
        CanopyModel.from_json(json.dumps({**json.loads(text), **change}))


def test_no_model_at_all_is_refused():
    """Text that is no model, or half of one, is refused."""
    for text in ("", "[1, 2]", '{"network": []}', "3"):
        with pytest.raises(SettingsError, match="cannot be read"):
            CanopyModel.from_json(text)


def test_the_shipped_file_says_where_it_comes_from(text):
    """Data set, DOI, both licences, citation, counts, date, scores, seed and versions are there."""
    fields = json.loads(text)
    training = fields["training"]
    assert len(text.encode()) < 700_000
    assert "CC BY-SA 4.0" in fields["licence"] and "MIT" in fields["licence"]
    assert training["doi"] == "doi:10.3929/ethz-b-000512332"
    assert training["data_licence"] == "CC BY-SA 4.0"
    assert "doi:10.3389/fpls.2021.774068" in training["citation"]
    assert training["photographs"] == 142
    assert {"data_set", "date", "seed", "photograph_views", "steps", "libraries"} <= set(training)
    assert training["rendered_frames"] > 0 and "sample season" in training["rendered_by"]


# --- choosing


def test_classify_and_cover_are_the_doors(model):
    """Every named method gives a bool mask and a cover of the picture's size with the leaves."""
    picture, truth = leaves()
    for method in METHODS:
        mask, share = classify(picture, method, model), cover_and_doubt(picture, method, model)[0]
        assert mask.shape == share.shape == truth.shape and mask.dtype == bool
        assert share.min() >= 0 and share.max() <= 1
        assert overlap(mask, truth) > 0.8
        assert overlap(share > 0.5, truth) > 0.8


def test_classify_refuses_what_it_cannot_do(model):
    """An unknown method, a missing model and a grey picture are refused."""
    picture, _ = leaves()
    with pytest.raises(SettingsError, match="exgr"):
        classify(picture, "ndvi", model)
    with pytest.raises(SettingsError, match="no model"):
        classify(picture, "model")
    with pytest.raises(PictureError):
        classify(picture[..., 0], "model", model)
