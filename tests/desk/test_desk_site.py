"""Growth, films and publishing at the desk."""

import csv
import io
import re
import sqlite3
import tomllib

import pytest

from lapsekit.corrections import read_corrections
from lapsekit.desk.going_out import going_out
from lapsekit.measuring import measure
from lapsekit.publishing import PublishReport
from lapsekit.season import Season
from lapsekit.site.build import build_site
from tests.axe import findings
from tests.desk.conftest import LAPTOP


def done(page):
    page.wait_for_selector("text=Done.", timeout=90_000)
    page.get_by_role("link", name="Go on").click()


def test_growth_shows_every_plant_with_its_measured_numbers(page, folder):
    page.goto("/growth/")
    assert page.locator(".plants h3").all_inner_texts() == ["Basil", "Chives"]
    page.locator(".plants").get_by_role("link", name="Basil").click()
    season = Season(folder)
    truth = {str(d.day): d.area_cm2 for d in season.catalogue.daily("basil")}
    season.catalogue.close()
    cells = page.locator("tbody tr").evaluate_all(
        "rows => rows.map(r => [r.cells[0].textContent, r.cells[1].textContent])"
    )
    assert {day: float(area) for day, area in cells} == {d: round(a, 1) for d, a in truth.items()}
    answer = page.request.get("/growth/plant/basil/growth.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text())))
    assert {row["day"] for row in rows} == set(truth) and {r["region"] for r in rows} == {"basil"}


def test_a_plant_that_reaches_beyond_its_outline_comes_with_the_next_steps(page, folder):
    page.goto("/growth/")
    assert page.locator(".beyond").count() == 0
    with sqlite3.connect(folder / "catalogue.sqlite") as catalogue:
        catalogue.execute("UPDATE daily SET crowded = 1 WHERE region = 'basil'")
    catalogue.close()
    page.goto("/growth/")
    assert "Basil reaches beyond its outline" in page.locator(".beyond").inner_text()
    steps = {
        "Draw the neighbour of Basil": "?day=2031-04-05",
        "Change the outline of Basil": "?day=2031-04-05&region=basil",
        "Propose regions around Basil": "propose",
    }
    for name, where in steps.items():
        page.goto("/growth/")
        page.get_by_role("link", name=name).click()
        assert page.url.endswith(f"/regions/bench/{where}")
    page.goto("/growth/")
    page.get_by_role("link", name="Draw the neighbour").click()
    assert page.locator("h2").first.inner_text() == "A new region"


def test_many_plants_beyond_their_outlines_are_one_caution_that_unfolds(page, folder):
    with sqlite3.connect(folder / "catalogue.sqlite") as catalogue:
        catalogue.execute("UPDATE daily SET crowded = 1")
    catalogue.close()
    page.goto("/growth/")
    assert page.locator(".beyond").count() == 1
    number = len(Season(folder).regions.region)
    assert number > 1
    assert f"{number} plants reach beyond" in page.locator(".beyond").inner_text()
    page.get_by_text("Which, and what can be done").click()
    page.get_by_role("link", name="Change the outline of Basil").click()
    assert page.url.endswith("/regions/bench/?day=2031-04-05&region=basil")


def test_a_correction_is_written_for_readers_and_undone(page, folder):
    page.goto("/growth/?from=2031-04-02&until=2031-04-03#corrections")
    page.get_by_label("What was wrong").fill("a cat, counted as basil")
    page.get_by_label("Which plant").select_option("basil")
    page.get_by_role("button", name="Write it down").click()
    (found,), problems = read_corrections(folder / "corrections.csv")
    assert problems == []
    told = (str(found.noticed), found.region, str(found.first), str(found.last), found.wrong)
    assert told == ("2031-04-05", "basil", "2031-04-02", "2031-04-03", "a cat, counted as basil")
    page.get_by_role("button", name="Undo").click()
    assert not (folder / "corrections.csv").exists()


@pytest.mark.parametrize("name", ["from", "until"])
def test_a_number_of_a_day_to_come_is_not_put_right(page, folder, name):
    page.goto("/growth/#corrections")
    page.locator("#corrections summary").click()
    page.get_by_label("What was wrong").fill("a cat, counted as basil")
    page.locator(f"#corrections #{name}").evaluate("box => box.removeAttribute('max')")
    page.locator(f"#corrections #{name}").fill("2031-04-06")
    page.get_by_role("button", name="Write it down").click()
    page.wait_for_selector(f"text={name} = 2031-04-06 has not come yet (today is 2031-04-05)")
    assert not (folder / "corrections.csv").exists()


def test_a_verdict_on_a_day_that_readers_saw_offers_a_correction(page, folder):
    page.goto("/frames/?day=2031-04-04")
    assert page.get_by_role("link", name="Write a correction").count() == 0
    (folder / "site" / "day" / "2031-04-04").mkdir(parents=True)
    page.get_by_label("15:00").check()
    page.get_by_role("button", name="Hold back").click()
    assert page.get_by_role("link", name="Write a correction").count() == 0  # nothing goes out
    settings = folder / "season.toml"
    publish = '\n[publish]\nto = "folder"\ntarget = "../web"\n'
    settings.write_text(settings.read_text() + publish)
    page.reload()
    page.get_by_role("link", name="Write a correction").click()
    assert page.get_by_label("First day").input_value() == "2031-04-04"


def test_a_site_built_here_knows_what_was_said_of_frames_before(page, folder):
    page.goto("/frames/?day=2031-04-04")
    page.get_by_label("15:00").check()
    page.get_by_role("button", name="Hold back").click()
    page.goto("/publish/")
    assert "1 day waits to be worked out again" in page.get_by_role("main").inner_text()
    page.get_by_role("button", name="Build it").click()
    page.wait_for_selector("text=Done.", timeout=90_000)
    told = page.locator(".said").inner_text()
    assert "lapsekit measure" not in told and "page" in told
    page.get_by_role("link", name="Go on").click()
    assert "to be worked out again" not in page.get_by_role("main").inner_text()
    season = Season(folder)
    (daily,) = [d for d in season.catalogue.daily("basil") if str(d.day) == "2031-04-04"]
    season.catalogue.close()
    assert daily.frames_used == 2
    assert (folder / "site" / "index.html").is_file()


def test_a_frame_held_back_by_hand_is_not_counted_as_one_that_shows_somebody(page, folder):
    settings = folder / "season.toml"
    settings.write_text(settings.read_text() + '\n[publish]\nto = "folder"\ntarget = "../web"\n')
    frame = "frames/bench/2031-04-04/20310404T130000Z.png"
    (folder / "verdicts.csv").write_text(f"frame,verdict\n{frame},no\n")
    season = Season(folder)
    measure(season, 1)
    season.catalogue.close()
    page.goto("/publish/")
    told = page.locator(".caution", has_text="What is published").inner_text()
    assert "1 frame stays back by your word" in told and "recognisable" not in told


def test_a_film_is_set_previewed_and_plays_on_the_page(page, folder):
    before = (folder / "season.toml").read_text()
    page.goto("/films/new")
    page.get_by_label("Name (").fill("basil")
    page.get_by_label("Basil", exact=True).check()
    page.get_by_label("Seconds a day").fill("0.2")
    page.get_by_role("button", name="Save").click()
    text = (folder / "season.toml").read_text()
    assert text.startswith(before.rstrip("\n"))
    cut = tomllib.loads(text)["film"]["cuts"]["basil"]
    assert cut == {"kind": "region", "regions": ["basil"], "day_seconds": 0.2}
    page.get_by_role("button", name="Preview basil").click()
    done(page)
    video = page.get_by_label("Preview of basil")
    page.wait_for_function("v => v.duration > 0.5", arg=video.element_handle())
    answer = page.request.get(video.get_attribute("src"), headers={"range": "bytes=4-7"})
    assert (answer.status, answer.body()) == (206, b"ftyp")


def test_a_film_that_cannot_be_is_told_with_the_form_as_it_was(page, folder):
    before = (folder / "season.toml").read_bytes()
    page.goto("/films/new")
    page.get_by_label("Name (").fill("both")
    page.get_by_label("It shows").select_option("together")
    page.get_by_label("Basil", exact=True).check()
    page.get_by_role("button", name="Save").click()
    assert "two to six regions" in page.locator(".refusal").inner_text()
    assert page.get_by_label("Basil", exact=True).is_checked()
    assert (folder / "season.toml").read_bytes() == before


def test_what_will_go_out_is_listed_and_nothing_goes(page, folder, tmp_path):
    with (folder / "season.toml").open("a") as file:
        file.write(f'\n[publish]\nto = "folder"\ntarget = "{tmp_path / "host"}"\n')
    (tmp_path / "host").mkdir()
    page.goto("/publish/")
    page.get_by_role("button", name="What will go out").click()
    page.wait_for_selector("text=Done.", timeout=90_000)
    headline, kinds = page.locator(".said").first.inner_text().splitlines()
    assert re.fullmatch(r"Sent: 5 pages of days, \d+ other pages, .*\.", kinds)
    page.locator("summary", has_text="each file").click()
    names = page.locator("details .said").inner_text().splitlines()
    size = len([file for file in (folder / "site").rglob("*") if file.is_file()])
    assert headline.startswith(f"To {tmp_path / 'host'}: {size} files would be sent")
    assert "  + index.html" in names and len(names) == size
    assert list((tmp_path / "host").iterdir()) == []


def test_a_long_list_of_what_goes_out_ends_with_how_many_more():
    report = PublishReport("there", sent=[f"{n}.jpg" for n in range(900)], removed=["old.html"])
    headline, sent, removed, *names = going_out(report)
    assert (sent, removed) == ("Sent: 900 other files.", "Removed: 1 other page.")
    assert "900 files" in headline and "1 removed" in headline
    assert len(names) < 400 and names[-1] == f"  and {901 - len(names) + 1} more"


def test_the_preview_is_the_site_and_reaches_nothing_else(page, folder):
    season = Season(folder)
    build_site(season)
    season.catalogue.close()
    (folder / "site" / "link.html").symlink_to(folder / "season.toml")
    page.set_viewport_size(LAPTOP)
    page.goto("/preview/")
    assert page.title() and page.locator("h1").count() == 1
    page.goto("/preview/growth/")
    page.wait_for_selector(".is-live")  # the site's scripts run under the desk's policy
    for path in (
        *("../season.toml", "%2e%2e/season.toml", "..%2f..%2fetc/passwd", "link.html"),
        *("/etc/passwd", ".cache", "assets/../../season.toml", "index.html/.."),
    ):
        answer = page.request.get(f"/preview/{path}")
        is_page = answer.status == 404 or answer.url.endswith("/preview/")  # both name the season
        assert "Test bench" not in answer.text() or is_page, path
        assert "px_per_cm" not in answer.text()


@pytest.mark.parametrize("path", ["/growth/", "/growth/plant/basil", "/films/", "/films/new"])
def test_growth_and_films_are_usable_by_everyone(page, path):
    page.goto(path)
    assert findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.emulate_media(color_scheme="dark")
    assert findings(page) == []


def test_publishing_is_usable_by_everyone(page):
    page.goto("/publish/")
    assert findings(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
