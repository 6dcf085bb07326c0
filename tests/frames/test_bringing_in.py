"""Photographs come in under their true time, once each; what cannot be used stays and is named."""

import os
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from PIL import ExifTags

from lapsekit.errors import ArchiveError
from lapsekit.frames.bringing_in import ImportReport, Stretch, TimeSource, bring_in
from lapsekit.telling import imported
from tests.frames.test_inspection import exif
from tests.scenes import bench_picture, encoded

NOW = datetime(2031, 5, 1, tzinfo=UTC)
CET = ZoneInfo("CET")
NAMED = TimeSource(CET, "%Y-%m-%d_%H%M%S")


def picture(seed, **options):
    return encoded(bench_picture([], size=(40, 30), seed=seed), "JPEG", **options)


@pytest.fixture
def photos(tmp_path):
    folder = tmp_path / "photos"
    folder.mkdir()
    return folder


@pytest.fixture
def bring(season, photos):
    def run(times=NAMED, now=NOW, source=photos, **options):
        return bring_in(
            source,
            "bench",
            times,
            season.archive,
            season.catalogue,
            lambda: now,
            season.day_of,
            **options,
        )

    return run


def stored_times(season):
    return [f.taken_at for f in season.catalogue.frames()]


def test_times_come_from_exif_with_its_own_offset(season, photos, bring):
    taken = exif(taken="2031:04:01 10:00:00", offset="-03:00")
    (photos / "a.jpg").write_bytes(picture(1, exif=taken))
    bring(TimeSource(CET))
    assert stored_times(season) == [datetime(2031, 4, 1, 13, tzinfo=UTC)]


def test_times_without_an_offset_are_read_in_the_zone_that_is_named(season, photos, bring):
    (photos / "a.jpg").write_bytes(picture(1, exif=exif(taken="2031:04:01 10:00:00")))
    bring(TimeSource(CET))
    assert stored_times(season) == [datetime(2031, 4, 1, 8, tzinfo=UTC)]


def test_times_come_from_names_by_a_pattern_and_others_are_passed_over(season, photos, bring):
    (photos / "2031-04-01_120000.jpg").write_bytes(picture(1))
    (photos / "holiday.jpg").write_bytes(picture(2))
    report = bring()
    assert stored_times(season) == [datetime(2031, 4, 1, 10, tzinfo=UTC)]
    assert report.passed_over == [("holiday.jpg", "the name does not fit the pattern")]


def test_a_name_that_lacks_a_digit_is_no_other_time(season, photos, bring):
    """11:01 is not 11:00:01, and the fifth not of another month; parted numbers may be short."""
    for number, name in enumerate(("20310405_1101", "2031045_110500", "20310405_110203")):
        (photos / f"{name}.jpg").write_bytes(picture(number))
    report = bring(TimeSource(CET, "%Y%m%d_%H%M%S"))
    assert stored_times(season) == [datetime(2031, 4, 5, 9, 2, 3, tzinfo=UTC)]
    assert [name for name, _ in report.passed_over] == ["20310405_1101.jpg", "2031045_110500.jpg"]
    for number, (name, pattern) in enumerate(
        {
            "2031-4-6 9.05": "%Y-%m-%d %H.%M",
            "20310406-9.15": "%Y%m%d-%H.%M",
            "20310406_092503123": "%Y%m%d_%H%M%S%f",
            "IMG_20310406_093503_5": "IMG_%Y%m%d_%H%M%S_%f",
            "20310406T074500Z": "%Y%m%dT%H%M%S%z",
        }.items(),
        start=7,
    ):
        (photos / f"{name}.jpg").write_bytes(picture(number))
        bring(TimeSource(CET, pattern))
    times = [t.replace(second=0, microsecond=0) for t in stored_times(season)[1:]]
    assert times == [datetime(2031, 4, 6, 7, m, tzinfo=UTC) for m in (5, 15, 25, 35, 45)]


def test_a_pattern_that_ends_in_a_suffix_is_for_such_files_alone(season, photos, bring):
    for number, name in enumerate(("IMG_0900.jpg", "IMG_1000.JPG", "IMG_1100.jpeg", "1200.jpg")):
        (photos / f"20310405_{name}").write_bytes(picture(number))
    report = bring(TimeSource(CET, "%Y%m%d_IMG_%H%M.jpg"))
    assert [taken.hour for taken in stored_times(season)] == [7, 8]
    assert [name for name, _ in report.passed_over] == [
        "20310405_1200.jpg",
        "20310405_IMG_1100.jpeg",
    ]
    bring(TimeSource(CET, "%Y%m%d_IMG_%H%M"))
    assert [taken.hour for taken in stored_times(season)] == [7, 8, 9]


def test_pictures_of_formats_that_are_not_taken_are_named_with_what_to_do(season, photos, bring):
    for name in ("IMG_1.HEIC", "scan.tif", "raw.cr3", "notes.txt", "._IMG_1.heic"):
        (photos / name).write_bytes(b"something")
    report = bring(TimeSource(CET))
    assert [name for name, _ in report.passed_over] == ["IMG_1.HEIC", "raw.cr3", "scan.tif"]
    assert report.passed_over[0][1].startswith("HEIC is not taken; save it as JPEG")


def test_the_file_time_is_taken_only_when_asked(season, photos, bring):
    file = photos / "a.jpg"
    file.write_bytes(picture(1))
    os.utime(file, (1_932_000_000, 1_932_000_000))
    refused = bring(TimeSource(CET))
    assert "no time in its EXIF" in refused.refused[0][1]
    bring(TimeSource(CET, file_time=True))
    assert stored_times(season) == [datetime.fromtimestamp(1_932_000_000, UTC)]


def test_the_time_of_writing_that_editors_set_is_no_time_of_exposure_and_is_told(photos, bring):
    written = exif()
    written[ExifTags.Base.DateTime] = "2031:04:01 10:00:00"
    (photos / "a.jpg").write_bytes(picture(1, exif=written))
    (photos / "b.jpg").write_bytes(picture(2, exif=exif(taken="2031:04:01 10:00:00")))
    report = bring(TimeSource(CET))
    assert [name for name, _ in report.stored] == ["b.jpg"]
    [(name, why)] = report.refused
    assert name == "a.jpg" and "when the file was last written (DateTime" in why
    assert why.endswith("; give --pattern for the file names, or --file-time")


def test_a_single_photograph_comes_in_by_itself(season, photos, bring):
    for number, name in enumerate(("2031-04-05_090000.jpg", "2031-04-05_100000.jpg", "a.heic")):
        (photos / name).write_bytes(picture(number))
    report = bring(source=photos / "2031-04-05_100000.jpg")
    assert [name for name, _ in report.stored] == ["2031-04-05_100000.jpg"]
    assert stored_times(season) == [datetime(2031, 4, 5, 8, tzinfo=UTC)]
    assert [name for name, _ in bring(source=photos / "a.heic").passed_over] == ["a.heic"]


@pytest.mark.parametrize("dry_run", [False, True])
def test_long_lists_of_an_import_end_with_how_many_more(dry_run):
    refused = [(f"{n}.jpg", "the file is empty (0 bytes)") for n in range(40)]
    lines = imported(ImportReport(refused=refused), CET, dry_run)
    assert lines[-3:] == [
        "  9.jpg: the file is empty (0 bytes)",
        "  and 30 more",
        "--json lists them all",
    ]
    assert len(lines) == 14
    other = [*refused, ("z.jpg", "not a JPEG, PNG or WebP picture")]
    told = imported(ImportReport(refused=other), CET, dry_run)
    assert "  z.jpg: not a JPEG, PNG or WebP picture" in told
    few = imported(ImportReport(refused=refused[:10]), CET, dry_run)
    assert few[-1] == "  9.jpg: the file is empty (0 bytes)" and len(few) == 12


@pytest.mark.parametrize("year", ["0001", "0200", "1970"])
def test_a_time_of_a_clock_that_was_never_set_is_refused(season, photos, bring, year):
    taken = exif(taken=f"{year}:01:01 00:00:00")
    (photos / "a.jpg").write_bytes(picture(1, exif=taken))
    assert "cannot be true" in bring(TimeSource(CET)).refused[0][1]
    assert list(season.archive.files()) == []


def test_linked_folders_are_read_once_and_loops_end(season, photos, bring):
    (photos / "real").mkdir()
    (photos / "real" / "2031-04-01_120000.jpg").write_bytes(picture(1))
    (photos / "real" / "loop").symlink_to(photos)
    (photos / "zlink").symlink_to(photos / "real")
    bring()
    assert len(stored_times(season)) == 1


def test_the_same_content_comes_in_once(season, photos, bring):
    (photos / "2031-04-01_120000.jpg").write_bytes(picture(1))
    (photos / "2031-04-01_130000.jpg").write_bytes(picture(1))
    assert len(bring().duplicates) == 1
    assert len(bring().duplicates) == 2
    assert len(stored_times(season)) == 1


def test_two_different_frames_of_one_second_are_both_kept(season, photos, bring):
    for number in (1, 2):
        (photos / f"camera{number}").mkdir()
        (photos / f"camera{number}" / "2031-04-01_120000.jpg").write_bytes(picture(number))
    bring()
    names = [f.path.rsplit("/", 1)[1] for f in season.catalogue.frames()]
    assert names == ["20310401T100000Z-2.jpg", "20310401T100000Z.jpg"]


def test_a_frame_dated_after_the_clock_is_kept_aside(season, photos, bring):
    (photos / "2031-05-02_120000.jpg").write_bytes(picture(1))
    report = bring()
    assert report.stored == []
    ((name, kept),) = report.aside
    assert (season.folder / kept).read_bytes() == (photos / name).read_bytes()
    assert stored_times(season) == []
    assert season.index().added == 0
    later = bring(now=datetime(2031, 5, 3, tzinfo=UTC))
    assert len(later.stored) == 1


def test_a_dry_run_writes_nothing(season, photos, bring):
    (photos / "2031-04-01_120000.jpg").write_bytes(picture(1))
    assert season.catalogue.frames() == []
    before = sorted(season.folder.rglob("*"))
    report = bring(dry_run=True)
    assert report.stored == [("2031-04-01_120000.jpg", "2031-04-01 12:00:00+02:00")]
    assert sorted(season.folder.rglob("*")) == before


def test_bad_files_are_named_and_the_good_ones_come_in(season, photos, bring):
    good = picture(1)
    (photos / "2031-04-01_120000.jpg").write_bytes(good)
    bad = {
        "2031-04-01_120001.jpg": good[: len(good) // 2],
        "2031-04-01_120002.jpg": b"Dear diary\n" * 20,
        "2031-04-01_120003.jpg": b"",
    }
    for name, data in bad.items():
        (photos / name).write_bytes(data)
    report = bring()
    assert [name for name, _ in report.refused] == sorted(bad)
    assert len(report.stored) == 1
    assert {n: (photos / n).read_bytes() for n in bad} == bad


def test_the_source_is_never_changed(season, photos, bring):
    data = picture(1)
    (photos / "2031-04-01_120000.jpg").write_bytes(data)
    bring()
    assert [p.read_bytes() for p in photos.iterdir()] == [data]


@pytest.mark.parametrize("kind", ["missing", "a file", "a loop"])
def test_a_folder_that_cannot_be_read_is_told(season, tmp_path, kind):
    source = tmp_path / "odd"
    if kind == "a file":
        source.write_text("x")
    elif kind == "a loop":
        source.symlink_to(source)
    with pytest.raises(ArchiveError, match=r"odd: (cannot be read|no picture by its name; give)"):
        bring_in(
            source, "bench", NAMED, season.archive, season.catalogue, lambda: NOW, season.day_of
        )


def test_a_crash_between_file_and_row_is_mended_by_the_next_import(season, photos, bring):
    """The file is there, the row is not: the frame is noted, not stored a second time."""
    (photos / "2031-04-01_120000.jpg").write_bytes(picture(1))
    bring()
    season.catalogue.clear()
    bring()
    assert len(stored_times(season)) == 1
    assert len(list(season.archive.files())) == 1


def test_of_a_stretch_both_ends_are_filed_and_other_days_are_left_alone(season, photos, bring):
    """Days are the season's own: 23:30 UTC is the next day there."""
    for seed, name in enumerate(("02_120000", "03_003000", "04_120000", "05_120000")):
        (photos / f"2031-04-{name}.jpg").write_bytes(picture(seed))
    report = bring(stretch=Stretch(date(2031, 4, 3), date(2031, 4, 4)))
    assert stored_times(season) == [
        datetime(2031, 4, 2, 22, 30, tzinfo=UTC),
        datetime(2031, 4, 4, 10, tzinfo=UTC),
    ]
    assert report.of_other_days == ["2031-04-02_120000.jpg", "2031-04-05_120000.jpg"]
