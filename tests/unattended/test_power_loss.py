"""A power cut at any call of a capture loses nothing that was reported and leaves no half."""

import shutil

import pytest

from tests.bench.power_loss import replay

pytestmark = pytest.mark.skipif(
    shutil.which("strace") is None, reason="no strace here; tests/run installs it"
)


def test_a_power_cut_at_any_call_loses_no_stored_frame_and_leaves_no_half_one():
    found = replay()
    assert found.states > 100
    assert (found.lost, found.half, found.disagree) == ([], [], [])


def test_the_model_would_see_a_frame_that_is_not_synced():
    found = replay(prelude="import os\nos.fsync = lambda _: None\n")
    assert found.lost and found.half
