"""Killed at random moments: no stored frame is lost, no half one is there, no page is broken."""

import random
from datetime import UTC, datetime

from lapsekit.season import Season
from tests.bench.kills import disagrees, kill_captures, kill_mornings
from tests.scenes import bench_picture, encoded, fill, make_season


def test_captures_killed_at_random_moments_lose_nothing(tmp_path):
    harm = kill_captures(tmp_path, 20, random.Random(5))
    assert harm.kills == 20
    assert (harm.lost, harm.half, harm.disagree) == ([], [], 0)


def test_mornings_killed_at_random_moments_come_out_as_if_nothing_had_been(tmp_path):
    harm = kill_mornings(tmp_path, 6, random.Random(5))
    assert harm.kills == 6
    assert harm.broken == []
    assert harm.unequal == 0


def test_a_catalogue_that_claims_what_is_not_there_is_seen_before_it_is_mended(tmp_path):
    """A frame that is there and not noted yet is none of these."""
    season = make_season(tmp_path)
    fill(season, days=1)
    season.index()
    frames = [tmp_path / frame.path for frame in season.catalogue.frames()]
    season.catalogue.close()
    assert not disagrees(tmp_path)
    frames[1].unlink()
    assert disagrees(tmp_path)
    assert not disagrees(tmp_path)  # it was struck meanwhile
    waiting = Season(tmp_path).archive
    waiting.store("bench", datetime(2031, 4, 9, tzinfo=UTC), encoded(bench_picture([])), ".png")
    assert not disagrees(tmp_path)
    frames[0].write_bytes(encoded(bench_picture([], seed=9)))
    assert disagrees(tmp_path)
