"""A folder that others put pictures into: each is handed out once, whole, with its own time."""

import io
import os
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from PIL import ExifTags, Image

from lapsekit.cameras.watched import Watched
from lapsekit.errors import CameraError, CameraGone, LeftOut, NothingNew, SettingsError
from lapsekit.settings import WatchedCamera
from tests.scenes import bench_picture

ZONE = ZoneInfo("Etc/GMT-2")  # two hours east
DAY = datetime(2031, 4, 1, 10, tzinfo=UTC)


def photograph(taken=None, seed=0):
    """A JPEG with its local time of exposure."""
    picture, out = Image.fromarray(bench_picture([], seed=seed)), io.BytesIO()
    exif = Image.Exif()
    if taken is not None:
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture
def inbox(tmp_path):
    (tmp_path / "inbox" / "card").mkdir(parents=True)
    (tmp_path / "season").mkdir()
    return tmp_path / "inbox"


def watched(inbox, **more):
    model = WatchedCamera(kind="watched", folder="../inbox", **{"settled_s": 1.0, **more})
    return Watched("phone", model, inbox.parent / "season", ZONE)


def put(file, data, age_s=3600.0):
    file.write_bytes(data)
    moment = time.time() - age_s
    os.utime(file, (moment, moment))
    return file


def later():
    """An instant at which all that lies there has settled."""
    return datetime.now(UTC) + timedelta(minutes=5)


def everything(camera, file=True):
    """What it hands out until there is nothing new; each filed, as a capture does, or not."""
    shots = []
    while True:
        try:
            shots.append(camera.take(later()))
        except NothingNew:
            return shots
        if file:
            shots[-1].filed()
        assert len(shots) < 50


def test_pictures_are_handed_out_once_oldest_first_with_their_exif_time(inbox):
    put(inbox / "b.jpg", photograph("2031:04:01 12:00:00", 1), age_s=900)
    put(inbox / "card" / "a.jpg", photograph("2031:04:01 14:30:00", 2), age_s=600)
    camera = watched(inbox)
    shots = everything(camera)
    assert [shot.taken_at for shot in shots] == [DAY, DAY + timedelta(hours=2, minutes=30)]
    assert shots[0].data == (inbox / "b.jpg").read_bytes()
    put(inbox / "c.jpg", photograph("2031:04:02 12:00:00", 3))
    assert [shot.taken_at for shot in everything(camera)] == [DAY + timedelta(days=1)]
    assert len(list(inbox.rglob("*.jpg"))) == 3


def test_what_was_filed_is_remembered_by_a_new_process_and_the_rest_is_not_lost(inbox):
    for number in range(4):
        put(inbox / f"{number}, too.jpg", photograph("2031:04:01 12:00:00", number), 900 - number)
    first = watched(inbox)
    for _ in range(2):
        first.take(later()).filed()
    unfiled = first.take(later())  # power fails before this one is stored
    assert [s.data for s in everything(watched(inbox))] == [
        unfiled.data,
        (inbox / "3, too.jpg").read_bytes(),
    ]
    assert everything(watched(inbox)) == []


def test_a_picture_that_could_not_be_filed_comes_again_and_blocks_no_other(inbox):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00", 1))
    put(inbox / "b.jpg", photograph("2031:04:01 13:00:00", 2), age_s=60)
    camera = watched(inbox)
    assert len(everything(camera, file=False)) == 2
    assert len(everything(camera)) == 2
    assert everything(camera) == []


def test_a_torn_line_of_the_memory_loses_nothing_else(inbox):
    put(inbox / "a, b.jpg", photograph("2031:04:01 12:00:00"))
    everything(watched(inbox))
    memory = inbox.parent / "season" / ".watched-phone.csv"
    memory.write_bytes(memory.read_bytes() + b'"c, d.jp')
    put(inbox / "c, d.jpg", photograph("2031:04:01 13:00:00"))
    assert len(everything(watched(inbox))) == 1
    assert everything(watched(inbox)) == []


def test_a_changed_file_is_another_picture(inbox):
    camera = watched(inbox)
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"))
    assert len(everything(camera)) == 1
    put(inbox / "a.jpg", photograph("2031:04:01 15:00:00", 9), age_s=5)
    assert [s.taken_at for s in everything(camera)] == [DAY + timedelta(hours=3)]


def test_a_picture_written_slowly_is_handed_out_whole_and_only_when_it_is(inbox):
    data, camera = photograph("2031:04:01 12:00:00"), watched(inbox)
    parts = 12

    def write():
        with (inbox / "slow.jpg").open("wb") as file:
            for part in range(parts):
                file.write(data[part * len(data) // parts : (part + 1) * len(data) // parts])
                file.flush()
                time.sleep(0.25)

    writing, empty = threading.Thread(target=write), 0
    writing.start()
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            shot = camera.take(datetime.now(UTC))
            break
        except NothingNew:
            empty += 1
            time.sleep(0.1)
    assert not writing.is_alive() and shot.data == data and empty > 20
    writing.join()


def test_a_file_dated_ahead_of_this_clock_settles_too(inbox):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"), age_s=-86400)
    camera = watched(inbox)
    with pytest.raises(NothingNew):
        camera.take(datetime.now(UTC))
    time.sleep(1.1)
    assert camera.take(datetime.now(UTC)).taken_at == DAY


def test_times_come_from_names_or_files_where_asked(inbox):
    file = put(inbox / "IMG_20310401_120000.jpg", photograph())
    put(inbox / "other.jpg", photograph(seed=1))
    by_name = everything(watched(inbox, pattern="IMG_%Y%m%d_%H%M%S"), file=False)
    assert [s.taken_at for s in by_name] == [DAY]
    by_file = everything(watched(inbox, file_time=True), file=False)
    assert by_file[0].taken_at.timestamp() == int(file.stat().st_mtime) and len(by_file) == 2


def test_a_pattern_that_cannot_be_used_is_refused_by_its_key(inbox):
    with pytest.raises(SettingsError, match=r"cameras\.phone\.pattern IMG_%H: year, month"):
        watched(inbox, pattern="IMG_%H")


def test_what_is_no_picture_is_told_once_and_blocks_nothing(inbox):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00")[:2000])
    put(inbox / "b.jpg", photograph("2031:04:01 13:00:00"))
    put(inbox / "c.jpg", photograph())
    camera = watched(inbox)
    assert camera.take(later()).taken_at == DAY + timedelta(hours=1)
    with pytest.raises(CameraError, match=r"a\.jpg: truncated.*; .*c\.jpg: no time") as told:
        camera.take(later())
    assert not isinstance(told.value, NothingNew)
    for again in (camera, watched(inbox)):
        with pytest.raises(NothingNew):
            while True:
                again.take(later()).filed()
    put(inbox / "c.jpg", photograph("2031:04:01 14:00:00"), age_s=5)
    assert len(everything(camera)) == 1


def test_a_picture_without_a_time_says_which_setting_helps(inbox):
    put(inbox / "a.jpg", photograph())
    with pytest.raises(CameraError, match=r"give cameras\.phone\.pattern .* or cameras\.phone\.fi"):
        watched(inbox).take(later())


def test_files_left_out_are_told_by_reason_and_again_with_what_is_not_new(inbox):
    put(inbox / "empty.jpg", b"", age_s=9000)
    for number in range(3):
        put(inbox / f"{number}.jpg", photograph(seed=number))
    camera = watched(inbox)
    with pytest.raises(CameraError, match="leaves 4 files out: ") as told:
        camera.take(later())
    empty = "empty.jpg: the file is empty (0 bytes); "
    assert empty in str(told.value) and "0.jpg (and 2 more): no time in its" in str(told.value)
    for again in (camera, watched(inbox)):
        with pytest.raises(LeftOut, match=r"left out before: .*\(and 2 more\): no time in its"):
            again.take(later())


@pytest.mark.parametrize("more", [{"pattern": "IMG_%Y%m%d_%H%M%S"}, {"file_time": True}])
def test_what_was_left_out_is_tried_again_by_other_settings(inbox, more):
    """The advice to give a pattern would help nobody if files that were refused stayed out."""
    put(inbox / "IMG_20310401_120000.jpg", photograph())
    put(inbox / "IMG_20310401_130000.jpg", photograph(seed=1))
    with pytest.raises(CameraError, match=r"give cameras\.phone\.pattern"):
        watched(inbox).take(later())
    assert len(everything(watched(inbox, **more))) == 2
    for settings in (more, {}):  # what was filed stays so, whatever the settings say
        with pytest.raises(NothingNew, match=r"no new picture$"):
            watched(inbox, **settings).take(later())


def test_other_kinds_of_file_are_counted(inbox):
    put(inbox / "film.mp4", b"x")
    put(inbox / "shot.HEIC", b"x")
    put(inbox / ".hidden.jpg", b"x")
    with pytest.raises(NothingNew, match=r"passed over for their names: 1 \.heic, 1 \.mp4"):
        watched(inbox).take(later())


def test_a_folder_that_is_gone_says_what_to_check(inbox):
    camera = watched(inbox)
    (inbox / "card").rmdir()
    inbox.rmdir()
    with pytest.raises(CameraGone, match="check that the card is in, the disk mounted"):
        camera.take(later())


def failing(monkeypatch, method, part, code=5):
    """Reading what has `part` in its path fails, as where a card is pulled; returns how to stop."""
    real, pulled = getattr(Path, method), [True]

    def fail(self, *given, **named):
        if pulled and part in str(self):
            raise OSError(code, os.strerror(code), str(self))
        return real(self, *given, **named)

    monkeypatch.setattr(Path, method, fail)
    return pulled.clear


@pytest.mark.parametrize("part", ["inbox", "a.jpg"])
def test_a_card_that_is_pulled_while_it_is_looked_through_is_told(inbox, monkeypatch, part):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"))
    camera = watched(inbox)
    put_back = failing(monkeypatch, "stat", part)
    with pytest.raises(CameraGone, match=r"cannot be read \(Input/output error\); check"):
        camera.take(later())
    put_back()
    assert len(everything(camera)) == 1


def test_a_folder_whose_listing_breaks_off_is_told(inbox, monkeypatch):
    def torn(*_, onerror, **__):
        onerror(OSError(5, "Input/output error"))  # as the kernel's, without a name

    monkeypatch.setattr(os, "walk", torn)
    with pytest.raises(CameraGone, match=r"inbox: cannot be read \(Input/output error\)"):
        watched(inbox).take(later())


def test_a_picture_that_cannot_be_read_is_told_once_and_comes_when_it_can(inbox, monkeypatch):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"))
    put(inbox / "b.jpg", photograph("2031:04:01 13:00:00", 1))
    camera = watched(inbox)
    put_back = failing(monkeypatch, "read_bytes", "a.jpg")
    camera.take(later()).filed()
    with pytest.raises(CameraError, match=r"a\.jpg: cannot be read \(Input/output error\)") as told:
        camera.take(later())
    assert not isinstance(told.value, CameraGone)
    assert everything(camera) == []  # told once
    put_back()
    assert [shot.taken_at for shot in everything(camera)] == [DAY]


def test_a_card_that_is_pulled_while_a_picture_is_read_is_told_as_such(inbox, monkeypatch):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"))
    camera = watched(inbox)
    put_back = [failing(monkeypatch, "read_bytes", "a.jpg"), failing(monkeypatch, "iterdir", "box")]
    with pytest.raises(CameraGone, match="check that the card is in"):
        camera.take(later())
    for each in put_back:
        each()
    assert len(everything(camera)) == 1


def test_a_disk_that_was_unmounted_is_told(small_disk, tmp_path):
    disk = small_disk("1m")
    (tmp_path / "season").mkdir()
    model = WatchedCamera(kind="watched", folder=str(disk), settled_s=1.0)
    camera = Watched("card", model, tmp_path / "season", ZONE)
    put(disk / "a.jpg", photograph("2031:04:01 12:00:00"))
    camera.take(later()).filed()
    subprocess.run(["umount", str(disk)], check=True)
    try:
        with pytest.raises(CameraGone, match="is it mounted"):
            camera.take(later())
    finally:
        subprocess.run(["mount", "-t", "tmpfs", "tmpfs", str(disk)], check=True)


def test_thousands_of_files_are_looked_through_once_a_round(inbox):
    data = [photograph("2031:04:01 12:00:00", seed) for seed in range(3)]
    for number in range(300):
        put(inbox / f"{number}.jpg", data[number % 3])
    camera, walks = watched(inbox), []
    files = camera._files
    camera._files = lambda: (walks.append(1), *files())[1:]
    for _ in range(300):
        camera.take(later()).filed()
    with pytest.raises(NothingNew):
        camera.take(later())
    assert len(walks) == 2


def test_a_kill_between_filing_and_remembering_files_nothing_twice(inbox, season):
    put(inbox / "a.jpg", photograph("2031:04:01 12:00:00"))
    code = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from tests.cameras.test_watched import later, watched\n"
        "from lapsekit.season import Season\n"
        "shot = watched(Path(sys.argv[1])).take(later())\n"
        "Season(Path(sys.argv[2])).archive.store('bench', shot.taken_at, shot.data, '.jpg')\n"
        "os.kill(os.getpid(), 9)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(inbox), str(season.folder)], check=False)
    shot = watched(inbox).take(later())
    assert not season.archive.store("bench", shot.taken_at, shot.data, ".jpg").new
    assert len(list((season.folder / "frames").rglob("*.jpg"))) == 1
