"""A small run of the benchmarks of films, so that they work when they are wanted."""

import json
import subprocess
import sys

import pytest

from tests.bench import film_cost
from tests.conftest import CHECKOUT


@pytest.mark.browser
def test_a_film_of_a_few_days_grows_by_a_day_and_plays():
    command = [sys.executable, "-m", "tests.bench.film_growth", "--days", "14", "--json"]
    command += ["--short-side", "120"]  # in a process of its own, as it drives a browser of its own
    done = subprocess.run(command, capture_output=True, text=True, cwd=CHECKOUT)
    told = json.loads(done.stdout)
    assert told["wrong"] == []
    assert [each["days"] for each in told["made"]] == [14, 15, 16, 17]
    whole, day = told["made"][:2]
    assert 0 < day["encoded"] < whole["encoded"]


def test_a_seasons_film_is_held_beside_ffmpeg_alone(demo, capsys, monkeypatch):
    monkeypatch.setattr(film_cost, "SHORT", 24)
    monkeypatch.setattr(film_cost, "LONG", 48)
    command = ["film_cost", "--season", f"{demo}", "--short-side", "120", "--json"]
    monkeypatch.setattr(sys, "argv", command)
    film_cost.main()
    told = json.loads(capsys.readouterr().out)
    assert told["size"] == [214, 120]
    assert min(told["film"]["size"], told["ffmpeg"]["size"]) > 10_000
    assert set(told["peak_mb"]) == {"24", "48"}
