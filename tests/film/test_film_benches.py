"""A small run of the benchmarks of films, so that they work when they are wanted."""

import json
import shutil
import sys

import pytest

from tests.bench import film_cost, film_growth, film_placing


@pytest.mark.browser
def test_a_film_of_a_few_days_grows_by_a_day_and_plays(capsys):
    film_growth.main(["--days", "14", "--short-side", "120", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert told["wrong"] == []
    assert [each["days"] for each in told["made"]] == [14, 15, 16, 17]
    whole, day = told["made"][:2]
    assert 0 < day["encoded"] < whole["encoded"]


def test_a_seasons_film_is_held_beside_ffmpeg_alone(demo, tmp_path, capsys, monkeypatch):
    season = shutil.copytree(demo, tmp_path / "season")
    monkeypatch.setattr(film_cost, "LONG", 200)
    command = ["film_cost", "--season", f"{season}", "--short-side", "120", "--json"]
    monkeypatch.setattr(sys, "argv", command)
    film_cost.main()
    told = json.loads(capsys.readouterr().out)
    assert told["size"] == [214, 120]
    assert min(told["film"]["size"], told["ffmpeg"]["size"]) > 10_000
    assert told["ratio"] > 0
    assert set(told["peak_mb"]) == {"100", "200"}


def test_placing_is_held_beside_decoding(capsys, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["film_placing", "--size", "320x180"])
    film_placing.main()
    assert "x decoding" in capsys.readouterr().out
