"""Regions proposed on drawn benches lie where the containers and plants were drawn."""

import itertools

import cv2
import numpy as np
import pytest

from lapsekit.vision.proposing import propose
from lapsekit.vision.regions import region_mask
from lapsekit.vision.sights import Sight, without_shadows

SIZE = (480, 640)
SOIL, LEAF = (72, 54, 40), (80, 150, 50)
GROUNDS = {"wood": (150, 128, 100), "gravel": (150, 148, 142), "concrete": (178, 176, 170)}
RIMS = {"terracotta": (196, 110, 76), "black": (44, 44, 46), "white": (226, 226, 222)}
PLACES = ((130, 130), (330, 120), (520, 140), (140, 340), (340, 350), (520, 340))


def grain(colour, strength, cell, seed):
    """A rough surface of one colour."""
    small = np.random.default_rng(seed).normal(
        0, strength, (SIZE[0] // cell + 2, SIZE[1] // cell + 2)
    )
    large = cv2.resize(small, None, fx=cell, fy=cell, interpolation=cv2.INTER_LINEAR)
    return np.array(colour) + large[: SIZE[0], : SIZE[1], None]


def box_points(centre, sides, angle):
    return cv2.boxPoints((centre, sides, angle))


def drawn(shapes, ground, rim, hour=0, leaves=18, angle=0.0):
    """A bench with containers (polygons), a plant in each, and a hard shadow beside each."""
    picture = grain(GROUNDS[ground], {"wood": 5, "gravel": 22, "concrete": 3}[ground], 3, 1)
    soil, leaf = grain(SOIL, 9, 2, 2), np.zeros(SIZE, np.uint8)
    if ground == "wood":
        for y in range(0, SIZE[0], 60):
            picture[y : y + 3] *= 0.35
    for shape in shapes:
        shade = cv2.fillPoly(
            np.zeros(SIZE, np.uint8), [np.int32(shape + np.array([-25 + 25 * hour, -28]))], 1
        )
        picture[shade > 0] *= 0.5
    for shape in shapes:
        middle = shape.mean(axis=0)
        outer = cv2.fillPoly(np.zeros(SIZE, np.uint8), [np.int32(shape)], 1) > 0
        inner = (
            cv2.fillPoly(np.zeros(SIZE, np.uint8), [np.int32(middle + 0.86 * (shape - middle))], 1)
            > 0
        )
        picture[outer] = RIMS[rim]
        picture[inner] = soil[inner]
        if leaves:
            cv2.circle(leaf, np.int32(middle).tolist(), leaves, 1, -1)
    picture[leaf > 0] = LEAF
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    picture += np.random.default_rng(5 + hour).normal(0, 2, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8), leaf > 0


def round_pot(centre, radius=48):
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return np.array(centre) + radius * np.stack([np.cos(turn), 0.95 * np.sin(turn)], -1)


def seen(shapes, *surface, **options):
    """Three hours of one day."""
    hours = [drawn(shapes, *surface, hour=hour, **options) for hour in range(3)]
    return Sight(without_shadows([picture for picture, _ in hours]), hours[0][1])


def areas(found):
    return [region_mask(SIZE, proposal.points) for proposal in found]


def require_apart(masks):
    for one, other in itertools.combinations(masks, 2):
        assert np.count_nonzero(one & other) < 0.02 * one.sum()


SHAPES = {
    "round": [round_pot(place) for place in PLACES],
    "square": [box_points(place, (88, 88), 0) for place in PLACES],
    "turned": [box_points(place, (84, 84), 14) for place in PLACES],
}


@pytest.mark.parametrize(
    ("shape", "ground", "rim"),
    [
        ("round", "wood", "terracotta"),
        ("round", "gravel", "black"),
        ("square", "gravel", "white"),
        ("turned", "concrete", "terracotta"),
    ],
)
def test_every_pot_gets_a_region_with_its_room_in_spite_of_hard_shadows(shape, ground, rim):
    """Each holds its pot whole and no other's; regions do not overlap."""
    found = propose([seen(SHAPES[shape], ground, rim)])
    assert [proposal.kind for proposal in found] == ["pot"] * len(PLACES)
    masks = areas(found)
    require_apart(masks)
    for pot in SHAPES[shape]:
        inside = region_mask(SIZE, pot)
        shares = sorted(np.mean(mask[inside]) for mask in masks)
        assert shares[-1] > 0.97
        assert shares[-2] < 0.03
        rims = [region_mask(SIZE, proposal.container) for proposal in found]
        both = max(np.count_nonzero(rim & inside) / np.count_nonzero(rim | inside) for rim in rims)
        assert both > 0.75  # its soil is 0.74 of it, and may be what is seen


def test_cells_of_a_tray_that_stands_askew_are_regions_side_by_side():
    """Overlap (intersection over union) with the drawn cells, walls halved, above 0.8 for each."""
    turn = cv2.getRotationMatrix2D((320, 240), 11, 1)
    cells = []
    for row, column in itertools.product(range(3), range(5)):
        corners = box_points((200 + 60 * column, 180 + 60 * row), (52, 52), 0)
        cells.append(corners @ turn[:, :2].T + turn[:, 2])
    found = propose([seen(cells, "concrete", "black", leaves=9)])
    assert [proposal.kind for proposal in found] == ["cell"] * 15
    masks = areas(found)
    require_apart(masks)
    for cell in cells:
        middle = cell.mean(axis=0)
        true = region_mask(SIZE, middle + (60 / 52) * (cell - middle))
        assert max(np.sum(true & m) / np.sum(true | m) for m in masks) > 0.8


def test_plants_in_a_row_are_told_apart_by_the_day_on_which_they_stood_apart():
    """Three in a trough that have grown together since: each holds its own half way."""
    trough = box_points((320, 240), (420, 110), 0)
    bare, leaf = drawn([trough], "wood", "white", leaves=0)
    early, late = leaf.astype(np.uint8), leaf.astype(np.uint8)
    for x in (180, 320, 460):
        cv2.circle(early, (x, 240), 20, 1, -1)
        cv2.circle(late, (x, 240), 76, 1, -1)
    sights = []
    for mask in (early, late):
        picture = bare.copy()
        picture[mask > 0] = LEAF
        sights.append(Sight(picture, mask > 0))
    found = propose(sights)
    assert [proposal.kind for proposal in found] == ["row"] * 3
    for proposal, x in zip(found, (180, 320, 460), strict=True):
        left, top = np.min(proposal.points, axis=0)
        right, bottom = np.max(proposal.points, axis=0)
        assert left < x - 64 and right > x + 64
        assert top < 240 - 74 and bottom > 240 + 74
    require_apart(areas(found))


def test_without_containers_the_room_lies_around_what_grows():
    picture, leaf = grain(SOIL, 9, 2, 3), np.zeros(SIZE, np.uint8)
    for x, y in PLACES:
        cv2.circle(leaf, (x, y), 40, 1, -1)
    picture[leaf > 0] = LEAF
    found = propose([Sight(np.clip(picture, 0, 255).astype(np.uint8), leaf > 0)])
    assert [proposal.kind for proposal in found] == ["plant"] * 6
    masks = areas(found)
    require_apart(masks)
    assert np.mean(np.any(masks, axis=0)[leaf > 0]) > 0.99


def test_a_stand_in_which_nothing_tells_plants_apart_is_one_region():
    spots = np.random.default_rng(1).normal(0, 1, (60, 80))
    leaf = cv2.resize(spots, SIZE[::-1], interpolation=cv2.INTER_CUBIC) > 0
    picture = np.where(leaf[..., None], LEAF, SOIL).astype(np.uint8)
    found = propose([Sight(picture, leaf)])
    assert [proposal.kind for proposal in found] == ["stand"]
    assert areas(found)[0].all()


def test_plants_that_the_border_cuts_all_round_are_a_bed_that_goes_on():
    picture, leaf = grain(SOIL, 9, 2, 3), np.zeros(SIZE, np.uint8)
    for x in range(0, 641, 128):
        cv2.circle(leaf, (x, 0), 50, 1, -1)
        cv2.circle(leaf, (x, 479), 50, 1, -1)
    picture[leaf > 0] = LEAF
    found = propose([Sight(np.clip(picture, 0, 255).astype(np.uint8), leaf > 0)])
    assert [proposal.kind for proposal in found] == ["stand"]


def test_where_nothing_grows_nothing_is_proposed():
    assert propose([seen(SHAPES["round"], "wood", "terracotta", leaves=0)]) == []
