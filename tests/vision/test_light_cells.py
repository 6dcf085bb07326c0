"""Levels of cells are the mean linear light of what is static, or not told."""

import numpy as np
import pytest

from lapsekit.errors import PictureError
from lapsekit.vision.colour import LINEAR
from lapsekit.vision.light_cells import LightCells, not_green

CELLS = LightCells((360, 480), columns=12)


def checks(one, other, shape=(360, 480)):
    """Single pixels of two levels, side by side."""
    odd = np.indices(shape).sum(axis=0) % 2 == 1
    return np.where(odd[..., None], one, other).astype(np.uint8).repeat(3, axis=2)


def test_a_level_is_the_mean_of_light_and_not_of_the_numbers_in_the_file():
    levels = CELLS.measure(checks(40, 200))
    true = np.log((LINEAR[40] + LINEAR[200]) / 2)
    assert levels[:, :3] == pytest.approx(np.full((CELLS.count, 3), true), abs=1e-4)
    assert levels[:, 3] == pytest.approx(1)


def test_what_is_not_static_has_no_say():
    picture, static = checks(60, 60), np.ones((360, 480), bool)
    picture[:, :240], static[:, :240] = 180, False
    levels = CELLS.measure(picture, static).reshape(CELLS.rows, CELLS.columns, 4)
    assert np.isnan(levels[:, :6]).all()
    assert levels[:, 6:, :3] == pytest.approx(np.log(LINEAR[60]), abs=1e-4)


def test_a_half_static_cell_tells_its_static_half_and_how_much_that_is():
    picture, static = checks(60, 60), np.ones((360, 480), bool)
    picture[:20], static[:20] = 180, False  # the upper half of the first row
    levels = CELLS.measure(picture, static)[: CELLS.columns]
    assert levels[:, :3] == pytest.approx(np.log(LINEAR[60]), abs=1e-4)
    assert levels[:, 3] == pytest.approx(0.5)


@pytest.mark.parametrize("level", [254, 2])
def test_cells_that_are_clipped_or_black_are_not_told(level):
    picture = checks(120, 120)
    picture[:40, :40] = level
    levels = CELLS.measure(picture)
    assert np.isnan(levels[0]).all()
    assert np.isfinite(levels[1:]).all()


def test_a_few_clipped_pixels_are_left_out_of_the_mean():
    picture = checks(120, 120)
    picture[3, 5:25] = 255  # 20 of the first cell's 1,600
    assert CELLS.measure(picture)[0, :3] == pytest.approx(np.log(LINEAR[120]), abs=1e-4)


def test_a_picture_of_another_size_has_the_same_levels():
    small = checks(120, 120, (180, 240))
    assert CELLS.measure(small) == pytest.approx(CELLS.measure(checks(120, 120)), abs=1e-4)


def test_pixels_that_are_measured_lie_where_they_are_said_to_lie():
    cells = LightCells((720, 960))
    corner = cells.to_reference @ [479, 359, 1]
    assert corner == pytest.approx([958.5, 718.5, 1])


def test_a_grey_picture_is_refused():
    with pytest.raises(PictureError, match="RGB"):
        CELLS.measure(np.zeros((360, 480), np.uint8))


def test_green_leaves_grow_and_boards_and_soil_do_not():
    picture = np.zeros((20, 30, 3), np.uint8)
    picture[:, :10], picture[:, 10:20], picture[:, 20:] = (70, 140, 48), (96, 72, 52), (128,) * 3
    still = not_green(picture)
    assert not still[:, :8].any()
    assert still[:, 13:].all()
