"""Work that pages start runs once at a time, whatever it is called."""

import time

import pytest

from lapsekit.desk.jobs import Jobs
from lapsekit.desk.publish import _whole
from lapsekit.errors import SeasonBusy
from lapsekit.trust import trust


def wait_for(job):
    for _ in range(1200):
        if not job.runs:
            break
        time.sleep(0.05)


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
    wait_for(job)
    assert not job.runs and job.code != 0
    assert not (folder / "site" / "index.html").exists()


def test_a_first_command_that_fails_is_said_and_the_whole_does_not_count_as_done(folder):
    jobs = Jobs(folder)
    fails = ["explain", "nobody", "2031-04-05"]
    job = jobs.start("Listing", ["frames"], "/", first=[fails, ["diary"]])
    wait_for(job)
    assert job.code not in (0, None)
    said = list(job.said)
    told = next(n for n, line in enumerate(said) if line.startswith("That ended with code"))
    assert len(said) > told + 1  # the second command spoke after it


def test_why_the_site_was_not_built_stands_above_what_would_go_out(folder, tmp_path):
    """The list is of the site as it was before; nobody would know why the work ended badly."""
    with (folder / "season.toml").open("a") as file:
        file.write(f'\n[publish]\nto = "folder"\ntarget = "{tmp_path / "host"}"\n')
    (folder / "site").mkdir(exist_ok=True)
    (folder / "site" / "index.html").write_text("as it was")
    trust(folder)
    words = ["publish", "--dry-run", "--json"]
    fails = ["explain", "nobody", "2031-04-05"]
    job = Jobs(folder).start("What will go out", words, "/", _whole, first=[fails, ["diary"]])
    wait_for(job)
    told = list(job.said)
    at = next(n for n, line in enumerate(told) if line.startswith("That ended with code"))
    assert job.code not in (0, None) and "nobody" in told[at - 1]
    assert told[at + 1].startswith(f"To {tmp_path / 'host'}: 1 files would be sent")
