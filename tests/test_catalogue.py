"""The catalogue migrates forward, refuses what it cannot read, and forgets with its files."""

import sqlite3
import tempfile
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapsekit.catalogue import Catalogue, Daily, Frame, Measurement, Screening, schema
from lapsekit.errors import CatalogueError
from lapsekit.frames.choosing import daily_picture

DAY = date(2031, 4, 1)


def frame(number, day=DAY):
    return Frame(
        "bench",
        datetime(2031, 4, day.day, 9, number, tzinfo=UTC),
        day,
        f"frames/bench/{day}/{number}.jpg",
        f"hash{number}",
        1000,
        320,
        240,
        "import",
    )


def daily(day=DAY):
    return Daily("basil", day, 0.2, 0.1, 0.3, 20.0, 10.0, 30.0, 3, {"dark": 1})


@pytest.fixture
def open_catalogue(tmp_path):
    catalogue = Catalogue(tmp_path / "catalogue.sqlite")
    yield catalogue
    catalogue.close()


def test_what_is_stored_comes_back(open_catalogue):
    open_catalogue.add_frames([frame(1), frame(2)])
    screening = Screening(frame(1).path, "m", ("dark",), 0.01, 0.0, 0.5)
    measurement = Measurement(frame(2).path, "basil", "m", 100, 20, 0.2, None)
    open_catalogue.record(screening, None, [])
    open_catalogue.record(Screening(frame(2).path, "m", (), 0.4, 0.0, 0.3), None, [measurement])
    open_catalogue.store_daily([daily()])
    assert open_catalogue.frames() == [frame(1), frame(2)]
    assert open_catalogue.screenings()[0] == (frame(1), screening)
    assert open_catalogue.measurements() == [(frame(2), measurement)]
    assert open_catalogue.daily() == [daily()]


@given(
    seen=st.lists(
        st.tuples(st.integers(0, 40), st.sampled_from(["", "dark", "said yes: mine"])), max_size=12
    ),
    said=st.dictionaries(st.integers(0, 11), st.booleans(), max_size=4),
    wanted=st.integers(0, 40),
)
def test_the_frames_next_to_an_instant_hold_the_nearest_usable_one(seen, said, wanted):
    with tempfile.TemporaryDirectory() as folder:
        catalogue = Catalogue(Path(folder, "catalogue.sqlite"))
        frames = [replace(frame(minute), path=f"{n:02}.jpg") for n, (minute, _) in enumerate(seen)]
        catalogue.add_frames(frames)
        for each, (_, told) in zip(frames, seen, strict=True):
            reasons = (told,) if told == "dark" else ()
            catalogue.record(Screening(each.path, "m", reasons, 0.4, 0, 0.3, told), None, [])
        ruled = {f"{n:02}.jpg": use for n, use in said.items()}
        usable = [
            each
            for each, (_, told) in zip(frames, seen, strict=True)
            if told != "dark" and ruled.get(each.path, told == "")
        ]
        usable = sorted(usable, key=lambda each: (each.taken_at, each.path))
        assert catalogue.usable_frames(ruled, "bench") == usable
        paths = {each.path for each in usable}
        assert catalogue.usable_paths([each.path for each in frames], ruled) == paths
        at = frame(wanted).taken_at
        near = catalogue.usable_near("bench", {DAY: at}, ruled)
        assert daily_picture(near, at) == daily_picture(usable, at)
        assert len(near) <= 2
        catalogue.close()


def test_recording_a_frame_drops_its_days_values_and_no_other(open_catalogue):
    other = date(2031, 4, 2)
    open_catalogue.add_frames([frame(1), frame(1, other)])
    open_catalogue.store_daily([daily(), daily(other)])
    open_catalogue.record(Screening(frame(1).path, "m", (), 0.4, 0.0, 0.3), None, [])
    assert [d.day for d in open_catalogue.daily()] == [other]


def test_a_frame_that_goes_takes_its_rows_along(open_catalogue):
    open_catalogue.add_frames([frame(1)])
    measurement = Measurement(frame(1).path, "basil", "m", 100, 20, 0.2, None)
    open_catalogue.record(Screening(frame(1).path, "m", (), 0.4, 0.0, 0.3), None, [measurement])
    open_catalogue.remove_frames([frame(1).path])
    assert open_catalogue.measurements() == []
    assert open_catalogue.screenings() == []


def test_a_failed_write_leaves_nothing_of_itself(open_catalogue):
    open_catalogue.add_frames([frame(1)])
    bad = Measurement(frame(1).path, "basil", "m", None, 20, 0.2, None)
    with pytest.raises(CatalogueError):
        open_catalogue.record(Screening(frame(1).path, "m", (), 0.4, 0.0, 0.3), None, [bad])
    assert open_catalogue.screenings() == []


def test_each_older_version_is_brought_forward_with_its_rows(tmp_path, monkeypatch):
    path = tmp_path / "catalogue.sqlite"
    first = Catalogue(path)
    first.add_frames([frame(1)])
    first.close()
    later = (*schema.MIGRATIONS, "ALTER TABLE frame ADD COLUMN note TEXT", "CREATE TABLE extra (x)")
    monkeypatch.setattr(schema, "MIGRATIONS", later)
    monkeypatch.setattr(schema, "SCHEMA_VERSION", len(later))
    second = Catalogue(path)
    assert second.frames() == [frame(1)]
    second.close()
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(later),)
        assert db.execute("SELECT note FROM frame").fetchall() == [(None,)]
    db.close()


def test_a_catalogue_of_a_newer_lapsekit_is_refused_untouched(tmp_path):
    path = tmp_path / "catalogue.sqlite"
    Catalogue(path).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()
    with pytest.raises(CatalogueError, match="newer lapsekit"):
        Catalogue(path)
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (99,)
    db.close()


def test_a_damaged_catalogue_says_how_to_make_it_again(tmp_path):
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(b"this is no database" * 100)
    with pytest.raises(CatalogueError, match="index --rebuild"):
        Catalogue(path)


def test_readers_do_not_wait_for_a_writer(tmp_path):
    writer, reader = (Catalogue(tmp_path / "catalogue.sqlite") for _ in range(2))
    with writer._transaction() as db:
        db.execute("DELETE FROM frame")
        assert reader.frames() == []
    writer.close()
    reader.close()
