"""The files of the sample season name each other and say what they are."""

import itertools
import tomllib
from collections import Counter
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from lapsekit.errors import PictureError
from lapsekit.frames.inspection import inspect
from tests.sample.conftest import MASKS, SAMPLE, regions, rows_of, time_of

ZONE = ZoneInfo(tomllib.loads((SAMPLE / "season.toml").read_text("utf-8"))["season"]["time_zone"])


def test_every_frame_file_is_listed_and_every_listed_frame_is_there():
    listed = [row["path"] for row in rows_of("truth", "frames.csv")]
    there = {p.relative_to(SAMPLE).as_posix() for p in (SAMPLE / "frames").rglob("*.jpg")}
    assert len(listed) == len(set(listed))
    assert set(listed) == there


def test_the_season_is_as_long_and_as_dense_as_promised():
    usable = Counter()
    for row in rows_of("truth", "frames.csv"):
        usable[time_of(SAMPLE / row["path"]).astimezone(ZONE).date()] += row["state"] == "usable"
    assert len(usable) >= 72
    assert sum(usable.values()) >= 5 * len(usable)
    assert sum(count >= 9 for count in usable.values()) == 4, "days on which leaves are watched"
    noon = {f"{day}T12:00" for day in usable}
    assert noon == {
        f"{time_of(SAMPLE / r['path']).astimezone(ZONE):%Y-%m-%dT%H:%M}"
        for r in rows_of("truth", "frames.csv")
        if time_of(SAMPLE / r["path"]).astimezone(ZONE).hour == 12
        and time_of(SAMPLE / r["path"]).minute == 0
    }, "the daily picture is taken every day"


def test_every_mishap_happens_and_is_listed():
    states = Counter(r["state"] for r in rows_of("truth", "frames.csv") if r["state"] != "usable")
    assert states == {"dark": 2, "dew": 4, "obstructed": 4, "frozen": 3, "blown-out": 1}
    listed = {row["path"]: row["what"] for row in rows_of("mishaps", "list.csv")}
    assert Counter(listed.values()) == states + Counter(truncated=1)
    assert all((SAMPLE / path).is_file() for path in listed)


def test_the_truncated_file_lies_apart_and_is_no_whole_picture():
    (path,) = (SAMPLE / "mishaps").rglob("*.jpg")
    with pytest.raises(PictureError):
        inspect(path.read_bytes())


def test_frozen_frames_repeat_the_picture_before_them():
    frames = rows_of("truth", "frames.csv")
    for before, row in itertools.pairwise(frames):
        if row["state"] == "frozen":
            with (
                Image.open(SAMPLE / before["path"]) as one,
                Image.open(SAMPLE / row["path"]) as two,
            ):
                assert one.tobytes() == two.tobytes()


def test_every_frame_has_a_camera_row_and_an_area_for_every_region():
    frames = {row["taken_at"] for row in rows_of("truth", "frames.csv")}
    names = [region["name"] for region in regions()]
    assert len(names) == 30
    found = [(row["taken_at"], row["region"]) for row in rows_of("truth", "areas.csv")]
    assert len(found) == len(set(found))
    assert set(found) == set(itertools.product(frames, names))
    assert [row["taken_at"] for row in rows_of("truth", "camera.csv")] == sorted(frames)


def test_frames_are_filed_under_their_local_day_and_exif_agrees_and_names_no_place():
    for row in rows_of("truth", "frames.csv"):
        path = SAMPLE / row["path"]
        local = time_of(path).astimezone(ZONE)
        assert path.parent.name == f"{local:%Y-%m-%d}"
        with Image.open(path) as image:
            assert image.size == (960, 720)
            exif = image.getexif()
            tags = exif.get_ifd(0x8769)
            assert not exif.get_ifd(0x8825)
        assert tags[0x9003] == f"{local:%Y:%m:%d %H:%M:%S}"
        assert tags[0x9011] == local.isoformat()[-6:]


def test_masks_lie_over_all_days_and_hours():
    assert len(MASKS) >= 120
    local = [time_of(path).astimezone(ZONE) for path in MASKS]
    assert len({moment.date() for moment in local}) >= 70
    assert {moment.hour for moment in local} >= {8, 11, 12, 13, 16}


def test_the_folder_stays_small():
    assert sum(p.stat().st_size for p in SAMPLE.rglob("*") if p.is_file()) < 60e6


def test_the_text_files_are_what_the_generator_writes(render, tmp_path):
    render.season_files.write_texts(tmp_path)
    render.season_files.write_frames_table(tmp_path, render.story.frames())
    for written in tmp_path.rglob("*"):
        if written.is_file():
            name = written.relative_to(tmp_path)
            assert written.read_text("utf-8") == (SAMPLE / name).read_text("utf-8"), name
