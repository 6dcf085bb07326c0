"""The short form of `tests/bench/growth_cost.py`: a season costs in proportion to its days."""

import json

from tests.bench.growth_cost import MOST_TIMES_THE_DAYS, costs, faster_than_days, main


def test_growth_of_a_season_four_times_as_long_costs_about_four_times_as_much(tmp_path):
    """Whole matrices would cost far more; the bar leaves room for what else the machine does."""
    found = costs(tmp_path / "season", (60, 240), regions=2)
    assert faster_than_days(found) <= MOST_TIMES_THE_DAYS


def test_the_bench_tells_its_figures_as_json(capsys):
    assert main(["--days", "20", "25", "--regions", "1", "--times", "1", "--json"]) in (0, 1)
    facts = json.loads(capsys.readouterr().out)
    assert list(facts["processor_s"]) == ["20", "25"]
    assert all(used > 0 for used in facts["processor_s"].values())
