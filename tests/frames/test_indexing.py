"""The catalogue follows the frame files, whatever happened to it."""

import shutil
from datetime import UTC, datetime

import pytest

from lapsekit.checking import check
from lapsekit.errors import ArchiveError
from tests.scenes import bench_picture, encoded, fill


def test_a_deleted_catalogue_is_made_again_from_the_files(filled):
    filled.index()
    before = filled.catalogue.frames()
    assert len(before) == 15
    filled.index(rebuild=True)
    assert filled.catalogue.frames() == before


def test_a_file_that_is_gone_is_forgotten(filled):
    filled.index()
    gone = filled.catalogue.frames()[3].path
    (filled.folder / gone).unlink()
    report = filled.index()
    assert (report.added, report.forgotten) == (0, 1)
    assert gone not in {f.path for f in filled.catalogue.frames()}


def test_indexing_twice_adds_nothing(filled):
    assert filled.index().added == 15
    assert filled.index().added == 0


def test_a_damaged_frame_is_named_and_left_where_it_is(filled):
    bad = filled.folder / "frames/bench/2031-04-01/20310401T100000Z.jpg"
    bad.write_bytes(encoded(bench_picture([]), "JPEG")[:2000])
    report = filled.index()
    assert [path for path, _ in report.unreadable] == [str(bad.relative_to(filled.folder))]
    assert bad.exists()
    assert report.added == 15


def test_files_that_are_no_frames_are_let_be(filled):
    (filled.folder / "frames/bench/2031-04-01/notes.txt").write_text("hello")
    (filled.folder / "frames/readme.txt").write_text("hello")
    assert filled.index().added == 15


@pytest.mark.parametrize(("left", "filed"), [(0, 0), (2, 0), (0, 6), (1, 6)])
def test_frames_whose_disk_is_gone_are_not_forgotten(season, left, filed):
    """None of eight days is there, or but two: a camera goes on filing where the disk was."""
    fill(season, days=8)
    season.index()
    before = season.catalogue.frames()
    away = season.folder / "away"
    (season.folder / "frames").rename(away)
    for day in sorted((away / "bench").iterdir())[:left]:
        shutil.copytree(day, season.folder / "frames" / "bench" / day.name)
    if filed:  # the camera goes on where the disk was
        for number in range(filed):
            moment = datetime(2031, 5, 1 + number, 10, tzinfo=UTC)
            season.archive.store("bench", moment, encoded(bench_picture([])), ".png")
    with pytest.raises(ArchiveError, match="not mounted"):
        season.index()
    assert season.catalogue.frames() == before
    assert [f.how for f in check(season) if f.what == "frames folder"] == ["wrong"]
    shutil.rmtree(season.folder / "frames", ignore_errors=True)
    away.rename(season.folder / "frames")
    assert season.index().added == 0
    assert not any(f.what == "frames folder" for f in check(season))


def test_days_that_were_deleted_on_purpose_are_forgotten(season):
    """Three of eight, and by rebuilding all."""
    fill(season, days=8)
    season.index()
    days = sorted((season.folder / "frames" / "bench").iterdir())
    for day in days[:3]:
        shutil.rmtree(day)
    assert season.index().forgotten == 9
    shutil.rmtree(season.folder / "frames")
    season.index(rebuild=True)
    assert season.catalogue.frames() == []
