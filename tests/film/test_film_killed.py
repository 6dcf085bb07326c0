"""Killed at random moments, a film in the making leaves nothing broken and goes on."""

import json
import subprocess
import sys

from tests.conftest import CHECKOUT


def test_thirty_kills_leave_no_broken_film_and_the_next_run_makes_the_same_one(tmp_path):
    command = [sys.executable, "-m", "tests.film.killing", str(tmp_path), "30", "5"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=CHECKOUT, timeout=300)
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found["kills"] == 30
    assert (found["broken"], found["other"], found["same"]) == ([], [], True)
    # They fell over the whole of the work, not on its first moments alone.
    assert len(set(found["parts"])) >= 5 and found["whole"], found
