"""The index of a collection: valid, safe and readable for everybody; seasons in their order."""

import re
import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from urllib.parse import unquote, urljoin, urlsplit

import pytest
from PIL import Image

from lapsekit.collecting.cards import Card, kinds_of, spread_evenly
from lapsekit.collecting.index_site import build_index
from lapsekit.collecting.members import open_collection
from lapsekit.collecting.sections import FRONT, in_sections, sheets
from lapsekit.errors import SettingsError, SiteError
from lapsekit.measuring import measure
from lapsekit.season import Season
from lapsekit.telling_collection import indexed
from lapsekit.verdicts import VERDICTS_HEADER
from tests.collecting.benches import collection, drawn
from tests.npm_tools import axe_source, markup_errors
from tests.site.made_season import TAG, TURNED
from tests.site.test_every_page import ASKING, AXE_TOLD, Held, seen, unseen_stops

ADDRESS = "https://herbs.example/bench-a/"
MANY = 60


def now():
    """The season of the drawn frames grows on this day."""
    return datetime(2031, 4, 5, 12, tzinfo=UTC)


def later():
    """It is long over then."""
    return datetime(2032, 1, 1, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def seasons(tmp_path_factory):
    """A hostile season with an address, one with a site beside the index, one without frames."""
    folder = tmp_path_factory.mktemp("home") / "secret-folder"
    title = f'{TAG} & \\"herbs\\" {TURNED} {"Titel" * 20}'
    for name, told in (("bench-a", title), ("bench-b", "Herbs of the roof")):
        season = drawn(folder / name, told, days=4)
        measure(season)
        season.reopen_catalogue()
    with (folder / "bench-a" / "season.toml").open("a") as settings:
        settings.write(f'[site]\naddress = "{ADDRESS}"\n')
    (folder / "bench-b" / "site").mkdir()
    (folder / "bench-b" / "site" / "index.html").write_text("<!doctype html>")
    drawn(folder / "bench-c", "Not begun", days=0).catalogue.close()
    (folder / "bench-d").mkdir()
    (folder / "bench-d" / "season.toml").write_text("[season")
    return collection(folder, '[[season]]\nfolder = "bench-a"\nbench = "Süd <b>"\n'
                      '[[season]]\nfolder = "bench-*"\non_index = true\n')  # fmt: skip


@pytest.fixture(scope="module")
def index(seasons):
    """The index of these, built while they grow."""
    return build_index(open_collection(seasons), seasons.parent / "index", clock=now)


@pytest.fixture(scope="module")
def many(seasons, tmp_path_factory):
    """The index of sixty seasons that are over, in German."""
    folder = tmp_path_factory.mktemp("many")
    for number in range(MANY):
        shutil.copytree(seasons.parent / "bench-b", folder / f"bench-{number:02}")
        if number % 2:
            text = folder / f"bench-{number:02}" / "season.toml"
            text.write_text(text.read_text().replace("sown = 2031-03-25", "sown = 2030-03-25"))
    file = collection(folder, 'language = "de"\n[[season]]\nfolder = "bench-*"\non_index = true\n')
    return build_index(open_collection(file), folder / "index", clock=later)


def pages_of(report):
    return sorted(report.front.parent.rglob("*.html"))


def test_the_broken_season_is_told_and_the_others_have_their_cards(index):
    assert [each.key for each in index.broken] == ["bench-d"]
    assert (index.seasons, index.pages, index.problems) == (3, 1, [])
    assert index.unlinked == ["bench-c"] and index.nearby == ["bench-b"]


def test_markup_and_style_are_valid(index, many, tmp_path):
    broken = tmp_path / "broken.html"
    broken.write_text('<!doctype html><html lang="en"><title>x</title><p><img src="a.png"></p>')
    styles = [p for p in index.front.parent.rglob("*.css") if "collection" in p.name]
    assert len(styles) == 1
    amiss = markup_errors(*pages_of(index), *pages_of(many), *styles, broken)
    assert [line for line in amiss if "broken.html" not in line] == []
    assert len(amiss) == 1, "the checker itself sees what is wrong"


@pytest.mark.parametrize("which", ["index", "many"])
def test_every_link_leads_to_a_file_or_to_the_published_address(which, request):
    report = request.getfixturevalue(which)
    home, led = report.front.parent, set()
    for path in pages_of(report):
        for link in Held.of(path).links:
            parts = urlsplit(link)
            if link == ADDRESS:
                led.add(link)
                continue
            target = (path.parent / unquote(parts.path)).resolve() if parts.path else path
            assert not parts.scheme and target.is_file(), f"{path} -> {link}"
            assert target.is_relative_to(home.parent), "no link climbs above the collection"
            led.add(str(target.relative_to(home.parent)))
    wanted = (
        {ADDRESS, "bench-b/site/index.html"} if which == "index" else {"index/year/2030/index.html"}
    )
    assert wanted <= led


STRANGE = ("north #2", "what?x=1", "50%25 shade", 'a&b "c" d:e')


def test_a_link_leads_to_the_season_whatever_its_folder_is_called(seasons, tmp_path):
    for name in STRANGE:
        shutil.copytree(seasons.parent / "bench-c", tmp_path / name)
        (tmp_path / name / "site").mkdir()
        (tmp_path / name / "site" / "index.html").write_text("<!doctype html>")
    file = collection(tmp_path, '[[season]]\nfolder = "*"\non_index = true\n')
    report = build_index(open_collection(file), tmp_path / "index", clock=now)
    assert set(report.nearby) == set(STRANGE) and report.broken == []
    fronts = set()
    for link in Held.of(report.front).links:
        address = urlsplit(urljoin(report.front.as_uri(), link))  # as a browser takes it
        assert not address.query
        fronts.add(Path(unquote(address.path)))
    assert {tmp_path / name / "site" / "index.html" for name in STRANGE} <= fronts


def test_only_published_seasons_are_shown_unless_the_file_says_so(seasons, tmp_path):
    """Nothing of the others is in the index's folder: no title, no picture, no day."""
    settings = {"a-1": "", "b-1": '[publish]\nto = "folder"\ntarget = "/srv/b"\n', "b-2": ""}
    for name, more in settings.items():
        shutil.copytree(seasons.parent / "bench-b", tmp_path / name)
        told = (tmp_path / name / "season.toml").read_text()
        told = told.replace("Herbs of the roof", f"Title {name}")
        (tmp_path / name / "season.toml").write_text(told + more)
    out = tmp_path / "index"

    def shown(*entries):
        file = collection(tmp_path, "".join(f"[[season]]\n{entry}\n" for entry in entries))
        report = build_index(open_collection(file), out, clock=now)
        text = report.front.read_text(encoding="utf-8")
        titles = {name for name in settings if f"Title {name}" in text}
        assert len(titles) == report.seasons == len(settings) - len(report.left_out)
        assert bool(titles) == any((out / "pictures").glob("*.jpg"))
        return titles, report

    titles, report = shown('folder = "*-*"')
    assert titles == {"b-1"} and set(report.left_out) == {"a-1", "b-2"}
    told = "\n".join(indexed(report))
    assert "not published: it has neither [publish] nor [site] address: a-1, b-2" in told
    assert "write on_index = true" in told
    titles, _ = shown('folder = "a-1"\non_index = true', 'folder = "b-*"')
    assert titles == {"a-1", "b-1"}
    titles, report = shown('folder = "b-1"\non_index = false', 'folder = "*-*"')
    assert titles == set() and report.left_out["b-1"] == "on_index = false"
    assert report.removed, "pictures that were shown before are gone"


def test_an_index_of_a_disk_that_is_away_is_not_emptied_by_a_season_that_is_not_shown(
    seasons, tmp_path
):
    for name in ("bench-a", "bench-b"):
        shutil.copytree(seasons.parent / name, tmp_path / name)
    entries = '[[season]]\nfolder = "bench-a"\n[[season]]\nfolder = "bench-b"\n'
    found = collection(tmp_path, entries)
    front = build_index(open_collection(found), tmp_path / "index", clock=now).front
    before = front.read_bytes()
    assert ADDRESS.encode() in before
    (tmp_path / "bench-a").rename(tmp_path / "away")
    with pytest.raises(SiteError, match="the index stays as it was"):
        build_index(open_collection(found), tmp_path / "index", clock=now)
    assert front.read_bytes() == before


def test_an_index_elsewhere_tells_nothing_of_this_machines_folders(seasons, tmp_path):
    report = build_index(open_collection(seasons), tmp_path / "out", clock=now)
    assert set(report.unlinked) == {"bench-b", "bench-c"} and report.nearby == []
    assert (tmp_path / "out" / "index.html").is_file()
    amiss = []
    for file in report.front.parent.rglob("*"):
        if file.suffix in (".html", ".css", ".svg"):
            told = re.search(r"secret-folder|bench-b|CET|/tmp/", file.read_text(encoding="utf-8"))
            amiss += [f"{file}: {told[0]}"] if told else []
    assert amiss == []


def test_no_script_no_inline_style_and_a_strict_policy(index, many):
    for path in [*pages_of(index), *pages_of(many)]:
        held = Held.of(path)
        assert not [told for told in held.elements if told[0] in ("script", "style", "iframe")]
        assert not [told for _, told in held.elements if "style" in told or "onclick" in told]
        (policy,) = [t["content"] for _, t in held.elements if "http-equiv" in t]
        assert policy.startswith("default-src 'none'") and "unsafe" not in policy


@pytest.mark.browser
def test_no_page_scrolls_sideways_axe_finds_nothing_and_focus_is_seen(browser, index, many):
    axe, amiss, said = axe_source(), [], []
    context = browser.new_context()
    page = context.new_page()
    page.on("console", lambda message: said.append(message.text))
    page.on("dialog", lambda dialog: said.append(dialog.message) or dialog.dismiss())
    paths = [index.front, many.front, many.front.parent / "year" / "2030" / "index.html"]
    for path in paths:
        page.goto(path.as_uri(), wait_until="load")
        page.evaluate(ASKING)
        page.evaluate(axe)
        for width in (360, 1280):
            for scheme in ("light", "dark"):
                seen(page, width, scheme)
                amiss += page.evaluate("everyPage.sideways()")
                amiss += page.evaluate(AXE_TOLD % "{preload: false}")
        amiss += unseen_stops(page)
        for shown in page.locator("img").all()[:8]:
            shown.evaluate("e => { e.loading = 'eager'; return e.decode(); }")
    page.goto(index.front.as_uri())
    assert TAG in page.locator(".card .season").all_inner_texts()[0]
    assert page.locator(".card .label").first.inner_text().lower() == "süd <b>"
    context.close()
    assert (amiss, said) == ([], [])


@pytest.mark.browser
def test_the_card_tells_age_plants_and_days_and_leads_to_the_season(browser, index):
    page = browser.new_page()
    page.goto(index.front.as_uri())
    card = page.locator(".card", has_text="Herbs of the roof")
    text = card.inner_text()
    assert "the last picture is of 4 Apr, day 10" in text
    assert "Basil and Chives" in text and "4 days with a picture, 2 plants" in text
    box = card.locator("picture img").first.bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_url("**/bench-b/site/index.html")
    page.close()


def test_the_picture_is_the_last_usable_one_and_what_was_refused_is_not_shown(seasons, tmp_path):
    home = tmp_path / "home"
    shutil.copytree(seasons.parent / "bench-a", home / "bench-a")
    season = Season(home / "bench-a")
    last = sorted(season.pictures_of("bench"))[-1]
    frames = [f.path for f in season.usable_frames("bench")[last]]
    lines = "".join(f"{path},no,somebody is in it\n" for path in frames)
    (season.folder / "verdicts.csv").write_text(f"{VERDICTS_HEADER}\n{lines}")
    season.catalogue.close()
    file = collection(home, '[[season]]\nfolder = "bench-a"\n')
    found = build_index(open_collection(file), home / "index", clock=now)
    assert found.problems == []
    names = {path.name[:10] for path in (home / "index" / "pictures").glob("20*")}
    assert names == {"2031-04-03"} and last == date(2031, 4, 4)


def test_pictures_carry_pixels_only_and_have_the_sizes_that_the_page_says(index):
    home = index.front.parent
    shown = [told for tag, told in Held.of(index.front).elements if tag == "img"]
    assert len(shown) == 4
    for told in shown:
        with Image.open(home / told["src"]) as picture:
            assert picture.size == (int(told["width"]), int(told["height"]))
            assert not picture.getexif()


def test_built_again_nothing_is_written_and_what_no_longer_belongs_goes(seasons, tmp_path):
    out = tmp_path / "again"
    first = build_index(open_collection(seasons), out, clock=now)
    again = build_index(open_collection(seasons), out, clock=now)
    assert again.written == [] and again.unchanged == len(first.written) > 10
    home = tmp_path / "home"
    shutil.copytree(seasons.parent / "bench-c", home / "bench-c")
    only = collection(home, '[[season]]\nfolder = "bench-c"\non_index = true\n')
    fewer = build_index(open_collection(only), out, clock=now)
    assert fewer.removed and not list(out.glob("pictures/*"))


def test_a_folder_that_holds_something_else_is_left_alone(seasons, tmp_path):
    (tmp_path / "pictures").mkdir()
    (tmp_path / "pictures" / "dear.jpg").write_bytes(b"x")
    with pytest.raises(SettingsError, match="not empty and holds no index"):
        build_index(open_collection(seasons), tmp_path, clock=now)
    assert (tmp_path / "pictures" / "dear.jpg").read_bytes() == b"x"


def test_where_no_season_can_be_read_the_index_stays_as_it_was(seasons, tmp_path):
    out = tmp_path / "out"
    build_index(open_collection(seasons), out, clock=now)
    before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
    gone = collection(tmp_path, '[[season]]\nfolder = "not-mounted"\n')
    with pytest.raises(SiteError, match="is its disk mounted"):
        build_index(open_collection(gone), out, clock=now)
    assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before


def test_many_seasons_stand_on_pages_of_their_years_in_german(many):
    home = many.front.parent
    assert {p.relative_to(home).as_posix() for p in pages_of(many)} == {
        *("index.html", "year/2030/index.html")
    }
    front = many.front.read_text()
    assert front.count('class="card"') == 30 and "Ausgesät 2031" in front
    assert 'lang="de"' in front and "60 Saisons" in front
    assert (home / "year" / "2030" / "index.html").read_text().count('class="card"') == 30


def card(title, sown, last=None, is_over=True):
    return Card(title, None, None, sown, sown, last or sown, is_over, (), 1, 1)


def test_what_grows_now_comes_first_and_earlier_years_after_the_latest_first():
    cards = [card("b", date(2029, 4, 1)), card("a", date(2029, 5, 1)), card("x", date(2031, 4, 1))]
    cards += [card(f"now {n}", date(2031, 4, n), date(2031, 6, n), False) for n in (1, 2)]
    found = [(each.year, [c.title for c in each.cards]) for each in in_sections(cards)]
    assert found == [(None, ["now 2", "now 1"]), (2031, ["x"]), (2029, ["a", "b"])]


def test_every_card_stands_on_a_page_however_many_there_are_and_the_front_comes_last():
    cards = [card(f"n{n}", date(2031, 4, 1), is_over=False) for n in range(130)]
    cards += [card(f"e{n}", date(2020 + n % 9, 4, 1)) for n in range(870)]
    found = list(sheets(in_sections(cards)))
    shown = {c.title for sheet in found for each in sheet.sections for c in each.cards}
    assert len(shown) == 1000 and found[-1].path == FRONT
    assert max(len(e.cards) for sheet in found for e in sheet.sections) == 48
    ahead, reached, by_path = [FRONT], set(), {sheet.path: sheet for sheet in found}
    while ahead:
        path = ahead.pop()
        if path is not None and path not in reached:
            reached.add(path)
            sheet = by_path[path]
            ahead += [sheet.before, sheet.after, *(at for _, at in sheet.others)]
    assert reached == set(by_path)


def test_days_are_spread_evenly_from_the_first_to_the_last():
    days = [date.fromordinal(730_000 + n) for n in range(101)]
    assert [(d - days[0]).days for d in spread_evenly(days, 5)] == [0, 25, 50, 75, 100]
    assert spread_evenly(days[:3], 5) == days[:3]


def test_numbered_plants_of_one_kind_are_named_once():
    assert kinds_of(["Basil 1", "Basil 2", "Oats-3", "7", "Chives"]) == (
        *("Basil", "Oats", "7", "Chives"),
    )
