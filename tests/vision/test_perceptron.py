"""The perceptron looks at what it says it looks at, and refuses numbers that do not fit."""

import numpy as np
import pytest

from lapsekit.errors import SettingsError
from lapsekit.vision.features import FEATURES, colour_features, feature_strips
from lapsekit.vision.perceptron import CLIP, NEVER, Perceptron

LEAF = (72, 120, 48)


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


def single(**changed):
    """One unit that hands on the green-red difference, ten units wide, turned round."""
    numbers = {
        "means": np.zeros(len(FEATURES)),
        "deviations": np.full(len(FEATURES), 10.0),
        "hidden_weights": -np.eye(len(FEATURES))[:, [FEATURES.index("green_red")]],
        "hidden_biases": [0.5],
        "output_weights": [2.0],
        "output_bias": -3.0,
    }
    return Perceptron(**numbers | changed)


def test_a_unit_by_hand():
    """Odds of a green are 2 (0.5 - a*/10) - 3, with a*/10 held above -4; of grey they are none."""
    for green in (LEAF, (110, 170, 60), (0, 255, 0)):
        picture = np.full((9, 9, 3), green, np.uint8)
        a = colour_features(picture)[FEATURES.index("green_red"), 4, 4] / 10
        assert single().odds(picture)[4, 4] == pytest.approx(
            2 * (0.5 - max(a, -CLIP)) - 3, abs=1e-4
        )
    assert (single().odds(np.full((9, 9, 3), 128, np.uint8)) == NEVER).all()


def test_odds_do_not_depend_on_strips():
    """Strip by strip and all at once agree to 1e-3 of log odds."""
    picture = np.random.default_rng(3).integers(0, 256, (130, 90, 3)).astype(np.uint8)
    whole = single().odds(picture, rows=130)
    np.testing.assert_allclose(single().odds(picture, rows=17), whole, atol=1e-3)
    assert (whole > NEVER).any() and (whole == NEVER).any()


def test_plain_numbers_come_back():
    again = Perceptron.from_plain(single().as_plain())
    assert again.as_plain() == single().as_plain()


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"means": [0.0]}, "means has shape"),
        ({"deviations": [0.0] * len(FEATURES)}, "must be positive"),
        ({"output_bias": float("nan")}, "finite"),
    ],
)
def test_numbers_that_do_not_fit_are_refused(changed, message):
    with pytest.raises(SettingsError, match=message):
        single(**changed)
