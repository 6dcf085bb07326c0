"""The light of a season's frames: of what does not grow, where it lies, measured once."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from lapsekit.catalogue import Placement
from lapsekit.film import lighting
from lapsekit.film.kept_light import FOLDER
from lapsekit.film.lighting import light_of
from lapsekit.measuring import measure
from lapsekit.vision.colour import LINEAR
from lapsekit.vision.even_light import corrections
from lapsekit.vision.flicker import flicker_index
from lapsekit.vision.toning import encoded
from tests.scenes import FIRST_DAY, bench_picture, growing_bench
from tests.scenes import encoded as file_of

DAYS = 12
GAINS = np.exp(np.random.default_rng(8).normal(0, 0.15, DAYS))


def under(picture, gain):
    table = np.round(encoded(LINEAR * gain)).astype(np.uint8)
    return table[picture]


@pytest.fixture
def lit(season):
    """One frame a day of plants that grow, each under an exposure of its own; measured."""
    for day, gain in enumerate(GAINS):
        moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC) + timedelta(day, hours=11)
        shown = under(growing_bench(3 * day, seed=day), gain)
        season.archive.store("bench", moment, file_of(shown), ".png")
    measure(season)
    return season


def frames_of(season):
    return season.catalogue.frames("bench")


def middle(levels):
    """Median of ln green of the cells that were told."""
    return np.array([np.nanmedian(frame[:, 1]) for frame in levels.astype(float)])


def test_levels_tell_the_exposure_of_each_frame_though_leaves_grow(lit):
    _, levels = light_of(lit, "bench", frames_of(lit))
    off = middle(levels) - np.log(GAINS)
    assert np.ptp(off) < 0.02


def test_the_corrections_from_it_take_the_flicker_out_of_pictures(lit):
    frames = frames_of(lit)
    cells, levels = light_of(lit, "bench", frames)
    found = corrections(cells, levels, np.arange(DAYS) + 0.5, np.full(DAYS, 12.0))
    ground = [under(bench_picture([], seed=day), gain) for day, gain in enumerate(GAINS)]
    after = [c.evened(p) for c, p in zip(found, ground, strict=True)]
    light = [[LINEAR[p].mean() for p in pictures] for pictures in (ground, after)]
    assert flicker_index(light[1]) < 0.1 * flicker_index(light[0])


def test_cells_under_leaves_are_not_told(lit):
    frames = frames_of(lit)
    cells, levels = light_of(lit, "bench", frames)
    told = np.isfinite(levels[-1, :, 0]).reshape(cells.rows, cells.columns)
    row, columns = cells.rows // 2, np.array([80, 240]) * cells.columns // 320
    assert not told[row, columns].any()
    assert told[1, 1:-1].all()


def test_what_was_measured_once_is_not_read_again(lit, monkeypatch):
    frames = frames_of(lit)
    _, levels = light_of(lit, "bench", frames)
    monkeypatch.setattr(lighting, "decode_reduced", lambda *_: pytest.fail("a frame was read"))
    _, again = light_of(lit, "bench", frames)
    assert np.array_equal(levels, again, equal_nan=True)


def test_kept_levels_may_be_damaged_or_deleted(lit):
    frames = frames_of(lit)
    _, levels = light_of(lit, "bench", frames)
    files = sorted((lit.folder / FOLDER / "bench").glob("*.npz"))
    assert len(files) == DAYS
    files[0].unlink()
    files[1].write_bytes(files[1].read_bytes()[:200])
    files[2].write_bytes(b"")
    _, again = light_of(lit, "bench", frames)
    assert np.array_equal(levels, again, equal_nan=True)


def test_levels_do_not_depend_on_how_many_work(lit):
    frames = frames_of(lit)
    _, levels = light_of(lit, "bench", frames, workers=1)
    for file in (lit.folder / FOLDER / "bench").glob("*.npz"):
        file.unlink()
    _, again = light_of(lit, "bench", frames, workers=3)
    assert np.array_equal(levels, again, equal_nan=True)


def test_some_frames_of_a_day_do_not_make_the_others_forgotten(filled, monkeypatch):
    measure(filled)
    frames = filled.catalogue.frames("bench")
    light_of(filled, "bench", frames[:1])
    light_of(filled, "bench", frames[1:2])
    read, decode = [], lighting.decode_reduced
    monkeypatch.setattr(lighting, "decode_reduced", lambda *a: read.append(a[0]) or decode(*a))
    light_of(filled, "bench", frames[:3])
    assert read == [filled.archive.read(frames[2].path)]


def test_a_frame_that_cannot_be_read_has_no_levels(lit):
    frames = frames_of(lit)
    (lit.folder / frames[3].path).write_bytes(b"no picture")
    _, levels = light_of(lit, "bench", frames)
    assert np.isnan(levels[3]).all()
    assert np.isfinite(levels[[2, 4]]).any()


def test_a_frame_of_a_moved_camera_is_measured_where_the_view_lies_in_it(season, monkeypatch):
    ground = bench_picture([])
    ground[30:60, 40:80] = 200
    moved = np.roll(ground, (12, 20), axis=(0, 1))  # down and to the right
    for day, shown in enumerate((ground, moved)):
        moment = datetime.combine(FIRST_DAY, datetime.min.time(), UTC) + timedelta(day, hours=11)
        season.archive.store("bench", moment, file_of(shown), ".png")
    season.index()
    frames = frames_of(season)
    shift = (1.0, 0.0, 20.0, 0.0, 1.0, 12.0, 0.0, 0.0, 1.0)
    placed = {frames[1].path: Placement(frames[1].path, shift, 0.1, 0.1, "near")}
    monkeypatch.setattr(season.catalogue, "placed", lambda *_: placed)
    # Outlines that leave the upper third free: no canopy is measured here
    for region in season.regions.region:
        for outline in region.outline:
            low = tuple((x, max(y, 90.0)) for x, y in outline.points)
            object.__setattr__(outline, "points", low)
    cells, levels = light_of(season, "bench", frames)
    first, second = levels.astype(float)
    both = np.isfinite(first[:, 0]) & np.isfinite(second[:, 0])
    assert both.sum() > 200
    assert np.abs(first - second)[both][:, :3].max() < 0.04  # cells do not end at whole pixels
    seen = np.isfinite(second[:, 0]).reshape(cells.rows, cells.columns)
    assert not seen[:, -2:].any()  # out of the moved frame
