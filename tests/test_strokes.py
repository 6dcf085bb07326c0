"""Strokes in colours.csv teach the season what is plant and what is not."""

import pytest

from lapsekit.errors import SettingsError
from lapsekit.judging import verdicts_waiting
from lapsekit.measuring import frames_waiting, measure
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.telling import waiting
from tests.scenes import REGIONS, SETTINGS, fill, make_season, tables

HEADER = "frame,kind,width_px,points\n"


def again(season, text):
    """The season opened anew with this colours.csv."""
    path = season.folder / COLOURS_FILE
    path.unlink(missing_ok=True)
    if text is not None:
        path.write_text(HEADER + text)
    return Season(season.folder)


def stroke(season, kind):
    """A stroke over the whole of the basil in its last frame."""
    frame = season.catalogue.frames()[-1].path
    (x0, y0), _, (x1, y1), _ = season.regions.by_name["basil"].outline[0].points
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    return f"{frame},{kind},6,{x - 8} {y} {x + 8} {y}\n"


@pytest.fixture
def taught_season(tmp_path):
    """Two days of three frames, measured by the model."""
    season = make_season(tmp_path / "bench", SETTINGS.replace('"exgr"', '"model"'))
    fill(season, days=2)
    measure(season)
    yield season
    season.catalogue.close()


def test_what_a_stroke_calls_no_plant_is_no_plant_and_taking_it_back_undoes_it(taught_season):
    before = tables(taught_season)
    areas = [day.area_cm2 for day in taught_season.catalogue.daily("basil")]
    told = again(taught_season, stroke(taught_season, "other"))
    assert frames_waiting(told) == 6
    measure(told)
    for day, area in zip(told.catalogue.daily("basil"), areas, strict=True):
        assert day.area_cm2 < 0.02 * area
    forgot = again(told, None)
    measure(forgot)
    assert tables(forgot) == before


@pytest.mark.parametrize("text", ["", HEADER, "# none left\n", f"# none left\n{HEADER}"])
def test_a_file_without_a_stroke_is_as_good_as_none(taught_season, text):
    (taught_season.folder / COLOURS_FILE).write_text(text)
    assert frames_waiting(Season(taught_season.folder)) == 0


def test_a_word_on_a_frame_is_not_told_as_measuring_that_waits(taught_season):
    frame = taught_season.catalogue.frames()[-1].path
    (taught_season.folder / "verdicts.csv").write_text(f"frame,verdict\n{frame},no\n")
    spoken = Season(taught_season.folder)
    told = waiting(frames_waiting(spoken), not verdicts_waiting(spoken))
    assert "verdicts" in told[0] and "not measured" not in told[0]
    measure(spoken)
    assert waiting(frames_waiting(spoken), not verdicts_waiting(spoken)) == []


def test_strokes_of_plant_leave_what_is_plant_already(taught_season):
    before = [day.area_cm2 for day in taught_season.catalogue.daily("basil")]
    told = again(taught_season, stroke(taught_season, "plant"))
    measure(told)
    after = [day.area_cm2 for day in told.catalogue.daily("basil")]
    assert after == pytest.approx(before, rel=0.03)


def test_a_stroke_inside_an_outline_counts_for_that_region_alone(taught_season):
    before = [day.area_cm2 for day in taught_season.catalogue.daily("chives")]
    told = again(taught_season, stroke(taught_season, "other"))
    measure(told)
    assert [day.area_cm2 for day in told.catalogue.daily("chives")] == before
    assert told.catalogue.daily("basil")[0].area_cm2 < 1


def test_a_stroke_inside_an_outline_counts_for_its_group(tmp_path):
    grouped = REGIONS.replace('camera = "bench"', 'camera = "bench"\ngroup = "herbs"')
    season = make_season(tmp_path / "b", SETTINGS.replace('"exgr"', '"model"'), grouped)
    fill(season, days=1)
    season.index()
    told = again(season, stroke(season, "other"))
    measure(told)
    for name in ("basil", "chives"):
        assert told.catalogue.daily(name)[0].area_cm2 < 1


def test_a_stroke_outside_all_outlines_counts_everywhere(tmp_path):
    narrow = REGIONS.replace("[159.5, 0], [320, 0], [320, 240], [159.5, 240]",
                             "[159.5, 0], [320, 0], [320, 20], [159.5, 20]")  # fmt: skip
    season = make_season(tmp_path / "b", SETTINGS.replace('"exgr"', '"model"'), narrow)
    fill(season, days=1)
    season.index()
    frame = season.catalogue.frames()[-1].path
    told = again(season, f"{frame},other,6,232 120 248 120\n")
    measure(told)
    assert told.catalogue.daily("basil")[0].area_cm2 < 1


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("frames/bench/none.jpg,plant,6,10 10\n", "frames/bench/none.jpg, which cannot be read"),
        ("{frame},weed,6,10 10\n", "line 2: .*plant or other"),
        ("{frame},plant,6,10\n", "line 2"),
        ("{frame},plant,wide,10 10\n", "line 2"),
    ],
)
def test_a_line_that_cannot_be_used_is_named_and_nothing_is_lost(taught_season, line, told):
    before = tables(taught_season)
    frame = taught_season.catalogue.frames()[0].path
    wrong = again(taught_season, line.format(frame=frame))
    with pytest.raises(SettingsError, match=f"(?s){COLOURS_FILE}.*{told}"):
        measure(wrong)
    assert tables(wrong) == before


def test_strokes_need_the_model(filled):
    filled.index()
    told = again(filled, stroke(filled, "plant"))
    with pytest.raises(SettingsError, match='set it to "model"'):
        measure(told)
