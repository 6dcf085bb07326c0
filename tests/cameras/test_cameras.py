"""Each kind of camera gives whole pictures, or says what to check."""

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from lapsekit import settings
from lapsekit.cameras import open_camera, running, scratch
from lapsekit.cameras.command import Command
from lapsekit.cameras.replay import Replay
from lapsekit.cameras.usb import Usb
from lapsekit.errors import CameraError
from tests.scenes import bench_picture, encoded, fill

UTC_ZONE = ZoneInfo("UTC")
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


def test_a_command_that_hangs_is_ended_with_its_children(tmp_path):
    with ended_children(tmp_path) as code, pytest.raises(CameraError, match="within 1 s"):
        command(code, limit=1).take(NOW)


def test_what_a_command_leaves_behind_is_ended_though_its_output_went_elsewhere(tmp_path):
    with ended_children(tmp_path) as code:
        code = code.replace("60']", "60'], stdout=-3, stderr=-3").replace("child.wait()", "")
        code += "sys.stdout.buffer.write(b'picture')"
        assert command(code).take(NOW).data == b"picture"


WRITES_AND_TELLS = (
    "import pathlib, sys\n"
    "file = pathlib.Path(sys.argv[1])\n"
    "file.with_name('part').write_bytes(b'picture')\n"  # as many do: beside it, then renamed
    "file.with_name('part').rename(file)\n"
    "mode = oct(file.parent.stat().st_mode & 0o777)\n"
    "pathlib.Path(sys.argv[2]).write_text(f'{file} {mode}')\n"
)


def private(code, *arguments, limit=20):
    return Command([sys.executable, "-c", code, *arguments], limit, ".", has_privacy=True)


@pytest.mark.parametrize("then", ["", "sys.exit(3)", "import time; time.sleep(60)"])
def test_a_file_that_a_command_writes_lies_in_memory_for_nobody_else_and_is_gone(tmp_path, then):
    note = tmp_path / "note"
    camera = private(WRITES_AND_TELLS + then, "{file}", str(note), limit=2)
    if then:
        with pytest.raises(CameraError):
            camera.take(NOW)
    else:
        assert camera.take(NOW).data == b"picture"
    file, mode = note.read_text().split()
    kind = subprocess.run(
        ["stat", "-f", "-c", "%T", Path(file).parents[1]], capture_output=True, check=True
    ).stdout
    assert (kind.strip(), mode) == (b"tmpfs", "0o700")
    assert not Path(file).parent.exists()


def test_with_privacy_areas_and_no_place_in_memory_no_picture_is_taken(tmp_path, monkeypatch):
    monkeypatch.setattr(scratch, "MEMORY", disk_folder(tmp_path))
    note = tmp_path / "note"
    with pytest.raises(CameraError, match=r"no place in memory .*no picture was taken"):
        private(WRITES_AND_TELLS, "{file}", str(note)).take(NOW)
    assert not note.exists()
    assert command(WRITES_AND_TELLS, "{file}", str(note)).take(NOW).data == b"picture"
    code = "import sys; sys.stdout.buffer.write(b'picture')"
    assert private(code).take(NOW).data == b"picture"


def disk_folder(folder):
    kind = subprocess.run(["stat", "-f", "-c", "%T", folder], capture_output=True, check=True)
    if kind.stdout.strip() in (b"tmpfs", b"ramfs"):
        pytest.skip("temporary folders lie in memory here")
    return folder


def test_a_camera_of_season_toml_with_privacy_areas_is_kept_off_the_disk(tmp_path, monkeypatch):
    monkeypatch.setattr(scratch, "MEMORY", disk_folder(tmp_path))
    monkeypatch.setattr("lapsekit.trust.require_for_camera", lambda *_: None)
    model = settings.CommandCamera(
        kind="command",
        command=("touch", "{file}"),
        privacy=(((0, 0), (9, 0), (9, 9)),),
        privacy_size_px=(320, 240),
    )
    with pytest.raises(CameraError, match="no place in memory"):
        open_camera("bench", model, tmp_path, UTC_ZONE).take(NOW)


def test_what_a_killed_process_left_in_memory_is_removed_at_the_next_picture(tmp_path):
    note = tmp_path / "note"
    code = (
        "import sys; from tests.cameras.test_cameras import *\n"
        "private('import os, signal, sys; open(sys.argv[1], \"w\").close();'\n"
        "    'open(sys.argv[2], \"w\").write(sys.argv[1]); os.kill(os.getppid(), 9)',\n"
        "    '{file}', sys.argv[1]).take(NOW)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(note)], check=False)
    left = Path(note.read_text())
    assert done.returncode == -signal.SIGKILL and left.exists()
    with scratch.scratch("another", True) as held:
        assert not left.parent.exists()
        with scratch.scratch("a third", True):
            assert held.exists()  # in use


@pytest.mark.parametrize("part", ["a\0b", "x" * 3_000_000])
def test_a_command_that_cannot_be_started_for_another_reason_is_told(part):
    with pytest.raises(CameraError, match=r"cannot be started .*; check the command"):
        command("pass", part).take(NOW)


def test_a_full_disk_or_an_unreadable_file_is_told(tmp_path, monkeypatch):
    code = "import os, sys; os.mkfifo(sys.argv[1]); print('x')"
    assert command(code, "{file}").take(NOW).data == b"x\n"  # no file, so what it said
    monkeypatch.setattr(scratch, "MEMORY", tmp_path / "none")
    monkeypatch.setattr(scratch.tempfile, "tempdir", str(tmp_path / "gone"))
    with pytest.raises(CameraError, match=r"no temporary folder .*check that .*gone has room"):
        command(code, "{file}").take(NOW)


def test_a_written_picture_that_cannot_be_read_is_told(monkeypatch):
    def refuse(self):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    code = "import sys; open(sys.argv[1], 'w').close()"
    with pytest.raises(CameraError, match=r"cannot be read \(Input/output error\); check"):
        command(code, "{file}").take(NOW)


def test_a_command_that_never_stops_talking_is_ended():
    code = "import sys\nwhile True: sys.stdout.buffer.write(bytes(1 << 20))"
    with pytest.raises(CameraError, match="more than 64 MB"):
        command(code, limit=60).take(NOW)


def test_a_command_that_even_the_kernel_cannot_end_is_left_behind(monkeypatch):
    ended = []
    monkeypatch.setattr(os, "killpg", lambda pid, _: ended.append(pid))
    monkeypatch.setattr(running, "_DYING_S", 0.2)
    began = time.monotonic()
    with pytest.raises(CameraError, match="hangs in the kernel; unplug"):
        command("import time; time.sleep(60)", limit=1).take(NOW)
    assert time.monotonic() - began < 10
    monkeypatch.undo()
    with pytest.raises(CameraError, match="still hangs"):  # and no second one beside it
        command("pass").take(NOW)
    os.killpg(ended[0], signal.SIGKILL)
    time.sleep(0.2)
    with pytest.raises(CameraError, match="without a picture"):
        command("pass").take(NOW)


def test_a_process_that_reads_a_camera_and_hangs_is_ended_with_its_children(tmp_path, monkeypatch):
    with ended_children(tmp_path) as code:
        program = tmp_path / "python"
        program.write_text(f"#!{sys.executable}\n{code}")
        program.chmod(0o755)
        monkeypatch.setattr(sys, "executable", str(program))
        with pytest.raises(CameraError, match=r"/dev/video0 did not end within 2 s"):
            Usb(settings.UsbCamera(kind="usb", time_limit_s=2.0)).take(NOW)


def test_a_process_that_reads_a_camera_ends_by_itself_when_nobody_waits_for_it():
    wanted = {"kind": "usb", "until": time.monotonic() + 1}
    code = (
        "import time, sys, types\n"
        "from lapsekit.cameras import apart\n"
        "apart.import_module = lambda name: types.SimpleNamespace(\n"
        "    read_usb=lambda *_: time.sleep(60))\n"
        "apart.main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], input=json.dumps(wanted), text=True, timeout=30, check=False
    )
    assert done.returncode == -signal.SIGALRM


@contextmanager
def ended_children(folder):
    """Code that starts a child and hangs; the child must be gone at the end."""
    note = folder / "child"
    yield (
        "import subprocess, sys\n"
        "child = subprocess.Popen(['sleep', '60'])\n"
        f"open({str(note)!r}, 'w').write(str(child.pid))\n"
        "child.wait()"
    )
    child = Path("/proc", note.read_text(), "stat")
    until = time.monotonic() + 5
    while child.exists() and child.read_text().split()[2] != "Z":
        assert time.monotonic() < until, "the child lives on"
        time.sleep(0.05)


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
    camera = open_camera("bench", settings.UsbCamera(kind="usb", device=63), tmp_path, UTC_ZONE)
    with pytest.raises(CameraError, match=r"/dev/video63; check the cable"):
        camera.take(NOW)


def test_a_camera_of_files_only_takes_no_picture(tmp_path):
    with pytest.raises(CameraError, match="lapsekit import"):
        open_camera("bench", settings.FilesCamera(kind="files"), tmp_path, UTC_ZONE)
