"""Plants that met are asked about: drawn ones, and the sample season's true masks laid together."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.vision.meeting import elongation, may_be_several
from lapsekit.vision.plant_rooms import Proposal
from lapsekit.vision.proposing import propose
from lapsekit.vision.sights import Sight
from tests.vision.test_proposing import LEAF, SIZE, SOIL, box_points, drawn, grain

MASKS = Path(__file__).parents[2] / "sample_frames" / "truth" / "masks"
LEAST_PX = 276  # what propose takes for a plant in a picture of this size
ROOM = 330


def discs(*plants):
    """Leaf of plants that are discs (x, y, radius)."""
    y, x = np.mgrid[: SIZE[0], : SIZE[1]]
    return np.any([np.hypot(x - a, y - b) < radius for a, b, radius in plants], axis=0)


def seen(leaf):
    picture = grain(SOIL, 9, 2, 3)
    picture[leaf] = LEAF
    return Sight(np.clip(picture, 0, 255).astype(np.uint8), leaf)


def asked(leaf):
    """What is said of each plant that is proposed, as one reads."""
    found = propose([seen(leaf)])
    assert {proposal.kind for proposal in found} == {"plant"}
    return may_be_several(leaf, found)


FOUR = [(100, 100, 40), (540, 100, 40), (100, 380, 40), (540, 380, 40)]


def test_plants_that_stand_apart_are_not_asked_about():
    assert asked(discs(*FOUR, (320, 240, 45))) == [None] * 5


@pytest.mark.parametrize("apart", [1.95, 1.7, 1.5])
def test_two_that_meet_are_by_their_length(apart):
    told = asked(discs(*FOUR, (320, 240 - 20 * apart, 40), (320, 240 + 20 * apart, 40)))
    (several,) = [each for each in told if each]
    assert told.index(several) == 2
    true = np.sqrt(1 + apart**2)  # of two whole discs; what both share counts once
    assert several.elongation == pytest.approx(true, rel=0.1)
    assert several.told.startswith(f"its leaves reach {several.elongation:g} times as far one way")


def test_three_that_meet_round_a_middle_are_by_their_size():
    told = asked(discs(*FOUR, (285, 220, 40), (355, 220, 40), (320, 281, 40)))
    (several,) = [each for each in told if each]
    assert several.elongation is None and several.times_larger == pytest.approx(2.9, abs=0.15)
    assert several.told == f"it is {several.times_larger:g} times as large as the others"


def test_a_plant_that_the_border_cuts_is_not_called_long():
    half = discs((320, 0, 60), *FOUR)
    assert elongation(np.argwhere(half[:100, 200:440])) > 1.5
    assert asked(half) == [None] * 5


def test_plants_of_one_trough_that_never_stood_apart_are_asked_about():
    trough = box_points((320, 240), (420, 110), 0)
    bare, _ = drawn([trough], "wood", "white", leaves=0)
    leaf = discs(*((x, 240, 40) for x in (220, 290, 360, 430)))
    picture = np.where(leaf[..., None], np.uint8(LEAF), bare)
    found = propose([Sight(picture, leaf)])
    (several,) = may_be_several(leaf, found)
    assert [proposal.kind for proposal in found] == ["pot"] and several.elongation > 2


def test_a_plant_in_a_pot_of_its_own_is_not_whatever_its_leaves():
    leaf = discs((300, 240, 20), (340, 240, 20))
    corners = tuple(map(tuple, box_points((320, 240), (100, 100), 0)))
    pot = Proposal(corners, "pot", 0.9, corners)
    assert may_be_several(leaf, [pot]) == [None]


def true_plants():
    """Leaves of single plants of the sample season: every ninth mask, as they stand apart."""
    for file in sorted(MASKS.glob("*.png"))[8::9]:
        labels = np.array(Image.open(file))
        for number in range(1, labels.max() + 1):
            points = np.argwhere(labels == number)[:, ::-1]
            if len(points) >= LEAST_PX:
                yield points - points.mean(axis=0)


def as_mask(points):
    mask = np.zeros((2 * ROOM, 2 * ROOM), bool)
    across, down = np.rint(points + ROOM).astype(int).T
    mask[down, across] = True
    return mask


def laid_together(one, other, way, share):
    """Points of two plants, the second moved until both overlap by a share of the lesser's breadth.

    Its breadth is that of a disc of its area.
    """
    along = np.array([np.cos(way), np.sin(way)])
    first = as_mask(one)
    apart = next(t for t in range(ROOM, 0, -1) if (first & as_mask(_held(other + t * along))).any())
    breadth = 2 * np.sqrt(min(len(one), len(other)) / np.pi)
    return np.argwhere(first | as_mask(_held(other + (apart - share * breadth) * along)))


def _held(points):
    return points[(np.abs(points) < ROOM - 1).all(axis=1)]


@pytest.fixture(scope="module")
def plants():
    return list(true_plants())


def test_of_true_single_plants_one_in_fifty_is_so_long(plants):
    assert len(plants) > 250
    assert np.mean([elongation(points) > 1.5 for points in plants]) < 0.025


@pytest.mark.parametrize("share", [0.0, 0.2])
def test_of_true_plants_that_meet_nineteen_in_twenty_are(plants, share):
    """Of sizes up to three times each other's."""
    rng, found = np.random.default_rng(2), []
    while len(found) < 150:
        one, other = (plants[k] for k in rng.integers(len(plants), size=2))
        if 1 / 3 < len(one) / len(other) < 3:
            found.append(elongation(laid_together(one, other, rng.uniform(0, 2 * np.pi), share)))
    assert np.mean(np.array(found) > 1.5) > 0.93
