"""The canopy model keeps its promises on scenes of known truth, and its score on photographs."""

import json
from importlib import resources

import numpy as np
import pytest

from lapsekit.errors import PictureError, SettingsError
from lapsekit.vision.canopy import METHODS, SPECK_PX, CanopyModel, classify, clean
from lapsekit.vision.features import FEATURES, colour_features, feature_strips

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


# --- features


def test_every_feature_has_a_name_and_its_meaning():
    """On one colour, means equal the pixel's colour, and the contrast is nothing."""
    picture = np.full((50, 70, 3), LEAF, np.uint8)
    planes = dict(zip(FEATURES, colour_features(picture), strict=True))
    assert len(FEATURES) == len(set(FEATURES)) == 23
    assert planes["green_red"].max() < 0 < planes["excess_green"].min()
    for name in ("lightness", "green_red", "blue_yellow", "excess_green"):
        for sigma in ("1.5", "4", "12", "32"):
            np.testing.assert_allclose(planes[f"{name}_mean_{sigma}px"], planes[name], atol=1e-3)
    np.testing.assert_allclose(planes["lightness_contrast_4px"], 0, atol=1e-3)


def test_means_have_the_width_they_say():
    """The spread of one bright block through the near and wide means is the named sigma."""
    picture = np.full((256, 256, 3), 20, np.uint8)
    picture[124:132, 124:132] = 220
    planes = dict(zip(FEATURES, colour_features(picture), strict=True))
    column = np.arange(256) - 127.5
    for sigma in (1.5, 4.0, 12.0, 32.0):
        plane = planes[f"lightness_mean_{sigma:g}px"].astype(float)
        profile = (plane - plane.min()).sum(axis=0)
        block = (8**2 - 1) / 12
        width = np.sqrt((profile * column**2).sum() / profile.sum() - block)
        assert width == pytest.approx(sigma, rel=0.05)


@pytest.mark.parametrize("shape", [(1, 1), (3, 200), (97, 61), (130, 128)])
def test_strips_equal_the_whole_picture(shape):
    """Cutting a picture of any size into strips changes no feature."""
    picture = np.random.default_rng(1).integers(0, 256, (*shape, 3)).astype(np.uint8)
    whole = colour_features(picture)
    strips = np.concatenate([planes for _, planes in feature_strips(picture, 12)], axis=1)
    assert whole.shape == (len(FEATURES), *shape) and np.isfinite(whole).all()
    np.testing.assert_allclose(strips, whole, atol=1e-4)


# --- model


def test_probability_does_not_depend_on_strips(model):
    """Strip by strip and all at once agree to 1e-5."""
    picture, _ = leaves()
    whole = model.probability(picture, rows=160)
    assert whole.dtype == np.float32 and whole.min() >= 0 and whole.max() <= 1
    np.testing.assert_allclose(model.probability(picture, rows=20), whole, atol=1e-5)
    np.testing.assert_array_equal(model.mask(picture), model.mask(picture))


def test_bare_soil_has_no_canopy(model):
    """Less than a thousandth of bare soil, wood, terracotta and grey is called canopy."""
    assert model.mask(soil()).mean() < 0.001
    for colour in ((158, 138, 115), (196, 120, 88), (128, 128, 128), (30, 28, 26)):
        picture = np.clip(soil().astype(int) * np.array(colour) // SOIL, 0, 255).astype(np.uint8)
        assert model.mask(picture).mean() < 0.001


def test_leaves_are_found(model):
    """Leaves on soil are found with their area right to a few per cent."""
    picture, truth = leaves()
    mask = model.mask(picture)
    assert overlap(mask, truth) > 0.9
    assert mask.sum() == pytest.approx(truth.sum(), rel=0.08)


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
    np.testing.assert_array_equal(again.probability(picture), model.probability(picture))


def test_the_mark_follows_the_numbers_only(text, model):
    """A changed threshold changes the mark, a changed record does not."""
    fields = json.loads(text)
    assert CanopyModel.from_json(json.dumps({**fields, "what": "x"})).mark == model.mark
    assert CanopyModel.from_json(json.dumps({**fields, "threshold": 0.5})).mark != model.mark


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"features": ["hue"]}, "other features"),
        ({"threshold": 1.5}, "between 0 and 1"),
        ({"means": [0.0]}, "means has shape"),
        ({"deviations": [0.0] * len(FEATURES)}, "must be positive"),
        ({"output_bias": float("nan")}, "finite"),
        ({"hidden_weights": [[1.0], [1.0, 2.0]]}, "cannot be read"),
        ({"output_weights": None}, "output_weights"),
    ],
)
def test_a_damaged_model_is_refused(text, change, message):
    """A file that does not fit is refused with the field that is wrong."""
    with pytest.raises(SettingsError, match=message):
        CanopyModel.from_json(json.dumps({**json.loads(text), **change}))


def test_no_model_at_all_is_refused():
    """Text that is no model, or half of one, is refused."""
    for text in ("", "[1, 2]", '{"features": []}', "3"):
        with pytest.raises(SettingsError, match="cannot be read"):
            CanopyModel.from_json(text)


def test_the_shipped_file_says_where_it_comes_from(text):
    """Data set, DOI, both licences, citation, counts, date, scores, seed and versions are there."""
    fields = json.loads(text)
    training = fields["training"]
    assert len(text.encode()) < 100_000
    assert "CC BY-SA 4.0" in fields["licence"] and "MIT" in fields["licence"]
    assert training["doi"] == "doi:10.3929/ethz-b-000512332"
    assert training["data_licence"] == "CC BY-SA 4.0"
    assert "doi:10.3389/fpls.2021.774068" in training["citation"]
    assert training["photographs"] == 142
    assert {"data_set", "plots", "date", "seed", "views", "libraries"} <= set(training)
    found = training["cross_validated_by_plot"]
    assert found["pooled_iou"] >= 0.75 and found["photographs"] == 142


# --- cleaning and choosing


def test_cleaning_removes_specks_and_closes_pinholes():
    """Patches and holes below the limit go, those at the limit stay, the rest is untouched."""
    mask = np.zeros((40, 40), bool)
    mask[5:25, 5:25] = True
    wanted = mask.copy()
    mask[10, 10:13] = False
    mask[30, 30:33] = True
    mask[32:36, 5:9] = wanted[32:36, 5:9] = True
    assert SPECK_PX == 16
    np.testing.assert_array_equal(clean(mask), wanted)
    for value in (False, True):
        assert (clean(np.full((9, 9), value)) == value).all()


def test_classify_is_the_one_door(model):
    """Every named method gives a bool mask of the picture's size that finds the leaves."""
    picture, truth = leaves()
    for method in METHODS:
        mask = classify(picture, method, model)
        assert mask.shape == truth.shape and mask.dtype == bool
        assert overlap(mask, truth) > 0.85


def test_classify_refuses_what_it_cannot_do(model):
    """An unknown method, a missing model and a grey picture are refused."""
    picture, _ = leaves()
    with pytest.raises(SettingsError, match="exgr"):
        classify(picture, "ndvi", model)
    with pytest.raises(SettingsError, match="no model"):
        classify(picture, "model")
    with pytest.raises(PictureError):
        classify(picture[..., 0], "model", model)


# --- photographs


@pytest.mark.photographs
def test_photographs_of_unseen_plots(photographs):
    """Taught on a third of the other plots' photographs, the model scores 0.70 on six plots."""
    pytest.importorskip("sklearn", reason="training needs the extra [train]")
    from tests import train_canopy_model as script

    photos = script.read_photographs(photographs)
    unseen = set(sorted({photo.plot for photo in photos})[::13])
    taught = [photo for photo in photos if photo.plot not in unseen][::3]
    samples = {photo.name: script.sample(photo, script.SEED) for photo in taught}
    model = script.train(taught, samples)
    rows = {"model": [], "excess green": []}
    for photo in photos:
        if photo.plot in unseen:
            rows["model"].append(script.counts(model.mask(photo.picture), photo.mask))
            mask = classify(photo.picture, "exg")
            rows["excess green"].append(script.counts(mask, photo.mask))
    found = {method: script.scores(each)["pooled_iou"] for method, each in rows.items()}
    assert found["model"] > 0.70
    assert found["model"] > found["excess green"] + 0.1
