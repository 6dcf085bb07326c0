"""A frame's name and its instant say the same."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.frames.names import FrameName, read_name


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),
    st.integers(1, 9999),
    st.sampled_from([".jpg", ".png", ".webp"]),
)
def test_a_name_reads_back_as_written(moment, counter, suffix):
    name = FrameName(moment.replace(microsecond=0), counter, suffix)
    assert read_name(str(name)) == name


@pytest.mark.parametrize(
    "name",
    [
        "20310417T113000Z.jpg.part",
        ".part-1-20310417T113000Z",
        "20310417T113000Z-1.jpg",
        "20310417T113000Z-02.jpg",
        "20311317T113000Z.jpg",
        "20310417T113000.jpg",
        "20310417T113000Z.exe",
        "notes.txt",
    ],
)
def test_what_is_no_frame_name_is_not_taken_for_one(name):
    assert read_name(name) is None
