"""Canopy belongs to the plant it grew out of, through contact, cuts, moves and gaps."""

from functools import partial

import cv2
import numpy as np
import pytest

from lapsekit.vision.neighbours import divide, reach_px

SHAPE = (160, 240)
LEFT = [(10, 20), (119, 20), (119, 140), (10, 140)]
RIGHT = [(120, 20), (230, 20), (230, 140), (120, 140)]
PAIR = [LEFT, RIGHT]
GREEN, RED, SOIL = (70, 140, 48), (110, 45, 60), (96, 72, 52)


def disc(x, y, radius, shape=SHAPE):
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    return (columns - x) ** 2 + (rows - y) ** 2 <= radius**2


def painted(*layers, seed=0):
    """A noisy picture of soil with masks painted over it in order."""
    picture = np.full((*SHAPE, 3), SOIL, float)
    for mask, colour in layers:
        picture[mask] = colour
    noise = np.random.default_rng(seed).normal(0, 8, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8)


def sizes(division):
    return [s.canopy_px for s in division.standings]


def test_discs_growing_into_each_other_keep_their_areas_and_identities():
    before = None
    for day in range(27):
        left, right = disc(75, 80, 20 + 1.5 * day), disc(165, 80, 20 + day)
        before = divide(left | right, PAIR, before).labels
        for number, plant, other in ((1, left, right), (2, right, left)):
            alone = plant & ~other
            assert (before[alone] == number).mean() > 0.92
            visible = plant.sum() - (left & right).sum() / 2
            assert (before == number).sum() == pytest.approx(visible, rel=0.08)
    assert (left & right).sum() > 0.04 * right.sum()  # they did meet


def test_a_leaf_that_grows_over_a_neighbour_of_another_colour_is_found_in_the_picture():
    before = None
    for day in range(25):
        left, right = disc(80, 80, 25 + 1.2 * day), disc(160, 80, 38)
        picture = painted((right, RED), (left, GREEN), seed=day)
        division = divide(left | right, PAIR, before, lambda picture=picture: picture)
        before = division.labels
    assert (left & right).sum() > 250
    assert sizes(division) == pytest.approx([left.sum(), (right & ~left).sum()], rel=0.02)
    carried_only = divide(left | right, PAIR, disc(160, 80, 38) * 2).labels
    assert (carried_only == 2).sum() > 1.05 * (right & ~left).sum()  # what the picture is for


@pytest.mark.parametrize("seed", range(3))
def test_no_rim_of_a_leaf_on_dark_soil_is_taken_for_a_leaf_of_a_darker_neighbour(seed):
    shape = rows, columns = 200, 320
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:rows, :columns]
    around, away = np.arctan2(y - 100, x - 225), np.hypot(y - 100, x - 225)
    left, right = disc(90, 100, 80, shape), away <= 70 * (0.55 + 0.45 * np.cos(9 * around))
    shade = cv2.resize(rng.uniform(0.25, 1, (12, 18)), shape[::-1], interpolation=cv2.INTER_CUBIC)
    picture = np.full((*shape, 3), (24, 18, 14), float)
    picture[right] = 70, 150, 50
    picture[left] = (np.array([60, 120, 40]) * shade[..., None])[left]
    picture = cv2.GaussianBlur(picture, (0, 0), 1.3) + rng.normal(0, 3, picture.shape)
    picture = np.clip(picture, 0, 255).astype(np.uint8)
    canopy = cv2.dilate((left | right).view(np.uint8), np.ones((3, 3), np.uint8)) > 0
    pair = [[(0, 0), (175, 0), (175, 199), (0, 199)], [(176, 0), (319, 0), (319, 199), (176, 199)]]
    yesterday = np.where(left, 1, np.where(right, 2, 0))
    labels = divide(canopy, pair, yesterday, lambda: picture).labels
    beyond = cv2.dilate(left.view(np.uint8), np.ones((9, 9), np.uint8)) == 0
    assert (labels[canopy & beyond & (x > 150)] == 2).all()


def test_plants_of_one_colour_meet_where_they_met_yesterday():
    left, right = disc(75, 80, 46), disc(165, 80, 46)
    yesterday = np.where(disc(75, 80, 45), 1, np.where(disc(165, 80, 44), 2, 0))
    picture = painted((left | right, GREEN))
    division = divide(left | right, PAIR, yesterday, lambda picture=picture: picture)
    assert sizes(division) == pytest.approx([left.sum(), right.sum()], rel=0.02)


def test_a_leaf_across_its_outline_belongs_to_the_plant_it_grew_out_of():
    before = None
    for day in range(12):
        stretched = disc(90, 80, 25) | (disc(90, 80, 26 + 3 * day) & disc(130, 80, 20 + day))
        before = divide(stretched | disc(200, 80, 20), PAIR, before).labels
    across = stretched & (np.indices(SHAPE)[1] >= 120)
    assert across.sum() > 300
    assert (before[across] == 1).all()
    assert (before == 2).sum() == disc(200, 80, 20).sum()


def test_a_plant_comes_up_under_the_leaf_of_its_neighbour_without_owning_the_leaf():
    wide = disc(90, 80, 50)
    before = np.where(wide, 1, 0)
    seedling = disc(180, 80, 4)
    division = divide(wide | seedling, PAIR, before)
    assert sizes(division) == [wide.sum(), seedling.sum()]


def test_a_cut_plant_shrinks_and_gives_nothing_away():
    left, right = disc(75, 80, 46), disc(165, 80, 46)
    before = divide(left | right, PAIR).labels
    stump = disc(75, 80, 20)
    division = divide(stump | right, PAIR, before)
    assert sizes(division) == pytest.approx([stump.sum(), right.sum()], abs=3)


def test_a_moved_pot_starts_from_its_new_outline():
    left, right = disc(60, 60, 30), disc(170, 80, 30)
    before = divide(left | right, PAIR).labels
    moved_plant = disc(60, 110, 30)
    new = [[(10, 70), (119, 70), (119, 155), (10, 155)], RIGHT]
    division = divide(moved_plant | right, new, before, moved=[1])
    assert sizes(division) == [moved_plant.sum(), right.sum()]


def test_pots_that_change_places_change_their_labels_with_their_outlines():
    left, right = disc(60, 80, 25), disc(170, 80, 35)
    before = divide(left | right, PAIR).labels
    division = divide(disc(60, 80, 35) | disc(170, 80, 25), PAIR[::-1], before, moved=[1, 2])
    assert sizes(division) == [disc(170, 80, 25).sum(), disc(60, 80, 35).sum()]


def test_days_without_frames_are_bridged():
    left, right = disc(75, 80, 20), disc(165, 80, 20)
    before = divide(left | right, PAIR).labels
    left, right = disc(75, 80, 40), disc(165, 80, 40)
    division = divide(left | right, PAIR, before, days=6)
    assert sizes(division) == [left.sum(), right.sum()]


def test_a_stray_patch_belongs_to_the_outline_it_lies_in_or_to_none():
    plant = disc(60, 80, 25)
    before = divide(plant, PAIR).labels
    moss, leaf = disc(215, 30, 5), disc(60, 152, 5)
    division = divide(plant | moss | leaf, PAIR, before)
    assert (division.labels[moss] == 2).all()
    assert (division.labels[leaf] == 0).all()


def test_canopy_beyond_a_days_growth_is_not_the_plants():
    plant = disc(60, 80, 20)
    before = divide(plant, PAIR).labels
    hose = np.zeros(SHAPE, bool)
    hose[78:83, 60:118] = hose[78:150, 114:118] = True  # green, and connected
    labels = divide(plant | hose, PAIR, before).labels
    far = hose & (np.indices(SHAPE)[0] > 141)
    assert far.any() and (labels[far] == 0).all()


def test_a_thin_leaf_broken_by_a_gap_of_a_pixel_stays_whole():
    plant = disc(60, 80, 20)
    blade = np.zeros(SHAPE, bool)
    blade[79:81, 75:125] = True
    other = disc(190, 80, 20)
    before = divide(plant | blade | other, PAIR).labels
    assert (before[blade] == 1).all()  # across the outline, on the first day
    blade[:, 95] = False
    labels = divide(plant | blade | other, PAIR, before).labels
    assert (labels[blade] == 1).all()


def test_contact_and_crowding_are_told():
    block = np.zeros(SHAPE, bool)
    block[40:100, 60:118] = True
    other = np.zeros(SHAPE, bool)
    other[50:90, 118:160] = True
    division = divide(block | other, PAIR, np.where(block, 1, 0) + np.where(other, 2, 0))
    first, second = division.standings
    assert (first.touches, second.touches) == ((2,), (1,))
    # A straight border is the worst case of Crofton's estimate from two directions
    assert first.contact_px == second.contact_px == pytest.approx(40 * np.pi / 4)
    assert second.reaches_outline and second.beyond_px == 40 * 2
    assert not first.reaches_outline and first.beyond_px == 0
    on_it = divide(block | other, PAIR, np.where(block | other, 1, 0)).standings[0]
    assert on_it.reaches_outline
    alone = divide(disc(60, 80, 20), PAIR).standings[0]
    assert not alone.reaches_outline and alone.touches == () and alone.contact_px == 0


def test_no_plant_makes_no_label():
    division = divide(np.zeros(SHAPE, bool), PAIR, np.ones(SHAPE, int), painted)
    assert not division.labels.any() and sizes(division) == [0, 0]


def test_the_view_may_be_one_region():
    plant = disc(60, 80, 25)
    assert sizes(divide(plant, [None])) == [plant.sum()]


def test_doubt_is_larger_where_colours_are_alike():
    left, right = disc(78, 80, 48), disc(162, 80, 48)
    before = np.where(left & (np.indices(SHAPE)[1] < 120), 1, 0) + 2 * (
        right & (np.indices(SHAPE)[1] >= 120)
    )
    alike, unlike = (
        divide(left | right, PAIR, before, partial(painted, (left, GREEN), (right & ~left, colour)))
        for colour in (GREEN, RED)
    )
    assert alike.standings[0].doubtful_px > 2 * unlike.standings[0].doubtful_px > 0


def test_reach_grows_with_the_plant_and_the_days():
    assert reach_px(0) > 0
    assert reach_px(100) < reach_px(400) < reach_px(400, days=3)
    assert reach_px(400, days=0) < reach_px(400)


def test_plants_with_room_are_divided_alike_by_the_short_way_and_the_long(monkeypatch):
    """Without touching, with loose pieces, with and without a past, and a piece in no outline."""
    canopy = disc(60, 80, 30) | disc(170, 80, 25) | disc(30, 30, 4) | disc(115, 5, 4)
    past = divide(disc(62, 80, 27) | disc(168, 80, 20), PAIR).labels
    for before in (None, past):
        short = divide(canopy, PAIR, before)
        with monkeypatch.context() as patched:
            patched.setattr("lapsekit.vision.neighbours._keeps_home", lambda *_: False)
            long = divide(canopy, PAIR, before)
        assert np.array_equal(short.labels, long.labels)
        assert short.standings == long.standings
