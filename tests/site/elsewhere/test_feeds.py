"""Feeds hold to their standards whatever the diary says, and their ids never change."""

import json
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import jsonschema
import pytest
from lxml import etree

from lapsekit.language.words import ENGLISH
from lapsekit.site.elsewhere.atom import atom_feed
from lapsekit.site.elsewhere.json_feed import json_feed
from tests.site.elsewhere.hostile_season import ADDRESS, LONG, day, event, plant, season

GRAMMAR = etree.RelaxNG(etree.parse(Path(__file__).with_name("atom.rng")))
ATOM = "{http://www.w3.org/2005/Atom}"
ADDRESS_KIND = {"type": "string", "pattern": "^https://"}
MOMENT = {"type": "string", "pattern": r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$"}
#: What the specification of JSON Feed 1.1 demands of the keys that it names.
JSON_FEED_RULES = {
    "type": "object",
    "required": ["version", "title", "items"],
    "additionalProperties": False,
    "properties": {
        "version": {"const": "https://jsonfeed.org/version/1.1"},
        "title": {"type": "string", "minLength": 1},
        "home_page_url": ADDRESS_KIND,
        "feed_url": ADDRESS_KIND,
        "description": {"type": "string"},
        "language": {"type": "string", "pattern": "^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*$"},
        "authors": {
            "type": "array",
            "items": {"type": "object", "anyOf": [{"required": ["name"]}, {"required": ["url"]}]},
        },
        "items": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["id"],
                "anyOf": [{"required": ["content_html"]}, {"required": ["content_text"]}],
                "additionalProperties": False,
                "properties": {
                    "id": {"type": "string", "minLength": 1},
                    "url": ADDRESS_KIND,
                    "title": {"type": "string"},
                    "content_html": {"type": "string"},
                    "summary": {"type": "string"},
                    "image": ADDRESS_KIND,
                    "date_published": MOMENT,
                    "date_modified": MOMENT,
                    "attachments": {
                        "type": "array",
                        "items": {
                            "type": "object",
                            "required": ["url", "mime_type"],
                            "properties": {
                                "url": ADDRESS_KIND,
                                "mime_type": {"const": "image/jpeg"},
                                "title": {"type": "string"},
                                "size_in_bytes": {"type": "integer", "minimum": 1},
                            },
                        },
                    },
                },
            },
        },
    },
}


class Content(HTMLParser):
    """Element names and text of a feed's content."""

    def __init__(self, html):
        super().__init__()
        self.tags, self.told = [], []
        self.feed(html)
        self.text = "".join(self.told)

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_data(self, data):
        self.told.append(data)


def atom(told):
    feed = etree.fromstring(atom_feed(told, ENGLISH))
    GRAMMAR.assertValid(feed)
    return feed


def atom_ids(told):
    return [e.findtext(f"{ATOM}id") for e in atom(told).iter(f"{ATOM}entry")]


def test_an_atom_feed_of_a_hostile_season_holds_to_the_grammar_of_rfc_4287():
    feed = atom(season(40))
    assert feed.find(f"{ATOM}author/{ATOM}name").text
    entries = feed.findall(f"{ATOM}entry")
    assert len(entries) == 30
    for entry in entries:
        relations = [link.get("rel") for link in entry.findall(f"{ATOM}link")]
        assert relations == ["alternate", "enclosure"]
        assert entry.find(f"{ATOM}content").get("type") == "html"


def test_the_grammar_refuses_a_feed_without_an_id():
    feed = atom(season(1))
    feed.remove(feed.find(f"{ATOM}id"))
    assert not GRAMMAR.validate(feed)


def test_a_json_feed_of_a_hostile_season_holds_to_the_rules_of_version_1_1():
    feed = json.loads(json_feed(season(40), ENGLISH))
    jsonschema.validate(feed, JSON_FEED_RULES)
    assert len(feed["items"]) == 30
    assert feed["feed_url"] == f"{ADDRESS}feed.json"
    assert feed["items"][0]["attachments"][0]["size_in_bytes"] == 160_000


def test_the_rules_refuse_a_json_feed_whose_item_has_no_content():
    feed = json.loads(json_feed(season(1), ENGLISH))
    del feed["items"][0]["content_html"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(feed, JSON_FEED_RULES)


def test_both_feeds_tell_the_same_days_the_latest_first():
    told = season(3)
    items = json.loads(json_feed(told, ENGLISH))["items"]
    entries = atom(told).findall(f"{ATOM}entry")
    assert [i["id"] for i in items] == [e.findtext(f"{ATOM}id") for e in entries]
    assert [i["content_html"] for i in items] == [e.findtext(f"{ATOM}content") for e in entries]
    assert [i["date_published"][:10] for i in items] == ["2031-04-03", "2031-04-02", "2031-04-01"]


def test_an_entry_has_its_picture_its_page_and_the_moment_it_was_taken_in_utc():
    entry = atom(season(1)).find(f"{ATOM}entry")
    links = {link.get("rel"): link for link in entry.findall(f"{ATOM}link")}
    assert links["alternate"].get("href") == f"{ADDRESS}day/2031-04-01/"
    picture = f"{ADDRESS}pictures/bench/2031-04-01-0123456789ab-1600.jpg"
    enclosure = links["enclosure"]
    assert [enclosure.get(k) for k in ("href", "type", "length")] == [
        picture,
        "image/jpeg",
        "160000",
    ]
    assert entry.findtext(f"{ATOM}updated") == "2031-04-01T10:02:00Z"
    images = [a for tag, a in Content(entry.findtext(f"{ATOM}content")).tags if tag == "img"]
    assert [image["src"] for image in images] == [picture]


def test_hostile_text_is_text_in_the_content_and_no_markup():
    content = Content(atom(season(1)).findtext(f"{ATOM}entry/{ATOM}content"))
    assert {tag for tag, _ in content.tags} == {"p", "a", "img", "h2", "ul", "li", "bdi"}
    assert all(key != "onerror" for _, attributes in content.tags for key in attributes)
    assert "<img src=x onerror=alert(1)>" in content.text
    assert not set("\u202e\u2066\x00\x08\x1b") & set(content.text)


def test_a_note_of_ten_thousand_letters_is_cut():
    content = Content(atom(season(1)).findtext(f"{ATOM}entry/{ATOM}content")).text
    assert 3000 < content.count("W") < 5000 < len(LONG)


def test_numbers_are_told_in_sentences():
    plants = [
        plant(title="Basil"),
        plant(title="Chard", value=80.0),
        plant(title="Cress", value=100.2),
        plant(title="Dill", value=None),
        plant(title="Leek", before=None, low=None, high=None),
        plant(title="Rocket", value=50.0, before=None, unit="%"),
    ]
    told = replace(season(1), days=(day(plants=plants, events=[event(what="fed", note="")]),))
    text = json.loads(json_feed(told, ENGLISH))["items"][0]["summary"]
    for sentence in (
        "fed (Basil).",
        "Basil: covers 110 cm² (between 99 and 121). That is 10 % more than a week before.",
        "Chard: covers 80 cm² (between 72 and 88). That is 20 % less than a week before.",
        "Cress: covers 100 cm² (between 90 and 110). That is about as much as a week before.",
        "Dill: no value on this day.",
        "Leek: covers 110 cm².",
        "Rocket: covers 50 % of its place (between 45 and 55).",
    ):
        assert sentence in text


def test_ids_stay_when_title_address_and_numbers_change_and_differ_between_seasons():
    ids = atom_ids(season(3))
    other = replace(season(4), title="Renamed", address="https://elsewhere.example/")
    assert atom_ids(other)[1:] == ids
    assert len(set(ids)) == 3
    assert all(each.startswith("urn:uuid:") for each in ids)
    assert ids == [
        "urn:uuid:9b29663b-8351-5212-b238-2a4a94319bad",
        "urn:uuid:87f01d71-1ee8-59d3-9591-f1b6dde4812f",
        "urn:uuid:9a7f0009-033d-5165-b5b2-9848efa26915",
    ]
    assert not set(atom_ids(season(3, own_name="another"))) & set(ids)


def test_the_same_season_gives_the_same_bytes():
    assert atom_feed(season(), ENGLISH) == atom_feed(season(), ENGLISH)
    assert json_feed(season(), ENGLISH) == json_feed(season(), ENGLISH)


def test_there_is_no_feed_without_an_address_or_before_there_is_a_picture():
    for told in (season(address=None), season(0)):
        assert atom_feed(told, ENGLISH) is None
        assert json_feed(told, ENGLISH) is None
