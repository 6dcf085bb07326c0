"""All of it out of a real season: whole files, nothing told twice, nothing private, valid data."""

import json
import re

import frictionless
import pytest
from icalendar import Calendar
from lxml import etree, html
from PIL import Image

from lapsekit.resources import shared_folder
from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site.build import build_site
from tests.browsing import opened, running
from tests.site.elsewhere.test_feeds import GRAMMAR

ADDRESS = "https://bench.example/"
SITE = f'[site]\naddress = "{ADDRESS}"\n'
TEMPLATES = shared_folder("site_template")
AWAY = ["latest.json", "today.jpg", "feed.atom", "feed.json", "diary.ics", "sitemap.xml"]


@pytest.fixture
def public(tiny):
    """The tiny season with a public address."""
    settings = tiny.folder / "season.toml"
    settings.write_text(settings.read_text() + SITE)
    season = Season(tiny.folder)
    yield season
    season.catalogue.close()


def content(season, path):
    return (season.site / path).read_bytes()


def test_every_file_is_there_and_a_second_build_changes_none(public):
    first = build_site(public)
    for path in (*AWAY, "robots.txt", "data/datapackage.json", "cards/link.jpg"):
        assert path in first.written
    second = build_site(public)
    assert second.written == []
    assert second.removed == []


def test_the_feed_of_a_real_season_is_valid_and_its_links_lead_to_files(public):
    build_site(public)
    feed = etree.fromstring(content(public, "feed.atom"))
    GRAMMAR.assertValid(feed)
    links = re.findall(r"https://bench\.example/([^\"<&]*)", content(public, "feed.atom").decode())
    links += re.findall(r"https://bench\.example/([^\"\\]*)", content(public, "feed.json").decode())
    links += re.findall(r"https://bench\.example/([^\"]*)", content(public, "latest.json").decode())
    links += re.findall(r"<loc>https://bench\.example/(.*)</loc>", map_text := _map(public))
    assert "embed" not in map_text
    assert len(links) > 60
    for link in links:
        file = public.site / link
        assert (file / "index.html" if link == "" or link.endswith("/") else file).is_file(), link


def _map(season):
    return content(season, "sitemap.xml").decode()


def test_lengths_in_the_feed_are_those_of_the_files(public):
    build_site(public)
    for item in json.loads(content(public, "feed.json"))["items"]:
        (picture,) = item["attachments"]
        file = public.site / picture["url"].removeprefix(ADDRESS)
        assert picture["size_in_bytes"] == file.stat().st_size


def test_a_new_picture_of_an_old_day_keeps_the_entry_and_a_lost_address_takes_feeds_away(public):
    build_site(public)
    ids = [item["id"] for item in json.loads(content(public, "feed.json"))["items"]]
    assert len(ids) == 8
    settings = public.folder / "season.toml"
    settings.write_text(settings.read_text().replace(SITE, ""))
    private = Season(public.folder)
    report = build_site(private)
    assert {"feed.atom", "feed.json", "sitemap.xml"} <= set(report.removed)
    assert {"diary.ics", "today.jpg", "latest.json"} <= {p.name for p in private.site.iterdir()}
    settings.write_text(settings.read_text() + SITE)
    again = Season(public.folder)
    build_site(again)
    assert [item["id"] for item in json.loads(content(again, "feed.json"))["items"]] == ids
    private.catalogue.close()
    again.catalogue.close()


def test_a_robots_file_of_the_growers_own_stays(public):
    public.site.mkdir(exist_ok=True)
    own = public.site / "robots.txt"
    own.write_text("User-agent: *\nDisallow: /\n")
    report = build_site(public)
    assert own.read_text() == "User-agent: *\nDisallow: /\n"
    assert "robots.txt" not in report.written + report.removed


def test_the_picture_of_today_is_the_latest_days_without_metadata(public):
    build_site(public)
    today = json.loads(content(public, "latest.json"))["pictures"]["today"]
    with Image.open(public.site / "today.jpg") as picture:
        assert picture.size == (today["width"], today["height"])
        assert not picture.getexif()
    for path in ("today.jpg", "cards/link.jpg", "cards/square.jpg", "cards/upright.jpg"):
        assert b"SECRET" not in content(public, path)
        assert b"Exif" not in content(public, path)


def test_nothing_tells_zone_or_place_or_device(public):
    settings = public.folder / "season.toml"
    text = settings.read_text().replace('time_zone = "CET"', 'time_zone = "Pacific/Chatham"')
    settings.write_text(text + "[place]\nlatitude = 12.3456\nlongitude = 65.4321\n")
    (public.folder / "weather.csv").write_text("time,temp_c\n2031-04-01T10:00:00Z,-77.25\n")
    season = Season(public.folder)
    build_site(season)
    for file in season.site.rglob("*"):
        if file.is_file() and file.suffix not in (".jpg", ".webp", ".avif", ".woff2"):
            told = file.read_bytes()
            for secret in (b"Chatham", b"12.3456", b"65.4321", b"-77.25", b"SECRET-DEVICE"):
                assert secret not in told, file
    season.catalogue.close()


def test_the_data_package_is_valid_to_the_standards_own_library(public):
    build_site(public)
    report = frictionless.validate(public.site / "data" / "datapackage.json")
    assert report.valid, report.flatten(["title", "rowNumber", "fieldName", "message"])
    package = json.loads(content(public, "data/datapackage.json"))
    names = [resource["name"] for resource in package["resources"]]
    assert names == ["daily", "regions", "diary", "responses", "pauses", "losses"]


def test_the_standards_library_finds_a_table_that_was_changed(public):
    build_site(public)
    table = public.site / "data" / "diary.csv"
    table.write_text(table.read_text() + "99,not a day,,fed,\n")
    assert not frictionless.validate(public.site / "data" / "datapackage.json").valid


def test_tables_tell_the_diary_and_the_regions_as_they_are(public):
    build_site(public)
    assert (public.site / "data/diary.csv").read_text().splitlines() == [
        "number,day,region,event,note",
        "1,2031-04-03,basil,potted on,into <i>14 cm</i>",
        "2,2031-04-05,,watered,",
    ]
    assert (public.site / "data/regions.csv").read_text().splitlines()[2] == (
        "cress,Cress,trough,,2031-03-25"
    )


def test_the_calendar_of_a_real_diary_is_read_back(public):
    build_site(public)
    events = Calendar.from_ical(content(public, "diary.ics")).walk("VEVENT")
    assert len(events) == 3
    assert str(events[1]["URL"]) == f"{ADDRESS}day/2031-04-03/"


def test_the_page_of_offers_links_to_files_and_its_snippet_is_one_frame(public):
    build_site(public)
    page = html.fromstring(content(public, "elsewhere/index.html"))
    for link in page.xpath("//main//a/@href"):
        assert (public.site / "elsewhere" / link).resolve().is_file(), link
    (snippet,) = [pre.text_content() for pre in page.iter("pre")]
    (frame,) = html.fragments_fromstring(snippet)
    assert frame.tag == "iframe"
    assert frame.get("src") == f"{ADDRESS}embed/"
    assert "<script>alert(1)</script>" in frame.get("title")


def test_a_season_without_a_picture_has_a_calendar_a_page_and_no_feed(empty):
    report = build_site(empty)
    assert {"diary.ics", "latest.json", "elsewhere/index.html"} <= set(report.written)
    assert not {"today.jpg", "feed.atom", "cards/link.jpg"} & set(report.written)
    assert "There is no picture yet." in content(empty, "embed/index.html").decode()


def _faces(style):
    return re.findall(r"@font-face \{.*?\n\}\n", style.read_text(encoding="utf-8"), re.DOTALL)


def test_the_small_page_loads_the_same_fonts_as_the_others():
    faces = [
        [face for face in _faces(TEMPLATES / name) if "woff2" in face]
        for name in ("embed.css", "style.css")
    ]
    assert len(faces[0]) == 4
    assert faces[0] == faces[1]


@pytest.mark.browser
@pytest.mark.parametrize("path", ["elsewhere/index.html", "embed/index.html"])
def test_the_pages_show_hostile_titles_as_text_and_break_no_layout(public, browser, path):
    settings = public.folder / "season.toml"
    settings.write_text(settings.read_text().replace("Salad", "W" * 100))
    season = Season(public.folder)
    build_site(season)
    with running(open_server(season.site, 0)) as at:
        for width in (320, 360, 1280):
            with opened(browser, at, viewport={"width": width, "height": 470}) as page:
                page.goto(at + path)
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                assert "<script>alert(1)</script>" in page.inner_text("body")
    season.catalogue.close()


@pytest.mark.browser
def test_marks_for_machines_break_no_rule_of_the_page(public, browser):
    build_site(public)
    with running(open_server(public.site, 0)) as at, opened(browser, at + "index.html") as shown:
        graph = shown.evaluate(
            "JSON.parse(document.querySelector('script[type=\"application/ld+json\"]').textContent)"
        )
        assert [thing["@type"] for thing in graph["@graph"]] == [
            "WebSite",
            "ImageObject",
            "VideoObject",
            "Dataset",
        ]
        assert shown.locator("link[rel=canonical]").get_attribute("href") == ADDRESS
