"""A camera is asked by one process at a time, whichever asks."""

import os
import shutil
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lapsekit.cameras import open_camera
from lapsekit.cameras.alone import Alone, alone_with
from lapsekit.errors import CameraBusy
from lapsekit.season import Season
from lapsekit.trust import trust
from tests.scenes import SETTINGS

NOW = datetime(2031, 4, 2, 12, tzinfo=UTC)
# A device that may be open once: it notes when it is opened while it is open.
ONCE = """\
import os, sys, time
try:
    os.close(os.open("open", os.O_CREAT | os.O_EXCL))
except FileExistsError:
    open("twice", "w").close()
    sys.exit("busy")
time.sleep(0.4)
with open("taken", "a") as file:
    file.write("x")
os.unlink("open")
sys.exit("no picture today")
"""


def bench(folder):
    folder.mkdir()
    (folder / "once.py").write_text(ONCE)
    command = f'kind = "command"\ncommand = ["{sys.executable}", "{folder}/once.py", "{{path}}"]'
    (folder / "season.toml").write_text(SETTINGS.replace('kind = "files"', command))
    trust(folder)
    return folder


def captures(folder, number):
    words = [sys.executable, "-m", "lapsekit", "capture", "--season", str(folder)]
    return [
        subprocess.Popen(words, cwd=folder, stderr=subprocess.PIPE, text=True)
        for _ in range(number)
    ]


def test_two_processes_ask_one_after_the_other(tmp_path):
    folder = bench(tmp_path / "bench")
    running = captures(folder, 3)
    said = [process.communicate()[1] for process in running]
    assert all("no picture today" in text for text in said), said
    assert (folder / "taken").read_text() == "xxx"
    assert not (folder / "twice").exists()


def test_who_waits_in_vain_is_told_which_camera_and_what_to_do(tmp_path):
    season = Season(bench(tmp_path / "bench"))
    model = season.settings.cameras["bench"]
    with alone_with("bench", season.folder):
        opened = open_camera("bench", model, season.folder, season.zone)
        camera = Alone(opened.camera, "bench", season.folder, wait_s=0.2)
        with pytest.raises(CameraBusy, match=r'camera "bench" is in use .*aiming.*try again'):
            camera.take(NOW)
        with alone_with("roof", season.folder, 0):
            pass  # another camera is free
    assert not (season.folder / "taken").exists()


def test_a_lock_that_another_user_made_is_held_all_the_same():
    if os.getuid():
        pytest.skip("another user is played by root here")
    script = (
        "import os, sys; from pathlib import Path\n"
        "from lapsekit.cameras.alone import alone_with\n"
        "from lapsekit.errors import CameraBusy\n"
        "os.setuid(65534)\n"
        "try:\n"
        "    with alone_with('bench', Path(sys.argv[1]), 0.1):\n"
        "        print('held')\n"
        "except CameraBusy:\n"
        "    print('busy')\n"
    )
    there = Path("/var/tmp") / f"alone-{os.getpid()}"  # pytest's own folders are root's alone
    there.mkdir()
    try:
        words = [sys.executable, "-c", script, str(there)]
        with alone_with("bench", there):
            asked = subprocess.run(words, capture_output=True, text=True)
        free = subprocess.run(words, capture_output=True, text=True)
    finally:
        shutil.rmtree(there)
    assert (asked.stdout, free.stdout) == ("busy\n", "held\n"), asked.stderr


def test_the_time_spent_waiting_for_others_is_added_to_the_time_of_the_picture(tmp_path):
    class Clocked:
        def take(self, now):
            return now

    camera = Alone(Clocked(), "bench", tmp_path)
    assert camera.take(NOW) == NOW
    held = threading.Event()

    def hold():
        with alone_with("bench", tmp_path):
            held.set()
            time.sleep(0.6)

    thread = threading.Thread(target=hold)
    thread.start()
    held.wait()
    assert timedelta(seconds=0.3) < camera.take(NOW) - NOW < timedelta(seconds=20)
    thread.join()


def test_a_process_that_was_killed_holds_no_camera(tmp_path):
    script = (
        "import sys, time; from pathlib import Path\n"
        "from lapsekit.cameras.alone import alone_with\n"
        "with alone_with('bench', Path(sys.argv[1])):\n"
        "    print('held', flush=True); time.sleep(600)\n"
    )
    words = [sys.executable, "-c", script, str(tmp_path)]
    holder = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=os.environ)
    assert holder.stdout.readline() == "held\n"
    with pytest.raises(CameraBusy), alone_with("bench", tmp_path, 0):
        pass
    holder.kill()
    holder.wait()
    holder.stdout.close()
    with alone_with("bench", tmp_path, 0):
        pass


def test_a_folder_that_cannot_be_written_stops_no_camera(tmp_path):
    with alone_with("bench", tmp_path / "away", 0):
        pass
