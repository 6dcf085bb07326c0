"""Copies arrive on real servers, verified, and nothing that lies there is ever lost."""

import os
import random
import shutil
import subprocess
import sys
from datetime import timedelta

import pytest

from lapsekit import telling_copies
from lapsekit.copied import last_verified, read_copied
from lapsekit.copying import copy
from lapsekit.copying.belongings import is_frame
from lapsekit.copying.report import CopyReport
from lapsekit.copying.restoring import restore
from lapsekit.errors import CopyError, NotTrusted, SettingsError, TransferError
from lapsekit.locks import COPY_LOCK_FILE
from lapsekit.places import Folder, open_place
from lapsekit.season import Season
from lapsekit.trust import trust
from tests.copying.keeping import (
    COPY,
    KINDS,
    NOT_AT_ALL,
    NOW,
    PASSWORD,
    belongings,
    cut_off,
    digest,
    falsely_claimed,
    far,
    flip,
    season_with,
    table,
)
from tests.scenes import SETTINGS, bench_picture, encoded

SERVED = (
    "s3",
    "webdav",
    "sealed-s3",
)  # servers that do not notice what is deleted behind their back
FRAME = "frames/bench/2031-04-02/20310402T130000Z.png"


def copied(season, **options):
    report = copy(season, wait=NOT_AT_ALL, **options)
    season.catalogue.close()
    return report


def again(season, **changes):
    """The same season a day later, as another process would find it."""
    return Season(season.folder, lambda: season.clock() + timedelta(days=1))


@pytest.mark.parametrize("kind", KINDS)
def test_all_is_copied_once_verified_and_comes_back_elsewhere(kind, tmp_path):
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        report = copied(season)
        assert (report.frames, report.texts, report.is_sound) == (10, 9, True)
        assert read_copied(season.folder).keys() == belongings(season.folder).keys()
        later = again(season)
        report = copied(later)
        assert (report.frames, report.texts, report.size, report.there) == (0, 0, 0, 10)
        assert last_verified(season.folder) == NOW + timedelta(days=1)
        back = restore(table(season), tmp_path / "new", wait=NOT_AT_ALL)
        assert back.is_whole and back.indexed.added == 9
        assert belongings(tmp_path / "new") == belongings(season.folder)
        with pytest.raises(NotTrusted, match="lapsekit trust"):
            copied(Season(tmp_path / "new"))
        trust(tmp_path / "new")
        report = copied(Season(tmp_path / "new"))
        assert (report.frames, report.size) == (0, 0)  # it goes on from what it was restored from


@pytest.mark.parametrize("kind", KINDS)
def test_a_bit_that_flips_there_is_found_and_sent_again(kind, tmp_path):
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        frames = [f for f in place.folder.rglob("*") if f.is_file() and f.stat().st_size > 50_000]
        whole = {file: digest(file) for file in frames}
        flip(frames[0])
        harmed = 1
        if kind not in SERVED:
            frames[1].unlink()
            harmed = 2
        report = copied(again(season), verify=True)
        assert (report.checked, len(report.repaired), report.frames) == (4, harmed, harmed)
        back = restore(table(season), tmp_path / "new", wait=NOT_AT_ALL)
        assert back.is_whole and belongings(tmp_path / "new") == belongings(season.folder)
        if not kind.startswith("sealed"):
            assert {file: digest(file) for file in frames} == whole


@pytest.mark.parametrize("kind", KINDS)
def test_frames_that_went_there_are_noticed_unasked_and_sent_again(kind, tmp_path):
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=2)
        copied(season)
        gone = sorted(filter(is_frame, read_copied(season.folder)))[:3]
        open_place(season.settings.copies, season.folder).remove(gone)
        would = copied(again(season), dry_run=True)
        assert would.waiting == 3
        report = copied(again(season))
        assert sorted(report.repaired) == gone and report.is_sound
        assert (report.frames, report.there) == (3, would.there + 3)
        back = restore(table(season), tmp_path / "new", wait=NOT_AT_ALL)
        assert back.is_whole and belongings(tmp_path / "new") == belongings(season.folder)


def test_a_frame_cut_short_there_is_sent_again_and_one_gone_on_both_sides_is_lost(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        (place.folder / FRAME).write_bytes((season.folder / FRAME).read_bytes()[:100])
        report = copied(again(season))
        assert report.repaired == [FRAME]
        assert digest(place.folder / FRAME) == digest(season.folder / FRAME)
        (place.folder / FRAME).unlink()
        (season.folder / FRAME).unlink()
        report = copied(again(season))
        assert report.lost == [FRAME] and not report.is_sound
        assert FRAME not in read_copied(season.folder)


def test_what_is_said_of_copies_claims_no_more_than_was_looked_at():
    said = telling_copies.copied(CopyReport("there", there=5), dry_run=False)
    assert said[0].endswith("5 frames there, by name and size (--verify compares what is in them)")
    said = telling_copies.copied(CopyReport("there", there=5, checked=5), dry_run=False)
    assert said[0].endswith("5 frames there, the content of 5 compared again")


@pytest.mark.parametrize("kind", ["folder", "rsync", "sftp", "s3", "sealed"])
def test_killed_anywhere_it_claims_nothing_false_and_goes_on(kind, tmp_path):
    chance, longest, killed = random.Random(5), 2.0, 0
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=5)
        while cut_off(COPY, [season.folder], chance.uniform(0.3, longest)):
            killed += 1
            longest *= 1.25
            if kind != "sealed":
                assert falsely_claimed(season.folder, place.folder) == []
        assert killed
        assert copied(Season(season.folder)).is_sound
        back = restore(table(season), tmp_path / "new", wait=NOT_AT_ALL)
        assert back.is_whole and not back.unlisted
        assert belongings(tmp_path / "new") == belongings(season.folder)
        halves = [f for f in place.folder.rglob("*") if "part" in f.name]
        assert [f for f in halves if f.parent.name != "lists"] == []  # those are small, and ignored


def test_an_emptied_diary_does_not_replace_the_only_good_one(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        diary, whole = season.folder / "diary.csv", (season.folder / "diary.csv").read_text()
        diary.write_text(f"{whole}2031-04-03,basil,potted on,\n")
        report = copied(again(season))
        assert (report.texts, report.kept) == (1, [])  # what goes on holds what was before
        longer = diary.read_text()
        diary.write_text("")
        report = copied(Season(season.folder, lambda: NOW + timedelta(days=2)))
        assert report.kept == ["before/20310422T033000Z/diary.csv"]
        assert (place.folder / report.kept[0]).read_text() == longer
        assert (place.folder / "diary.csv").read_text() == ""
        diary.unlink()
        copied(Season(season.folder, lambda: NOW + timedelta(days=3)))
        assert (place.folder / report.kept[0]).read_text() == longer
        restore(table(season), tmp_path / "new", earlier=True)
        assert (tmp_path / "new" / report.kept[0]).read_text() == longer


def test_a_frame_damaged_here_never_reaches_the_copies(tmp_path):
    """Neither one that was copied before, nor one that the catalogue knew as another."""
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        flip(season.folder / FRAME)
        report = copied(season)
        assert report.damaged_here == [FRAME] and not report.is_sound
        assert not (place.folder / FRAME).exists() and FRAME not in read_copied(season.folder)
        other = FRAME.replace("0402", "0403").replace("-02", "-03")
        good = digest(place.folder / other)
        flip(season.folder / other)
        report = copied(again(season), verify=True)
        assert set(report.damaged_here) == {FRAME, other}
        assert digest(place.folder / other) == good
        assert read_copied(season.folder)[other].sha256 == good


def test_a_frame_thinned_out_here_stays_there_and_is_still_compared(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        copied(season)
        (season.folder / FRAME).unlink()
        report = copied(again(season), verify=True)
        assert report.is_sound and FRAME in read_copied(season.folder)
        back = restore(table(season), tmp_path / "new")
        assert back.is_whole and (tmp_path / "new" / FRAME).is_file()
        flip(place.folder / FRAME)
        report = copied(again(season), verify=True)
        assert (report.lost, report.is_sound) == ([FRAME], False)
        assert FRAME not in read_copied(season.folder)


def test_another_content_under_a_frames_name_is_kept_beside(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        data = encoded(bench_picture([], seed=7))
        season.archive.store("bench", NOW, data, ".png")
        name = "frames/bench/2031-04-20/20310420T033000Z.png"
        (place.folder / name).parent.mkdir()
        (place.folder / name).write_bytes(b"somebody else's")
        report = copied(again(season))
        assert report.kept == [f"before/20310421T033000Z/{name}"]
        assert (place.folder / report.kept[0]).read_bytes() == b"somebody else's"
        assert (place.folder / name).read_bytes() == data


def test_the_copies_of_another_season_and_anything_else_are_left_alone(tmp_path):
    with far("folder", tmp_path) as place:
        copied(season_with(tmp_path / "one", place.settings, days=1))
        before = {f: digest(f) for f in place.folder.rglob("*") if f.is_file()}
        other = season_with(tmp_path / "two", place.settings, days=1)
        for options in ({}, {"new_place": True}, {"verify": True}):
            with pytest.raises(CopyError, match="the copies of another season folder"):
                copied(other, **options)
        assert {f: digest(f) for f in place.folder.rglob("*") if f.is_file()} == before
        shutil.rmtree(place.folder)
        place.folder.mkdir()
        (place.folder / "holiday.jpg").write_bytes(b"mine")
        with pytest.raises(CopyError, match=r"holds holiday\.jpg, which lapsekit did not copy"):
            copied(other)
        assert [f.name for f in place.folder.rglob("*")] == ["holiday.jpg"]


def test_a_disk_that_is_not_mounted_is_not_taken_for_an_empty_place(tmp_path):
    """Or all would be copied onto the card itself, and thinning would trust it."""
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        place.folder.rename(tmp_path / "pulled out")
        claimed = read_copied(season.folder)
        with pytest.raises(CopyError, match=r"Is the disk mounted\?"):
            copied(again(season))
        assert not place.folder.exists() and read_copied(season.folder) == claimed
        report = copied(again(season), new_place=True)
        assert report.frames == 4 and falsely_claimed(season.folder, place.folder) == []


def test_of_two_disks_that_take_turns_each_is_believed_what_it_holds(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        place.folder.rename(tmp_path / "first")
        season.archive.store("bench", NOW, encoded(bench_picture([], seed=7)), ".png")
        copied(again(season), new_place=True)
        place.folder.rename(tmp_path / "second")
        (tmp_path / "first").rename(place.folder)
        report = copied(again(season))
        assert len(read_copied(season.folder)) == len(belongings(season.folder))
        assert falsely_claimed(season.folder, place.folder) == []
        assert (report.frames, report.size > 0) == (5, True)


def test_copies_are_not_put_where_the_site_is_published(tmp_path):
    for public, ours in (("www", "www/copies"), ("www/site", "www"), ("www", "www")):
        text = f'to = "folder"\ntarget = "{tmp_path / ours}"\n'
        text += f'[publish]\nto = "folder"\ntarget = "{tmp_path / public}"\n'
        season = season_with(tmp_path / ours.replace("/", "-") / public / "s", text, days=1)
        with pytest.raises(SettingsError, match="there the site is published"):
            copied(season)


def test_copies_in_a_folder_are_read_by_nobody_else(tmp_path):
    before = os.umask(0)
    try:
        with far("folder", tmp_path) as place:
            season = season_with(tmp_path / "season", place.settings, days=1)
            copied(season)
            found = [place.folder, *place.folder.rglob("*")]
    finally:
        os.umask(before)
    assert {f.stat().st_mode & 0o777 for f in found if f.is_file()} == {0o600}
    assert {f.stat().st_mode & 0o777 for f in found if f.is_dir()} == {0o700}


def test_no_secret_is_copied_said_or_shown_to_other_users(tmp_path, monkeypatch):
    """Password files of the season folder stay; rclone gets ours by a pipe and its environment."""
    real, log = shutil.which("rclone"), tmp_path / "log"
    if real is None:
        pytest.skip("rclone is not installed; tests/run installs it")
    (tmp_path / "bin").mkdir()
    spy = tmp_path / "bin" / "rclone"
    spy.write_text(
        f'#!/bin/sh\necho "$@" >> {log}\n[ "$1" = obscure ] || exec {real} "$@"\n'
        f'{real} "$@" | tee -a {tmp_path / "obscured"}\n'
    )
    spy.chmod(0o755)
    monkeypatch.setenv("PATH", f"{spy.parent}{os.pathsep}{os.environ['PATH']}")
    told = []
    with far("sealed", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        (season.folder / "camera-password").write_text("another secret\n")
        copy(season, wait=NOT_AT_ALL, tell=told.append)
        restore(table(season), tmp_path / "new", earlier=True, wait=NOT_AT_ALL)
        monkeypatch.setattr("lapsekit.places.rclone.Rclone._command", lambda *_: ["false"])
        with pytest.raises(CopyError) as failed:
            copy(season, wait=NOT_AT_ALL, tell=told.append)
        season.catalogue.close()
    obscured = (tmp_path / "obscured").read_text().split()
    said = log.read_text() + str(failed.value) + "".join(told)
    assert obscured and not any(secret in said for secret in (PASSWORD, *obscured))
    assert not (tmp_path / "new" / "camera-password").exists()


@pytest.mark.parametrize("kind", ["sealed", "sealed-s3"])
def test_an_encrypted_far_side_shows_neither_names_nor_content(kind, tmp_path):
    with far(kind, tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        copied(season)
        files = [file for file in place.folder.rglob("*") if file.is_file()]
        names = " ".join(file.relative_to(place.folder).as_posix() for file in files)
        content = b"".join(file.read_bytes() for file in files)
        assert len(files) > 10
        # Three letters stand in a thousand random ones by chance: of endings not even the dot stays
        assert "." not in names
        for plain in ("frame", "bench", "2031", "season", "diary", "toml", "list"):
            assert plain not in names
        for plain in (b"\x89PNG", b"\xff\xd8\xff", b"IHDR", b"basil", b"Test bench", b"sha256"):
            assert plain not in content
        wrong = tmp_path / "wrong"
        wrong.write_text("another word\n")
        wrong.chmod(0o600)
        model = table(season).model_copy(update={"encrypt_with": str(wrong)})
        with pytest.raises(CopyError, match="wrong does not open what lies there"):
            restore(model, tmp_path / "new", wait=NOT_AT_ALL)
        assert not (tmp_path / "new").exists()
        settings = season.folder / "season.toml"
        settings.write_text(
            settings.read_text().replace(str(tmp_path / "copies-password"), str(wrong))
        )
        with pytest.raises(CopyError, match="does not open"):
            copied(Season(season.folder))


def test_a_password_that_others_can_read_is_refused(tmp_path):
    with far("sealed", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        (tmp_path / "copies-password").chmod(0o644)
        with pytest.raises(SettingsError, match=r"copies\.encrypt_with .* others can read it"):
            copied(season)


def test_a_full_disk_there_is_told_and_the_next_copy_goes_on(tmp_path, small_disk):
    there = small_disk("600k") / "roof"
    season = season_with(tmp_path / "season", f'to = "folder"\ntarget = "{there}"\n')
    with pytest.raises(CopyError, match="No space left on device"):
        copied(season)
    some = read_copied(season.folder)
    assert falsely_claimed(season.folder, there) == []
    assert list(there.rglob(".part-*")) == []
    small_disk("8m")
    assert copied(again(season)).is_sound
    assert len(read_copied(season.folder)) > len(some)
    assert falsely_claimed(season.folder, there) == []


def test_a_poor_line_is_tried_again_and_then_given_up(tmp_path, monkeypatch):
    failures, waits, send = [2], [], Folder.send

    def poor(self, root, names):
        if failures[0] > 0:
            failures[0] -= 1
            raise TransferError("the line broke")
        send(self, root, names)

    monkeypatch.setattr(Folder, "send", poor)
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings, days=1)
        report = copy(season, wait=waits.append)
        assert (waits, len(report.failed), report.frames) == ([5.0, 20.0], 2, 4)
        season.archive.store("bench", NOW, encoded(bench_picture([], seed=7)), ".png")
        failures[0] = 99
        with pytest.raises(CopyError, match=r"the line broke \(4 attempts; what was copied"):
            copied(season)


def test_a_file_that_arrives_otherwise_than_sent_is_not_claimed(tmp_path, monkeypatch):
    send = Folder.send

    def spoiling(self, root, names):
        send(self, root, names)
        for name in names:
            if name == FRAME:
                flip(self._target / name)

    monkeypatch.setattr(Folder, "send", spoiling)
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        with pytest.raises(CopyError, match="did not arrive as it was sent"):
            copied(season)
        assert FRAME not in read_copied(season.folder)
        assert falsely_claimed(season.folder, place.folder) == []


def test_a_dry_run_tells_what_waits_and_touches_nothing(tmp_path):
    with far("folder", tmp_path) as place:
        season = season_with(tmp_path / "season", place.settings)
        before = sorted(season.folder.rglob("*"))
        assert copied(season, dry_run=True).waiting == 10
        assert not place.folder.exists()
        assert [p for p in sorted(season.folder.rglob("*")) if p not in before] == []


def test_nowhere_to_copy_to_says_what_to_do(tmp_path):
    season = season_with(tmp_path / "season", "", days=1)
    with pytest.raises(SettingsError, match=r"where to copy; under \[copies\] write both to"):
        copied(season)
    assert "[copies]" not in SETTINGS
    inside = season_with(tmp_path / "in", 'to = "folder"\ntarget = "copies"\n', days=1)
    with pytest.raises(SettingsError, match=r"copies\.target .* must not hold the season folder"):
        copied(inside)


def test_thinning_that_waits_for_a_copy_keeps_no_other_stage_waiting(tmp_path):
    """A copy over a poor line takes hours; captures and mornings go on meanwhile."""
    season = season_with(tmp_path / "season", "", days=1)
    command = [sys.executable, "-m", "lapsekit", "thin", "--wait", "20", "--season"]
    with season.lock("copy", 0, file_name=COPY_LOCK_FILE):
        thinning = subprocess.Popen([*command, season.folder], stderr=subprocess.PIPE, text=True)
        try:
            assert "waiting for lapsekit copy" in thinning.stderr.readline()
            with season.lock("capture", 0):
                pass
        finally:
            thinning.kill()
            thinning.communicate()
