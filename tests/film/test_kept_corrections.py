"""What brings frames to their slow light is worked out once, and anew when one near by changes."""

from types import SimpleNamespace

import numpy as np
import pytest

import lapsekit.film.lights as lights
from lapsekit.film.kept_light import FOLDER, KeptCorrections
from lapsekit.film.lights import lights_of
from lapsekit.settings import Cut
from lapsekit.vision.even_light import corrections
from lapsekit.vision.light_cells import LightCells
from lapsekit.vision.slow_light import REACH_DAYS

CELLS = LightCells((720, 960))
DAYS = 40


@pytest.fixture
def levels():
    """Forty days whose exposure flickers."""
    random = np.random.default_rng(2)
    light = random.normal(-1, 0.3, (1, CELLS.count, 3)) + random.normal(0, 0.1, (DAYS, 1, 1))
    return np.concatenate([light, np.ones((DAYS, CELLS.count, 1))], axis=2).astype(np.float16)


@pytest.fixture
def film(tmp_path, levels, monkeypatch):
    """Evens a film's light; tells the corrections, and how many of them were worked out."""
    worked = []

    def counted(*given):
        worked.append(len(given[-1]))
        return corrections(*given)

    monkeypatch.setattr(lights, "corrections", counted)

    def even(levels=levels):
        monkeypatch.setattr(lights, "light_of", lambda *_: (CELLS, levels))
        sources = {day: [source_of(day)] for day in range(len(levels))}
        panel = SimpleNamespace(
            season=SimpleNamespace(folder=tmp_path), camera="bench", sources=sources
        )
        found = lights_of(Cut(), SimpleNamespace(panel=panel), 0.2, 1, None)
        return found, worked.pop()

    return even


def source_of(day):
    return SimpleNamespace(frame=SimpleNamespace(path=f"{day}.jpg"), at_days=day + 0.5, hour=12)


def right(levels):
    days = np.arange(len(levels)) + 0.5
    return corrections(CELLS, levels, days, np.full(len(levels), 12.0), day_course=False)


def test_a_day_more_works_out_those_within_reach_and_gives_what_all_together_give(film, levels):
    assert film(levels[:-1])[1] == DAYS - 1
    found, worked = film(levels)
    assert worked == int(REACH_DAYS) + 1
    assert list(found.values()) == right(levels)


def test_another_level_or_another_rule_is_seen(film, levels):
    film(levels)
    changed = levels.copy()
    changed[10] += 0.3
    found, worked = film(changed)
    assert worked == 2 * int(REACH_DAYS) + 1
    assert list(found.values()) == right(changed) != right(levels)
    assert film(levels)[1] == 0, "the film of before finds its own"


def test_a_damaged_file_counts_as_not_there(film, levels, tmp_path):
    before, _ = film(levels)
    path = tmp_path / FOLDER / "bench" / "corrections.json"
    damaged = (
        *("", "[1]", '{"0.jpg": {"m": 3}}', '{"0.jpg": {"m": [[1], [2], [3, 4]]}}'),
        '{"0.jpg": {"m": [[1, 1, Infinity], [1, 1, 1, 1, 1], [3, 4]]}}',
    )
    for content in damaged:
        path.write_text(content)
        assert film(levels) == (before, DAYS), content


def test_of_each_frame_a_few_are_kept(tmp_path, levels):
    one = right(levels)[0]
    kept = KeptCorrections(tmp_path, "bench")
    for number in range(9):
        kept.keep([("a.jpg", f"mark {number}", one)])
    kept.keep([("b.jpg", "mark 0", one)])
    again = KeptCorrections(tmp_path, "bench")
    assert [again.get("a.jpg", f"mark {n}") for n in range(9)] == [None] * 5 + [one] * 4
    assert again.get("b.jpg", "mark 0") == one
