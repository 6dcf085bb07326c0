"""What is filed has its privacy areas black and its time in; played frames stay as they are."""

import io
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.cameras import Shot
from lapsekit.errors import CameraError
from lapsekit.frames import finishing
from lapsekit.frames.inspection import inspect
from lapsekit.season import Season
from lapsekit.unattended.capturing import Captured, capture
from tests.scenes import SETTINGS, bench_picture, encoded

NOW = datetime(2031, 7, 2, 12, tzinfo=UTC)
PICTURE = encoded(bench_picture([(80, 120, 30)]), "JPEG")
PRIVACY = "privacy = [[[0, 0], [100, 0], [100, 80], [0, 80]]]\nprivacy_size_px = [320, 240]\n"


class Fake:
    def __init__(self, data=PICTURE, late=timedelta()):
        self.data, self.late = data, late

    def take(self, now):
        return Shot(self.data, now + self.late)


def season_with(folder, kind, more=""):
    folder.mkdir()
    table = {"command": 'kind = "command"\ncommand = ["true"]\n', "replay": 'kind = "replay"\n'}[
        kind
    ]
    table += 'folder = "x"\n' if kind == "replay" else ""
    (folder / "season.toml").write_text(SETTINGS.replace('kind = "files"\n', table + more))
    return Season(folder, lambda: NOW)


def pixels(data):
    return np.array(Image.open(io.BytesIO(data)))


def test_a_captured_frame_carries_its_time_and_the_catalogue_knows_its_very_bytes(tmp_path):
    season = season_with(tmp_path / "bench", "command")
    took = capture(season, "bench", Fake())
    frame, is_new = took.frame, took.is_new
    filed = season.archive.read(frame.path)
    assert inspect(filed).taken == NOW
    assert np.array_equal(pixels(filed), pixels(PICTURE))
    assert (is_new, frame.size) == (True, len(filed))
    assert capture(season, "bench", Fake()) == Captured(frame, False, ())
    season.index(rebuild=True)
    (found,) = season.catalogue.frames()
    assert (found.sha256, found.width, found.height) == (frame.sha256, 320, 240)
    season.catalogue.close()


def test_a_played_frame_stays_byte_for_byte_unless_areas_are_to_be_black(tmp_path):
    plain, covered = (
        season_with(tmp_path / name, "replay", more) for name, more in (("a", ""), ("b", PRIVACY))
    )
    frame = capture(plain, "bench", Fake()).frame
    assert plain.archive.read(frame.path) == PICTURE
    frame = capture(covered, "bench", Fake()).frame
    assert pixels(covered.archive.read(frame.path))[:80, :100].mean() < 3
    for season in (plain, covered):
        season.catalogue.close()


def watched_writes(monkeypatch):
    """Everything that is written through a file while a capture runs."""
    written, real = [], os.fsync

    def fsync(handle):
        try:
            written.append(os.pread(handle, 10_000_000, 0))
        except OSError:  # a folder, or open for writing alone
            path = Path(f"/proc/self/fd/{handle}").readlink()
            if path.is_file():
                written.append(path.read_bytes())
        return real(handle)

    monkeypatch.setattr(os, "fsync", fsync)
    return written


@pytest.mark.parametrize("late", [timedelta(), timedelta(days=400)])
def test_no_picture_is_written_before_its_areas_are_black_not_even_one_set_aside(
    tmp_path, monkeypatch, late
):
    season = season_with(tmp_path / "bench", "command", PRIVACY)
    written = watched_writes(monkeypatch)
    try:
        capture(season, "bench", Fake(late=late))
    except CameraError as error:
        assert "kept aside" in str(error)
    pictures = [data for data in written if data.startswith(b"\xff\xd8")]
    pictures += [file.read_bytes() for file in season.folder.rglob("*.jpg")]
    assert len(pictures) == 2
    for data in pictures:
        assert pixels(data)[:80, :100].mean() < 3
    season.catalogue.close()


def test_a_camera_that_falls_back_to_another_size_has_nothing_filed(tmp_path, monkeypatch):
    season = season_with(tmp_path / "bench", "command", PRIVACY)
    written = watched_writes(monkeypatch)
    smaller = Image.open(io.BytesIO(PICTURE)).resize((160, 120))  # of the same shape, too
    out = io.BytesIO()
    smaller.save(out, "JPEG")
    with pytest.raises(
        CameraError,
        match=r"160 × 120 px, privacy areas are drawn for 320 × 240; set the camera's size, or",
    ):
        capture(season, "bench", Fake(out.getvalue()))
    assert [data for data in written if data.startswith(b"\xff\xd8")] == []
    assert [p for p in season.folder.rglob("*") if p.suffix == ".jpg"] == []
    assert season.catalogue.frames() == []
    season.catalogue.close()


def test_where_blacking_out_fails_nothing_is_filed(tmp_path, monkeypatch):
    season = season_with(tmp_path / "bench", "command", PRIVACY)
    monkeypatch.setattr(finishing.sys, "executable", "/bin/false")
    with pytest.raises(CameraError, match="could not be blacked out"):
        capture(season, "bench", Fake())
    assert [p for p in season.folder.rglob("*") if p.suffix == ".jpg"] == []
    assert season.catalogue.frames() == []
    season.catalogue.close()
