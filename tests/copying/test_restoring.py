"""What was copied can be used: restored, drilled, and told where it is not whole."""

import json
import random
import shutil
import subprocess
import sys

import pytest

from lapsekit import telling_copies
from lapsekit.copied import read_copied
from lapsekit.copying import copy
from lapsekit.copying.drilling import DrillReport, drill
from lapsekit.copying.lists import gathered, packed
from lapsekit.copying.restoring import WORK, restore
from lapsekit.errors import CopyError
from lapsekit.season import Season
from tests.copying.keeping import (
    NOT_AT_ALL,
    NOW,
    RESTORE,
    belongings,
    cut_off,
    far,
    flip,
    season_with,
    table,
)
from tests.scenes import bench_picture, encoded

FRAME = "frames/bench/2031-04-02/20310402T130000Z.png"


def copied(season):
    report = copy(season, wait=NOT_AT_ALL)
    season.catalogue.close()
    return report


def restored(season, folder, **options):
    return restore(table(season), folder, wait=NOT_AT_ALL, **options)


def drilled(season, **options):
    report = drill(Season(season.folder), wait=NOT_AT_ALL, **options)
    return report


def lapsekit(*arguments, code=0):
    command = [sys.executable, "-m", "lapsekit", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == code, (done.returncode, done.stdout, done.stderr)
    assert "Traceback" not in done.stderr
    return done


def tables_of(folder):
    """Growth tables as a grower makes them, byte for byte."""
    lapsekit("measure", "--season", folder, "--workers", 1)
    lapsekit("growth", "--season", folder)
    tables = {f.name: f.read_bytes() for f in (folder / "growth").glob("*.csv")}
    assert len(tables["daily.csv"].splitlines()) > 10
    return tables


def test_a_season_restored_on_another_machine_gives_the_same_tables_byte_for_byte(tmp_path):
    with far("sealed", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=6)
        season.catalogue.close()
        before = tables_of(season.folder)
        done = lapsekit("copy", "--season", season.folder)
        assert done.stdout.count("\n") == 1
        assert done.stdout.startswith("copied 19 frames and 9 texts (")
        where = ["--by", "rclone", "--target", place.folder]
        where += ["--encrypt-with", tmp_path / "copies-password"]
        season.folder.rename(tmp_path / "lost")
        done = lapsekit("restore", tmp_path / "new", *where)
        assert "restored 19 frames and 9 texts (" in done.stdout
        assert f"next: lapsekit measure --season {tmp_path / 'new'}" in done.stdout
        assert tables_of(tmp_path / "new") == before


@pytest.mark.parametrize("kind", ["folder", "rsync", "sealed"])
def test_a_restoration_that_is_killed_goes_on(kind, tmp_path):
    chance, killed = random.Random(4), 0
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=5)
        copied(season)
        settings = (season.folder / "season.toml").read_text()
        longest = 0.9 if kind == "folder" else 3
        new = tmp_path / "new"
        while not new.exists() or (new / WORK).exists():  # it may be killed while it ends, too
            killed += cut_off(RESTORE, [new, settings], chance.uniform(0.4, longest))
            longest *= 1.1
        assert killed
        assert belongings(tmp_path / "new") == belongings(season.folder)
        assert not (tmp_path / "new" / WORK).exists()


def test_a_folder_that_holds_something_else_is_left_alone(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        (tmp_path / "mine").mkdir()
        (tmp_path / "mine" / "x").write_text("mine")
        for folder in (tmp_path / "mine", season.folder):
            before = sorted(folder.rglob("*"))
            with pytest.raises(CopyError, match="is not empty; name a new folder"):
                restored(season, folder)
            assert sorted(folder.rglob("*")) == before


def test_where_no_copies_are_nothing_is_made(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        with pytest.raises(CopyError, match="there are no copies; check the target"):
            restored(season, tmp_path / "new")
        assert not (tmp_path / "new").exists()


def test_what_is_damaged_there_is_left_out_and_named(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        flip(place.folder / FRAME)
        other = FRAME.replace("0402", "0403").replace("-02", "-03")
        (place.folder / other).unlink()
        report = restored(season, tmp_path / "new")
        assert (report.damaged, report.missing, report.is_whole) == ([FRAME], [other], False)
        assert not (tmp_path / "new" / FRAME).exists() and report.indexed.added == 7
        assert FRAME not in read_copied(tmp_path / "new")
        shutil.copy(season.folder / FRAME, place.folder / FRAME)
        shutil.copy(season.folder / other, place.folder / other)
        report = restored(season, tmp_path / "new")
        assert report.is_whole and report.frames == 2
        assert belongings(tmp_path / "new") == belongings(season.folder)


def test_a_damaged_list_takes_no_frame_with_it(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        flip(next((place.folder / "lists").glob("frames-*")))
        report = restored(season, tmp_path / "new")
        assert len(report.damaged_lists) == 1 and not report.is_whole
        assert len(report.unlisted) == 10 and report.indexed.added == 9
        flip(next((place.folder / "lists").glob("texts-*")))
        assert not drilled(season, everything=True).is_whole
        assert len(copy(Season(season.folder), verify=True).repaired) == 2
        report = drilled(season, everything=True)
        assert report.is_whole and (report.frames, report.texts) == (10, 9)


def test_a_follower_who_was_declined_since_does_not_come_back(tmp_path):
    """A consent that was taken back holds after a restoration too."""
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        (season.folder / "followers" / "declined").mkdir()
        shown = season.folder / "followers" / "shown" / "a.jpg"
        shown.rename(season.folder / "followers" / "declined" / "a.jpg")
        copied(Season(season.folder))
        restored(season, tmp_path / "new")
        followers = tmp_path / "new" / "followers"
        assert not (followers / "shown" / "a.jpg").exists()
        assert (followers / "declined" / "a.jpg").exists()


def test_lists_that_lead_out_of_the_folder_or_hide_files_are_not_believed():
    from lapsekit.copying.lists import Known, frames_list

    for path in ("../../etc/cron", "/etc/cron", "frames/../../x", ".lock", "frames/.x/y"):
        content = packed({path: Known("a" * 64, 1)})
        found = gathered({frames_list(content): content})
        assert (found.frames, len(found.damaged)) == ({}, 1)


@pytest.mark.parametrize("kind", ["folder", "rsync", "sealed"])
def test_a_drill_says_that_copies_can_be_used_and_when_they_cannot(kind, tmp_path):
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        report = drilled(season, everything=True)
        assert (report.frames, report.copied, report.texts) == (10, 10, 9)
        assert report.is_whole and not report.waiting
        frames = [f for f in place.folder.rglob("*") if f.is_file() and f.stat().st_size > 50_000]
        flip(frames[0])
        frames[1].unlink()
        report = drilled(season, everything=True)
        assert (report.frames, report.is_whole) == (8, False)
        assert len(report.missing) + len(report.damaged) == 2


def test_a_drill_with_a_part_of_the_frames_still_misses_any_that_is_gone(tmp_path, monkeypatch):
    monkeypatch.setattr("lapsekit.copying.drilling.NEWEST", 2)
    monkeypatch.setattr("lapsekit.copying.drilling.AT_RANDOM", 3)
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=5)
        copied(season)
        report = drilled(season, chance=random.Random(1))
        assert (report.frames, report.copied, report.is_whole) == (5, 16, True)
        (place.folder / FRAME).unlink()
        for seed in range(3):
            assert drilled(season, chance=random.Random(seed)).missing == [FRAME]


def test_a_drill_tells_what_changed_or_came_since_and_calls_it_no_fault(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        (season.folder / "diary.csv").write_text("date,region,event,note\n")
        season.archive.store("bench", NOW, encoded(bench_picture([], seed=7)), ".png")
        report = drilled(season)
        assert (report.changed_since, report.waiting) == (["diary.csv"], 1)
        assert report.is_whole


@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (214, "214 frames and 6 texts came back, whole: "),
        (50, "50 of the 214 frames copied and 6 texts came back, whole: "),
    ],
)
def test_a_drill_says_how_many_of_the_frames_came_back(frames, said):
    told = telling_copies.drilled(DrillReport("there", frames=frames, texts=6, copied=214))
    assert told == [f"{said}the copies at there can be used"]


def test_the_commands_tell_in_a_sentence_and_end_with_65_where_not_all_is_whole(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        season.catalogue.close()
        where = ["--season", season.folder]
        assert "nothing was copied yet" in lapsekit("copy", "--drill", *where, code=69).stderr
        lapsekit("copy", *where)
        assert (
            "10 frames and 9 texts came back, whole" in lapsekit("copy", "--drill", *where).stdout
        )
        flip(place.folder / FRAME)
        said = lapsekit("copy", "--drill", "--all", *where, code=65).stdout
        assert f"{FRAME}: came back with another content" in said
        assert lapsekit("copy", "--verify", *where).stdout.count(FRAME) == 2
        facts = json.loads(lapsekit("copy", "--drill", "--json", *where).stdout)
        assert facts["whole"] is True and facts["frames"] == 10
        said = lapsekit("restore", tmp_path / "new", "--from", season.folder).stdout
        assert said.startswith("restored 10 frames and 9 texts")
        for options, told in (
            ([], "say where the copies are"),
            (["--by", "rsync", "--target", "nowhere"], "must be HOST:FOLDER"),
            (["--by", "folder", "--target", "/x", "--encrypt-with", "y"], "encrypt_with needs"),
            (["--from", season.folder, "--by", "folder"], "--from says it all"),
        ):
            assert told in lapsekit("restore", tmp_path / "n", *options, code=78).stderr


def test_a_season_comes_back_from_webdav_by_options_alone(tmp_path):
    with far("webdav", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        model = table(season)
        where = ["--by", "webdav", "--target", model.target, "--user", model.user]
        done = lapsekit("restore", tmp_path / "n", *where, code=78)
        assert "user and password_file belong together" in done.stderr
        where += ["--password-file", model.password_file]
        assert "restored 4 frames" in lapsekit("restore", tmp_path / "new", *where).stdout
        assert belongings(tmp_path / "new") == belongings(season.folder)


def test_without_room_nothing_is_begun(tmp_path, small_disk):
    disk = small_disk("300k")
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        with pytest.raises(CopyError, match=r"MB have to come, .* make room"):
            restored(season, disk / "new")
        assert not (disk / "new" / "frames").exists()
