"""Work that pages start runs once at a time, whatever it is called."""

import time

import pytest

from lapsekit.desk.jobs import Jobs
from lapsekit.errors import SeasonBusy


def test_the_same_command_does_not_run_twice_under_another_title(folder):
    jobs = Jobs(folder)
    first = jobs.start("Measuring", ["measure"], "/")
    with pytest.raises(SeasonBusy, match="Once more: that runs already"):
        jobs.start("Once more", ["measure"], "/")
    other = jobs.start("Measuring", ["check"], "/")
    jobs.stop_all()
    assert first.process.poll() is not None and other.process.poll() is not None


def test_work_that_is_stopped_in_its_first_command_does_not_begin_the_second(folder):
    jobs = Jobs(folder)
    job = jobs.start("The site", ["site"], "/", first=[["measure"]])
    jobs.stop(job)
    for _ in range(600):
        if not job.runs:
            break
        time.sleep(0.05)
    assert not job.runs and job.code != 0
    assert not (folder / "site" / "index.html").exists()


def test_a_first_command_that_fails_is_said_and_the_whole_does_not_count_as_done(folder):
    jobs = Jobs(folder)
    fails = ["explain", "nobody", "2031-04-05"]
    job = jobs.start("Listing", ["frames"], "/", first=[fails, ["diary"]])
    for _ in range(1200):
        if not job.runs:
            break
        time.sleep(0.05)
    assert job.code not in (0, None)
    said = list(job.said)
    told = next(n for n, line in enumerate(said) if line.startswith("That ended with code"))
    assert len(said) > told + 1  # the second command spoke after it
