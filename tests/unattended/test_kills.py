"""Killed at random moments: no stored frame is lost, no half one is there, no page is broken."""

import random

from tests.bench.kills import kill_captures, kill_mornings


def test_captures_killed_at_random_moments_lose_nothing(tmp_path):
    harm = kill_captures(tmp_path, 40, random.Random(5))
    assert harm.kills == 40
    assert (harm.lost, harm.half, harm.disagree) == ([], [], 0)


def test_mornings_killed_at_random_moments_come_out_as_if_nothing_had_been(tmp_path):
    harm = kill_mornings(tmp_path, 10, random.Random(5))
    assert harm.kills == 10
    assert harm.broken == []
    assert harm.unequal == 0
