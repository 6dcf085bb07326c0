"""Kept shapes come back as they were, or not at all."""

from datetime import date

import numpy as np
import pytest

from lapsekit.shapes import FOLDER, Shapes

DAY = date(2031, 4, 17)


@pytest.fixture
def shapes(tmp_path):
    return Shapes(tmp_path)


@pytest.fixture
def canopy():
    return np.random.default_rng(1).integers(0, 256, (37, 53), np.uint8)


def test_a_cover_comes_back_byte_by_byte(shapes, canopy):
    shapes.keep_cover("bench", DAY, "noon", "m1", canopy)
    assert np.array_equal(shapes.cover("bench", DAY, "noon", "m1"), canopy)


@pytest.mark.parametrize("highest", [30, 255, 256, 65535])
def test_labels_come_back_whatever_their_number(shapes, highest):
    labels = np.random.default_rng(2).integers(0, highest + 1, (20, 30))
    labels[3, 4] = highest
    shapes.keep_labels("bench", DAY, "m1", labels)
    assert np.array_equal(shapes.labels("bench", DAY, "m1"), labels)


def test_labels_beyond_sixteen_bits_are_refused(shapes):
    with pytest.raises(ValueError, match="65536"):
        shapes.keep_labels("bench", DAY, "m1", np.array([[0, 65536]]))


def test_a_shape_of_other_settings_is_not_found_and_goes_with_its_successor(
    shapes, canopy, tmp_path
):
    shapes.keep_cover("bench", DAY, "noon", "m1", canopy)
    assert shapes.cover("bench", DAY, "noon", "m2") is None
    shapes.keep_cover("bench", DAY, "noon", "m2", ~canopy)
    assert shapes.cover("bench", DAY, "noon", "m1") is None
    assert np.array_equal(shapes.cover("bench", DAY, "noon", "m2"), ~canopy)
    assert len(list((tmp_path / FOLDER).rglob("*.png"))) == 1


def test_frames_and_labels_of_a_day_do_not_displace_each_other(shapes, canopy):
    shapes.keep_cover("bench", DAY, "noon", "m1", canopy)
    shapes.keep_cover("bench", DAY, "noon2", "m1", ~canopy)
    shapes.keep_labels("bench", DAY, "m9", canopy.astype(int))
    assert np.array_equal(shapes.cover("bench", DAY, "noon", "m1"), canopy)
    assert np.array_equal(shapes.cover("bench", DAY, "noon2", "m1"), ~canopy)
    assert shapes.days("bench") == [DAY]


@pytest.mark.parametrize("share", [0.0, 0.5, 0.99])
def test_a_damaged_shape_counts_as_not_there(shapes, canopy, tmp_path, share):
    shapes.keep_cover("bench", DAY, "noon", "m1", canopy)
    (file,) = (tmp_path / FOLDER).rglob("*.png")
    data = file.read_bytes()
    file.write_bytes(data[: int(share * len(data))])
    assert shapes.cover("bench", DAY, "noon", "m1") is None


def test_what_is_deleted_is_simply_gone(shapes, canopy):
    assert shapes.labels("bench", DAY, "m1") is None
    assert shapes.days("bench") == []
    shapes.keep_cover("bench", DAY, "noon", "m1", canopy)
    shapes.forget("bench", DAY)
    shapes.forget("bench", DAY)
    assert shapes.cover("bench", DAY, "noon", "m1") is None
    assert shapes.days("bench") == []
