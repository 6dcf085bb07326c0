"""Seasons to build a site of."""

from datetime import timedelta

import pytest

from lapsekit.film.records import FilmRecord, Films
from tests.site.small_season import DARK, DIARY, FIRST, UNSEEN, add_day, found


@pytest.fixture
def empty(tmp_path):
    """A season without a frame."""
    season = found(tmp_path / "season")
    yield season
    season.catalogue.close()


@pytest.fixture
def tiny(empty):
    """Ten days: one too dark, one without a frame, one seen by the first camera only."""
    (empty.folder / "diary.csv").write_text(DIARY, encoding="utf-8")
    for number in range(10):
        day = FIRST + timedelta(days=number)
        if day != UNSEEN:
            add_day(empty, day, ("dark",) if day == DARK else ())
    empty.films.mkdir()
    (empty.films / "bench.mp4").write_bytes(b"not really a film")
    Films(empty).keep("bench", FilmRecord("", []))
    return empty
