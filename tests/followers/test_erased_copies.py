"""What was taken down leaves the copies too, and no restoring brings it back."""

import shutil

import pytest

from lapsekit.copied import read_copied
from lapsekit.copying import copy
from lapsekit.copying.erasing import to_erase
from lapsekit.copying.restoring import restore
from lapsekit.followers import deciding
from lapsekit.followers.receiving import take_in
from lapsekit.followers.records import FOLDER, records
from lapsekit.followers.showing import shown
from lapsekit.season import Season
from tests.copying.keeping import far, table
from tests.followers.arriving import NOW, arrival, followed


def copied_season(folder, settings):
    """A season with a picture that waits and one that is shown, copied."""
    season, _ = followed(folder, f"\n[copies]\n{settings}")
    waits, seen = take_in(season, arrival(1)), take_in(season, arrival(2))
    deciding.show(season, seen.id)
    copy(season, wait=[].append)
    return season, waits, seen


def named(folder, record_id):
    return [path for path in folder.rglob("*") if record_id in str(path) and path.is_file()]


def restored(season, folder, **options):
    restore(table(season), folder, wait=[].append, **options)
    return Season(folder, lambda: NOW)


@pytest.mark.parametrize("kind", ["folder", "sealed"])
def test_the_next_copy_deletes_there_what_was_taken_down_here(tmp_path, kind):
    with far(kind, tmp_path) as place:
        season, waits, seen = copied_season(tmp_path / "bench", place.settings)
        assert deciding.take_down(season, seen.code) == seen.id
        report = copy(season, wait=[].append)
        assert len(report.erased) == 2
        assert not any(seen.id in path for path in read_copied(season.folder))
        assert copy(season, wait=[].append).erased == []
        if kind != "sealed":  # names there are encrypted
            assert named(place.folder, seen.id) == [] != named(place.folder, waits.id)
        back = restored(season, tmp_path / "back", earlier=True)
        assert [record.id for record in records(back)] == [waits.id]
        assert named(back.folder, seen.id) == []


def test_what_was_decided_leaves_no_second_copy_of_its_picture_or_address(tmp_path):
    with far("folder", tmp_path) as place:
        season, waits, _ = copied_season(tmp_path / "bench", place.settings)
        deciding.correct(season, waits.id, caption="corrected")
        deciding.decline(season, waits.id)
        copy(season, wait=[].append)
        there = {path.relative_to(place.folder).parts[:2] for path in named(place.folder, waits.id)}
        assert there == {(FOLDER, "declined")}  # neither where it waited nor in before/


def test_a_folder_that_was_lost_takes_no_copy_with_it(tmp_path):
    with far("folder", tmp_path) as place:
        season, waits, seen = copied_season(tmp_path / "bench", place.settings)
        for state in ("waiting", "shown"):
            shutil.rmtree(season.folder / FOLDER / state)
        assert copy(season, wait=[].append).erased == []
        assert named(place.folder, waits.id) and named(place.folder, seen.id)


def test_copies_made_before_the_taking_down_do_not_bring_it_back_while_the_season_is_known(
    tmp_path,
):
    with far("folder", tmp_path) as place:
        season, waits, seen = copied_season(tmp_path / "bench", place.settings)
        deciding.take_down_by_id(season, seen.id)  # and no copy since
        back = restored(season, tmp_path / "back", source=season.folder)
        assert [record.id for record in records(back)] == [waits.id]
        assert shown(back) == []


def test_a_restored_season_shows_what_was_shown(tmp_path):
    with far("folder", tmp_path) as place:
        season, _, seen = copied_season(tmp_path / "bench", place.settings)
        assert shown(restored(season, tmp_path / "back")) == shown(season)
        assert [each.id for each in shown(season)] == [seen.id]


def test_only_paths_of_such_pictures_are_ever_deleted():
    gone = {"0123456789abcdef"}
    paths = [
        "frames/bench/2031-04-01/0123456789abcdef/x.jpg",
        "followers/shown/0123456789abcdef",
        "followers/shown/fedcba9876543210/record.json",
        "followers/taken-down.csv",
        "diary.csv",
    ]
    wanted = [
        "followers/shown/0123456789abcdef/record.json",
        "before/20310401T000000Z/followers/waiting/0123456789abcdef/record.json",
    ]
    assert to_erase([*paths, *wanted], gone, {}) == wanted
    moved = {"fedcba9876543210": "declined"}
    assert to_erase(paths, set(), moved) == [paths[2]]
