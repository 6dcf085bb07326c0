"""A plate shows the day's number with what it rests on, and says so where there is none."""

import io
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import SeasonError, SettingsError
from lapsekit.explaining import explain
from lapsekit.measuring import measure
from lapsekit.plates.drawing import draw_plate, plate_png
from lapsekit.plates.ink import ACCENT, figure
from lapsekit.plates.model import FrameShown, Plate
from lapsekit.plates.specimen import specimen
from lapsekit.season import Season
from tests.scenes import LEAF, bench_picture, encoded

DAY = date(2031, 4, 2)


@pytest.fixture
def measured(filled):
    dark = encoded(np.zeros_like(bench_picture([])))
    filled.archive.store("bench", datetime(2031, 4, 2, 15, tzinfo=UTC), dark, ".png")
    measure(filled, workers=1)
    return filled


def a_plate(**changed):
    picture = bench_picture([(80, 60, 30)], size=(160, 120))
    rows, columns = np.mgrid[:120, :160]
    canopy = (columns - 80) ** 2 + (rows - 60) ** 2 <= 30**2
    frames = [FrameShown(9.5, picture, 28.0), FrameShown(15.0, picture, None, "dark")]
    plate = Plate(
        "Basil", "2 April 2031, day 8", "cm²", 28.3, 27.1, 29.5, "95 % interval", frames,
        picture, canopy, [(20, 10), (140, 10), (140, 110), (20, 110)], 10.0,
    )  # fmt: skip
    return replace(plate, **changed)


def test_the_plate_tells_value_frames_and_what_was_left_out(measured, tmp_path):
    found = explain(measured, "basil", DAY, tmp_path / "plate.png")
    assert found.daily.frames_used == 3
    assert list(found.left_out.values()) == ["dark: mean brightness 0.00"]
    with Image.open(found.path) as sheet:
        assert sheet.width == 1600


def test_a_frame_of_another_size_is_shown_as_left_out(measured, tmp_path):
    small = encoded(bench_picture([(80, 60, 30)], size=(160, 120)))
    measured.archive.store("bench", datetime(2031, 4, 2, 12, tzinfo=UTC), small, ".png")
    measure(measured, workers=1)
    found = explain(measured, "basil", DAY, tmp_path / "plate.png")
    assert found.daily.frames_used == 3
    assert found.daily.left_out == {"dark": 1, "another size": 1}
    assert sorted(found.left_out.values()) == [
        "another size: 160 x 120 px",
        "dark: mean brightness 0.00",
    ]


@pytest.mark.parametrize(
    ("file", "before", "after"),
    [
        ("season.toml", "px_per_cm = 10", "px_per_cm = 8"),
        ("regions.toml", "points = [[", "points = [[1"),
    ],
)
def test_a_value_of_other_settings_is_not_drawn_with_todays(
    measured, tmp_path, file, before, after
):
    path = measured.folder / file
    assert before in path.read_text()
    path.write_text(path.read_text().replace(before, after, 1))
    changed = Season(measured.folder)
    with pytest.raises(SeasonError, match="other settings than today's; run lapsekit measure"):
        explain(changed, changed.regions.region[0].name, DAY, tmp_path / "plate.png")
    measure(changed, workers=1)
    assert explain(changed, changed.regions.region[0].name, DAY, tmp_path / "plate.png")


def test_a_plate_goes_into_the_season_unless_told_otherwise(measured):
    found = explain(measured, "basil", DAY)
    assert found.path == measured.folder / "explained" / "basil-2031-04-02.png"
    content = found.path.read_bytes()
    explain(measured, "basil", DAY)
    assert found.path.read_bytes() == content


def test_neighbours_and_crowding_are_said_at_the_foot(measured, tmp_path):
    plain = explain(measured, "basil", DAY, tmp_path / "a.png").path.read_bytes()
    (row,) = (d for d in measured.catalogue.daily("basil") if d.day == DAY)
    measured.catalogue.store_daily([replace(row, touches=("chives",), crowded=True)])
    assert explain(measured, "basil", DAY, tmp_path / "b.png").path.read_bytes() != plain


def test_what_the_interval_is_made_of_is_drawn(measured, tmp_path):
    plain = explain(measured, "basil", DAY, tmp_path / "a.png").path.read_bytes()
    (row,) = (d for d in measured.catalogue.daily("basil") if d.day == DAY)
    measured.catalogue.store_daily([replace(row, parts={"frames": 0.2, "edge": 0.1})])
    assert explain(measured, "basil", DAY, tmp_path / "b.png").path.read_bytes() != plain


def test_deleted_shapes_do_not_stop_the_plate(measured, tmp_path):
    shutil.rmtree(measured.folder / ".cache")
    assert explain(measured, "basil", DAY, tmp_path / "plate.png").path.is_file()


def test_a_day_without_a_usable_frame_says_no_value(season, tmp_path):
    dark = encoded(np.zeros_like(bench_picture([])))
    season.archive.store("bench", datetime(2031, 4, 2, 9, tzinfo=UTC), dark, ".png")
    measure(season, workers=1)
    found = explain(season, "basil", DAY, tmp_path / "plate.png")
    assert found.daily.area_cm2 is None and found.path.is_file()


def test_a_frame_whose_file_is_gone_does_not_stop_the_plate(measured, tmp_path):
    frame = measured.catalogue.frames("bench", DAY)[0]
    (measured.folder / frame.path).unlink()
    assert explain(measured, "basil", DAY, tmp_path / "plate.png").path.is_file()


def test_refusals_say_what_there_is(measured, tmp_path):
    with pytest.raises(SettingsError, match="basil, chives"):
        explain(measured, "thyme", DAY)
    with pytest.raises(SeasonError, match="nearest day with one is 2031-04-05"):
        explain(measured, "basil", date(2031, 5, 1))
    with pytest.raises(SettingsError, match=r"\.png"):
        explain(measured, "basil", DAY, tmp_path / "plate.jpg")
    measured.catalogue.forget_days([DAY])
    with pytest.raises(SeasonError, match="lapsekit measure"):
        explain(measured, "basil", DAY)


def test_the_plant_keeps_its_colours_and_its_surroundings_fade():
    shown = np.asarray(specimen(a_plate(), 4.0))
    assert shown[240, 320].astype(int) == pytest.approx(LEAF, abs=14)
    ground = shown[440, 600].astype(int)
    assert np.ptp(ground) < 40 and ground.min() > 120


def test_without_a_scale_there_is_no_scale_bar_and_cover_is_in_percent():
    with_bar, without = (draw_plate(a_plate(px_per_cm=p)) for p in (10.0, None))
    corner = (80, 860, 90, 870)
    assert with_bar.crop(corner).tobytes() != without.crop(corner).tobytes()
    assert draw_plate(a_plate(unit="%", px_per_cm=None)).width == 1600


def test_the_accent_marks_the_value_and_what_was_left_out_only():
    def accents(plate):
        return int((np.asarray(draw_plate(plate)) == ACCENT).all(2).sum())

    kept = [replace(f, reason="", value=28.0) for f in a_plate().frames]
    assert accents(a_plate()) > accents(a_plate(frames=kept)) > 0


@pytest.mark.parametrize("frames", [1, 6, 7])
def test_a_plate_is_as_high_as_its_frames_need(frames):
    shown = [replace(a_plate().frames[0], hour=6 + n / 2) for n in range(frames)]
    rows = -(-frames // 6)
    single = draw_plate(a_plate(frames=shown[:1])).height
    step = draw_plate(a_plate(frames=shown * 2)).height - draw_plate(a_plate(frames=shown)).height
    assert draw_plate(a_plate(frames=shown)).height >= single
    assert (step > 0) == (-(-2 * frames // 6) > rows)


def test_a_plant_without_canopy_and_a_picture_that_is_missing_are_drawn_too():
    none = np.zeros((120, 160), bool)
    empty = a_plate(value=0.0, low=0.0, high=0.0, canopy=none, frames=[a_plate().frames[1]])
    missing = a_plate(picture=None, canopy=None, value=None, low=None, high=None)
    for plate in (empty, missing, a_plate(outline=None)):
        with Image.open(io.BytesIO(plate_png(plate))) as sheet:
            assert sheet.width == 1600


@pytest.mark.parametrize(
    ("value", "spread", "text"),
    [(276.42, 11.0, "276"), (276.42, 2.1, "276.4"), (5.764, 0.3, "5.76"), (0.0, None, "0.00")],
)
def test_digits_follow_what_the_number_deserves(value, spread, text):
    assert figure(value, "cm²", spread) == text
