"""The first page and health: what waits stands there, and a tap goes into the diary."""

import pytest

from lapsekit.followers.receiving import take_in
from lapsekit.season import Season
from tests.axe import findings
from tests.desk.conftest import NOW
from tests.followers.arriving import FOLLOWERS, arrival


def test_today_tells_what_waits_and_takes_an_event(page, folder):
    settings = folder / "season.toml"
    settings.write_text(settings.read_text() + FOLLOWERS)
    season = Season(folder)
    assert take_in(season, arrival()).id
    season.catalogue.close()
    left = folder / "followers" / "waiting" / "no-record"  # nothing that followers lists
    left.mkdir()
    (left / "record.json").write_text("{}")
    page.goto("/")
    told = page.locator(".waits").inner_text()
    assert "1 picture of followers to look at" in told
    page.get_by_role("button", name="fed", exact=True).click()
    assert page.url.endswith("/")
    assert (folder / "diary.csv").read_text().endswith("2031-04-05,,fed,\n")


def test_frames_left_out_on_the_last_day_wait_on_today(page, folder):
    frame = "frames/bench/2031-04-05/20310405T170000Z.png"
    (folder / "verdicts.csv").write_text(f"frame,verdict\n{frame},no\n")
    page.goto("/")
    page.get_by_role("link", name="1 day to be worked out again").click()
    page.get_by_role("button", name="Work them out now").click()
    page.wait_for_selector("text=Done.", timeout=60_000)
    page.goto("/")
    page.get_by_role("link", name="1 frame of 2031-04-05 left out").click()
    assert page.locator("h1").inner_text() == "Frames of 2031-04-05"


def test_health_tells_what_is_wrong_first_and_looks_at_everything_when_asked(page, folder):
    (folder / ".last-morning.json").write_text(
        f'{{"ended_at": "{NOW:%Y-%m-%dT%H:%M:%SZ}", "code": 70, "told": "the stove is out"}}'
    )
    page.goto("/health/")
    assert page.locator("h2").first.inner_text() == "Wrong: 1"
    assert "the stove is out" in page.locator(".health.wrong").inner_text()
    page.get_by_role("button", name="Ask cameras").click()
    page.wait_for_selector("text=Done.", timeout=60_000)
    page.get_by_role("link", name="Go on").click()
    assert "were asked at" in page.locator("main").inner_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_today_and_health_are_usable_by_everyone(page, scheme):
    page.emulate_media(color_scheme=scheme)
    for path in ("/", "/health/"):
        page.goto(path)
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
