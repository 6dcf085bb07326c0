"""A copy of a catalogue holds what the original held at one instant, and leaves that as it is."""

import errno
import os
import shutil
import sqlite3
import threading
import time
from contextlib import closing
from datetime import UTC, datetime
from tempfile import gettempdir

import pytest

from lapsekit.catalogue import Catalogue, Frame, stand_in
from lapsekit.checking import check
from lapsekit.errors import CatalogueError
from lapsekit.happened import latest_day
from lapsekit.season import Season
from tests.scenes import fill, make_season

NOW = datetime(2026, 11, 29, tzinfo=UTC)


def opened(path):
    """Its owner's: two tables, which a transaction changes together."""
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    for pragma in ("journal_mode = WAL", "synchronous = OFF", "wal_autocheckpoint = 20"):
        db.execute(f"PRAGMA {pragma}")
    return db


def filled(path):
    db = opened(path)
    for table in "ab":
        db.execute(f"CREATE TABLE {table} (number INTEGER, bulk BLOB)")
        db.executemany(f"INSERT INTO {table} VALUES (?, ?)", [(n, b"x" * 4000) for n in range(99)])
    return db


def move(db, number):
    """One transaction, which a copy holds whole or not at all."""
    db.execute("BEGIN")
    for table in "ab":
        db.execute(f"UPDATE {table} SET number = ?, bulk = randomblob(4000)", (number,))
    db.execute("COMMIT")


def held_by(copy):
    """The numbers of both tables, all of them once each."""
    with closing(sqlite3.connect(copy)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        rows = db.execute("SELECT number FROM a UNION SELECT number FROM b").fetchall()
    return [number for (number,) in rows]


def test_a_copy_is_never_torn_while_the_owner_writes(tmp_path, monkeypatch):
    """Files, were they copied, would take their time, as those of a long season do."""
    copyfile = shutil.copyfile
    monkeypatch.setattr("shutil.copyfile", lambda *names: time.sleep(0.05) or copyfile(*names))
    path, enough = tmp_path / "c.sqlite", threading.Event()
    db = filled(path)
    move(db, 0)

    def write():
        number = 0
        while not enough.is_set():
            number += 1
            move(db, number)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        for _ in range(30):
            with stand_in(path) as copy:
                assert len(held_by(copy)) == 1
    finally:
        enough.set()
        writer.join()
        db.close()


def test_an_owner_who_comes_and_goes_between_two_files_is_noticed(tmp_path, monkeypatch):
    path, copyfile, come = tmp_path / "c.sqlite", shutil.copyfile, []
    with closing(filled(path)) as db:
        move(db, 1)

    def with_an_owner(source, target):
        copyfile(source, target)
        if not come:
            come.append(opened(path))
            move(come[0], 2)
            come[0].close()

    monkeypatch.setattr("shutil.copyfile", with_an_owner)
    with stand_in(path) as copy:
        assert held_by(copy) == [2]


@pytest.mark.parametrize("left", [["-wal", "-shm"], ["-wal"], []])
def test_what_an_owner_left_is_read_and_stays_as_it_is(tmp_path, left):
    """Files of a machine that lost its power; `-shm` does not go along to every place."""
    path = tmp_path / "c.sqlite"
    with closing(filled(path)) as db:
        move(db, 1)
        db.execute("PRAGMA wal_autocheckpoint = 0")
        move(db, 2)
        there = tmp_path / "there"
        there.mkdir()
        for end in ("", *left):
            shutil.copyfile(f"{path}{end}", there / f"c.sqlite{end}")
    before = {file: file.read_bytes() for file in there.iterdir()}
    with stand_in(there / "c.sqlite") as copy:
        assert held_by(copy) == [2 if left else 1]
    assert {file: file.read_bytes() for file in there.iterdir()} == before
    assert not copy.exists()


def failing(monkeypatch, number):
    def fail(source, target):
        raise OSError(number, os.strerror(number), str(source), None, str(target))

    monkeypatch.setattr("shutil.copyfile", fail)


@pytest.mark.parametrize(
    ("number", "told"),
    [
        (errno.ENOSPC, "there is no room for one in {tmp}; set TMPDIR to a folder with room"),
        (errno.EACCES, "c.sqlite: this user may not read it (Permission denied); ask its owner"),
        (errno.EIO, "none could be made (Input/output error); check its disk, and that of TMPDIR"),
    ],
)
def test_why_there_is_no_copy_is_told_in_plain_words(tmp_path, monkeypatch, number, told):
    path = tmp_path / "c.sqlite"
    filled(path).close()
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    failing(monkeypatch, number)
    with pytest.raises(CatalogueError) as caught, stand_in(path):
        pass
    assert str(caught.value).startswith(f"{path}: ")
    assert told.format(tmp=tmp_path) in str(caught.value)
    assert [*tmp_path.iterdir()] == [path]


def test_a_catalogue_that_is_not_there_cannot_be_made_there(tmp_path):
    told = "c.sqlite: not there yet, and cannot be made.*copy the season folder to where you can"
    with pytest.raises(CatalogueError, match=told), stand_in(tmp_path / "c.sqlite"):
        pass


def test_a_disk_that_fills_up_while_a_copy_is_used_is_the_copys(tmp_path):
    path = tmp_path / "catalogue.sqlite"
    Catalogue(path).close()
    with stand_in(path) as copy, closing(Catalogue(copy, path)) as catalogue:
        catalogue._db.execute("PRAGMA max_page_count = 1")  # no page more than it has
        facts = ("0" * 64, 9, 320, 240, "import")
        frames = [Frame("bench", NOW, NOW.date(), f"{n}.jpg", *facts) for n in range(999)]
        with pytest.raises(CatalogueError) as caught:
            catalogue.add_frames(frames)
    assert str(caught.value).startswith(f"{path}: database or disk is full")
    assert f"read as a copy in {gettempdir()}, " in str(caught.value)
    assert "set TMPDIR to a folder with room" in str(caught.value)


def test_a_check_and_a_diary_go_on_where_there_is_no_room_for_a_copy(tmp_path, monkeypatch):
    season = make_season(tmp_path / "bench")
    fill(season, days=1)
    season.index()
    (season.folder / "diary.csv").write_text("date,region,event,note\n2031-04-02,bsail,fed,\n")
    season.reopen_catalogue()
    monkeypatch.setattr("os.access", lambda path, _: path != season.folder)
    failing(monkeypatch, errno.ENOSPC)
    read_only = Season(season.folder, clock=lambda: NOW)
    with read_only.catalogue_to_read():
        found = check(read_only)
        assert latest_day(read_only).isoformat() == "2026-11-29"
    told = {finding.what: finding.told for finding in found}
    assert "no room for one in" in told["catalogue"] and "files" not in told
    assert {"disk", "season folder", "catalogue", "diary"} == told.keys()
