"""Strokes tried on a frame show what measuring would find with them, and write nothing."""

import io

import numpy as np
import pytest
from PIL import Image

from lapsekit.errors import SettingsError
from lapsekit.ruler import Ruler
from lapsekit.season import COLOURS_FILE, Season
from lapsekit.trying_colours import Trial
from lapsekit.viewing import in_reference_view
from lapsekit.vision.strokes import Stroke, write_strokes
from tests.scenes import SETTINGS, encoded, make_season
from tests.test_large_frames import LARGER, MOVED, large_frame
from tests.vision.drawn_bench import POT, moment

POT_AT = [[x * LARGER, y * LARGER] for x, y in ((20, 30), (140, 30), (140, 150), (20, 150))]

SECOND = """
[[region]]
name = "corner"
camera = "bench"
group = "beside"
[[region.outline]]
from = 2031-04-01
points = [[1000, 200], [1900, 200], [1900, 1200], [1000, 1200]]
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Three frames of 2400 × 1800 px, measured at a half; the last one is moved."""
    regions = f"{POT[: POT.index('points')]}points = {POT_AT}\n{SECOND}"
    settings = SETTINGS.replace('"exgr"', '"model"')
    settings = settings.replace("px_per_cm = 10", f"px_per_cm = {10 * LARGER}")
    season = make_season(tmp_path_factory.mktemp("trial") / "bench", settings, regions)
    for number in (0, 1, MOVED):
        data = encoded(large_frame(number), "JPEG", quality=90)
        season.archive.store("bench", moment(number), data, ".jpg")
    season.index()
    return season


@pytest.fixture(scope="module")
def trial(bench):
    return Trial(bench, bench.catalogue.frames()[-1])


def drawn(frame, kind, x, y):
    """A stroke of 8 px by 4 around a place of the drawn bench."""
    points = ((LARGER * (x - 4), LARGER * y), (LARGER * (x + 4), LARGER * y))
    return Stroke(frame.path, kind == "plant", 4.0 * LARGER, points)


def sets(frames):
    """Strokes that count in one region, everywhere, and through another frame."""
    first, moved = frames[0], frames[-1]
    plant = drawn(moved, "other", 82, 88)
    return [
        (),
        (plant, drawn(first, "plant", 80, 90)),
        (
            drawn(first, "other", 80, 90),
            drawn(moved, "plant", 300, 60),
            drawn(moved, "other", 60, 330),
        ),
    ]


@pytest.mark.parametrize("number", range(3))
def test_a_trial_shows_what_measuring_finds_with_those_strokes(bench, trial, number):
    """In one region, everywhere, and through another frame; strokes tried before leave nothing."""
    frame = bench.catalogue.frames()[-1]
    strokes = sets(bench.catalogue.frames())[number]
    trial.with_strokes(sets(bench.catalogue.frames())[number - 1])
    mask = trial.with_strokes(strokes)
    path = bench.folder / COLOURS_FILE
    path.write_text(write_strokes(strokes))
    try:
        ruler = Ruler(Season(bench.folder))
        _, placement, rows, _ = ruler.measure(frame)
        told = {row.region: (row.cover, row.area_cm2) for row in rows}
        assert {r.region: (r.cover_after, r.area_cm2_after) for r in mask.regions} == told
        assert len(told) == 2
        seen = in_reference_view(mask.shares, ruler.views["bench"].matrix_of(placement))
        differ = seen.astype(int) - ruler.cover(frame, placement)
        # The row's matrix is rounded to twelve places
        assert np.abs(differ).max() <= 1
        assert np.count_nonzero(differ) < 10
    finally:
        path.unlink()


def test_a_stroke_over_the_plant_takes_it_away_and_nothing_is_written(bench, trial):
    frame = bench.catalogue.frames()[-1]
    mask = trial.with_strokes([drawn(frame, "other", 82, 88)])
    pot = {region.region: region for region in mask.regions}["pot"]
    assert pot.area_cm2_before > 3
    assert pot.area_cm2_after < 0.15 * pot.area_cm2_before
    assert not (bench.folder / COLOURS_FILE).exists()


def test_the_veil_can_be_read_by_others_and_holds_the_mask(trial):
    mask = trial.with_strokes(())
    veil = Image.open(io.BytesIO(mask.veil))
    veil.load()
    assert veil.mode == "P"
    np.testing.assert_array_equal(np.array(veil), mask.shares)
    opacity = np.array(veil.convert("RGBA"))[..., 3]
    assert opacity[mask.shares == 0].max() == 0
    assert 0.5 * 255 < opacity[mask.shares == 255].min() < 0.6 * 255


def test_strokes_on_a_frame_that_is_not_there_are_named(trial):
    with pytest.raises(SettingsError, match="strokes on nowhere"):
        trial.with_strokes([Stroke("nowhere", True, 4.0, ((1.0, 1.0),))])


def test_an_index_cannot_be_taught(filled):
    filled.index()
    with pytest.raises(SettingsError, match='set it to "model" first'):
        Trial(filled, filled.catalogue.frames()[0])
