"""A frame is stored whole or not at all, under its local day, and never changed."""

import os
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from lapsekit.errors import ArchiveError
from lapsekit.frames.archive import Archive
from lapsekit.frames.names import FrameName

MOMENT = datetime(2031, 4, 1, 22, 30, 5, tzinfo=UTC)


@pytest.fixture
def archive(tmp_path):
    return Archive(tmp_path, ZoneInfo("CET"))


def everything(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())


def test_a_frame_is_filed_under_its_local_day_and_utc_second(archive, tmp_path):
    stored = archive.store("bench", MOMENT, b"frame", ".jpg")
    assert stored.path == "frames/bench/2031-04-02/20310401T223005Z.jpg"
    assert everything(tmp_path) == [stored.path]
    assert archive.read(stored.path) == b"frame"


def test_another_frame_of_the_same_second_gets_a_counter(archive):
    first = archive.store("bench", MOMENT, b"one", ".jpg")
    second = archive.store("bench", MOMENT, b"two", ".jpg")
    third = archive.store("bench", MOMENT, b"three", ".jpg")
    assert second.path.endswith("20310401T223005Z-2.jpg")
    assert third.path.endswith("20310401T223005Z-3.jpg")
    assert [archive.read(f.path) for f in (first, second, third)] == [b"one", b"two", b"three"]
    assert sorted(archive.files(), key=lambda f: f.path) == [second, third, first]


def test_the_same_content_is_not_stored_twice(archive, tmp_path):
    archive.store("bench", MOMENT, b"one", ".jpg")
    archive.store("bench", MOMENT, b"two", ".jpg")
    again = archive.store("bench", MOMENT, b"two", ".jpg")
    assert not again.new
    assert again.name == FrameName(MOMENT, 2, ".jpg")
    assert len(everything(tmp_path)) == 2


def test_a_failed_write_leaves_nothing_and_says_where(archive, tmp_path, monkeypatch):
    archive.store("bench", MOMENT, b"one", ".jpg")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(ArchiveError, match="disk is full") as caught:
        archive.store("bench", MOMENT, b"two", ".jpg")
    assert str(tmp_path) in str(caught.value)
    assert everything(tmp_path) == ["frames/bench/2031-04-02/20310401T223005Z.jpg"]


def test_a_card_without_hard_links_never_overwrites_either(archive, monkeypatch):
    def unsupported(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", unsupported)
    first = archive.store("bench", MOMENT, b"one", ".jpg")
    second = archive.store("bench", MOMENT, b"two", ".jpg")
    assert archive.read(first.path) == b"one"
    assert archive.read(second.path) == b"two"


def test_leftovers_of_a_power_cut_are_removed_and_are_no_frames(archive, tmp_path):
    stored = archive.store("bench", MOMENT, b"one", ".jpg")
    leftover = (tmp_path / stored.path).with_name(".part-77-abc")
    leftover.write_bytes(b"half")
    assert [f.path for f in archive.files()] == [stored.path]
    (day,) = archive.folders()
    assert not archive.remove_leftovers(day), "it may be a capture under way"
    os.utime(leftover, (0, 0))
    assert archive.remove_leftovers(day)
    assert everything(tmp_path) == [stored.path]


def test_what_is_set_aside_is_kept_but_is_no_frame(archive):
    aside = archive.set_aside("bench", MOMENT, b"from the future", ".jpg")
    assert archive.read(aside.path) == b"from the future"
    assert list(archive.files()) == []


def test_a_really_full_disk_loses_nothing(small_disk):
    """On a tmpfs of 200 kB: the frames before stay whole, the one too many leaves no trace."""
    disk = small_disk("200k")
    archive = Archive(disk, ZoneInfo("CET"))
    frames = {}
    with pytest.raises(ArchiveError, match="disk is full"):
        for number in range(10):
            data = bytes([number]) * 50_000
            stored = archive.store("bench", MOMENT, data, ".jpg")
            frames[stored.path] = data
    assert len(frames) >= 2
    assert everything(disk) == sorted(frames)
    assert all(archive.read(path) == data for path, data in frames.items())
