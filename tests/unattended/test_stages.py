"""How a morning ended is written down."""

import json

from lapsekit.unattended.children import Ended
from tests.unattended.simulated import DAY, HOUR, START, started


def test_a_morning_that_fails_is_written_down_for_whoever_looks(bench):
    ends = iter([Ended(75, [], "publish: no line"), Ended(0, ["fine"], "")])
    process, _machine, _ = started(bench, stage=lambda *_, **__: next(ends, Ended(0, [], "")))
    process.run_until(START + HOUR)
    file = bench.folder / ".last-morning.json"
    told = json.loads(file.read_text())
    assert (told["code"], told["told"]) == (75, "publish: no line")
    assert told["ended_at"] == "2031-04-02T04:30:00Z"
    process.run_until(START + DAY + HOUR)
    told = json.loads(file.read_text())
    assert (told["code"], told["ended_at"]) == (0, "2031-04-03T04:30:00Z")


def test_a_morning_that_was_stopped_is_no_failure(bench):
    ended = Ended(143, [], "", was_stopped=True)
    process, _, _ = started(bench, stage=lambda *_, **__: ended)
    process.run_until(START + HOUR)
    assert not (bench.folder / ".last-morning.json").exists()
