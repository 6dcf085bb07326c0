"""Marks for machines: canonical links, link previews, schema.org, the map of the site."""

import json
from datetime import date

import pytest
from jinja2 import Environment, FileSystemLoader
from lxml import etree, html

from lapsekit.language.words import ENGLISH
from lapsekit.resources import shared_folder
from lapsekit.site.elsewhere.addresses import at, left_out
from lapsekit.site.elsewhere.map_of_pages import robots, sitemap
from lapsekit.site.elsewhere.marks import data_mark, film_mark, head, image_mark
from tests.site.elsewhere.hostile_season import ADDRESS, HOSTILE, season

MAP = "{http://www.sitemaps.org/schemas/sitemap/0.9}"


def rendered(facts):
    """The head macro as an HTML document."""
    environment = Environment(
        loader=FileSystemLoader(shared_folder("site_template")), autoescape=True
    )
    macro = environment.get_template("head.html").module.marks(facts)
    return html.document_fromstring(f"<head><title>x</title>{macro}</head><body><p>end</p></body>")


def day_head(told):
    return head(told, ENGLISH, "day/2031-04-03/index.html", HOSTILE, HOSTILE, told.latest)


def test_hostile_text_leaves_the_head_as_it_was_meant():
    page = rendered(day_head(season()))
    assert {e.tag for e in page.head} == {"title", "link", "meta", "script"}
    assert len(page.findall(".//script")) == 1
    assert page.find(".//img") is None
    assert [e.tag for e in page.body] == ["p"]


def test_linked_data_says_what_the_page_shows_and_cannot_end_its_element():
    told = season()
    facts = day_head(told)
    assert not set("<>&\u2028\u2029") & set(facts.linked_data)
    graph = json.loads(rendered(facts).find(".//script").text)["@graph"]
    site, picture = graph
    assert (site["@type"], site["url"]) == ("WebSite", ADDRESS)
    assert picture["@type"] == "ImageObject"
    assert picture["contentUrl"].endswith("2031-04-03-0123456789ab-1600.jpg")
    assert (picture["width"], picture["dateCreated"]) == (1600, "2031-04-03T10:02:00Z")
    assert "<img src=x onerror=alert(1)>" in picture["description"]


def test_film_and_data_are_marked_with_what_a_search_asks_for():
    told = season()
    film = film_mark(told, ENGLISH, "film/bench.mp4", "pictures/x.jpg")
    assert film["@type"] == "VideoObject"
    assert film["contentUrl"] == f"{ADDRESS}film/bench.mp4"
    assert {"name", "description", "thumbnailUrl", "uploadDate"} <= set(film)
    data = data_mark(told, ENGLISH, ["data/daily.csv"])
    assert data["@type"] == "Dataset"
    assert data["temporalCoverage"] == "2031-04-01/2031-04-03"
    assert [d["contentUrl"] for d in data["distribution"]] == [
        f"{ADDRESS}data/datapackage.json",
        f"{ADDRESS}data/daily.csv",
    ]
    assert not any("spatial" in key for key in data)


def test_a_day_shows_its_own_picture_and_any_other_page_the_card():
    told = season()
    assert day_head(told).image.address.endswith("-1600.jpg")
    front = head(told, ENGLISH, "index.html", "Herbs", "about")
    assert front.image.address == f"{ADDRESS}cards/link.jpg"
    assert (front.image.width, front.image.height) == (1200, 630)
    assert front.canonical == ADDRESS
    found = {m.get("property"): m.get("content") for m in rendered(front).findall(".//meta")}
    assert found["og:url"] == ADDRESS
    assert found["og:image"] == f"{ADDRESS}cards/link.jpg"


def test_a_page_that_is_about_no_day_keeps_its_head_when_a_day_comes():
    def about(days):
        return head(season(days), ENGLISH, "about/index.html", "About", "about")

    assert about(3) == about(4)


def test_feeds_are_found_from_the_head():
    links = rendered(head(season(), ENGLISH, "index.html", "Herbs", "x")).findall(".//link")
    kinds = {link.get("type"): link.get("href") for link in links if link.get("rel") == "alternate"}
    assert kinds == {
        "application/atom+xml": f"{ADDRESS}feed.atom",
        "application/feed+json": f"{ADDRESS}feed.json",
        "text/calendar": f"{ADDRESS}diary.ics",
    }


def test_without_an_address_there_are_no_marks_and_one_is_told_what_to_set():
    told = season(address=None)
    assert head(told, ENGLISH, "index.html", "Herbs", "x") is None
    assert rendered(None).findall(".//meta") == []
    (sentence,) = left_out(None, ENGLISH)
    assert "Feeds" in sentence
    assert "address under [site]" in sentence
    assert left_out("https://bench.example/", ENGLISH) == []
    assert "robots.txt" in left_out(ADDRESS, ENGLISH)[0]


def test_the_map_tells_each_page_by_its_folder():
    pages = [("day/2031-04-01/index.html", date(2031, 4, 1)), ("index.html", None)]
    urls = etree.fromstring(sitemap(ADDRESS, pages))
    assert urls.tag == f"{MAP}urlset"
    assert [url.findtext(f"{MAP}loc") for url in urls] == [f"{ADDRESS}day/2031-04-01/", ADDRESS]
    assert [url.findtext(f"{MAP}lastmod") for url in urls] == ["2031-04-01", None]
    assert sitemap(None, pages) is None


def test_robots_names_the_map_only_where_it_counts():
    assert b"\nSitemap: https://bench.example/sitemap.xml\n" in robots("https://bench.example/")
    assert robots(ADDRESS) is None
    assert robots(None) is None


@pytest.mark.parametrize(
    ("path", "found"),
    [
        ("index.html", ADDRESS),
        ("day/2031-04-01/index.html", f"{ADDRESS}day/2031-04-01/"),
        ("today.jpg", f"{ADDRESS}today.jpg"),
        ("region/not-index.html", f"{ADDRESS}region/not-index.html"),
        ("region/ä b/index.html", f"{ADDRESS}region/%C3%A4%20b/"),
    ],
)
def test_an_address_is_the_folder_of_a_page_and_the_name_of_a_file(path, found):
    assert at(ADDRESS, path) == found


def test_the_picture_mark_of_a_day_stays_when_other_days_come():
    assert image_mark(season(2), ENGLISH, season(2).days[0]) == image_mark(
        season(9), ENGLISH, season(9).days[0]
    )
