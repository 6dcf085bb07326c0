"""Each kind of camera gives whole pictures, or says what to check."""

import sys
import time
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit import settings
from lapsekit.cameras import open_camera
from lapsekit.cameras.command import Command
from lapsekit.cameras.replay import Replay
from lapsekit.errors import CameraError
from tests.scenes import bench_picture, encoded, fill

NOW = datetime(2031, 4, 2, 12, tzinfo=UTC)
PICTURE = encoded(bench_picture([]), "JPEG")


def command(code, *arguments, limit=20):
    return Command([sys.executable, "-c", code, *arguments], limit, ".")


def test_a_command_gives_what_it_writes_to_standard_output(tmp_path):
    (tmp_path / "x.jpg").write_bytes(PICTURE)
    code = "import sys; sys.stdout.buffer.write(open(sys.argv[1], 'rb').read())"
    shot = command(code, str(tmp_path / "x.jpg")).take(NOW)
    assert (shot.data, shot.taken_at) == (PICTURE, NOW)


def test_a_command_gives_what_it_writes_to_the_file(tmp_path):
    (tmp_path / "x.jpg").write_bytes(PICTURE)
    code = "import shutil, sys; shutil.copy(sys.argv[1], sys.argv[2]); print('saved')"
    assert command(code, str(tmp_path / "x.jpg"), "{file}").take(NOW).data == PICTURE


def test_a_command_that_fails_is_told_with_its_last_words():
    with pytest.raises(CameraError, match=r"code 3: lens cap is on"):
        command("import sys; sys.exit(print('lens cap is on', file=sys.stderr) or 3)").take(NOW)


def test_a_command_without_a_picture_is_told():
    with pytest.raises(CameraError, match="without a picture"):
        command("pass").take(NOW)


def test_a_command_that_is_not_there_is_told():
    with pytest.raises(CameraError, match="installed"):
        Command(["no-such-program"], 5, ".").take(NOW)


def test_a_command_that_hangs_is_ended_with_its_children():
    code = "import subprocess; subprocess.run(['sleep', '60'])"
    began = time.monotonic()
    with pytest.raises(CameraError, match="did not end within 1 s"):
        command(code, limit=1).take(NOW)
    assert time.monotonic() - began < 20


def test_replay_gives_each_frame_once_at_or_after_its_time(season):
    moments = fill(season, days=2)
    replay = Replay(season.folder / "frames")
    with pytest.raises(CameraError, match="no new frame"):
        replay.take(moments[0] - timedelta(seconds=1))
    assert replay.take(moments[0]).taken_at == moments[0]
    with pytest.raises(CameraError, match="no new frame"):
        replay.take(moments[0] + timedelta(hours=1))
    assert replay.take(moments[2] + timedelta(minutes=5)).taken_at == moments[2]


def test_replay_of_an_empty_folder_is_told(tmp_path):
    with pytest.raises(CameraError, match="no dated frames"):
        Replay(tmp_path).take(NOW)


def test_a_usb_camera_that_is_not_there_says_what_to_check(tmp_path):
    pytest.importorskip("cv2")
    camera = open_camera("bench", settings.UsbCamera(kind="usb", device=63), tmp_path)
    with pytest.raises(CameraError, match=r"/dev/video63; check the cable"):
        camera.take(NOW)


def test_a_camera_of_files_only_takes_no_picture(tmp_path):
    with pytest.raises(CameraError, match="lapsekit import"):
        open_camera("bench", settings.FilesCamera(kind="files"), tmp_path)
