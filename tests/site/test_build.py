"""The site on disk: what is written, in which order, and what is not."""

import json
from datetime import date, timedelta
from html.parser import HTMLParser
from urllib.parse import urlsplit

import pytest

from lapsekit.errors import NotTrusted, SiteError
from lapsekit.reporting import work_out
from lapsekit.season import Season
from lapsekit.site import writing
from lapsekit.site.build import build_site
from lapsekit.trust import take_back, trust
from tests.site.small_season import DARK, FIRST, UNSEEN, add_day

DAYS = [FIRST + timedelta(days=n) for n in range(10) if FIRST + timedelta(days=n) != UNSEEN]
SHOWN = [day for day in DAYS if day != DARK]


class _Page(HTMLParser):
    """Collects what a page points to, its element names, ids and text."""

    def __init__(self, path):
        super().__init__()
        self.links, self.tags, self.ids, self.attributes = [], [], [], set()
        self.scripts_with_source = 0
        self.feed(path.read_text(encoding="utf-8"))

    def handle_starttag(self, tag, attributes):
        self.tags.append(tag)
        self.scripts_with_source += tag == "script" and "src" in dict(attributes)
        for name, value in attributes:
            self.attributes.add(name)
            if name in ("href", "src", "poster"):
                self.links.append(value)
            if name == "srcset":
                self.links += [part.split()[0] for part in value.split(",")]
            if name == "id":
                self.ids.append(value)


def pages(season):
    return sorted(season.site.rglob("*.html"))


def text_of(season, path):
    return (season.site / path).read_text(encoding="utf-8")


def season_of(season):
    """What the site's scripts are told of the season."""
    script = text_of(season, "data/season.js")
    return json.loads(script.removeprefix("lapsekit.season = ").rstrip(";\n"))


def stamps(season):
    return {p: p.stat().st_mtime_ns for p in season.site.rglob("*") if p.is_file()}


def test_each_day_with_a_picture_has_a_page_and_no_other_day(tiny):
    report = build_site(tiny)
    folders = {p.name for p in (tiny.site / "day").iterdir() if p.is_dir()}
    assert folders == {day.isoformat() for day in SHOWN}
    assert report.front == tiny.site / "index.html"
    of_season = {"index", "day", "growth", "about", "diary", "film", "plant/basil", "plant/cress"}
    of_season |= {"two", "yours", "elsewhere", "embed", "growth/values"}
    found = {p.relative_to(tiny.site).with_suffix("").as_posix() for p in pages(tiny)}
    found = {path.removesuffix("/index") for path in found} - {f"day/{day}" for day in SHOWN}
    assert found == of_season
    assert report.pictures == 2 * len(SHOWN) - 1


def test_gaps_say_why_they_are_gaps(tiny):
    build_site(tiny)
    days = text_of(tiny, "day/index.html")
    assert "no picture (1 dark)" in days
    assert "no picture (no frame was taken)" in days
    told = season_of(tiny)["cameras"]
    gaps = {camera["name"]: camera["gaps"] for camera in told}
    assert gaps["bench"] == {str(DARK): "1 dark", str(UNSEEN): "no frame was taken"}
    assert gaps["trough"]["2031-04-03"] == "no frame was taken"
    assert "No picture from trough this day: no frame was taken" in text_of(
        tiny, "day/2031-04-03/index.html"
    )


def test_every_link_is_relative_and_leads_to_a_file(tiny):
    build_site(tiny)
    for path in pages(tiny):
        page = _Page(path)
        assert len(page.ids) == len(set(page.ids)), f"{path}: an id twice"
        for link in page.links:
            parts = urlsplit(link)
            assert not parts.scheme and not parts.netloc and not link.startswith("/"), link
            target = path.parent / parts.path if parts.path else path
            assert target.is_file(), f"{path} -> {link}"
            if parts.path.endswith("two/index.html"):  # days that its script reads
                assert set(parts.fragment.split("/")) <= {*map(str, SHOWN), "latest", ""}
            elif parts.fragment:
                assert parts.fragment in _Page(target).ids, f"{path} -> {link}"


def test_hostile_names_stay_text_and_nothing_is_inline(tiny):
    build_site(tiny)
    for path in pages(tiny):
        page = _Page(path)
        assert page.tags.count("script") == page.scripts_with_source
        assert not page.attributes & {"onerror", "onclick", "style"}
        assert "style" not in page.tags
        text = path.read_text(encoding="utf-8")
        assert "<script>alert" not in text and "<img src=x" not in text
        assert "<b>on</b>" not in text and "<i>14 cm</i>" not in text


def test_numbers_come_with_their_frames_range_and_change(tiny):
    build_site(tiny)
    page = text_of(tiny, "day/2031-04-09/index.html")
    assert "18\u00a0cm²" in page and "17 to 19\u00a0cm²" in page
    assert "+7.0\u00a0cm² (+64\u00a0%)" in page
    assert "18\u00a0%" in page, "a region without a scale shows cover"
    table = text_of(tiny, "data/daily.csv").splitlines()
    written = work_out(tiny).daily.csv.decode()
    assert table == written.splitlines()
    assert any(row.startswith("basil,2031-04-09,15,18,17,19,0.18,") for row in table)
    assert f"basil,2031-04-04,10,,,,,,,0,1,1 dark{15 * ','}" in table


def test_a_second_build_writes_nothing(tiny):
    build_site(tiny)
    before = stamps(tiny)
    report = build_site(tiny)
    assert (report.written, report.removed) == ([], [])
    assert report.unchanged == len(before)
    assert stamps(tiny) == before


def test_the_place_is_not_told(tiny):
    build_site(tiny)
    for path in pages(tiny):
        text = path.read_text(encoding="utf-8")
        assert "CET" not in text
        assert str(tiny.folder) not in text


def test_a_day_that_is_gone_goes_from_the_site(tiny):
    build_site(tiny)
    (tiny.site / "CNAME").write_text("the grower's own")
    tiny.catalogue.remove_frames([f.path for f in tiny.catalogue.frames(day=date(2031, 4, 2))])
    report = build_site(tiny)
    assert len(report.removed) >= 5
    assert not (tiny.site / "day" / "2031-04-02").exists()
    assert not list(tiny.site.glob("pictures/*/2031-04-02*"))
    assert (tiny.site / "CNAME").exists()


def test_pictures_go_before_pages_and_the_front_page_last(tiny, monkeypatch):
    order = []

    def spy(path, content):
        order.append(path.relative_to(tiny.site).as_posix())
        return plain(path, content)

    plain = writing.write_safely
    monkeypatch.setattr(writing, "write_safely", spy)
    build_site(tiny)
    html = [n for n, name in enumerate(order) if name.endswith(".html")]
    assert order[-1] == "index.html"
    tellers = {"latest.json", "diary.ics"}
    assert {order[n] for n in range(html[0], len(order)) if n not in html} == tellers
    assert html[:-1] == list(range(html[0], html[-2] + 1)), "what names the pages comes after them"
    assert {name.split("/")[0] for name in order[: html[0]]} == {
        *("pictures", "assets", "data", "cards", "today.jpg"),
    }


def test_a_failed_page_leaves_the_front_page_as_it_was(tiny):
    build_site(tiny)
    before = text_of(tiny, "index.html")
    own = tiny.folder / "site_template"
    own.mkdir()
    trust(tiny.folder)
    (own / "about.html").write_text("{{ nothing_of_that_name }}")
    add_day(tiny, date(2031, 4, 11))
    with pytest.raises(SiteError, match=r"about\.html"):
        build_site(tiny)
    assert text_of(tiny, "index.html") == before
    for link in _Page(tiny.site / "index.html").links:
        assert (tiny.site / (urlsplit(link).path or "index.html")).is_file(), link


def test_the_growers_own_templates_come_first(tiny):
    own = tiny.folder / "site_template"
    own.mkdir()
    trust(tiny.folder)
    (own / "about.html").write_text("Our own {{ title }}")
    (own / "style.css").write_text("body { color: green }")
    build_site(tiny)
    assert text_of(tiny, "about/index.html").startswith("Our own Salad &lt;script&gt;")
    (style,) = tiny.site.glob("assets/style-*.css")
    assert style.read_text() == "body { color: green }"


def test_a_season_without_frames_says_so(empty):
    report = build_site(empty)
    assert not (empty.site / "diary").exists() and not (empty.site / "film").exists()
    assert report.problems == []
    assert "No picture yet" in text_of(empty, "index.html")
    assert text_of(empty, "data/daily.csv").count("\n") == 1


def test_a_season_without_regions_shows_its_pictures(tiny):
    (tiny.folder / "regions.toml").unlink()
    tiny.catalogue.keep_regions({})
    tiny.regions = type(tiny.regions)()
    report = build_site(tiny)
    assert report.pictures == 2 * len(SHOWN) - 1
    assert "Canopy on" not in text_of(tiny, "index.html")


def test_frames_that_were_all_refused_are_no_pictures(empty):
    add_day(empty, FIRST, ("blurred",))
    build_site(empty)
    front = text_of(empty, "index.html")
    assert "No picture yet" in front and "1 blurred" in front


def test_a_frame_that_cannot_be_read_is_a_gap_that_says_so(tiny):
    (frame,) = tiny.catalogue.frames("bench", date(2031, 4, 2))
    (tiny.folder / frame.path).write_bytes(b"damaged")
    report = build_site(tiny)
    assert any(frame.path in problem for problem in report.problems)
    assert "1 not readable" in text_of(tiny, "day/2031-04-02/index.html")


def test_the_diary_is_told_and_its_bad_line_reported(tiny):
    report = build_site(tiny)
    assert "potted on (Basil" in text_of(tiny, "day/2031-04-03/index.html")
    assert len(report.problems) == 1 and "line 3" in report.problems[0]


def test_a_picture_far_from_its_time_says_its_own_and_why(tiny):
    """Frames are of 12:02; wanted by half past three, they stand for their days and say so."""
    build_site(tiny)
    assert "since no good one" not in text_of(tiny, "index.html")
    settings = tiny.folder / "season.toml"
    settings.write_text(settings.read_text() + '\n[capture]\ndaily_at = "15:30"\n')
    late = Season(tiny.folder)
    build_site(late)
    assert "Taken 12:02 (UTC+2), since no good one is near 15:30" in " ".join(
        text_of(late, "index.html").split()
    )
    late.catalogue.close()


def test_times_by_the_sun_are_said_in_words(tiny):
    settings = tiny.folder / "season.toml"
    times = '[place]\nlatitude = 69\nlongitude = 18\n[capture]\nfrom = "sunrise"\n'
    times += 'until = "sunset - 1:30"\ndaily_at = "noon"\n'
    text = settings.read_text().replace('kind = "files"', 'kind = "usb"')
    settings.write_text(f"{text}\n{times}")
    sunny = Season(tiny.folder)
    build_site(sunny)
    about = " ".join(text_of(sunny, "about/index.html").split())
    assert "between sunrise and 1 h 30 min before sunset, a frame is kept" in about
    assert "nearest solar noon" in about
    sunny.catalogue.close()


def test_own_templates_of_a_folder_that_is_not_trusted_are_not_run(tiny):
    build_site(tiny)
    (tiny.folder / "site_template").mkdir()
    (tiny.folder / "site_template" / "about.html").write_text("{{ 1 / 0 }}")
    take_back(tiny.folder)
    with pytest.raises(NotTrusted, match="templates of its own"):
        build_site(tiny)
