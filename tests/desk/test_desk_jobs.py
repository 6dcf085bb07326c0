"""Work that pages start runs once at a time, whatever it is called."""

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
