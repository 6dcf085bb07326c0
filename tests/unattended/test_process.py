"""The capture job files dated frames: once, on schedule, and in simulated time."""

import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from lapsekit.cameras import Shot
from lapsekit.errors import CameraError
from lapsekit.season import Season
from lapsekit.unattended.capturing import Captured, capture
from lapsekit.unattended.simulating import SimulatedClock, simulate
from tests.scenes import SETTINGS, bench_picture, encoded, growing_bench, make_season

NOW = datetime(2031, 4, 2, 12, tzinfo=UTC)
PICTURE = encoded(bench_picture([]), "JPEG")


class Fake:
    def __init__(self, data=PICTURE, late=timedelta()):
        self.data, self.late = data, late

    def take(self, now):
        return Shot(self.data, now + self.late)


@pytest.fixture
def bench(tmp_path):
    make_season(tmp_path / "bench").catalogue.close()
    season = Season(tmp_path / "bench", clock=lambda: NOW)
    yield season
    season.catalogue.close()


def test_a_captured_frame_is_filed_and_noted(bench):
    took = capture(bench, "bench", Fake())
    frame = took.frame
    assert took.is_new
    assert capture(bench, "bench", Fake()) == Captured(frame, False, ())
    assert frame.path == "frames/bench/2031-04-02/20310402T120000Z.jpg"
    assert bench.catalogue.frames() == [frame]
    assert bench.archive.read(frame.path) == PICTURE
    assert bench.index().added == 0


@pytest.mark.parametrize("data", [b"", b"no picture", PICTURE[:-200]])
def test_bytes_that_are_no_whole_picture_are_not_filed(bench, data):
    with pytest.raises(CameraError, match="no usable picture"):
        capture(bench, "bench", Fake(data))
    assert list(bench.archive.files()) == []


def test_a_camera_whose_clock_is_ahead_is_told_and_its_frame_kept_aside(bench):
    with pytest.raises(CameraError, match="cannot be true; it is kept aside"):
        capture(bench, "bench", Fake(late=timedelta(days=400)))
    assert list(bench.archive.files()) == []
    assert len(list(bench.folder.rglob("aside/*.jpg"))) == 1


def replaying(folder, source):
    text = SETTINGS.replace('kind = "files"', f'kind = "replay"\nfolder = "{source}"')
    text = text.replace(
        'daily_at = "12:00"', 'every_minutes = 240\nfrom = "11:00"\nuntil = "19:00"'
    )
    return make_season(folder, text)


def test_simulated_time_files_every_frame_under_its_own_date(tmp_path, filled):
    moments = sorted(f.name.taken_at for f in filled.archive.files())
    season = replaying(tmp_path / "played", filled.folder / "frames")
    clock = SimulatedClock(moments[0] - timedelta(hours=1))
    season.clock = clock
    mornings = []
    report = simulate(
        season, clock, moments[-1] + timedelta(days=1), lambda: mornings.append(clock())
    )
    assert report.filed == 15
    assert [f.taken_at for f in season.catalogue.frames()] == moments
    assert len(mornings) == 5
    season.catalogue.close()


def test_a_simulation_run_again_files_nothing_twice(tmp_path, filled):
    moments = sorted(f.name.taken_at for f in filled.archive.files())
    for _ in range(2):
        season = replaying(tmp_path / "played", filled.folder / "frames")
        clock = SimulatedClock(moments[0] - timedelta(hours=1))
        season.clock = clock
        simulate(season, clock, moments[-1], lambda: None)
        assert len(list(season.archive.files())) == 15
        season.catalogue.close()


def test_the_running_process_captures_on_time_runs_the_morning_chain_and_stops(tmp_path):
    """A real process, a real clock, a real command: both due some seconds ahead."""
    season = make_season(tmp_path / "bench")
    (tmp_path / "x.png").write_bytes(encoded(growing_bench(1)))
    ahead = datetime.now(UTC) + timedelta(seconds=6)
    text = SETTINGS.replace(
        'kind = "files"', f'kind = "command"\ncommand = ["cat", "{tmp_path / "x.png"}"]'
    ).replace('"CET"', '"UTC"')
    text = text.replace(
        'daily_at = "12:00"',
        f'every_minutes = 1440\nfrom = "00:00"\nuntil = "00:00"\ndaily_at = "{ahead:%H:%M:%S}"',
    )
    text += f'[morning]\nat = "{ahead + timedelta(seconds=3):%H:%M:%S}"\n'
    (season.folder / "season.toml").write_text(text)
    process = subprocess.Popen(
        [sys.executable, "-m", "lapsekit", "run", "--season", str(season.folder)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    told = []
    while "morning done" not in (told[-1] if told else ""):
        told.append(process.stdout.readline())
        assert told[-1], told
    process.send_signal(signal.SIGTERM)
    rest, _ = process.communicate(timeout=30)
    season.catalogue.close()
    (frame,) = season.archive.files()
    assert abs(frame.name.taken_at - ahead) < timedelta(seconds=3), told
    assert any("next capture bench" in line for line in told)
    assert any("filed frames/bench/" in line for line in told)
    assert (season.folder / "site" / "index.html").is_file()
    assert "stopped" in rest
    assert process.returncode == 0, told
