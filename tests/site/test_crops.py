"""Crops and turns: what is known to lie somewhere in a picture comes back where it belongs."""

from datetime import date, timedelta

import cv2
import numpy as np
import pytest
from PIL import Image

from lapsekit.catalogue import Placement, Screening
from lapsekit.season import Season
from lapsekit.settings import Outline, Region
from lapsekit.site import pictures
from lapsekit.site.almanac import gather
from lapsekit.site.cropping import plants_of, show_crops, sight_of
from lapsekit.site.crops import Moment, cut, moments, reduction_for
from lapsekit.site.turning import box_of, crop_matrix, crop_size_of, turn_of, union_box
from lapsekit.site.writing import SiteFolder
from lapsekit.viewing import View
from tests.site.small_season import FIRST, add_frame

SIZE = (640, 480)
GREY = (128, 124, 116)
#: From the reference view to a frame: turned, moved, a little nearer on one side.
WARP = np.array([[0.98, -0.06, 31.0], [0.05, 1.01, -17.0], [4e-5, -3e-5, 1.0]])


def region(*outlines, name="basil"):
    told = [
        Outline.model_validate({"from": FIRST + timedelta(number), "points": points})
        for number, points in enumerate(outlines)
    ]
    return Region(name=name, camera="bench", outline=tuple(told))


def square(left, top, side):
    return ((left, top), (left + side, top), (left + side, top + side), (left, top + side))


def scene():
    """A smooth picture in which every place looks different from those around it."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]].astype(float)
    red = 128 + 60 * np.sin(x / 17) * np.cos(y / 23)
    green = 128 + 60 * np.sin((x + y) / 31)
    blue = 128 + 60 * np.cos(x / 41 - y / 19)
    return np.stack([red, green, blue], -1).round().astype(np.uint8)


def test_a_box_holds_all_outlines_and_is_square():
    left, top, width, height = box_of(region(square(100, 200, 50), square(120, 190, 80)), SIZE)
    assert width * SIZE[0] == pytest.approx(height * SIZE[1], abs=0.02)
    assert left * SIZE[0] < 100 and top * SIZE[1] < 190
    assert (left + width) * SIZE[0] > 200 and (top + height) * SIZE[1] > 270
    assert width * SIZE[0] < 120


@pytest.mark.parametrize("place", [square(0, 0, 90), square(549, 389, 90)])
def test_a_box_at_the_edge_stays_in_the_view(place):
    left, top, width, height = box_of(region(place), SIZE)
    assert min(left, top) >= 0 and max(left + width, top + height) <= 1 + 1e-5
    assert width * SIZE[0] == pytest.approx(height * SIZE[1], abs=0.02)


def test_a_region_wider_than_the_view_is_high_has_the_views_height():
    trough = region(((10, 200), (630, 200), (630, 300), (10, 300)))
    left, top, width, height = box_of(trough, SIZE)
    assert (top, height) == (0, 1) and left >= 0 and width > 0.95


def test_without_an_outline_the_box_is_the_whole_view_and_a_group_has_one_for_all():
    assert box_of(region(None), SIZE) == (0, 0, 1, 1)
    two = [region(square(100, 100, 40)), region(square(200, 120, 40), name="mint")]
    left, _, width, _ = union_box(two, SIZE)
    assert left * SIZE[0] < 100 and (left + width) * SIZE[0] > 240


@pytest.mark.parametrize("by", [1, 2])
def test_a_turn_leads_from_a_pictures_place_to_the_same_things_place_in_the_view(by):
    """The warp is between views of the same size or of pictures twice as large."""
    grown = np.array([[by, 0, (by - 1) / 2], [0, by, (by - 1) / 2], [0, 0, 1]])
    matrix, size = grown @ WARP, (SIZE[0] * by, SIZE[1] * by)
    turn = np.reshape(turn_of(matrix, size, SIZE), (3, 3))
    assert turn[2, 2] == 1
    for x, y in ((100, 80), (500, 60), (320, 240), (20, 470)):
        in_frame = matrix @ (x, y, 1)
        px = in_frame[:2] / in_frame[2]
        found = turn @ (*((px + 0.5) / size), 1)
        assert found[:2] / found[2] == pytest.approx(((x + 0.5) / 640, (y + 0.5) / 480), abs=2e-6)


def test_a_frame_taken_as_it_is_has_no_turn():
    assert turn_of(None, SIZE, SIZE) is None


def test_a_picture_warped_by_a_known_homography_comes_back():
    frame = cv2.warpPerspective(scene(), WARP, SIZE)
    box = (0.25, 0.25, 0.375, 0.5)
    found = cut(frame, WARP @ crop_matrix(box, SIZE, (240, 240)), (240, 240))
    wanted = scene()[120:360, 160:400]
    assert np.abs(found.astype(int) - wanted).mean() < 1.5
    unturned = cut(frame, crop_matrix(box, SIZE, (240, 240)), (240, 240))
    assert np.abs(unturned.astype(int) - wanted).mean() > 10, "the warp matters"


@pytest.mark.parametrize("by", [1, 2, 4])
def test_a_crop_out_of_a_large_frame_is_the_mean_of_what_it_covers(by):
    """A frame four times as large, decoded smaller or not, gives the same crop."""
    large = cv2.resize(scene(), None, fx=4, fy=4, interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(3).normal(0, 25, large.shape)
    large = np.clip(large + noise, 0, 255).astype(np.uint8)
    box, whole, size = (0.25, 0.25, 0.375, 0.5), (2560, 1920), (240, 240)
    turn = crop_matrix(box, whole, size)
    assert reduction_for(turn, size) == 4
    read = cv2.resize(large, None, fx=1 / by, fy=1 / by, interpolation=cv2.INTER_AREA)
    off = cut(read, turn, size, by).astype(float) - scene()[120:360, 160:400]
    assert abs(off.mean()) < 1
    assert off.std() < 9, "of noise of 25 in 16 pixels little is left"


def test_out_of_the_frame_a_crop_is_grey():
    moved = np.array([[1, 0, -100.0], [0, 1, 0], [0, 0, 1]])
    found = cut(scene(), moved @ crop_matrix((0, 0, 0.375, 0.5), SIZE, (240, 240)), (240, 240))
    assert (found[:, :95] == GREY).all() and not (found[:, 105:] == GREY).all()


def test_a_crop_is_about_320_px_and_never_enlarged():
    assert crop_size_of((0.0, 0.0, 0.5, 0.5), (4056, 3040), 320) == (320, 240)
    assert crop_size_of((0.0, 0.0, 0.1, 0.1), (640, 640), 320) == (64, 64)


def test_a_week_has_its_nearest_picture_or_is_a_gap_and_the_latest_is_there():
    def day(number):
        return FIRST + timedelta(number)

    seen = {day(n) for n in (1, 2, 6, 8, 25, 30, 31, 37)}
    assert moments(day(0), seen) == [
        Moment(day(0), day(1)),
        Moment(day(7), day(6)),
        Moment(day(14), None),
        Moment(day(21), None),
        Moment(day(28), day(30)),
        Moment(day(35), day(37)),
    ]
    assert moments(day(0), seen | {day(39)})[-1] == Moment(day(39), day(39))
    assert moments(day(20), seen)[0] == Moment(day(20 + 7), day(25))
    assert moments(day(40), seen) == [] == moments(day(0), set())


@pytest.fixture
def bench(empty):
    """Ten days of frames of one size, taken as they are."""
    for number in range(10):
        day = FIRST + timedelta(days=number)
        add_frame(empty, "bench", day)
        add_frame(empty, "trough", day)
    return empty


def crops_of(season):
    """Builds crops alone; them, and the files that were written."""
    almanac, folder = gather(season), SiteFolder(season.site)
    sights = {c: sight_of(View(season, c), almanac.pictures[c]) for c in almanac.cameras}
    return show_crops(season, almanac, folder, sights, plants_of(almanac)), folder.written


def test_after_a_knock_a_crop_shows_the_same_part_of_the_bench(bench):
    """The frame of 8 April is placed 30 px to the right: what it shows there belongs here."""
    (frame,) = bench.catalogue.frames("bench", date(2031, 4, 8))
    moved = Placement(frame.path, (1.0, 0.0, 30.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0), 0.1, 0.1, "")
    bench.catalogue.record(Screening(frame.path, "m", (), 0.4, 0.0, 0.2), moved, [])
    crops, _ = crops_of(bench)
    knocked, last = crops["basil"][1:]
    with Image.open(bench.site / f"{knocked.stem}.jpg") as image:
        seen = np.asarray(image.convert("RGB"), int)
    assert (knocked.width, knocked.height) == (240, 240)
    assert seen[120, 50] == pytest.approx((70, 140, 48), abs=12), "60 to 104 px, less 30"
    assert seen[120, 90] == pytest.approx((96, 72, 52), abs=12)
    with Image.open(bench.site / f"{last.stem}.jpg") as image:
        assert image.convert("RGB").getpixel((90, 120)) == pytest.approx((70, 140, 48), abs=12)


def test_crops_are_made_once_and_a_new_day_makes_its_own(bench):
    first, written = crops_of(bench)
    basil = first["basil"]
    assert [crop.day for crop in basil] == [date(2031, 4, 1), date(2031, 4, 8), date(2031, 4, 10)]
    assert {(crop.width, crop.height) for crop in basil} == {(240, 240)}
    assert len(written) == 2 * len(written[::2]) == 2 * (len(basil) + len(first["cress"]))
    again, written = crops_of(bench)
    assert again == first and written == []
    add_frame(bench, "bench", date(2031, 4, 11))
    add_frame(bench, "trough", date(2031, 4, 11))
    after, written = crops_of(bench)
    assert sorted(written) == sorted(
        f"{crops[-1].stem}.{kind}" for crops in after.values() for kind in pictures.KINDS
    )
    assert after["basil"][-1].shown == date(2031, 4, 11)


def test_crops_carry_nothing_of_the_camera_and_show_the_plants_colour(bench):
    crops, _ = crops_of(bench)
    last = crops["basil"][-1]
    for kind in pictures.KINDS:
        file = bench.site / f"{last.stem}.{kind}"
        assert b"SECRET" not in file.read_bytes()
        with Image.open(file) as image:
            assert not dict(image.getexif())
            assert image.size == (240, 240)
            assert image.convert("RGB").getpixel((85, 130)) == pytest.approx((70, 140, 48), abs=8)


def test_a_frame_that_cannot_be_read_leaves_a_gap(bench):
    (frame,) = bench.catalogue.frames("bench", date(2031, 4, 10))
    (bench.folder / frame.path).write_bytes(b"damaged")
    crops, _ = crops_of(bench)
    assert (crops["basil"][-1].shown, crops["basil"][-1].stem) == (None, None)
    assert crops["basil"][-2].stem


def test_a_reference_that_is_gone_does_not_stop_the_site(bench):
    settings = bench.folder / "season.toml"
    told = settings.read_text().replace("px_per_cm = 10", 'px_per_cm = 10\nreference = "frames/x"')
    settings.write_text(told)
    season = Season(bench.folder)
    frames = season.daily_pictures()["bench"]
    assert sight_of(View(season, "bench"), frames).size == (320, 240)
    assert sight_of(View(season, "bench"), {}) is None
    season.catalogue.close()
