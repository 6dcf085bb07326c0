"""The whole road on the sample season, then in a real browser as a follower walks it."""

import csv
import json
import subprocess
import sys
import time
from datetime import date

import pytest

from lapsekit.film.records import Films
from lapsekit.season import Season
from lapsekit.serving import open_server
from tests.browsing import opened, running
from tests.conftest import CHECKOUT


@pytest.fixture(scope="module")
def truth():
    with (CHECKOUT / "sample_frames" / "truth" / "areas.csv").open() as file:
        return list(csv.DictReader(file))


def daily_rows(folder):
    with (folder / "growth" / "daily.csv").open() as file:
        return list(csv.DictReader(file))


def listed(folder):
    """Frames as `lapsekit frames` lists them, by path."""
    done = subprocess.run(
        [sys.executable, "-m", "lapsekit", "frames", "--season", folder, "--all", "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    return {row["path"]: row for row in json.loads(done.stdout)["rows"]}


@pytest.fixture(scope="module")
def states():
    with (CHECKOUT / "sample_frames" / "truth" / "frames.csv").open() as file:
        return {row["path"]: row["state"] for row in csv.DictReader(file)}


def test_every_frame_is_filed_and_every_mishap_is_left_out_with_its_reason(demo, states):
    assert {str(p.relative_to(demo)) for p in (demo / "frames").rglob("*.jpg")} == states.keys()
    reasons = {
        "dark": {"dark"},
        "blown-out": {"blown out"},
        "dew": {"hazed", "blurred"},
        "frozen": {"frozen"},
        "obstructed": {"obstructed"},
    }
    rows = listed(demo)
    bad = {path: state for path, state in states.items() if state != "usable"}
    assert {path for path, state in bad.items() if rows[path]["reason"] not in reasons[state]} == (
        set()
    )
    assert all(rows[path]["told"].startswith(rows[path]["reason"] + ": ") for path in bad)
    lost = [path for path, row in rows.items() if not row["usable"] and path not in bad]
    assert len(lost) <= 0.02 * (len(states) - len(bad))


def test_nobody_who_stood_at_the_bench_is_on_a_page_or_in_the_film(demo, states):
    visited = {path for path, state in states.items() if state == "obstructed"}
    assert visited
    season = Season(demo)
    shown = {f.path for days in season.daily_pictures().values() for f in days.values()}
    assert not visited & (shown | set(Films(season).record("bench").shows))
    season.catalogue.close()


def test_green_plants_are_measured_near_their_true_areas(demo, truth):
    """A first bar for the plain cases: large green plants above 25 cm²."""
    noon = {
        (r["region"], r["taken_at"][:10]): float(r["area_cm2"])
        for r in truth
        if r["taken_at"][11:16] == ("11:00" if r["taken_at"] < "2026-03-29" else "10:00")
    }
    for region in ("green-lettuce", "sunflower", "chard"):
        errors = [
            float(r["area_cm2"]) / noon[region, r["day"]] - 1
            for r in daily_rows(demo)
            if r["region"] == region and r["area_cm2"] and noon.get((region, r["day"]), 0) > 25
        ]
        assert len(errors) > 10, region
        assert sorted(map(abs, errors))[len(errors) // 2] < 0.12, region


def test_days_without_frames_are_gaps(demo):
    rows = [r for r in daily_rows(demo) if r["day"] in {"2026-04-02", "2026-05-15"}]
    assert rows
    assert {r["area_cm2"] for r in rows} == {""}
    assert {r["frames_used"] for r in rows} == {"0"}
    assert not (demo / "site" / "day" / "2026-04-02").exists()


def test_the_demo_run_again_makes_nothing_anew(demo):
    before = {p: p.stat().st_mtime_ns for p in (demo / "site").rglob("*") if p.is_file()}
    done = subprocess.run(
        [sys.executable, "-m", "lapsekit", "site", "--season", demo, "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout)["written"] == []
    assert {p: p.stat().st_mtime_ns for p in (demo / "site").rglob("*") if p.is_file()} == before


@pytest.fixture(scope="module")
def address(demo):
    with running(open_server(demo / "site", 0)) as root:
        yield root


def reached(film, seconds):
    """Wait until a film has played up to a time."""
    deadline = time.monotonic() + 20
    while film.evaluate("v => v.currentTime") < seconds:
        assert time.monotonic() < deadline, f"the film never came to {seconds} s"
        time.sleep(0.05)


@pytest.mark.browser
def test_a_follower_picks_a_day_walks_by_keyboard_and_plays_the_film(browser, address):
    with opened(browser, address, viewport={"width": 1280, "height": 800}) as page:
        assert "Salad leaves on the school roof" in page.title()
        page.locator('.ribbon a[data-day="2026-04-10"]').click()
        page.wait_for_url("**/day/2026-04-10/**")
        page.keyboard.press("ArrowRight")
        page.wait_for_url("**/day/2026-04-11/**")
        page.keyboard.press("ArrowLeft")
        page.wait_for_url("**/day/2026-04-10/**")
        page.goto(f"{address}film/index.html")
        film = page.locator("video").first
        film.scroll_into_view_if_needed()
        film.evaluate("v => { v.muted = true; return v.play() }")
        reached(film, 0.3)
        days = (date(2026, 5, 24) - date(2026, 3, 12)).days + 1 - 2
        lasts_s = film.evaluate("v => v.duration")  # with a card for each gap
        assert days * 0.4 < lasts_s < days * 0.4 + 6
        film.evaluate("v => { v.currentTime = v.duration - 0.2 }")
        reached(film, lasts_s - 0.25)
