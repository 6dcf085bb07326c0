"""Frames vote pixel by pixel; regions are measured in the map of labels."""

import numpy as np
import pytest

from lapsekit.vision.consensus import consensus, disagreement, edge_lengths, region_areas


def disc(x, y, radius, shape=(120, 160)):
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    return (columns - x) ** 2 + (rows - y) ** 2 <= radius**2


def test_what_one_frame_mistakes_in_one_place_is_outvoted_there():
    plant = disc(60, 60, 30)
    frames = [plant | disc(80 - 20 * n, 60, 3) & ~plant | disc(20, 20 + 9 * n, 6) for n in range(5)]
    assert np.array_equal(consensus(frames).canopy, plant)
    medians = np.median([f.sum() for f in frames])
    assert medians > plant.sum() + 100  # which a median of areas would keep


def test_the_vote_of_an_even_number_counts_ties_by_half():
    small, large = disc(60, 60, 20), disc(60, 60, 24)
    found = consensus([small, large])
    labels = found.canopy.astype(int)
    area = region_areas(labels, 1.0, 1, found.votes)[0]
    assert area == pytest.approx((small.sum() + large.sum()) / 2)


def test_a_heavier_frame_has_the_louder_voice():
    one, other = disc(60, 60, 20), disc(100, 60, 20)
    assert np.array_equal(consensus([one, other], [2.0, 1.0]).canopy, one)


@pytest.mark.parametrize("weights", [[1.0], [1.0, 0.0], [1.0, -2.0]])
def test_a_voice_without_weight_is_refused(weights):
    with pytest.raises(ValueError, match="weight"):
        consensus([disc(60, 60, 20)] * 2, weights)


def test_a_day_without_frames_is_no_vote():
    with pytest.raises(ValueError, match="gap"):
        consensus([])


def test_areas_follow_the_bench_under_a_slanted_view():
    labels = disc(40, 60, 15).astype(int) + 2 * disc(120, 60, 15)
    pixel_cm2 = np.broadcast_to(np.linspace(0.01, 0.03, 160), labels.shape)
    near, far = region_areas(labels, pixel_cm2, 2)
    assert near == pytest.approx(pixel_cm2[labels == 1].sum())
    assert far / near == pytest.approx(pixel_cm2[60, 120] / pixel_cm2[60, 40], rel=0.01)


def test_edges_are_as_long_as_circles_are_and_contacts_do_not_count():
    labels = disc(40, 60, 30).astype(int) + 2 * disc(120, 60, 30)
    assert edge_lengths(labels, 2) == pytest.approx([2 * np.pi * 30] * 2, rel=0.03)
    halves = np.where(disc(60, 60, 30), np.where(np.arange(160) < 60, 1, 2), 0)
    assert edge_lengths(halves, 2).sum() == pytest.approx(2 * np.pi * 30, rel=0.03)


def test_a_leaf_that_moves_is_in_dispute_though_its_area_stays():
    day, frame = disc(60, 60, 20).astype(int), disc(63, 60, 20).astype(int)
    assert day.sum() == frame.sum()
    assert disagreement(frame, day, 0.5, 1)[0] == pytest.approx((day != frame).sum() / 2)
    assert disagreement(day, day, 0.5, 1)[0] == 0
