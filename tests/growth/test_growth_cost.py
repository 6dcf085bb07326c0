"""The short form of `tests/bench/growth_cost.py`: a morning costs the same after a year."""

import json

from tests.bench.growth_cost import costs, main


def test_a_morning_of_a_season_twice_as_long_costs_about_the_same(tmp_path):
    """Over the whole season it would cost twice as much."""
    found = costs(tmp_path / "season", (150, 300), regions=2)
    assert found[300].morning_s < 1.5 * found[150].morning_s < found[300].anew_s


def test_the_bench_tells_its_figures_as_json(capsys):
    assert main(["--days", "20", "25", "--regions", "1", "--times", "1", "--json"]) in (0, 1)
    facts = json.loads(capsys.readouterr().out)
    assert list(facts["cost"]) == ["20", "25"]
    assert all(used > 0 for cost in facts["cost"].values() for used in cost.values())
