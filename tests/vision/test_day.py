"""What a day's frames agree on, and whose canopy it is, on drawn discs."""

import numpy as np
import pytest

from lapsekit.vision.day import edge_lengths, holders, middle_cover, territories, work_out

SHAPE = (120, 200)
LEFT = [(5, 5), (99, 5), (99, 115), (5, 115)]
RIGHT = [(100, 5), (195, 5), (195, 115), (100, 115)]


def disc(x, y, radius, shape=SHAPE):
    """Share of each pixel that a disc covers, 0 to 255: a soft edge one pixel wide."""
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    depth = radius - np.hypot(columns - x, rows - y)
    return np.rint(255 * np.clip(depth + 0.5, 0, 1)).astype(np.uint8)


def test_what_one_frame_mistakes_in_one_place_is_outvoted_there():
    plant = disc(60, 60, 30)
    frames = [
        np.maximum(np.where(disc(80 - 20 * n, 60, 3) > 0, 0, plant), disc(20, 20 + 9 * n, 6))
        for n in range(5)
    ]
    assert np.array_equal(middle_cover(frames), plant)
    medians = np.median([np.int64(f).sum() for f in frames])
    assert abs(medians - plant.sum()) > 10_000, "which a median of areas would keep"


def test_of_an_even_number_of_frames_the_middle_two_count_by_half():
    small, large = disc(60, 60, 20), disc(60, 60, 24)
    middle = middle_cover([small, large]).sum(dtype=float)
    assert middle == pytest.approx((small.sum(dtype=float) + large.sum(dtype=float)) / 2, rel=1e-3)


def test_a_day_without_frames_is_a_gap():
    with pytest.raises(ValueError, match="gap"):
        middle_cover([])


def test_a_soft_edge_is_measured_to_a_fraction_of_a_pixel():
    for radius in (3.2, 9.7, 30.4):
        found = work_out([disc(60, 60, radius)], [LEFT, RIGHT])
        assert found.middle[0] == pytest.approx(np.pi * radius**2, rel=0.006)
        assert found.middle[1] == 0


def test_areas_follow_the_bench_under_a_slanted_view():
    weights = np.broadcast_to(np.linspace(0.01, 0.03, 200), SHAPE)
    found = work_out([np.maximum(disc(50, 60, 15), disc(150, 60, 15))], [LEFT, RIGHT], weights)
    near, far = found.middle
    assert far / near == pytest.approx(weights[60, 150] / weights[60, 50], rel=0.01)


def test_a_leaf_that_grew_over_the_outline_stays_with_its_plant():
    """A frame's leaves that sway beyond the day's shape count for the plant they are near."""
    yesterday = work_out([np.maximum(disc(70, 60, 28), disc(160, 60, 15))], [LEFT, RIGHT])
    frames = [np.maximum(disc(70 + sway, 60, 34), disc(160, 60, 15)) for sway in (-1, 0, 2)]
    found = work_out(frames, [LEFT, RIGHT], 1.0, yesterday.labels)
    for row in found.areas:
        assert row == pytest.approx([np.pi * 34**2, np.pi * 15**2], rel=0.01)
    assert found.standings[0].reaches_outline
    assert not found.standings[1].reaches_outline
    assert found.standings[0].touches == ()


def test_two_that_meet_touch_each_other_and_share_the_canopy_between_them():
    before, radius = None, 0
    for radius in range(20, 42, 2):
        cover = np.maximum(disc(70, 60, radius), disc(130, 60, 25))
        found = work_out([cover], [LEFT, RIGHT], 1.0, before)
        before = found.labels
    overlap = ((disc(70, 60, radius) > 127) & (disc(130, 60, 25) > 127)).sum()
    assert overlap > 20
    assert found.standings[0].touches == (2,)
    assert found.standings[1].touches == (1,)
    assert found.middle.sum() == pytest.approx(cover.sum() / 255)
    assert found.middle == pytest.approx([np.pi * radius**2, np.pi * 25**2], rel=0.04)


def test_a_region_that_holds_others_is_measured_whole_beside_them():
    whole = [(0, 0), (199, 0), (199, 119), (0, 119)]
    cover = np.maximum(disc(50, 60, 20), disc(150, 60, 10))
    assert holders(SHAPE, [whole, LEFT, RIGHT]) == {0}
    assert holders(SHAPE, [None, LEFT]) == {0}
    assert holders(SHAPE, [LEFT, RIGHT]) == frozenset()
    found = work_out([cover], [whole, LEFT, RIGHT])
    assert found.middle[0] == pytest.approx(found.middle[1] + found.middle[2])
    assert found.middle[1] == pytest.approx(np.pi * 400, rel=0.01)


def test_what_is_far_from_every_plant_counts_for_the_outline_it_lies_in():
    labels = np.where(disc(70, 60, 10) > 127, 1, 0).astype(np.uint16)
    zone = territories(labels, [LEFT, RIGHT])
    assert zone[60, 150] == 2
    assert zone[110, 10] == 1
    assert zone[2, 2] == 0


def test_what_frames_disagree_on_is_in_dispute_though_areas_stay():
    frames = [disc(60 + shift, 60, 20) for shift in (-3, 0, 3)]
    assert np.ptp([f.sum(dtype=float) for f in frames]) == 0
    assert work_out(frames, [LEFT, RIGHT]).disputed[0] > 50
    assert work_out(frames[:1] * 3, [LEFT, RIGHT]).disputed[0] == 0


def test_edges_are_as_long_as_circles_are_and_contacts_do_not_count():
    labels = (disc(40, 60, 30) > 127) + 2 * (disc(120, 60, 30) > 127).astype(int)
    assert edge_lengths(labels, 2) == pytest.approx([2 * np.pi * 30] * 2, rel=0.03)
    halves = np.where(disc(60, 60, 30) > 127, np.where(np.arange(200) < 60, 1, 2), 0)
    assert edge_lengths(halves, 2).sum() == pytest.approx(2 * np.pi * 30, rel=0.03)
