"""What fails on a bench, for real: told rightly, called for rightly, over without a hand.

Each fault is made, seen by what the log says and by what `lapsekit alert` would call, and taken
away; then frames must come again and the call be over.
"""

import os
import sqlite3
import subprocess
import threading
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.cameras import open_camera
from lapsekit.checking import check, standing
from lapsekit.errors import PublishError
from lapsekit.publishing import publish
from lapsekit.season import Season
from lapsekit.unattended.children import Children
from lapsekit.unattended.missed import read_missed
from tests.scenes import SETTINGS, bench_picture, encoded, make_season
from tests.unattended.simulated import SimulatedMachine, SimulatedProcess

START = datetime(2031, 4, 2, 4, tzinfo=UTC)
HOUR = timedelta(hours=1)
CAPTURE = '[capture]\nevery_minutes = 60\nfrom = "08:00"\nuntil = "20:00"\ndaily_at = "12:00"\n'
ALERTS = '[alerts]\nto_file = "alerts-to"\nno_frame_hours = 2.5\n'
PICTURE = encoded(bench_picture([], size=(320, 240)), "JPEG")


class Bench:
    """A season whose camera is a real program, lived through in simulated time."""

    def __init__(self, folder, more="", capture=CAPTURE):
        self.folder = folder
        self.program = folder.with_name("camera.sh")
        self.picture = folder.with_name("now.jpg")
        self.picture.write_bytes(PICTURE)
        self.works()
        text = SETTINGS.split("[capture]")[0].replace(
            'kind = "files"',
            f'kind = "command"\ncommand = ["sh", "{self.program}"]\ntime_limit_s = 1',
        )
        make_season(folder, text + capture + ALERTS + more).catalogue.close()
        self.machine, self.told = SimulatedMachine(START), []
        self.open()

    def open(self):
        self.season = Season(self.folder)
        model = self.season.settings.cameras["bench"]
        camera = open_camera("bench", model, self.folder, self.season.zone)
        self.process = SimulatedProcess(
            self.season,
            {"bench": camera},
            self.machine,
            lambda line, *_, **__: self.told.append(line),
        )

    def works(self):
        self.program.write_text(f"cat {self.picture}\n")

    def fails_by(self, script):
        self.program.write_text(script)

    def until(self, hours):
        self.process.run_until(START + hours * HOUR)

    def calls(self):
        """What somebody would be called for, now."""
        return {f.what: f.told for f in standing(self.season, lambda _: None).findings}

    def frames(self):
        return [
            f.taken_at.astimezone(self.season.zone).hour for f in self.season.catalogue.frames()
        ]

    def said(self, words):
        return any(words in line for line in self.told)


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path / "bench")
    made.season.catalogue.frames()
    yield made
    made.season.catalogue.close()


def silent_from_nine_to_two(bench, words):
    """Live through a day in which the camera does not work from nine to two."""
    bench.until(2.5)
    yield
    bench.until(8.5)
    assert bench.said(words), bench.told
    assert "frames" in " ".join(bench.calls()), bench.calls()
    bench.works()
    bench.until(15)
    assert bench.frames() == [8, *range(15, 21)]
    assert bench.calls() == {}
    assert sum(m.frames for m in read_missed(bench.season.folder)) == 6
    assert all(words in m.why for m in read_missed(bench.season.folder))


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("echo no device >&2; exit 1", "no device"),
        ("sleep 30", "did not end within 1 s"),
        ("head -c 3000 {picture}", "no usable picture"),
        ("true", "without a picture"),
    ],
    ids=["gone", "hanging", "corrupt", "empty"],
)
def test_a_camera_that_fails_is_told_called_for_and_comes_back_by_itself(bench, script, words):
    for _ in silent_from_nine_to_two(bench, words):
        bench.fails_by(script.replace("{picture}", str(bench.picture)))


@pytest.fixture
def bound(bench):
    """The season folder as a mount of its own; the catalogue was opened before, so it can turn."""
    folder = str(bench.folder)
    if subprocess.run(["mount", "--bind", folder, folder], check=False).returncode:
        pytest.skip("mounting is not allowed here (it needs root)")

    def mounted(how):
        subprocess.run(["mount", "-o", f"remount,bind,{how}", folder], check=True)

    yield mounted
    bench.season.catalogue.close()
    subprocess.run(["umount", "-l", folder], check=True)


def test_a_season_folder_that_turned_read_only_is_called_for_and_over_when_it_can_be_written(
    bench, bound
):
    bench.until(2.5)
    bound("ro")
    try:
        bench.until(8.5)
        assert bench.said("read-only"), bench.told
        assert "season folder" in bench.calls()
    finally:
        bound("rw")
    bench.until(15)
    assert bench.calls() == {}
    assert bench.frames() == [8, *range(15, 21)]


def test_a_full_disk_first_costs_extra_frames_then_is_called_for_and_then_is_over(
    small_disk, tmp_path
):
    disk = small_disk("12m")
    bench = Bench(disk / "bench", capture=CAPTURE + "keep_free_mb = 4\n")
    bench.until(2.5)
    ballast = disk / "ballast"
    free = os.statvfs(disk)
    ballast.write_bytes(b"\0" * (free.f_bavail * free.f_frsize - 2_000_000))
    bench.until(5.5)
    assert bench.frames() == [8]
    assert bench.said("only the daily picture is taken")
    bench.until(6.5)
    assert bench.frames() == [8, 12], "the daily picture still is"
    assert "disk" in bench.calls()
    free = os.statvfs(disk)
    with ballast.open("ab") as file:
        file.write(b"\0" * (free.f_bavail * free.f_frsize))
    ballast.unlink()
    bench.until(15)
    assert bench.frames() == [8, 12, *range(13, 21)]
    assert "frames of bench" not in bench.calls()
    bench.season.catalogue.close()


def test_a_catalogue_that_another_process_holds_loses_no_frame(bench, monkeypatch):
    bench.until(2.5)
    file = bench.season.folder / "catalogue.sqlite"
    with sqlite3.connect(file, isolation_level=None, check_same_thread=False) as other:
        other.execute("BEGIN IMMEDIATE")
        threading.Timer(3.0, lambda: other.execute("ROLLBACK")).start()
        bench.until(3.5)
    other.close()
    bench.until(15)
    bench.season.index()
    assert bench.frames() == list(range(8, 21))


def test_a_name_that_cannot_be_resolved_is_told_by_check_and_publishing_and_stops_no_capture(
    tmp_path,
):
    far = '[publish]\nto = "rsync"\ntarget = "bench.invalid:/srv/www"\ntime_limit_s = 20\n'
    bench = Bench(tmp_path / "bench", far)
    bench.until(2.5)
    found = {f.what: f for f in check(bench.season, lambda _: None)}
    assert found["network"].how == "wrong" and "bench.invalid" in found["network"].told
    bench.season.site.mkdir()
    (bench.season.site / "index.html").write_text("<html></html>")
    with pytest.raises(PublishError, match=r"bench\.invalid"):
        publish(bench.season, dry_run=True, wait=lambda _: None)
    bench.until(15)
    assert bench.frames() == list(range(8, 21))


def test_a_morning_over_its_memory_is_ended_told_and_called_for(tmp_path):
    """The limit is the kernel's: the child fails by itself, and this process goes on."""
    bench = Bench(tmp_path / "bench", "[compute]\nmemory_mb = 200\n")
    bench.until(2.5)
    bench.season.catalogue.close()
    ended = Children(bench.season.folder).run("morning", time_limit_s=120, memory_mb=60)
    assert ended.code != 0
    ended = Children(bench.season.folder).run("morning", time_limit_s=300, memory_mb=2000)
    assert ended.code == 0, ended.complaint


def test_a_child_that_takes_too_long_is_ended_with_all_it_started(bench):
    settings = bench.folder / "season.toml"
    settings.write_text(settings.read_text().replace("time_limit_s = 1", "time_limit_s = 100"))
    bench.fails_by("sleep 61.7 & sleep 61.7")
    ended = Children(bench.season.folder).run("capture", time_limit_s=2.5)
    assert ended.code is None
    assert "was ended" in ended.complaint
    left = subprocess.run(["pgrep", "-f", "sleep 61.7"], capture_output=True, check=False)
    assert left.stdout == b""
