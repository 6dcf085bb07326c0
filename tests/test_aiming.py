"""Aiming: sharper is more, a known movement is told, and the picture shows where things belong."""

import io
import json
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import cv2
import numpy as np
import pytest
from PIL import Image

from lapsekit.aiming import Aim, looks
from lapsekit.aiming_picture import EDGE, edges_of, overlay, write_overlay
from lapsekit.cameras import Shot
from lapsekit.errors import CameraError, NothingNew, SettingsError
from lapsekit.sample import copy_sample_season, sample_frames_folder
from lapsekit.season import Season
from lapsekit.telling_aiming import CAUTIONS, look_told
from lapsekit.trust import trust
from lapsekit.vision.focus import focus
from lapsekit.vision.movement import movement

NOON = datetime(2026, 3, 9, 11, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def sample():
    """A frame of the sample season's first day and one of its last, in RGB."""
    folder = sample_frames_folder(None) / "frames" / "bench"
    files = sorted(folder.rglob("*T113000Z.jpg"))
    return files[0], files[-1]


def pixels(file):
    return cv2.cvtColor(cv2.imread(str(file)), cv2.COLOR_BGR2RGB)


def jpeg(picture):
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=95)
    return out.getvalue()


@pytest.fixture
def mounted(sample, tmp_path):
    """The sample season with its first noon as reference view."""
    copy_sample_season(sample_frames_folder(None), tmp_path / "season")
    season = Season(tmp_path / "season", lambda: NOON + timedelta(hours=1))
    season.archive.store("bench", NOON, sample[0].read_bytes(), ".jpg")
    season.index()
    yield season
    season.catalogue.close()


def moved_by(picture, right=0.0, down=0.0, clockwise=0.0, zoom=1.0):
    """A picture in which everything moved about its middle so."""
    height, width = picture.shape[:2]
    onto = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -clockwise, zoom)
    onto[:, 2] += (right, down)
    return cv2.warpAffine(picture, onto, (width, height), flags=cv2.INTER_CUBIC, borderMode=2)


def told_of(season, picture):
    look, _ = Aim(season, "bench").look(Shot(jpeg(picture), NOON))
    return look


@pytest.mark.parametrize("number", [0, 1])
def test_every_step_of_blur_lowers_the_sharpness(sample, number):
    luma = cv2.cvtColor(pixels(sample[number]), cv2.COLOR_RGB2GRAY)
    sigmas = [0, 0.4, 0.6, 0.8, 1.2, 2, 3, 5, 9]
    found = [focus(cv2.GaussianBlur(luma, (0, 0), s) if s else luma) for s in sigmas]
    assert all(sharper > 1.02 * softer for sharper, softer in pairwise(found))


def test_less_light_does_not_pass_for_less_focus(sample):
    luma = cv2.cvtColor(pixels(sample[0]), cv2.COLOR_RGB2GRAY)
    dim = (luma * 0.5).astype(np.uint8)
    assert focus(dim) == pytest.approx(focus(luma), rel=0.05)


def test_noise_does_not_hide_where_the_focus_is_best(sample):
    luma = cv2.cvtColor(pixels(sample[0]), cv2.COLOR_RGB2GRAY)
    found, random = [], np.random.default_rng(1)
    for sigma in (3, 2, 1.2, 0.6, 0.1, 0.6, 1.2, 2, 3):  # a ring turned through the focus
        dim = cv2.GaussianBlur(luma, (0, 0), sigma) * 0.4 + random.normal(0, 4, luma.shape)
        found.append(focus(np.clip(dim, 0, 255).astype(np.uint8)))
    assert np.argmax(found) == 4 and found[:5] == sorted(found[:5])


def test_a_plain_picture_has_no_sharpness_and_a_ramp_its_slope():
    assert focus(np.full((50, 50), 80, np.uint8)) == focus(np.zeros((50, 50), np.uint8)) == 0
    ramp = np.tile(np.arange(0, 200, 2, dtype=np.uint8), (100, 1))
    assert focus(ramp) == pytest.approx(100 * 2 / ramp.mean(), rel=0.02)


@pytest.mark.parametrize(
    "how",
    [
        {"right": 34, "down": -12},
        {"clockwise": 2.0},
        {"zoom": 1.03},
        {"right": -20, "down": 25, "clockwise": -1.5, "zoom": 0.98},
    ],
)
def test_a_movement_that_was_made_is_told(mounted, sample, how):
    found = told_of(mounted, moved_by(pixels(sample[0]), **how)).movement
    assert found.right_px == pytest.approx(how.get("right", 0), abs=0.3)
    assert found.down_px == pytest.approx(how.get("down", 0), abs=0.3)
    assert found.turned_deg == pytest.approx(how.get("clockwise", 0), abs=0.05)
    assert found.larger == pytest.approx(how.get("zoom", 1) - 1, abs=0.001)
    assert found.tilted_px < 1


def test_a_movement_seen_out_of_focus_is_told_roughly(mounted, sample):
    out_of_focus = cv2.GaussianBlur(moved_by(pixels(sample[0]), right=34, down=-12), (0, 0), 4)
    look = told_of(mounted, out_of_focus)
    assert look.is_rough and "(roughly, directions as in the picture):" in "\n".join(
        look_told(look, UTC)
    )
    assert look.movement.right_px == pytest.approx(34, abs=5)
    assert look.movement.down_px == pytest.approx(-12, abs=5)


def test_another_scene_is_not_placed(mounted):
    noise = np.random.default_rng(0).integers(0, 255, (180, 240, 3), np.uint8)
    look = told_of(mounted, cv2.resize(noise, (960, 720), interpolation=cv2.INTER_CUBIC))
    assert look.movement is None and look.unplaced
    assert any("not found again" in line for line in look_told(look, UTC))


def test_a_tilted_view_is_told_as_askew():
    tilt = np.array([[1, 0, 0], [0, 1, 0], [2e-5, 0, 1]])
    assert movement(tilt, (720, 960)).tilted_px > 4
    assert movement(np.eye(3), (720, 960)).tilted_px == pytest.approx(0)


def test_words_say_which_way_to_turn_the_camera(mounted, sample):
    """What lies too far right comes to the middle when the camera points further right."""
    aim = Aim(mounted, "bench")
    picture = moved_by(pixels(sample[0]), right=34, down=-12, clockwise=1.5, zoom=1.04)
    told = "\n".join(look_told(aim.look(Shot(jpeg(picture), NOON))[0], UTC))
    assert "point it 34 px (4.8 cm on the bench) further right and 12 px" in told
    assert "further up\n" in told and "- turn it 1.5° clockwise\n" in told
    assert "- move it 4.0% of its distance away from the bench" in told
    still = "\n".join(look_told(told_of(mounted, pixels(sample[0])), UTC))
    assert "view: as in the reference view" in still


def test_the_best_is_remembered_and_a_worse_one_sends_the_hand_back(mounted, sample):
    aim, sharp = Aim(mounted, "bench"), pixels(sample[0])
    soft = cv2.GaussianBlur(sharp, (0, 0), 2)
    first, second, third = (aim.look(Shot(jpeg(p), NOON))[0] for p in (soft, sharp, soft))
    assert first.best == first.sharpness < second.best == second.sharpness == third.best
    assert "best so far" in look_told(second, UTC)[0]
    assert "of the best; turn back" in look_told(third, UTC)[0]


def test_glare_and_darkness_are_told(mounted, sample):
    bright = np.clip(pixels(sample[0]).astype(int) * 3, 0, 255).astype(np.uint8)
    assert "too bright" in "\n".join(look_told(told_of(mounted, bright), UTC))
    assert "dark; more light" in "\n".join(look_told(told_of(mounted, bright // 12), UTC))


def test_a_season_without_a_reference_view_still_gives_focus_and_light(season, sample):
    look = told_of(season, pixels(sample[0]))
    assert look.movement is None and look.unplaced is None and look.sharpness > 1
    assert len(look_told(look, UTC)) == 2


def test_the_overlay_lays_the_reference_views_edges_where_they_belong(mounted, sample, tmp_path):
    aim, out = Aim(mounted, "bench"), tmp_path / "aim.jpg"
    picture = np.full((720, 960, 3), 120, np.uint8)
    look, _ = aim.look(Shot(jpeg(picture), NOON))
    write_overlay(aim, out)(picture, look, ["sharpness"])
    with Image.open(out) as drawn:
        shown = np.asarray(drawn).astype(int)
    assert shown.shape[1] == 960 and shown.shape[0] > 720
    inked = np.abs(shown[:720] - EDGE).sum(-1) < 150
    edges = edges_of(cv2.cvtColor(pixels(sample[0]), cv2.COLOR_RGB2GRAY))
    near = cv2.dilate(edges.astype(np.uint8), np.ones((5, 5))) > 0
    assert inked.sum() > 2000 and near[inked].mean() > 0.99
    light = np.abs(shown - (250, 246, 236)).sum(-1) < 120
    assert light[12, 2:244].mean() > 0.5 and light[100, 480:482].any()  # an outline, the cross


def test_a_large_picture_is_drawn_small_enough_to_send():
    with Image.open(io.BytesIO(overlay(np.zeros((3000, 4000, 3), np.uint8), ["a", "b"]))) as drawn:
        assert drawn.width == 1600 and drawn.height > 1200


def test_every_cell_of_a_tray_bears_its_name_and_no_name_stands_in_its_neighbour():
    """Cells 60 px wide: ``cell-10`` has no room in letters as large as ``cell-1`` has."""
    ground = np.full((200, 1600, 3), 60, np.uint8)
    cells = {n: [(x, 20), (x + 60, 20), (x + 60, 180), (x, 180)] for n, x in ((9, 100), (10, 400))}
    told = {f"cell-{n}": points for n, points in cells.items()}
    drawn = Image.open(io.BytesIO(overlay(ground, [], outlines=told, cross=False)))
    named = np.asarray(drawn.convert("L")) > 200
    for left, top in ((100, 20), (400, 20)):
        assert named[top + 6 : top + 60, left + 5 : left + 56].sum() > 60
        assert not named[top + 6 : 176, left + 65 : left + 200].any()


@pytest.mark.parametrize("name", ["aim.png", "none/aim.jpg", "20310401T120000Z.jpg"])
def test_a_place_that_cannot_be_meant_is_refused(mounted, tmp_path, name):
    with pytest.raises(SettingsError, match="--out"):
        write_overlay(Aim(mounted, "bench"), tmp_path / name)


class Flaky:
    """Gives a picture only now and then."""

    def __init__(self, *turns):
        self.turns = list(turns)

    def take(self, now):
        turn = self.turns.pop(0)
        if isinstance(turn, Exception):
            raise turn
        return Shot(turn, now)


def test_a_camera_that_fails_in_between_is_told_and_asked_again(mounted, sample):
    told, data = [], sample[0].read_bytes()
    camera = Flaky(CameraError("cable"), data, NothingNew("x"), data)
    found = list(looks(Aim(mounted, "bench"), camera, 4, 0, told.append))
    assert len(found) == 2 and told == ["cable", "no new picture yet"]


def test_a_camera_that_never_gives_one_ends_with_its_error(mounted):
    camera = Flaky(CameraError("first"), CameraError("second"))
    with pytest.raises(CameraError, match="second"):
        list(looks(Aim(mounted, "bench"), camera, 2, 0, lambda _: None))


def test_the_command_prints_a_line_of_json_a_picture_and_files_nothing(mounted, sample, tmp_path):
    moved = tmp_path / "moved.jpg"
    moved.write_bytes(jpeg(moved_by(pixels(sample[0]), right=15)))
    settings = mounted.folder / "season.toml"
    lines = [
        f'kind = "command"\ncommand = ["cat", "{moved}"]' if line.startswith("kind") else line
        for line in settings.read_text().splitlines()
        if not line.startswith("folder")
    ]
    settings.write_text("\n".join(lines))
    trust(mounted.folder)
    command = [sys.executable, "-m", "lapsekit", "aim", "--season", str(mounted.folder), "--json"]
    options = ["--count", "2", "--every", "0", "--out", str(tmp_path / "aim.jpg")]
    before = sorted(mounted.folder.rglob("*.jpg"))
    done = subprocess.run([*command, *options], capture_output=True, text=True, check=True)
    found = [json.loads(line) for line in done.stdout.splitlines()]
    assert [round(each["movement"]["right_px"]) for each in found] == [15, 15]
    assert done.stderr.count(CAUTIONS[1]) == 1 and (tmp_path / "aim.jpg").stat().st_size > 50_000
    assert sorted(mounted.folder.rglob("*.jpg")) == before


def test_privacy_areas_are_black_before_anything_is_seen_or_written(mounted, sample):
    settings = mounted.folder / "season.toml"
    picture = pixels(sample[0])
    height, width = picture.shape[:2]
    areas = "privacy = [[[0, 0], [300, 0], [300, 200], [0, 200]]]\nprivacy_size_px = "
    text = settings.read_text().replace("kind =", f"{areas}[{width}, {height}]\nkind =", 1)
    settings.write_text(text)
    aim = Aim(Season(mounted.folder), "bench")
    _, seen = aim.look(Shot(jpeg(picture), NOON))
    assert seen[:200, :300].max() == 0
    assert seen[220:, 320:].mean() > 20
    small = Shot(jpeg(picture[: height // 2, : width // 2]), NOON)
    with pytest.raises(CameraError, match="privacy areas are drawn for"):
        aim.look(small)
