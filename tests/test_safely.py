"""Files are whole and apart from each other, however many threads of the desk write at once."""

import io
import os
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date

from PIL import Image

from lapsekit import safely
from lapsekit.desk import photographs


def together(count, what):
    """`what(number)` in so many threads at once; what comes of each."""
    with ThreadPoolExecutor(count) as threads:
        return [each.result(30) for each in [threads.submit(what, n) for n in range(count)]]


def test_two_threads_that_write_one_file_at_once_leave_one_of_both_whole(tmp_path, monkeypatch):
    both, synced = threading.Barrier(2, timeout=20), os.fsync

    def fsync(handle):
        synced(handle)
        both.wait()  # both have written, and neither has renamed

    monkeypatch.setattr(safely.os, "fsync", fsync)
    contents = [b"first" * 1000, b"another" * 3000]
    assert together(2, lambda n: safely.write_safely(tmp_path / "text", contents[n])) == [True] * 2
    assert (tmp_path / "text").read_bytes() in contents
    assert [file.name for file in tmp_path.iterdir()] == ["text"]


def picture(level):
    out = io.BytesIO()
    Image.new("L", (40, 40), level).save(out, "PNG")
    return out.getvalue()


def test_photographs_of_a_day_that_come_at_once_do_not_take_each_others_names(
    tmp_path, monkeypatch
):
    all_named, write = threading.Barrier(4, timeout=20), photographs.write_safely

    def late(path, data):
        all_named.wait()
        return write(path, data)

    monkeypatch.setattr(photographs, "write_safely", late)

    def file(number):
        with photographs.filed(tmp_path, date(2031, 4, 2), [picture(60 * number)]) as names:
            return names[0]

    names = together(4, file)
    assert sorted(names) == [f"diary/2031-04-02-{n}.jpg" for n in (1, 2, 3, 4)]
    for number, name in enumerate(names):
        with Image.open(tmp_path / name) as found:
            assert abs(found.getpixel((20, 20))[0] - 60 * number) < 4


def test_of_photographs_that_cannot_all_be_written_none_stays(tmp_path, monkeypatch):
    write = photographs.write_safely

    def full(path, data):
        if path.name.endswith("-2.jpg"):
            raise OSError("no room")
        return write(path, data)

    monkeypatch.setattr(photographs, "write_safely", full)
    sent = [picture(10), picture(20)]
    try:
        with photographs.filed(tmp_path, date(2031, 4, 2), sent):
            raise AssertionError("it was not refused")
    except OSError as error:
        assert str(error) == "no room"
    assert list((tmp_path / "diary").iterdir()) == []
