"""Frames of many megapixels are measured reduced, and told in their own pixels."""

import cv2
import numpy as np
import pytest

from lapsekit.measuring import measure
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.viewing import matrix_of
from lapsekit.vision.pictures import decode_reduced
from lapsekit.vision.reduction import (
    reduced_matrix,
    reduced_points,
    reduced_shape,
    reduction_of,
    whole_matrix,
)
from tests.scenes import SETTINGS, encoded, make_season
from tests.vision.drawn_bench import POT, light_of, moment, photographed

LARGER, COUNT, MOVED, BY = 5, 8, 5, (13.0, -9.0)


def large_frame(number):
    """A drawn bench five times as large: 2400 × 1800 px; one frame is moved."""
    light = cv2.resize(light_of(number), None, fx=LARGER, fy=LARGER, interpolation=cv2.INTER_CUBIC)
    if number == MOVED:
        way = np.float32([[1, 0, BY[0]], [0, 1, BY[1]]])
        light = cv2.warpAffine(light, way, light.shape[1::-1], borderMode=cv2.BORDER_REFLECT)
    return photographed(light, number)


def large_season(folder, count, settings=SETTINGS):
    settings = settings.replace("px_per_cm = 10", f"px_per_cm = {10 * LARGER}")
    points = [[x * LARGER, y * LARGER] for x, y in ((20, 30), (140, 30), (140, 150), (20, 150))]
    regions = f"{POT[: POT.index('points')]}points = {points}\n"
    season = make_season(folder, settings, regions)
    for number in range(count):
        data = encoded(large_frame(number), "JPEG", quality=90)
        season.archive.store("bench", moment(number), data, ".jpg")
    measure(season)
    return season


def drawn_cm2(number):
    """Area of the disc that `drawn_bench` has in a frame, at 10 px a cm."""
    disc = cv2.circle(np.zeros((60, 60), np.uint8), (30, 30), int(10 + 0.2 * number), 1, -1)
    return int(disc.sum()) / 100


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    return large_season(tmp_path_factory.mktemp("large") / "bench", COUNT)


def test_strokes_lie_where_they_were_drawn_in_the_whole_frame(tmp_path):
    """One that calls the plant no plant takes it away, but for its soft rim."""
    season = large_season(tmp_path / "bench", 2, SETTINGS.replace('"exgr"', '"model"'))
    frame, row = season.catalogue.measurements("pot")[-1]
    assert row.area_cm2 == pytest.approx(drawn_cm2(1), rel=0.12)  # enlarged, an edge is soft
    x, y = 80 * LARGER, 90 * LARGER
    drawn = f"{frame.path},other,{6 * LARGER},{x - 20} {y} {x + 20} {y}"
    (season.folder / COLOURS_FILE).write_text(f"frame,kind,width_px,points\n{drawn}\n")
    taught = Season(season.folder)
    measure(taught)
    assert taught.catalogue.measurements("pot")[-1][1].area_cm2 < 0.15 * row.area_cm2


def test_areas_are_the_drawn_ones_in_cm2(large):
    rows = {f.taken_at: m for f, m in large.catalogue.measurements("pot")}
    assert len(rows) == COUNT
    for number in range(COUNT):
        truth = drawn_cm2(number)
        row = rows[moment(number)]
        # Enlarged, an edge is soft, and an index takes in its outer half
        assert row.area_cm2 == pytest.approx(truth, rel=0.08)
        assert row.canopy_px == pytest.approx(row.area_cm2 * (10 * LARGER) ** 2, rel=0.002)


def test_a_moved_frame_is_placed_in_its_own_pixels(large):
    placed = {f.taken_at: p for f, p in large.catalogue.placements("bench")}
    found = matrix_of(placed[moment(MOVED)])
    middle = found @ [1200, 900, 1]
    assert middle[:2] / middle[2] == pytest.approx((1200 + BY[0], 900 + BY[1]), abs=0.3)


@pytest.mark.parametrize(
    ("size", "by"),
    [((960, 720), 1), ((1599, 1200), 1), ((1640, 1232), 2), ((4056, 3040), 4), ((9248, 6936), 8)],
)
def test_long_sides_stay_above_800_px(size, by):
    assert reduction_of(size) == by
    assert max(size) / by >= 800


@pytest.mark.parametrize("by", [2, 4, 8])
def test_points_and_matrices_go_there_and_back(by):
    """A reduced pixel's centre is the middle of the whole pixels that it averages."""
    block = by - 1
    assert reduced_points([(block / 2, by + block / 2)], by) == ((0.0, 1.0),)
    turned = np.array([[0.99, 0.02, 7.0], [-0.02, 1.01, -3.0], [1e-6, 2e-6, 1]])
    assert reduced_matrix(whole_matrix(turned, by), by) == pytest.approx(turned)
    point, seen = (
        np.array([35.0, 21.0, 1]),
        np.array([35.0 * by + block / 2, 21.0 * by + block / 2, 1]),
    )
    near, whole = turned @ point, whole_matrix(turned, by) @ seen
    assert whole[:2] / whole[2] == pytest.approx(near[:2] / near[2] * by + block / 2)


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
@pytest.mark.parametrize("size", [(1203, 902), (1200, 900)])
def test_a_reduced_picture_has_the_reduced_shape_and_its_places(form, size):
    """A bright spot lies where `reduced_points` puts it."""
    picture = np.zeros((size[1], size[0], 3), np.uint8)
    picture[400:440, 800:840] = (200, 150, 100)
    data = encoded(picture, form, quality=95) if form == "JPEG" else encoded(picture)
    small = decode_reduced(data, 4, picture.shape[:2])
    assert small.shape[:2] == reduced_shape(picture.shape[:2], 4)
    weights = small[..., 0].astype(float)
    y, x = (float((weights * along).sum() / weights.sum()) for along in np.indices(weights.shape))
    assert (x, y) == pytest.approx(reduced_points([(819.5, 419.5)], 4)[0], abs=0.1)
    assert small[105, 205].astype(int) == pytest.approx((200, 150, 100), abs=4)
