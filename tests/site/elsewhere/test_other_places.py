"""All of it out of a real season: whole files, nothing told twice, nothing private, valid data."""

import json
import re
from dataclasses import replace

import frictionless
import pytest
from icalendar import Calendar
from lxml import etree, html
from PIL import Image

from lapsekit.noticing import notice
from lapsekit.progress import silent
from lapsekit.reporting import work_out
from lapsekit.resources import shared_folder
from lapsekit.responding import responses_of
from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site import build, contents, season_data
from lapsekit.site.almanac import gather
from lapsekit.site.elsewhere.data_files import season_tables
from lapsekit.site.elsewhere.gathering import season_told
from lapsekit.site.elsewhere.heads import head_of
from lapsekit.site.elsewhere.putting import elsewhere_page, embed_page, put_media, put_tellers
from lapsekit.site.gallery import Gallery
from lapsekit.site.pages import Pages
from lapsekit.site.writing import SiteFolder
from tests.browsing import opened, running
from tests.site.elsewhere.test_feeds import GRAMMAR

ADDRESS = "https://bench.example/"
SITE = f'[site]\naddress = "{ADDRESS}"\n'
TEMPLATES = shared_folder("site_template")
AWAY = ["latest.json", "today.jpg", "feed.atom", "feed.json", "diary.ics", "sitemap.xml"]


def built(season):
    """What a build puts up for other places, and the two pages; the folder that wrote it."""
    almanac, folder = gather(season), SiteFolder(season.site)
    gallery = Gallery(season, almanac, folder)
    gallery.show_all(silent)
    whole = contents.Whole(season, almanac, gallery, {}, work_out(season))
    told, tables = season_told(whole), tables_of(whole)
    put_media(whole, told, folder, tables)
    templates = [TEMPLATES]
    assets = build._assets(folder, templates, almanac.words)
    shared = {"title": almanac.title, "sown": almanac.sown, "assets": assets}
    renderer = Pages(templates, almanac.words, shared)
    names = [f"data/{table.name}.csv" for table in tables]
    pages = [elsewhere_page(whole, told, tables), embed_page(whole, told), *contents.pages(whole)]
    for page in pages:
        facts = page.facts | {"head": head_of(whole, told, page, names)}
        folder.put(page.path, renderer.render(replace(page, facts=facts)))
    folder.put(season_data.PATH, season_data.season_script(whole))
    put_tellers(whole, told, folder, pages)
    folder.removed = folder.remove_strays()
    return folder


def tables_of(whole):
    season, events = whole.season, whole.almanac.events
    regions = season.regions.region
    return season_tables(
        whole.growth,
        notice(season, whole.growth.growths),
        regions,
        {region.name: season.sown(region) for region in regions},
        events,
        responses_of(season)[0],
    )


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
    first = built(public)
    for path in (*AWAY, "robots.txt", "data/datapackage.json", "cards/link.jpg"):
        assert path in first.written
    second = built(public)
    assert second.written == []
    assert second.removed == []


def test_the_feed_of_a_real_season_is_valid_and_its_links_lead_to_files(public):
    built(public)
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
    built(public)
    for item in json.loads(content(public, "feed.json"))["items"]:
        (picture,) = item["attachments"]
        file = public.site / picture["url"].removeprefix(ADDRESS)
        assert picture["size_in_bytes"] == file.stat().st_size


def test_a_new_picture_of_an_old_day_keeps_the_entry_and_a_lost_address_takes_feeds_away(public):
    built(public)
    ids = [item["id"] for item in json.loads(content(public, "feed.json"))["items"]]
    assert len(ids) == 8
    settings = public.folder / "season.toml"
    settings.write_text(settings.read_text().replace(SITE, ""))
    private = Season(public.folder)
    folder = built(private)
    assert {"feed.atom", "feed.json", "sitemap.xml"} <= set(folder.removed)
    assert {"diary.ics", "today.jpg", "latest.json"} <= {p.name for p in private.site.iterdir()}
    settings.write_text(settings.read_text() + SITE)
    again = Season(public.folder)
    built(again)
    assert [item["id"] for item in json.loads(content(again, "feed.json"))["items"]] == ids
    private.catalogue.close()
    again.catalogue.close()


def test_a_robots_file_of_the_growers_own_stays(public):
    public.site.mkdir(exist_ok=True)
    own = public.site / "robots.txt"
    own.write_text("User-agent: *\nDisallow: /\n")
    folder = built(public)
    assert own.read_text() == "User-agent: *\nDisallow: /\n"
    assert "robots.txt" not in folder.written + folder.removed


def test_the_picture_of_today_is_the_latest_days_without_metadata(public):
    built(public)
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
    built(season)
    for file in season.site.rglob("*"):
        if file.is_file() and file.suffix not in (".jpg", ".webp", ".avif", ".woff2"):
            told = file.read_bytes()
            for secret in (b"Chatham", b"12.3456", b"65.4321", b"-77.25", b"SECRET-DEVICE"):
                assert secret not in told, file
    season.catalogue.close()


def test_the_data_package_is_valid_to_the_standards_own_library(public):
    built(public)
    report = frictionless.validate(public.site / "data" / "datapackage.json")
    assert report.valid, report.flatten(["title", "rowNumber", "fieldName", "message"])
    package = json.loads(content(public, "data/datapackage.json"))
    names = [resource["name"] for resource in package["resources"]]
    assert names == ["daily", "regions", "diary", "responses", "pauses", "losses"]


def test_the_standards_library_finds_a_table_that_was_changed(public):
    built(public)
    table = public.site / "data" / "diary.csv"
    table.write_text(table.read_text() + "99,not a day,,fed,\n")
    assert not frictionless.validate(public.site / "data" / "datapackage.json").valid


def test_tables_tell_the_diary_and_the_regions_as_they_are(public):
    built(public)
    assert (public.site / "data/diary.csv").read_text().splitlines() == [
        "number,day,region,event,note",
        "1,2031-04-03,basil,potted on,into <i>14 cm</i>",
        "2,2031-04-05,,watered,",
    ]
    assert (public.site / "data/regions.csv").read_text().splitlines()[2] == (
        "cress,Cress,trough,,2031-03-25"
    )


def test_the_calendar_of_a_real_diary_is_read_back(public):
    built(public)
    events = Calendar.from_ical(content(public, "diary.ics")).walk("VEVENT")
    assert len(events) == 3
    assert str(events[1]["URL"]) == f"{ADDRESS}day/2031-04-03/"


def test_the_page_of_offers_links_to_files_and_its_snippet_is_one_frame(public):
    built(public)
    page = html.fromstring(content(public, "elsewhere/index.html"))
    for link in page.xpath("//main//a/@href"):
        assert (public.site / "elsewhere" / link).resolve().is_file(), link
    (snippet,) = [pre.text_content() for pre in page.iter("pre")]
    (frame,) = html.fragments_fromstring(snippet)
    assert frame.tag == "iframe"
    assert frame.get("src") == f"{ADDRESS}embed/"
    assert "<script>alert(1)</script>" in frame.get("title")


def test_a_season_without_a_picture_has_a_calendar_a_page_and_no_feed(empty):
    folder = built(empty)
    assert {"diary.ics", "latest.json", "elsewhere/index.html"} <= set(folder.written)
    assert not {"today.jpg", "feed.atom", "cards/link.jpg"} & set(folder.written)
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
    built(season)
    with running(open_server(season.site, 0)) as at:
        for width in (320, 360, 1280):
            with opened(browser, at, viewport={"width": width, "height": 470}) as page:
                page.goto(at + path)
                assert page.evaluate("document.documentElement.scrollWidth") <= width
                assert "<script>alert(1)</script>" in page.inner_text("body")
    season.catalogue.close()


@pytest.mark.browser
def test_marks_for_machines_break_no_rule_of_the_page(public, browser):
    built(public)
    front = public.site / "index.html"
    front.write_text(front.read_text().replace("</head>", f"{head_facts(public)}</head>"))
    with running(open_server(public.site, 0)) as at, opened(browser, at + "index.html") as shown:
        graph = shown.evaluate(
            "JSON.parse(document.querySelector('script[type=\"application/ld+json\"]').textContent)"
        )
        assert [thing["@type"] for thing in graph["@graph"]] == [
            "WebSite",
            "ImageObject",
            "Dataset",
        ]
        assert shown.locator("link[rel=canonical]").get_attribute("href") == ADDRESS


def head_facts(season):
    """The head of the front page as the template writes it."""
    from jinja2 import Environment, FileSystemLoader

    almanac, folder = gather(season), SiteFolder(season.site)
    gallery = Gallery(season, almanac, folder)
    gallery.show_all(silent)
    whole = contents.Whole(season, almanac, gallery, {}, work_out(season))
    page = next(p for p in contents.pages(whole) if p.path == "index.html")
    loader = FileSystemLoader(TEMPLATES)
    template = Environment(loader=loader, autoescape=True).get_template("head.html")
    return template.module.marks(head_of(whole, season_told(whole), page, ["data/daily.csv"]))
