"""A lens told from chessboards, and heights told in the diary, set areas right."""

import subprocess
import sys
from datetime import UTC, datetime

import cv2
import numpy as np
import pytest

from lapsekit.errors import SettingsError
from lapsekit.measuring import measure
from lapsekit.season import Season
from lapsekit.vision.lens import Lens
from tests.scenes import FIRST_DAY, LEAF, SETTINGS, SOIL, encoded, fill, make_season, tables

SHAPE = (480, 640)
LENS = Lens(SHAPE, 620.0, (326.0, 236.0), (-0.20, 0.03))


def through(picture):
    """What the lens makes of a picture without distortion."""
    x, y = np.meshgrid(np.arange(SHAPE[1]), np.arange(SHAPE[0]))
    at = LENS.undistorted(np.stack([x, y], -1).reshape(-1, 2)).reshape(*SHAPE, 2)
    return cv2.remap(picture, *np.moveaxis(at.astype(np.float32), -1, 0), cv2.INTER_LINEAR)


def chessboard_photographs(folder, count=14):
    """A board of 10 x 7 squares held at many angles before the lens."""
    rng = np.random.default_rng(0)
    squares = np.kron(np.indices((7, 10)).sum(0) % 2, np.ones((60, 60))) * 190 + 30
    board = cv2.copyMakeBorder(squares.astype(np.uint8), 60, 60, 60, 60, cv2.BORDER_CONSTANT, None,
                               220)  # fmt: skip
    corners = np.float32([[0, 0], [720, 0], [720, 540], [0, 540]])
    flat = np.c_[(corners - [360, 270]) / 60, np.zeros(4)]
    paths = []
    for number in range(count):
        turn = cv2.Rodrigues(rng.uniform(-0.5, 0.5, 3))[0]
        side = np.array([(number % 4) // 2 * 2 - 1, number % 2 * 2 - 1])
        far = rng.uniform(13, 16)
        seen = flat @ turn.T + [*(side * [2.2, 1.5] * rng.uniform(0.3, 1, 2)), far]
        at = seen[:, :2] / seen[:, 2:] * LENS.focal_px + LENS.centre_px
        way = cv2.getPerspectiveTransform(corners, at.astype(np.float32))
        picture = cv2.warpPerspective(board, way, SHAPE[::-1], borderValue=120)
        picture = cv2.GaussianBlur(through(picture), (0, 0), 0.8)
        paths.append(folder / f"{number}.png")
        paths[-1].write_bytes(encoded(np.repeat(picture[..., None], 3, 2)))
    return paths


def lens_table(folder):
    command = [sys.executable, "-m", "lapsekit", "lens", *chessboard_photographs(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


PX_PER_CM, RADIUS = 10, 40.0
REGION = """\
[[region]]
name = "pot"
camera = "bench"
[[region.outline]]
from = 2031-04-01
points = [[0, 0], [200, 0], [200, 200], [0, 200]]
"""


def bench_through_lens(number):
    """A disc near the corner of the picture, on soil with a pattern."""
    x, y = np.meshgrid(np.arange(SHAPE[1]), np.arange(SHAPE[0]))
    disc = (x - 75) ** 2 + (y - 65) ** 2 <= RADIUS**2
    grain = np.random.default_rng(4).normal(0, 12, (*SHAPE, 1))
    picture = np.where(disc[..., None], np.array(LEAF) + grain / 4, np.array(SOIL) + grain)
    picture = np.clip(picture + number, 0, 255).astype(np.uint8)
    return through(picture)


def measured_through_lens(folder, table):
    settings = SETTINGS.replace("px_per_cm = 10", f"px_per_cm = {PX_PER_CM}")
    season = make_season(folder, settings.replace("[capture]", f"{table}\n[capture]"), REGION)
    from tests.vision.drawn_bench import moment

    for number in range(2):
        season.archive.store("bench", moment(number), encoded(bench_through_lens(number)), ".png")
    measure(season)
    return season.catalogue.daily("pot")[0].area_cm2


def test_a_lens_told_from_chessboards_sets_areas_near_the_corner_right(tmp_path):
    true_cm2 = np.pi * (RADIUS / PX_PER_CM) ** 2
    bent = measured_through_lens(tmp_path / "bent", "")
    assert abs(bent / true_cm2 - 1) > 0.12
    straight = measured_through_lens(tmp_path / "straight", lens_table(tmp_path))
    assert straight == pytest.approx(true_cm2, rel=0.02)


def test_a_lens_told_for_another_size_is_refused(tmp_path):
    table = "[cameras.bench.lens]\nsize_px = [4000, 3000]\nfocal_px = 3000\n"
    table += "centre_px = [2000, 1500]\nradial = [-0.1, 0.01]\n"
    with pytest.raises(SettingsError, match=r"lens.size_px = .4000, 3000., but its frames"):
        measured_through_lens(tmp_path / "b", table)


def test_what_cannot_tell_a_lens_is_refused_in_plain_words(tmp_path):
    (tmp_path / "soil.png").write_bytes(encoded(bench_through_lens(0)))
    command = [sys.executable, "-m", "lapsekit", "lens", tmp_path / "soil.png"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 65
    assert "found in 0 of 1 photographs" in done.stderr


# --- heights -------------------------------------------------------------------------------------


@pytest.fixture
def tall(tmp_path):
    """Three measured days under a camera that hangs 150 cm high."""
    season = make_season(tmp_path / "bench")
    fill(season, days=3)
    measure(season)
    yield season
    season.catalogue.close()


def with_heights(season, diary, correct="true", camera="height_cm = 150\n"):
    settings = SETTINGS.replace("px_per_cm = 10\n", f"px_per_cm = 10\n{camera}")
    settings = settings.replace('"exgr"', f'"exgr"\ncorrect_height = {correct}')
    (season.folder / "season.toml").write_text(settings)
    (season.folder / "diary.csv").write_text("date,region,event,note\n" + diary)
    return Season(season.folder)


def test_areas_are_divided_by_what_nearness_adds(tall):
    """A leaf 30 cm high under 150 cm covers (150 / 120)² of its area."""
    before = tall.catalogue.daily("basil")
    told = with_heights(tall, f"{FIRST_DAY},basil,height,30 cm\n")
    report = measure(told)
    assert report.measured == 0, "no frame is looked at again"
    for day, was in zip(told.catalogue.daily("basil"), before, strict=True):
        assert day.area_cm2 == pytest.approx(was.area_cm2 / 1.25**2, rel=1e-9)
        assert day.cover == pytest.approx(was.cover, rel=1e-9)
        assert day.parts["height"] > 0
        wide, narrow = (d.area_high_cm2 - d.area_low_cm2 for d in (day, was))
        assert wide / day.area_cm2 > narrow / was.area_cm2


def test_between_two_heights_plants_grow_evenly(tall):
    told = with_heights(tall, "2031-04-01,basil,height,10\n2031-04-03,basil,height,30 cm\n")
    plain = [day.area_cm2 for day in tall.catalogue.daily("basil")]
    measure(told)
    factors = [d.area_cm2 / p for d, p in zip(told.catalogue.daily("basil"), plain, strict=True)]
    assert factors == pytest.approx([(1 - h / 150) ** 2 for h in (10, 20, 30)], rel=1e-9)


@pytest.mark.parametrize("note", ["300 mm", "0.3 m", "11.81 inches", '"11,81"""', "11.81 Zoll"])
def test_a_height_takes_the_same_off_in_whatever_unit_it_is_told(tall, note):
    plain = tall.catalogue.daily("basil")[0].area_cm2
    told = with_heights(tall, f"{FIRST_DAY},basil,height,{note}\n")
    measure(told)
    assert told.catalogue.daily("basil")[0].area_cm2 == pytest.approx(plain / 1.25**2, rel=1e-3)


NOTED = "2031-04-01,basil,height,10 cm\n"


def test_a_height_of_a_day_to_come_moves_no_area_until_its_day_has_come(tall):
    def areas(diary, today):
        told = with_heights(tall, diary)
        told.clock = lambda: datetime(2031, 4, today, 10, tzinfo=UTC)
        measure(told)
        return [day.area_cm2 for day in told.catalogue.daily("basil")]

    plain = areas(NOTED, 3)
    assert areas(NOTED + "2031-04-20,basil,height,60 cm\n", 19) == plain
    assert areas(NOTED + "2031-04-20,basil,height,60 cm\n", 20)[2] < 0.99 * plain[2]


def test_heights_change_nothing_unless_they_are_asked_for(tall):
    before = tables(tall)
    told = with_heights(tall, f"{FIRST_DAY},basil,height,30 cm\n", correct="false")
    measure(told)
    assert tables(told) == before


def test_taking_the_heights_back_brings_the_old_areas_back(tall):
    before = tables(tall)
    measure(with_heights(tall, f"{FIRST_DAY},basil,height,30 cm\n"))
    told = with_heights(tall, "")
    measure(told)
    assert tables(told) == before


@pytest.mark.parametrize(
    ("diary", "camera", "says"),
    [
        ("2031-04-01,basil,height,tall\n", "height_cm = 150\n", "line 2.*needs a length"),
        ("2031-04-01,basil,height,1 ft\n", "height_cm = 150\n", "line 2.*write it like 12 cm"),
        ("2031-04-01,mint,height,3 cm\n", "height_cm = 150\n", '"mint" is no region'),
        ("2041-04-01,mint,height,3 cm\n", "height_cm = 150\n", '"mint" is no region'),
        ("2031-04-01,basil,height,200 cm\n", "height_cm = 150\n", "check both heights"),
        ("", "", "correct_height = true needs .* cameras.bench.height_cm"),
    ],
)
def test_heights_that_mean_nothing_are_refused(tall, diary, camera, says):
    with pytest.raises(SettingsError, match=f"(?s){says}"):
        measure(with_heights(tall, diary, camera=camera))
