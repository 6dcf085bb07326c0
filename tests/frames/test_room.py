"""The disk forecast counts what came of late; short of room only the daily picture is taken."""

import pytest

from lapsekit.errors import ArchiveError
from lapsekit.frames.room import days_left, require_room, room_for


def test_days_are_free_room_by_what_a_day_takes_and_never_negative():
    assert days_left(1e9, 5e7) == 20
    assert days_left(1e9, 5e7, keep_free_bytes=5e8) == 10
    assert days_left(1e9, 5e7, keep_free_bytes=2e9) == 0
    assert days_left(1e9, 0) is None


def test_short_of_room_the_daily_picture_is_taken_and_no_other(small_disk):
    disk = small_disk("4m")
    assert room_for(disk, 3.5, is_daily=False)
    (disk / "filler").write_bytes(bytes(1_000_000))
    assert not room_for(disk, 3.5, is_daily=False)
    assert room_for(disk, 3.5, is_daily=True)
    require_room(disk, 3.5, is_daily=True)
    with pytest.raises(ArchiveError, match=r"less than 3.5 MB free: only the daily picture"):
        require_room(disk, 3.5, is_daily=False)
    (disk / "filler").unlink()
    require_room(disk, 3.5, is_daily=False)
