"""`lapsekit collection` lists and measures seasons as the commands of one season do."""

import json
import shutil
from datetime import date

import pytest

from lapsekit.collecting.listing import rows
from lapsekit.collecting.members import open_collection
from lapsekit.measuring import measure
from lapsekit.season import Season
from tests.collecting.benches import collection, drawn
from tests.scenes import FIRST_DAY, tables
from tests.test_cli import lapsekit, succeeded

ALL = '[[season]]\nfolder = "bench-*"\n'


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three seasons, of which one cannot be read, and the file; not measured."""
    folder = tmp_path_factory.mktemp("collection")
    for name, days in (("bench-a", 3), ("bench-c", 2)):
        drawn(folder / name, f"Bench {name[-1]}", days).reopen_catalogue()
    (folder / "bench-b").mkdir()
    (folder / "bench-b" / "season.toml").write_text('[season]\ntitle = "Broken"\nsowing = 1\n')
    return collection(folder, ALL)


@pytest.fixture(scope="module")
def measured(made, tmp_path_factory):
    """What a fresh copy of them says and holds after ``measure``."""
    folder = tmp_path_factory.mktemp("measured") / "all"
    shutil.copytree(made.parent, folder)
    file = folder / made.name
    return file, lapsekit("collection", "measure", file, "--json")


def test_every_season_is_measured_as_alone_and_the_broken_one_is_told(made, measured, tmp_path):
    file, done = measured
    assert done.returncode == 65
    told = json.loads(done.stdout)
    assert {key: facts["measured"] for key, facts in told["seasons"].items()} == {
        "bench-a": 9,
        "bench-c": 6,
    }
    assert [each["key"] for each in told["broken"]] == ["bench-b"]
    assert "season.sowing is not a setting" in told["broken"][0]["why"]
    for name in ("bench-a", "bench-c"):
        shutil.copytree(made.parent / name, tmp_path / name)
        alone = Season(tmp_path / name)
        measure(alone)
        together = Season(file.parent / name)
        assert tables(together) == tables(alone)
        assert tables(together)[1] and tables(together)[2]
        for season in (alone, together):
            season.catalogue.close()


def test_measuring_again_finds_nothing_to_do(measured):
    file, _ = measured
    again = lapsekit("collection", "measure", file)
    assert again.stdout.count("nothing to measure: all") == 2
    assert "1 season could not be used:" in again.stderr and again.returncode == 65


def test_a_list_tells_days_frames_what_waits_and_that_old_seasons_are_over(made, measured):
    file, _ = measured
    told = lapsekit("collection", "list", file, "--json")
    seasons = {each["key"]: each for each in json.loads(told.stdout)["seasons"]}
    assert told.returncode == 65 and set(seasons) == {"bench-a", "bench-c"}
    of_a = seasons["bench-a"]
    days = (str(FIRST_DAY), str(date(2031, 4, 3)))
    assert (of_a["first_day"], of_a["last_day"], of_a["measured_to"]) == (*days, days[1])
    assert (of_a["frames"], of_a["waiting"], of_a["cameras"], of_a["regions"]) == (9, 0, 1, 2)
    lines = lapsekit("collection", "list", made).stdout.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("bench-a: Bench a; 1 camera, 2 regions; ")


def test_listing_makes_nothing_in_a_season_that_was_never_indexed(made, tmp_path):
    shutil.copytree(made.parent / "bench-a", tmp_path / "bench-a")
    for file in (tmp_path / "bench-a").glob("catalogue*"):
        file.unlink()
    before = sorted((tmp_path / "bench-a").rglob("*"))
    said = succeeded("collection", "list", collection(tmp_path, ALL))
    assert "no catalogue yet" in said
    assert sorted((tmp_path / "bench-a").rglob("*")) == before


def test_a_season_is_over_a_month_after_its_last_frame_and_looked_at_before(measured):
    file, _ = measured
    found = open_collection(file)
    last = date(2031, 4, 3)

    def health(days):
        now = Season(file.parent / "bench-a").clock().replace(year=2031, month=4, day=3)
        done = next(rows(found, lambda: now.fromordinal(last.toordinal() + days).replace(
            hour=20, tzinfo=now.tzinfo)))  # fmt: skip
        return done.result.health

    assert [health(days) for days in (0, 7, 30, 31)] == ["fine", "fine", "watch", "over"]


def test_a_damaged_catalogue_is_told_and_the_others_go_on(measured, tmp_path):
    file, _ = measured
    for name in ("bench-a", "bench-c"):
        shutil.copytree(file.parent / name, tmp_path / name)
    (tmp_path / "bench-a" / "catalogue.sqlite").write_bytes(b"no database" * 500)
    for log in (tmp_path / "bench-a").glob("catalogue.sqlite-*"):
        log.unlink()
    done = lapsekit("collection", "list", collection(tmp_path, ALL))
    assert done.returncode == 65 and done.stdout.startswith("bench-c: ")
    assert "bench-a" in done.stderr and "catalogue.sqlite" in done.stderr


def test_a_season_that_somebody_holds_is_told_and_the_others_are_measured(made, tmp_path):
    shutil.copytree(made.parent / "bench-a", tmp_path / "bench-a")
    shutil.copytree(made.parent / "bench-c", tmp_path / "bench-c")
    with Season(tmp_path / "bench-a").lock("film"):
        file = collection(tmp_path, ALL)
        done = lapsekit("collection", "measure", file, "--wait", "0")
    assert done.returncode == 65 and "is held by lapsekit film" in done.stderr
    assert "bench-c: measured 6 frames" in done.stdout
    assert not (tmp_path / "bench-a" / "catalogue.sqlite").exists()


def test_a_file_that_is_no_collection_is_refused(tmp_path):
    done = lapsekit("collection", "list", tmp_path / "none.toml")
    assert done.returncode == 78 and "cannot be read" in done.stderr
