"""What a second look changes, what it sees, and that it comes nearer to the truth."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lapsekit.errors import SettingsError
from lapsekit.resources import shipped_model_text
from lapsekit.vision.canopy import CanopyModel
from lapsekit.vision.colour import DARK
from lapsekit.vision.detail import Detail
from lapsekit.vision.doubtful import LOOKS, MOST_ODDS, NEAR_PX, UNSURE, Sure, Surroundings, halved
from lapsekit.vision.leaf_likeness import RARE
from lapsekit.vision.second_look import SecondLook

CHECKOUT = Path(__file__).parents[2]
SIZE, HALVED = (60, 70), Detail(1, 0.5)


@pytest.fixture(scope="module")
def model():
    return CanopyModel.from_json(shipped_model_text())


def picture_of(seed=1):
    return np.random.default_rng(seed).integers(0, 256, (*SIZE, 3), np.uint8)


def odds_of(seed=1):
    return np.random.default_rng(seed).normal(0, 4, SIZE).astype(np.float32)


def seen(picture, odds, detail=HALVED):
    places = np.flatnonzero(np.abs(odds) < UNSURE)
    around = Surroundings(picture, odds, detail, Sure.by(odds))
    return dict(zip(places.tolist(), around.of(places), strict=True))


@pytest.mark.parametrize("way", [1, -1], ids=["leaf", "ground"])
def test_where_next_to_nothing_is_sure_of_a_kind_the_networks_word_stands(model, way):
    """Unsure leaves that look like nothing sure would be taken for ground."""
    odds = way * odds_of().clip(-9, 2)
    odds.ravel()[:199] = way * 5
    assert np.array_equal(model.second_look.odds(picture_of(), odds, HALVED), odds)
    odds.ravel()[:200] = way * 5
    assert not np.array_equal(model.second_look.odds(picture_of(), odds, HALVED), odds)


def test_the_networks_word_stands_where_it_is_sure(model):
    odds = odds_of()
    found = model.second_look.odds(picture_of(), odds, Detail(1, 0.4))
    sure = np.abs(odds) >= UNSURE
    assert np.array_equal(found[sure], odds[sure])
    assert np.isfinite(found).all()
    assert (found[~sure] != odds[~sure]).mean() > 0.99


def test_one_that_is_idle_changes_nothing():
    odds = odds_of()
    assert np.array_equal(SecondLook.idle().odds(picture_of(), odds, Detail(1, 0.4)), odds)


def test_where_all_is_alike_nothing_is_lighter_and_nothing_uneven():
    picture, odds = np.full((*SIZE, 3), 90, np.uint8), np.full(SIZE, 1.0, np.float32)
    share = 1 / (1 + np.exp(-1.0))
    told = seen(picture, odds, Detail(0.5, 0.25))
    assert len(told) == odds.size
    figures = [1, share * (1 - share), share, 0, 0.01, *[0] * 10, 0, 0, 0, np.log(RARE), 0]
    figures += [share * (1 - share), share, 0, 0, 0, 0, 0.5, 0.25]
    for looks in told.values():
        assert looks == pytest.approx([*figures, *[1] * 24, *[0] * 24], abs=3e-3)


def test_a_dark_gap_is_seen_against_the_leaves_around_it():
    """One dark, greyish pixel in doubt within surely leaf."""
    picture, odds = np.full((*SIZE, 3), (60, 140, 50), np.uint8), np.full(SIZE, 6.0, np.float32)
    at = 30, 35
    picture[at], odds[at] = (30, 40, 30), -1.5
    ((place, looks),) = seen(picture, odds).items()
    assert place == at[0] * SIZE[1] + at[1]
    leaf, gap = (np.log(np.array(c) + DARK) for c in ((60, 140, 50), (30, 40, 30)))
    lighter = gap.mean() - leaf.mean()
    expected = [lighter, gap[1] - gap[0] - leaf[1] + leaf[0], gap[1] - gap[2] - leaf[1] + leaf[2]]
    assert looks[3] == pytest.approx(lighter * 80 / 81, abs=1e-3)
    assert looks[4] == pytest.approx(np.sqrt(lighter**2 * 80 / 81**2), abs=5e-3)
    assert looks[5:8] == pytest.approx(expected, abs=1e-3)
    assert looks[8:10] == pytest.approx([0.01, 1 - 0.25 / 13**2], abs=5e-3)
    assert not looks[10:15].any()  # no ground is sure
    assert looks[15] == 0  # a colour of its own
    assert looks[16] / (24 / 25) == pytest.approx(looks[17] / (120 / 121))
    assert looks[16] > 9  # the colours near by are leaf's
    assert looks[18] == pytest.approx(np.log(RARE))
    assert looks[19] == pytest.approx(lighter, abs=1e-2)
    assert looks[22:25] == pytest.approx(expected, abs=1e-3)
    assert looks[28:52] == pytest.approx(MOST_ODDS)
    assert looks[52:] == pytest.approx(-lighter / 81, abs=1e-3)


def test_ground_around_is_held_against_too():
    """The left half surely ground, the right half surely leaf, a pixel in doubt where they meet."""
    picture, odds = np.full((*SIZE, 3), (110, 80, 60), np.uint8), np.full(SIZE, -6.0, np.float32)
    picture[:, 34:], odds[:, 34:] = (60, 140, 50), 6
    at = 30, 34
    picture[at], odds[at] = (60, 110, 50), 0.5
    looks = seen(picture, odds)[at[0] * SIZE[1] + at[1]]
    leaf, ground, own = (
        np.log(np.array(c) + DARK) for c in ((60, 140, 50), (110, 80, 60), picture[at])
    )
    for first, kind in ((5, leaf), (10, ground)):
        differs = own - kind
        assert looks[first : first + 3] == pytest.approx(
            [differs.mean(), differs[1] - differs[0], differs[1] - differs[2]], abs=1e-3
        )
    assert looks[9] + looks[14] == pytest.approx(1 - 0.25 / 13**2)
    assert looks[14] == pytest.approx(6 / 13)


@pytest.mark.parametrize("size", [(1, 1), (4, 1), (2, 3), (1, 300), (5, 7)])
def test_pictures_of_any_shape_are_seen(size):
    picture = np.full((*size, 3), (60, 140, 50), np.uint8)
    looks = np.array(list(seen(picture, np.full(size, 1.5, np.float32)).values()))
    assert looks.shape == (size[0] * size[1], LOOKS)
    assert np.ptp(looks, axis=0) == pytest.approx(0, abs=1e-4)


def test_planes_at_half_the_size_are_means_of_four_and_mirrored_at_odd_ends():
    plane = np.float32([[1, 2, 3], [5, 6, 7], [9, 10, 11]])
    assert np.array_equal(halved(plane), [[3.5, 4.5], [7.5, 8.5]])


def test_neighbours_are_told_row_by_row():
    odds = odds_of(3).clip(-2.4, 2.4)
    told = seen(picture_of(3), odds)
    y, x = 20, 30
    around = odds[y - 2 : y + 3, x - 2 : x + 3].ravel()
    assert told[y * SIZE[1] + x][28:52] == pytest.approx(np.delete(around, NEAR_PX**2 // 2))


def test_it_is_kept_and_read_again_exactly(model):
    plain = model.second_look.as_plain()
    again = SecondLook.from_plain(plain)
    odds = odds_of(4)
    one, other = (
        each.odds(picture_of(4), odds, Detail(1, 0.4)) for each in (model.second_look, again)
    )
    assert np.array_equal(one, other)
    assert replace(model, second_look=SecondLook.idle()).mark != model.mark


def test_what_does_not_fit_is_refused(model):
    plain = model.second_look.as_plain()
    with pytest.raises(SettingsError, match="numbers, expected"):
        SecondLook.from_plain({**plain, "units": [64, 32]})
    good = model.second_look
    with pytest.raises(SettingsError, match=f"{LOOKS} finite figures"):
        SecondLook(good.lowest[1:], good.highest, good.layers)
    with pytest.raises(SettingsError, match="finite"):
        SecondLook(good.lowest * np.nan, good.highest, good.layers)


def test_small_plants_come_out_nearer_to_the_truth(model):
    """Plugs and chives of the sample season, between whose narrow leaves ground is dark."""
    from tests.prove_canopy import read_season, zones

    alone = replace(model, second_look=SecondLook.idle())
    errors = {"once": [], "again": []}
    for _, picture, detail, truth, areas in read_season(CHECKOUT / "sample_frames", every=12):
        zone = zones(truth)
        small = [
            (number, px)
            for name, (number, px, cm2) in areas.items()
            if ("tray" in name or name == "chives") and cm2 > 10
        ]
        for way, looking in (("once", alone), ("again", model)):
            cover = looking.cover(picture, detail=detail)
            errors[way] += [cover[zone == n].sum() / px - 1 for n, px in small]
    assert len(errors["once"]) > 30
    typical = {way: np.median(np.abs(found)) for way, found in errors.items()}
    assert typical["again"] < 0.7 * typical["once"]
    assert abs(np.median(errors["again"])) < 0.03
