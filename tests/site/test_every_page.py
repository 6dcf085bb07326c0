"""Every page of a site, whatever it is: valid, safe, within its width, for everybody.

A new page is looked at without a line here: what is looked at are all pages that a build of a
made-up season leaves, whose words try to break them.
"""

import json
import re
import socket
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from lapsekit.season import Season
from lapsekit.serving import open_server
from lapsekit.site.build import build_site
from tests.browsing import running
from tests.npm_tools import axe_source, markup_errors
from tests.site.followers_season import FOLLOWERS, UPLOAD, add_follower, photograph
from tests.site.made_season import ADDRESS, LONG_WORD, TAG, TURNED, Kind, made

pytestmark = pytest.mark.browser
DAYS = 40
ASKING = (Path(__file__).parent / "every_page.js").read_text(encoding="utf-8")
LOADED = "e => { e.loading = 'eager'; return e.decode().then(() => e.naturalWidth > 0); }"
#: Where the page that says how to send a picture leads out to, and no other page does.
SEND, SENT_TO = "followers/send/index.html", ("mailto:plants@herbs.example?", UPLOAD)
LINKS = ("href", "src", "poster", "data", "action")
#: Rules for the browser: a page is asked the same in each look.
LOOKS = [(360, "light"), (360, "dark"), (768, "light"), (1280, "light")]


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """The site of a season whose title, plants, diary and followers are hostile."""
    folder = tmp_path_factory.mktemp("every") / "season"
    made(folder, DAYS, Kind(hostile=True, trough=True, width=320)).catalogue.close()
    with (folder / "season.toml").open("a", encoding="utf-8") as settings:
        settings.write(FOLLOWERS)
    (folder / "followers-privacy.md").write_text(f"# {TAG}\n\n{LONG_WORD}\n\n- {TURNED}\n")
    season = Season(folder)
    told = {"name": TAG, "plant": LONG_WORD, "caption": f"{TURNED} {LONG_WORD}", "language": "de"}
    add_follower(season, **told)
    other = {"region": "", "age_days": None, "taken_on": None}
    add_follower(season, photograph(1, (900, 500)), name=LONG_WORD, **other)
    report = build_site(season)
    season.catalogue.close()
    assert report.problems == []
    return season.site


@pytest.fixture(scope="module")
def address(site):
    """The site on a web server."""
    with open_server(site, 0) as server, running(server) as root:
        yield root


@pytest.fixture(scope="module")
def every(site):
    """What each page holds, by its path."""
    found = {p.relative_to(site).as_posix(): Held.of(p) for p in sorted(site.rglob("*.html"))}
    assert len(found) >= DAYS
    return found


@pytest.fixture(scope="module")
def looked_at(site):
    """Pages to open: all, but of many alike (days, plants) the longest and the first and last."""
    alike: dict[str, list[Path]] = {}
    for path in sorted(site.rglob("*.html")):
        kind = re.sub(r"\d{4}-\d\d-\d\d", "DAY", path.relative_to(site).as_posix())
        many = kind.rsplit("/", 2)[0] if kind.count("/") > 1 else kind
        alike.setdefault(many, []).append(path)
    chosen = set()
    for paths in alike.values():
        chosen |= {paths[0], paths[-1], max(paths, key=lambda p: p.stat().st_size)}
    return sorted(path.relative_to(site).as_posix() for path in chosen)


class Held(HTMLParser):
    """Elements of a page with their attributes, its ids, links and scripts of its own."""

    def __init__(self):
        super().__init__()
        self.elements, self.ids, self.links, self.inline = [], set(), [], []
        self._script = None

    @classmethod
    @cache
    def of(cls, path):
        """A file, read once."""
        held = cls()
        held.feed(path.read_text(encoding="utf-8"))
        return held

    def handle_starttag(self, tag, attributes):
        told = dict(attributes)
        self.elements.append((tag, told))
        self.ids |= {told["id"]} if "id" in told else set()
        self.links += [told[name] for name in LINKS if told.get(name)]
        for part in (told.get("srcset") or "").split(","):
            self.links += part.split()[:1]
        if tag == "meta" and str(told.get("property", told.get("name"))).endswith(
            (":url", ":image")
        ):
            self.links.append(told["content"])
        self._script = told.get("type", "") if tag == "script" and "src" not in told else None

    def handle_data(self, data):
        if self._script is not None and data.strip():
            self.inline.append((self._script, data))

    def handle_endtag(self, tag):
        self._script = None


def test_markup_is_valid(site, tmp_path):
    broken = tmp_path / "broken.html"
    broken.write_text('<!doctype html><html lang="en"><title>x</title><p><img src="a.png"></p>')
    shown = [p for p in sorted(site.rglob("*")) if p.suffix in (".html", ".css", ".svg")]
    amiss = markup_errors(*shown, broken)
    assert [line for line in amiss if "broken.html" not in line] == []
    assert len(amiss) == 1, "the checker itself sees what is wrong"


def test_every_link_leads_to_a_place_in_a_file(site, every):
    amiss = []
    for path, held in every.items():
        for link in held.links:
            parts = urlsplit(link.removeprefix(ADDRESS) if link.startswith(ADDRESS) else link)
            base = site if link.startswith(ADDRESS) else (site / path).parent
            target = (base / unquote(parts.path)).resolve() if parts.path else site / path
            if link.startswith(ADDRESS) and (not parts.path or parts.path.endswith("/")):
                target = base / unquote(parts.path) / "index.html"
            if parts.scheme == "data" or (path == SEND and link.startswith(SENT_TO)):
                continue
            outside = parts.scheme or parts.netloc or link.startswith("/")
            inside = target.is_file() and target.is_relative_to(site.resolve())
            known = not parts.fragment or leads_within(site, target, unquote(parts.fragment))
            if outside or not inside or not known:
                amiss.append(f"{path} -> {link}")
    assert not amiss, "\n".join(amiss[:20])


def leads_within(site, target, fragment):
    """Whether a fragment is an id of the page, or two days of the season for the page of two."""
    if target == site.resolve() / "two" / "index.html" and "/" in fragment:
        asked = [part for part in fragment.split("/") if part != "latest"]
        return all((site / "day" / part / "index.html").is_file() for part in asked)
    return target.suffix == ".html" and fragment in Held.of(target).ids


def test_every_page_can_be_reached_from_the_front_page(site, every):
    ahead, reached = ["index.html"], set()
    while ahead:
        path = ahead.pop()
        if path in reached:
            continue
        reached.add(path)
        for link in every[path].links:
            parts = urlsplit(link)
            if not parts.scheme and parts.path.endswith(".html"):
                target = ((site / path).parent / parts.path).resolve()
                ahead.append(target.relative_to(site.resolve()).as_posix())
    assert set(every) - reached == set()


def test_nothing_is_inline_and_the_policy_has_no_unsafe_word(every):
    amiss = []
    for path, held in every.items():
        policies = [
            told["content"]
            for tag, told in held.elements
            if tag == "meta" and told.get("http-equiv", "").lower() == "content-security-policy"
        ]
        if len(policies) != 1 or not policies[0].startswith("default-src 'none'"):
            amiss.append(f"{path}: policy {policies}")
        elif re.search(r"unsafe|https?:|\*|strict-dynamic", policies[0]):
            amiss.append(f"{path}: {policies[0]}")
        for tag, told in held.elements:
            handlers = [name for name in told if name.startswith("on") or name == "style"]
            script = any(str(v).lower().lstrip().startswith("javascript:") for v in told.values())
            if handlers or script or tag in ("style", "base", "iframe", "object", "embed"):
                amiss.append(f"{path}: <{tag} {told}>")
        for kind, text in held.inline:
            if kind != "application/ld+json" or not isinstance(json.loads(text), dict):
                amiss.append(f"{path}: a script in the page: {text[:80]}")
    assert not amiss, "\n".join(amiss[:20])


def test_no_file_tells_place_zone_or_device(site):
    # An area of 48.14 cm² is no latitude
    place = r"48\.123|11\.56[78]|(?i:latitude|longitude)"
    told = re.compile(rf"\bCET\b|{place}|{re.escape(socket.gethostname())}\b|GPS(Info|Lat)")
    kinds = (
        ".html",
        ".js",
        ".css",
        ".csv",
        ".json",
        ".xml",
        ".ics",
        ".txt",
        ".svg",
        ".webmanifest",
    )
    files = [p for p in site.rglob("*") if p.suffix in kinds and "assets" not in p.parts]
    amiss = []
    for file in files:
        text = file.read_text(encoding="utf-8")
        amiss += [f"{file.relative_to(site)}: {m[0]}" for m in told.finditer(text)]
        amiss += [f"{file.relative_to(site)}: a path"] * (str(site.parent) in text)
    assert len(files) > DAYS
    assert not amiss, "\n".join(amiss[:20])


@pytest.fixture
def opened_page(browser):
    """Opens pages, in one context an option; nothing may be said on the console, or asked."""
    contexts, said = {}, []

    def open_at(url, **options):
        key = str(sorted(options.items()))
        if key not in contexts:
            context = browser.new_context(viewport={"width": 360, "height": 780}, **options)
            page = context.new_page()
            page.on("console", lambda m: said.append(f"{page.url}: {m.text}"))
            page.on("pageerror", lambda e: said.append(f"{page.url}: {e}"))
            page.on(
                "dialog", lambda d: said.append(f"{page.url}: asked {d.message}") or d.dismiss()
            )
            page.on("response", lambda r: r.status >= 400 and said.append(f"{r.status} {r.url}"))
            page.on(
                "request",
                lambda r: r.url.startswith((url[:12], "data:", "blob:")) or said.append(r.url),
            )
            contexts[key] = page
        page = contexts[key]
        page.goto(url, wait_until="load")
        if options.get("java_script_enabled", True):
            page.evaluate(ASKING)
            page.evaluate("everyPage.settled()")
        return page

    yield open_at
    for page in contexts.values():
        page.context.close()
    assert said == []


def seen(page, width, scheme):
    """The page at a width and in a colour scheme, laid out."""
    page.set_viewport_size({"width": width, "height": 780})
    page.emulate_media(color_scheme=scheme)
    page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def test_no_page_scrolls_sideways_and_axe_finds_nothing(opened_page, address, looked_at):
    axe, amiss = axe_source(), []
    for path in looked_at:
        page = opened_page(address + path)
        page.evaluate(axe)
        for width, scheme in LOOKS:
            seen(page, width, scheme)
            where = f"{path} at {width} px, {scheme}"
            amiss += [f"{where}: {e}" for e in page.evaluate("everyPage.sideways()")]
            rules = "{}" if scheme == "light" else "{runOnly: ['color-contrast']}"
            if width != 768:
                amiss += [f"{where}: {text}" for text in page.evaluate(AXE_TOLD % rules)]
    assert not amiss, "\n".join(amiss[:20])


AXE_TOLD = """axe.run(document, %s).then(found => found.violations.map(rule =>
  `${rule.id}: ${rule.help}: ` + rule.nodes.slice(0, 2).map(node =>
    node.html.slice(0, 120) + " " + node.failureSummary)))"""


def unseen_stops(page):
    """Go through a page by Tab; which stops show no focus."""
    found = []
    page.evaluate("document.activeElement.blur()")
    for _ in range(page.evaluate("everyPage.stops()") + 40):
        page.keyboard.press("Tab")
        focused = page.evaluate("everyPage.focused()")
        if focused is None:
            break
        found += [] if focused["seen"] else [focused["named"]]
    return found


def test_the_keyboard_reaches_everything_and_shows_where_it_is(opened_page, address, looked_at):
    amiss = []
    for path in looked_at:
        page = opened_page(address + path)
        for _ in range(2):  # what is drawn when it comes into view is there the second time
            amiss += [f"{path}: not seen: {name}" for name in unseen_stops(page)]
            if not page.evaluate("everyPage.unreached()"):
                break
        amiss += [f"{path}: not reached: {n}" for n in page.evaluate("everyPage.unreached()")]
    assert not amiss, "\n".join(amiss[:20])


def test_without_scripts_every_page_reads_and_keeps_its_width(opened_page, address, looked_at):
    amiss = []
    for path in looked_at:
        page = opened_page(address + path, java_script_enabled=False)
        for width in (360, 1280):
            page.set_viewport_size({"width": width, "height": 780})
            box = page.locator("html").evaluate("e => [e.scrollWidth, e.clientWidth]")
            if box[0] > box[1]:
                amiss.append(f"{path} at {width} px: {box[0]} px wide")
        if len(page.locator("main").inner_text().strip()) < 40:
            amiss.append(f"{path}: nothing to read")
        hidden = page.locator(".scripted-only, [data-needs-scripts]")
        amiss += [
            f"{path}: cannot work: {each.inner_text()[:60]}"
            for each in hidden.all()
            if each.is_visible()
        ]
    assert not amiss, "\n".join(amiss[:20])


def test_every_page_opens_from_a_folder(opened_page, site, looked_at):
    for path in looked_at:
        page = opened_page((site / path).as_uri())
        assert len(page.locator("main").inner_text().strip()) >= 40, path


def test_hostile_words_are_read_as_they_were_written(opened_page, address):
    page = opened_page(f"{address}index.html")
    assert TAG in page.locator("h1").first.inner_text()
    assert TURNED in page.locator("h1").first.inner_text()
    page = opened_page(f"{address}day/2031-04-03/index.html")
    assert f"{TAG} (Basil {TAG}0): {LONG_WORD}" in page.locator(".diary").inner_text()
    for path in ("followers", "day/2031-04-12", "plant/basil"):
        page = opened_page(f"{address}{path}/index.html")
        assert page.locator(".pair .whose").first.inner_text() == TAG
        assert "turned" in page.locator(".pair figcaption").first.inner_text()
        for shown in page.locator(".pair img").all():
            assert shown.evaluate(LOADED), path
