"""lapsekit frames lists what was left out and why, and draws a sheet on which nobody is known."""

import errno
import io
import json
import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lapsekit.cli import pictures
from lapsekit.errors import Unwritable
from lapsekit.lettering import PAPER
from lapsekit.listing import FrameRow, FramesReport, list_frames
from lapsekit.measuring import measure
from lapsekit.season import Season
from lapsekit.sheet import _HEIGHT, _MARGIN, _WIDTH, draw_sheet, unrecognisable
from tests.scenes import bench_picture, encoded, fill, make_season
from tests.test_cli import refused, succeeded

DARK = datetime(2031, 4, 2, 11, tzinfo=UTC)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A measured season with a dark frame and one the grower said no to."""
    season = make_season(tmp_path_factory.mktemp("season") / "bench")
    fill(season, days=3)
    black = encoded((bench_picture([]) * 0.05).astype(np.uint8))
    season.archive.store("bench", DARK, black, ".png")
    season.index()
    first = season.catalogue.frames()[0].path
    (season.folder / "verdicts.csv").write_text(f"frame,verdict,note\n{first},no,my hat\n")
    measure(season)
    season.catalogue.close()
    return season.folder


def test_every_frame_is_listed_with_its_reason(bench):
    lines = succeeded("frames", "--season", bench).splitlines()
    assert len(lines) == 11
    assert sum("  dark: mean brightness 0.0" in line for line in lines) == 1
    assert sum(line.endswith("  used") for line in lines) == 8
    assert lines[-1] == "2 of 10 frames left out"


def test_frames_of_a_folder_that_is_read_only_are_listed_and_nothing_in_it_changes(
    bench, monkeypatch
):
    """Root may write everywhere, so the system's answer is put in its mouth here."""
    before = {path: path.read_bytes() for path in bench.iterdir() if path.is_file()}
    monkeypatch.setattr("os.access", lambda path, mode: path != bench)
    season = Season(bench)
    with season.catalogue_to_read():
        catalogue = season.catalogue
        days = {row.day for row in list_frames(season).rows}
        assert len(days) == 3 and catalogue.daily("basil")
        catalogue.forget_days(days)
        assert not catalogue.daily("basil")
    assert succeeded("frames", "--season", bench).splitlines()[-1] == "2 of 10 frames left out"
    assert {path: path.read_bytes() for path in bench.iterdir() if path.is_file()} == before


@pytest.mark.parametrize("told", [errno.EACCES, errno.EROFS])
def test_what_must_write_into_a_read_only_folder_says_so(bench, monkeypatch, told):
    def refused_by_the_system(path, *_, **__):
        raise OSError(told, os.strerror(told), str(path))

    season = Season(bench)
    monkeypatch.setattr(Path, "open", refused_by_the_system)
    with pytest.raises(Unwritable, match="cannot be written to") as caught, season.lock("measure"):
        pass
    assert f"{bench}: " in str(caught.value) and ".lock" not in str(caught.value)
    assert "as measure must" in str(caught.value)


def test_a_lock_that_opens_in_a_read_only_folder_holds_nothing(bench, monkeypatch):
    """As where its owner took the right to write from the folder alone."""
    season = Season(bench)
    with season.lock("measure"):
        pass
    monkeypatch.setattr("os.access", lambda path, mode: path != bench)
    told = f"^{bench}: cannot be written to .*, as measure must: no permission"
    with pytest.raises(Unwritable, match=told), season.lock("measure"):
        pass


def test_frames_that_nobody_judged_yet_are_not_called_left_out(tmp_path):
    season = make_season(tmp_path / "bench")
    fill(season, days=1)
    season.index()
    season.catalogue.close()
    told = succeeded("frames", "--season", season.folder)
    assert told.splitlines()[-1] == "3 of 3 frames not judged yet; run lapsekit measure"
    assert json.loads(succeeded("frames", "--season", season.folder, "--json"))["left_out"] == 0


def test_a_frame_of_another_size_is_not_simply_called_used(tmp_path):
    """It counts only on days without frames of the view's size."""
    season = make_season(tmp_path / "bench")
    fill(season, days=2)
    small = np.ascontiguousarray(bench_picture([])[::2, ::2])
    season.archive.store("bench", DARK, encoded(small), ".png")
    measure(season)
    rows = list_frames(season).rows
    season.catalogue.close()
    (other,) = [row for row in rows if row.taken_at == DARK]
    height, width = small.shape[:2]
    assert other.usable and f"it has {width} x {height} px" in other.told
    assert {row.told for row in rows if row is not other} == {""}
    assert f"{other.path}  {other.told}" in succeeded("frames", "--season", season.folder)


def test_only_what_was_left_out_by_day_and_as_json(bench):
    told = succeeded("frames", "--season", bench, "--left-out", "--from", "2031-04-02")
    assert told.splitlines()[0].startswith("2031-04-02 13:00  frames/bench/2031-04-02/")
    assert told.splitlines()[-1] == "1 of 7 frames left out"
    until = succeeded("frames", "--season", bench, "--left-out", "--until", "2031-04-01", "--json")
    (row,) = json.loads(until)["rows"]
    assert (row["reason"], row["usable"], row["told"]) == (
        "said no",
        False,
        "said no: left out by hand: my hat",
    )


def test_an_unknown_camera_and_a_day_that_is_none_are_refused(bench):
    assert 'no camera "roof"' in refused("frames", "--season", bench, "--camera", "roof", code=78)
    refused("frames", "--season", bench, "--from", "yesterday", code=2)


def test_the_sheet_is_a_picture_on_paper_with_a_tile_for_each(bench, tmp_path):
    sheet = tmp_path / "sheet.png"
    told = succeeded("frames", "--season", bench, "--sheet", sheet)
    assert f"contact sheet written to {sheet}" in told
    pixels = np.asarray(Image.open(sheet))
    assert tuple(pixels[0, 0]) == PAPER
    top = 140
    first = pixels[top : top + _HEIGHT, _MARGIN : _MARGIN + _WIDTH]
    second = pixels[top : top + _HEIGHT, _MARGIN + _WIDTH + 28 : _MARGIN + 2 * _WIDTH + 28]
    assert 40 < first.mean() < 200  # the one that was said no to, its plants smeared
    assert second.mean() < 12  # the dark one
    assert abs(np.diff(first.astype(int), axis=1)).max() < 12


def test_a_sheet_never_writes_over_a_frame(bench):
    frame = next((bench / "frames").rglob("*.png"))
    before = frame.read_bytes()
    assert "never written over" in refused("frames", "--season", bench, "--sheet", frame, code=78)
    assert frame.read_bytes() == before
    refused("frames", "--season", bench, "--sheet", bench / "sheet.jpg", code=78)


def test_a_face_is_not_recognisable():
    """Two unlike faces, 40 px wide at tile size, come out alike within a few levels."""
    rng = np.random.default_rng(1)
    tiles = []
    for _ in range(2):
        tile = np.full((225, 300, 3), 120, np.uint8)
        face = np.full((50, 40, 3), (205, 160, 130), float)
        face[15:20, 8:15] = face[15:20, 25:32] = rng.uniform(20, 90)
        face[33:37, 12:28] = rng.uniform(60, 140)
        tile[80:130, 140:180] = face + rng.normal(0, 5, face.shape)
        tiles.append(np.asarray(unrecognisable(Image.fromarray(tile)), int))
    assert abs(tiles[0] - tiles[1]).max() < 25
    assert tiles[0].shape == (225, 300, 3)


def row(number, reason="blurred"):
    at = datetime(2031, 4, 1, 9, number % 60, tzinfo=UTC)
    return FrameRow(f"{number}.png", "bench", at, at.date(), not reason, reason, reason, True)


def test_a_long_list_is_cut_to_the_latest_two_hundred():
    data = encoded(bench_picture([], size=(16, 12)))
    report = FramesReport("Bench", [row(n) for n in range(230)], 400)
    read = []
    draw_sheet(report, lambda path: read.append(path) or data)
    assert (len(read), read[0], read[-1]) == (200, "30.png", "229.png")


def test_a_file_that_cannot_be_read_leaves_an_empty_tile():
    report = FramesReport("Bench", [row(1, "unreadable")], 1)
    sheet = np.asarray(Image.open(io.BytesIO(draw_sheet(report, lambda path: b"none"))))
    assert tuple(sheet[140 + _HEIGHT // 2, _MARGIN + _WIDTH // 2]) == PAPER


def test_a_frame_that_may_repeat_a_visitor_is_hidden_too():
    for reason in ("obstructed", "frozen", "said no", "glare"):
        assert row(1, reason).may_show_somebody
    assert not row(1, "dark").may_show_somebody


def test_frames_used_without_company_are_told(season):
    fill(season, days=1, a_day=2)
    measure(season)
    report = list_frames(season)
    assert [r.watched for r in report.rows] == [False, False]
    assert report.looked_at == 2


@pytest.fixture
def ruled(tmp_path):
    """A measured season of two days, and the paths of its frames."""
    season = make_season(tmp_path / "bench")
    fill(season, days=2)
    measure(season)
    paths = sorted(f.path for f in season.catalogue.frames())
    season.catalogue.close()
    return season.folder, paths


def listed(folder):
    return {r["path"]: r for r in json.loads(succeeded("frames", "-s", folder, "--json"))["rows"]}


def test_a_no_and_a_yes_are_written_down_and_followed_at_once(ruled):
    folder, paths = ruled
    told = succeeded("frames", "hold", paths[0], "--note", "my hat", "-s", folder)
    assert f"{paths[0]}: used nowhere from now on" in told
    assert listed(folder)[paths[0]]["told"] == "said no: left out by hand: my hat"
    name = paths[0].rsplit("/", 1)[1]
    succeeded("frames", "--season", folder, "use", name)
    assert listed(folder)[paths[0]]["usable"]
    lines = (folder / "verdicts.csv").read_text().splitlines()
    assert lines == ["frame,verdict,note", f"{paths[0]},yes,"]  # the note spoke of the no


def test_a_no_is_worked_into_the_days_values_without_measuring(ruled):
    folder, paths = ruled
    succeeded("frames", "hold", folder / paths[0], "-s", folder)
    rows = json.loads(succeeded("growth", "-s", folder, "--json"))["rows"]
    assert [r["frames_used"] for r in rows if r["region"] == "basil"] == [2, 3]


def test_working_out_the_days_anew_tells_how_far_it_is(ruled, monkeypatch):
    folder, paths = ruled
    told = []

    def track(items, total, label):
        for number, item in enumerate(items):
            told.append((label, number, total))
            yield item

    monkeypatch.setattr(pictures, "tracking", lambda quiet: track)
    pictures.frames_hold(None, [paths[0]], folder)
    assert ("working out days", 0, 2) in told


def test_a_frame_that_is_not_there_gets_no_verdict(ruled):
    folder, _ = ruled
    told = refused("frames", "hold", "no.jpg", "-s", folder, code=78)
    assert "frame no.jpg is not in this season; lapsekit frames lists them" in told
    assert not (folder / "verdicts.csv").exists()
