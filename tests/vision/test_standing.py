"""Rims followed through time: a later one replaces the older, a hidden one is told as such."""

import cv2
import numpy as np

from lapsekit.vision.proposing import propose
from lapsekit.vision.regions import region_mask
from lapsekit.vision.rims import Edges, find_rim, form_of
from lapsekit.vision.sights import Sight
from lapsekit.vision.standing import Change, standing
from tests.vision.test_proposing import LEAF, PLACES, SIZE, drawn, round_pot

SMALL, LARGE = 48, 72
POT = PLACES[4]


def bench(radius, place=POT, leaves=18):
    """Six pots, one of them of a radius of its own; its plant covers so many px around."""
    shapes = [round_pot(each) for each in PLACES if each != POT]
    picture, leaf = drawn([*shapes, round_pot(place, radius)], "wood", "terracotta")
    grown = leaf.astype(np.uint8)
    cv2.circle(grown, place, leaves, 1, -1)
    picture = picture.copy()
    picture[(grown > 0) & ~leaf] = LEAF
    return Sight(picture, grown > 0)


def overlap(points, place, radius):
    one, other = region_mask(SIZE, points), region_mask(SIZE, round_pot(place, radius))
    return np.sum(one & other) / np.sum(one | other)


def rim_at(found, place=POT):
    """The proposal whose container lies around a place."""
    at = [p for p in found if p.container and region_mask(SIZE, p.container)[place[1], place[0]]]
    assert len(at) == 1
    return at[0]


def half_hidden(sight, place, radius):
    """Three leaves that hide the larger part of a rim."""
    picture, leaf = sight.picture.copy(), sight.leaf.astype(np.uint8)
    for angle in (0.4, 1.9, 3.3):
        at = np.array(place) + radius * np.array([np.cos(angle), np.sin(angle)])
        cv2.circle(leaf, np.int32(at).tolist(), round(0.45 * radius), 1, -1)
    picture[leaf > 0] = LEAF
    return Sight(picture, leaf > 0)


def test_a_pot_changed_for_a_larger_one_gets_the_rim_that_it_has_now():
    found = rim_at(propose([bench(SMALL), bench(LARGE)]))
    assert overlap(found.container, POT, LARGE) > 0.8
    assert found.seen == 1


def test_the_larger_rim_is_found_where_leaves_hide_much_of_it():
    late = half_hidden(bench(LARGE), POT, LARGE)
    rim = np.int32(round_pot(POT, LARGE))
    hidden = np.mean(late.leaf[rim[:, 1], rim[:, 0]])
    assert 0.3 < hidden < 0.65
    assert overlap(rim_at(propose([bench(SMALL), late])).container, POT, LARGE) > 0.8


def test_a_pot_that_was_moved_a_little_has_its_rim_where_it_stands_now():
    place = (POT[0] + 24, POT[1] - 12)
    late = half_hidden(bench(SMALL, place), place, SMALL)
    found = rim_at(propose([bench(SMALL), late]), place)
    assert overlap(found.container, place, SMALL) > 0.8
    assert overlap(found.container, POT, SMALL) < 0.7


def test_a_rim_that_leaves_hide_wholly_is_told_with_the_time_it_was_last_seen():
    found = rim_at(propose([bench(SMALL), bench(LARGE), bench(LARGE, leaves=100)]))
    assert found.seen == 1
    assert overlap(found.container, POT, LARGE) > 0.8


def test_a_rim_from_before_the_diary_tells_of_another_pot_counts_no_more():
    """Leaves have hidden both rims since: the plant counts as one whose container is not seen."""
    sights = [bench(SMALL), bench(LARGE, leaves=100)]
    assert len(standing(sights)) == len(PLACES)
    around = np.array(round_pot(POT, 90))
    stand = standing(sights, changes=[Change(1, around)])
    assert len(stand) == len(PLACES) - 1
    kinds = [p.kind for p in propose(sights, stand)]
    assert sorted(kinds) == ["plant", *["pot"] * (len(PLACES) - 1)]


def test_a_pot_that_was_taken_away_is_proposed_no_more():
    shapes = [round_pot(place) for place in PLACES]
    sights = [Sight(*drawn(some, "wood", "terracotta")) for some in (shapes, shapes[:-1])]
    found = propose(sights)
    assert len(found) == len(PLACES) - 1


def test_no_rim_is_found_in_bare_soil():
    """Soil has edges in every direction; none of them run along a line."""
    rng = np.random.default_rng(3)
    soil = np.clip(rng.normal((72, 54, 40), 25, (*SIZE, 3)), 0, 255).astype(np.uint8)
    edges = Edges(cv2.GaussianBlur(soil, (0, 0), 1.5), np.zeros(SIZE, bool))
    assert find_rim(form_of(round_pot(POT).astype(np.float32)), edges) is None
