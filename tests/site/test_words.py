"""The site's words: catalogues are whole, and a German site says nothing in English."""

import re
from datetime import date
from html.parser import HTMLParser

import pytest

from lapsekit.errors import SettingsError, SiteError
from lapsekit.language.phrases import day_text
from lapsekit.language.words import Words
from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site.build import build_site
from lapsekit.trust import trust
from tests.browsing import opened, running
from tests.site.made_season import Kind, made
from tests.words import CATALOGUES, amiss, gathered, read, updated

GERMAN = Words("de")
DAYS = 58
#: Words that every English sentence has one of, and no German one.
ENGLISH = re.compile(
    r"\b(the|of|and|with|from|to|this|that|is|are|it|no|not|by|on|day|days|week|picture|frame|"
    r"plant|left|its|for|than)\b",
    re.IGNORECASE,
)
#: What the grower wrote, and keys of files for machines, which are the same in every language.
GIVEN = re.compile(
    r"Made-up herbs|Eight containers\.|On a roof\.|in the morning|cut leaves|latest\.json|"
    r"today, link, square, upright|value_a_week_before|area_a_week_before_cm2"
)


@pytest.fixture(scope="module")
def template():
    return gathered()


@pytest.fixture(scope="module")
def german(tmp_path_factory):
    """A season with two cameras, groups, gaps and a diary, whose site is German; built."""
    folder = tmp_path_factory.mktemp("german") / "season"
    made(folder, DAYS, Kind(width=160, trough=True)).catalogue.close()
    in_language(folder, "de")
    return built(folder)


def in_language(folder, language):
    settings = (folder / "season.toml").read_text(encoding="utf-8")
    told = settings.replace("[site]\n", f'[site]\nlanguage = "{language}"\n')
    (folder / "season.toml").write_text(told, encoding="utf-8")


def built(folder):
    """The site of a season folder."""
    season = Season(folder)
    try:
        build_site(season)
    finally:
        season.catalogue.close()
    return season.site


class Said(HTMLParser):
    """What a page says: its text, and what attributes tell screen readers and machines."""

    TOLD = ("alt", "aria-label", "title", "label", "data-name", "content", "placeholder")

    def __init__(self, page):
        super().__init__()
        self.language, self.parts, self._stack = None, [], []
        self.feed(page.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        if tag == "html":
            self.language = told.get("lang")
        machine = tag == "meta" and str(told.get("name", told.get("property"))) not in (
            *("description", "og:title", "og:description", "og:image:alt"),
        )
        if not machine:
            self.parts += [told[name] for name in self.TOLD if told.get(name)]
        if tag not in ("meta", "link", "img", "input", "source", "track", "br", "path", "line"):
            self._stack.append((tag, told))

    def handle_endtag(self, tag):
        while self._stack and self._stack.pop()[0] != tag:
            pass

    def handle_data(self, data):
        hidden = any(t in ("script", "style") or "translate" in told for t, told in self._stack)
        if data.strip() and not hidden:
            self.parts.append(data)


def test_every_catalogue_is_whole_and_filled_like_the_english(template):
    for file in sorted(CATALOGUES.glob("*.po")):
        assert list(amiss(read(file), template)) == []
        as_gathered = updated(file, template)
        assert file.read_text(encoding="utf-8") == as_gathered, "run tests/words.py"


def test_a_message_that_is_new_or_filled_otherwise_is_seen(template):
    catalogue = read(CATALOGUES / "de.po")
    del catalogue["Which two days"]
    catalogue["{day}, the latest"].string = "der neueste"
    wrong = list(amiss(catalogue, template))
    assert len(wrong) == 2
    assert "without a translation: 'Which two days'" in wrong


def test_words_in_template_strings_of_scripts_are_gathered(template):
    places = [place for place, _ in template["There is no picture of ours."].locations]
    assert places == ["site_template/yours-said.js"]


def test_followers_are_addressed_alike_in_german_wherever_they_read():
    """Site and upload page say du; so do letters, notice, reasons and wordings."""
    theirs = ("lapsekit/followers/", "lapsekit/receive/")
    told = [
        m for m in read(CATALOGUES / "de.po") if any(p.startswith(theirs) for p, _ in m.locations)
    ]
    texts = [text for m in told for text in (m.string if m.pluralizable else (m.string,))]
    assert len(texts) > 100 and any(re.search(r"\b[Dd]ein(?:e[mnrs]?)?\b", text) for text in texts)
    assert [text for text in texts if re.search(r"\b(?:Sie|Ihnen|Ihr(?:e[mnrs]?)?)\b", text)] == []


def test_quotation_marks_and_spaces_are_german():
    for message in read(CATALOGUES / "de.po"):
        for text in message.string if message.pluralizable else (message.string,):
            assert not message.id or not re.search(r"[”'’]", text), text
            assert text.count("„") == text.count("“"), text
            assert not message.id or not re.search(r"[\d}] (%|cm²)", text), text


def test_days_and_months_are_those_of_the_language():
    day = date(2031, 5, 3)
    assert GERMAN.long_day(day) == "Samstag, 3. Mai 2031"
    assert GERMAN.short_day(date(2031, 12, 24)) == "24. Dez."
    assert GERMAN.dated_day(date(2031, 12, 24)) == "24. Dez. 2031"
    assert GERMAN.month(date(2031, 3, 1)) == "März 2031"
    assert (GERMAN.month_name(day), GERMAN.weekday(day)) == ("Mai", "Samstag")
    assert Words("en").long_day(day) == "Saturday, 3 May 2031"


def test_a_day_bears_its_year_where_that_was_over_before_anything_was_sown():
    sown = date(2030, 10, 1)
    days = (date(2029, 12, 24), date(2030, 1, 2), date(2031, 1, 2))
    assert [day_text(Words("en"), day, sown) for day in days] == [
        "24 Dec 2029", "2 Jan", "2 Jan"
    ]  # fmt: skip


def test_numbers_are_written_as_the_language_writes_them():
    assert GERMAN.number(-12345.678, 2) == "−12\u202f345,68"
    assert Words("en").number(-12345.678, 2) == "−12\u202f345.68"
    assert GERMAN.number(-0.04, 1) == "0,0"


def test_the_plural_fits_the_number():
    said = [GERMAN.counted("{n} day apart", "{n} days apart", n) for n in (0, 1, 2, 1.5)]
    assert said == [f"{n} auseinander" for n in ("0 Tage", "1 Tag", "2 Tage", "2 Tage")]
    assert GERMAN.listed(["Kresse", "Dill", "Kohl"]) == "Kresse, Dill und Kohl"


def test_every_page_says_its_language_and_nothing_in_english(german):
    pages = sorted(german.rglob("*.html"))
    assert len(pages) > DAYS
    english = []
    for page in pages:
        said = Said(page)
        assert said.language == "de", page
        assert any("Tag" in part for part in said.parts), page
        english += [
            (page.relative_to(german).as_posix(), part.strip())
            for part in said.parts
            if ENGLISH.search(GIVEN.sub("", part))
        ]
    assert english == []


def test_hardly_an_english_sentence_would_go_unnoticed(template):
    messages = [m.id[0] if m.pluralizable else m.id for m in template if m.id]
    sentences = [message for message in messages if len(message.split()) > 5]
    seen = [sentence for sentence in sentences if ENGLISH.search(sentence)]
    assert len(seen) > 0.95 * len(sentences) > 200


def test_feeds_and_calendar_are_in_the_language_too(german):
    told = (german / "feed.atom").read_text(encoding="utf-8")
    assert 'xml:lang="de"' in told and "Tag 30, Donnerstag, 24. April 2031" in told
    assert "SUMMARY:ausgesät" in (german / "diary.ics").read_text(encoding="utf-8")


def test_scripts_get_every_word_of_theirs_and_no_others(german, template):
    (script,) = (german / "assets").glob("words-*.js")
    told = script.read_text(encoding="utf-8")
    for message in template:
        key = message.id and (message.id[0] if message.pluralizable else message.id)
        of_scripts = any(place.endswith(".js") for place, _ in message.locations)
        if key and '"' not in key:
            assert (f'"{key}": ' in told) == of_scripts, key


@pytest.mark.browser
def test_scripts_speak_the_language(browser, german):
    with (
        open_server(german, 0) as server,
        running(server) as address,
        opened(browser, address) as page,
    ):
        page.locator(".ribbon.drawn").first.wait_for()
        said = page.evaluate("""() => [
            lapsekit.number(-12345.678, 2), lapsekit.longDay("2031-05-03"),
            lapsekit.shortDay("2031-12-24"), lapsekit.ageText("2031-03-24", "2031-03-25"),
            lapsekit.counted("{n} day", "{n} days", 2), lapsekit.monthName("2031-03-01")]""")
        assert said == [
            *("−12\u202f345,68", "Samstag, 3. Mai 2031", "24. Dez.", "1 Tag vor der Aussaat"),
            *("2 Tage", "März"),
        ]
        page.locator('.ribbon a[data-day="2031-04-03"]').first.focus()
        preview = page.locator(".ribbon .preview").first
        assert preview.inner_text().startswith("Donnerstag, 3. April 2031, Tag 9")


OWN = """\
msgid ""
msgstr ""
"Content-Type: text/plain; charset=utf-8\\n"
"Plural-Forms: nplurals=2; plural=(n > 1);\\n"

msgid "About this bench"
msgstr "À propos de cette table"

msgid "{n} day apart"
msgid_plural "{n} days apart"
msgstr[0] "{n} jour d’écart"
msgstr[1] "{n} jours d’écart"
"""


def own(tmp_path, text, name="fr"):
    (tmp_path / f"{name}.po").write_text(text, encoding="utf-8")
    return Words(name, [tmp_path])


def test_a_language_of_the_seasons_own_is_spoken_and_english_where_it_is_silent(tmp_path):
    words = own(tmp_path, OWN)
    assert words.text("About this bench") == "À propos de cette table"
    assert words.text("Which two days") == "Which two days"
    assert words.counted("{n} day apart", "{n} days apart", 0) == "0 jour d’écart"
    assert words.long_day(date(2031, 5, 3)) == "samedi 3 mai 2031"
    assert words.number(1.5, 1) == "1,5"
    told = words.for_scripts().decode()
    assert '"fr"' in told and "jours d’écart" in told and "À propos" not in told


def test_a_catalogue_of_the_seasons_own_comes_before_the_shipped_one(tmp_path):
    words = own(tmp_path, OWN.replace("À propos de cette table", "Unser Dachgarten"), "de")
    assert words.text("About this bench") == "Unser Dachgarten"
    assert words.text("Which two days") == "Welche zwei Tage"
    assert words.mark != GERMAN.mark


def test_a_site_is_built_in_a_language_of_its_own(tiny):
    place = tiny.folder / "site_template" / "words"
    place.mkdir(parents=True)
    (place / "fr.po").write_text(OWN, encoding="utf-8")
    settings = (tiny.folder / "season.toml").read_text(encoding="utf-8")
    told = settings + '[site]\nlanguage = "fr"\n'
    (tiny.folder / "season.toml").write_text(told, encoding="utf-8")
    trust(tiny.folder)
    site = built(tiny.folder)
    page = (site / "about/index.html").read_text(encoding="utf-8")
    assert '<html lang="fr">' in page and "<h1>À propos de cette table</h1>" in page
    assert list(site.rglob("*.po")) == []


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (OWN.replace("{n} jours", "{jours}"), "{jours}"),
        (OWN.replace("{n} jours", "{n jours"), "brace"),
        (OWN.replace("(n > 1)", "alert(1)"), "Plural-Forms"),
        (OWN.replace("msgid_plural", "several"), "gettext"),
    ],
)
def test_a_catalogue_that_cannot_be_used_is_refused_by_name(tmp_path, text, why):
    with pytest.raises(SiteError, match=re.escape(why)) as refused:
        own(tmp_path, text)
    assert "fr.po" in str(refused.value)


def test_a_language_without_a_catalogue_is_refused_with_where_to_put_one(tmp_path):
    with pytest.raises(SiteError, match="one of en, de") as refused:
        Words("fr", [tmp_path])
    assert str(tmp_path / "fr.po") in str(refused.value)
    with pytest.raises(SiteError, match="nobody knows"):
        own(tmp_path, OWN, "xx")


def test_what_is_no_name_of_a_language_is_no_setting(tiny):
    settings = (tiny.folder / "season.toml").read_text(encoding="utf-8")
    told = settings + '[site]\nlanguage = "../fr"\n'
    (tiny.folder / "season.toml").write_text(told, encoding="utf-8")
    with pytest.raises(SettingsError, match="language"):
        _ = Season(tiny.folder).settings
