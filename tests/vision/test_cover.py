"""How much of each pixel is canopy: along edges, in closed holes, on straws that fill no pixel."""

import numpy as np
import pytest

from lapsekit.vision.cover import cover_by_odds

SOIL, LEAF, SHADED = (96, 76, 58), (72, 120, 48), (56, 94, 38)


def log_odds(share):
    return np.log(share / (1 - share))


def leaf_with_straws(share_of_straw):
    """A square leaf, a straw that slants out of it and one that stands alone: picture and odds."""
    share = np.full((160, 160), 0.001, np.float32)
    share[20:60, 20:60] = 0.999
    along = np.arange(80)
    share[58 + along, 58 + along] = share_of_straw
    share[20, 70:150] = share_of_straw
    picture = np.full((160, 160, 3), SOIL, np.uint8)
    picture[20:60, 20:60] = LEAF
    return picture, log_odds(share)


@pytest.mark.parametrize(("share", "counted"), [(0.3, 0.3 * 75), (0.11, 0.11 * 75), (0.09, 0)])
def test_a_straw_counts_by_its_share_where_it_grows_from_a_leaf(share, counted):
    """Above a tenth; a straw that no path joins to a leaf counts nothing."""
    picture, odds = leaf_with_straws(share)
    beyond = cover_by_odds(picture, odds)[63:]
    assert beyond.sum() == pytest.approx(counted, abs=1e-3)
    assert not cover_by_odds(picture, odds)[:40, 70:].any()


@pytest.mark.parametrize("leaf_until", [50, 80], ids=["beside ground", "all leaf"])
def test_a_closed_hole_counts_what_the_network_expects(leaf_until):
    """It is told apart from the leaf around, whether there is ground elsewhere or not."""
    picture, odds = np.full((80, 80, 3), SOIL, np.uint8), np.full((80, 80), -8, np.float32)
    picture[:leaf_until], odds[:leaf_until] = LEAF, 8
    odds[20, 40] = -3
    cover = cover_by_odds(picture, odds)
    assert cover[20, 40] == pytest.approx(1 / (1 + np.exp(3)), rel=1e-4)
    assert cover[19, 40] == 1


def test_a_straw_counts_no_farther_than_its_path_leads():
    """It is followed over a gap of two pixels and ends at one of three."""
    picture, odds = leaf_with_straws(0.3)
    for gap, length in ((2, 75 - 2), (3, 37)):
        odds[range(100, 100 + gap), range(100, 100 + gap)] = log_odds(0.05)
        found = cover_by_odds(picture, odds)[63:].sum()
        assert found == pytest.approx(0.3 * length, abs=1e-3)


def test_faint_rims_of_a_thing_that_strokes_took_away_do_not_count():
    """They lie beside what was lost, joined to a leaf, and strokes say nothing of them."""
    share = np.full((120, 60), 0.001, np.float32)
    share[10:40, 20:40], share[50:100, 20:40], share[40:50, 30] = 0.999, 0.9, 0.3
    share[50:100, 18], share[50:100, 41] = 0.3, 0.3
    picture = np.full((120, 60, 3), SOIL, np.uint8)
    picture[10:40, 20:40] = picture[50:100, 20:40] = LEAF
    corrections = np.zeros((120, 60), np.float32)
    corrections[50:100, 20:40] = -9

    class Strokes:
        def corrections(self, picture):
            return corrections

    plain, taught = (cover_by_odds(picture, log_odds(share), each) for each in (None, Strokes()))
    assert plain[60:90, 16:44].sum() > 500
    assert not taught[60:90].any()
    assert taught[12:38, 22:38].all()


def test_what_strokes_call_no_plant_is_no_faint_leaf():
    """A correction takes a straw away; the leaf, of which strokes say nothing, stays."""
    picture, odds = leaf_with_straws(0.3)

    class Strokes:
        def corrections(self, picture):
            found = np.zeros(picture.shape[:2], np.float32)
            found[70:] = -5
            return found

    plain, taught = cover_by_odds(picture, odds), cover_by_odds(picture, odds, Strokes())
    assert plain[70:].any() and not taught[70:].any()
    assert np.array_equal(plain[:70], taught[:70])


def half_leaf(edge_share, dark_rows=0):
    """Leaf above row 40, soil below, row 40 in part; the last rows of leaf in a darker green."""
    share = np.full((80, 80), 0.001, np.float32)
    share[:40], share[40] = 0.999, edge_share
    picture = np.full((80, 80, 3), SOIL, np.uint8)
    picture[:40] = LEAF
    picture[40 - dark_rows : 40] = SHADED
    return picture, log_odds(share)


def test_a_leaf_that_is_darker_towards_its_edge_counts_whole():
    """The network is sure of it; its colour, between leaf and soil, would take a quarter away."""
    picture, odds = half_leaf(0.001, dark_rows=3)
    found = cover_by_odds(picture, odds)[37:40, 20:60]
    assert found.min() > 0.96


@pytest.mark.parametrize("expected", [0.2, 0.5, 0.8])
def test_what_the_network_is_unsure_of_is_weighed_with_what_colours_tell(expected):
    """Soil by its colour, leaf in part by the network: each by the inverse of its variance.

    Colours count between half and whole: a little more than a third of the window is pure leaf.
    """
    picture, odds = half_leaf(expected)
    found = float(cover_by_odds(picture, odds)[40, 40])
    by_network = 1 / (expected * (1 - expected) + 0.01)
    half, whole = (by_network * expected / (by_network + trust / 0.1) for trust in (0.5, 1))
    assert whole < found < half


@pytest.mark.parametrize(("height", "counts"), [(2, False), (4, True)])
def test_a_piece_of_leaf_counts_from_its_least_size(height, counts):
    """A straw 3 px wide that the network is sure of: 6 px of it are too few, 12 are not."""
    share = np.full((60, 60), 0.001, np.float32)
    share[20 : 20 + height, 20:23] = 0.95
    picture = np.full((60, 60, 3), SOIL, np.uint8)
    picture[20 : 20 + height, 20:23] = LEAF
    assert (cover_by_odds(picture, log_odds(share)).sum() > 2 * height) == counts
