"""Followers' pictures on the site: beside ours of the same age, under their chosen name, and gone.

What is shown has a consent and the grower's yes; all else leaves a site as it would be without.
"""

import io
import re
import shutil
from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser
from urllib.parse import parse_qs, unquote, urlsplit

import pytest
from PIL import ExifTags, Image

from lapsekit.errors import SiteError
from lapsekit.followers.deciding import back_to_waiting, correct, take_down_by_id
from lapsekit.followers.records import place_of
from lapsekit.followers.told_lines import told_lines
from lapsekit.publishing import publish
from lapsekit.season import Season
from lapsekit.site import build
from lapsekit.site.blocks import blocks_of
from lapsekit.site.build import build_site
from lapsekit.trust import trust
from tests.publishing.sites import contents as hashes
from tests.site.followers_season import AGREED, FOLLOWERS, add_follower, photograph
from tests.site.made_season import FIRST, Kind, made
from tests.site.test_words import ENGLISH

DAYS = 20
KIND = Kind(regions=4, width=160)
SOWN = date(2031, 3, 25)
SECRETS = ("secretfile", "secret@mail", "Secretparent", "0123abcd", "IMG_")
#: Words of strangers that try to break a page.
TAG = "<script>alert('follower')</script>"
TURNED = "\u202eturned"
LONG = "Blatt" * 2000


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A season that never heard of followers; built. Its folder is copied, not changed."""
    folder = tmp_path_factory.mktemp("bench") / "season"
    season = made(folder, DAYS, KIND)
    build_site(season)
    season.catalogue.close()
    return folder


@pytest.fixture
def season(bench, tmp_path):
    """A copy of it that takes followers' pictures."""
    folder = tmp_path / "season"
    shutil.copytree(bench, folder)
    return with_settings(folder, FOLLOWERS)


def with_settings(folder, text):
    file = folder / "season.toml"
    file.write_text(file.read_text(encoding="utf-8") + text, encoding="utf-8")
    return Season(folder)


def contents(folder):
    """What each file under a folder holds, by path."""
    files = (file for file in folder.rglob("*") if file.is_file())
    return {file.relative_to(folder).as_posix(): file.read_bytes() for file in files}


def built(season):
    """The site after a build, by path; what the build wrote and removed."""
    report = build_site(season)
    return contents(season.site), {*report.written, *report.removed}


def page(season, path):
    return (season.site / path / "index.html").read_text(encoding="utf-8")


class Text(HTMLParser):
    """What a page says, and its elements."""

    def __init__(self, source):
        super().__init__()
        self.words, self.tags, self._skips = [], [], False
        self.feed(source)
        self.text = " ".join(" ".join(self.words).split())

    def handle_starttag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))
        self._skips = tag in ("script", "style")

    def handle_endtag(self, tag):
        self._skips = False

    def handle_data(self, data):
        if not self._skips:
            self.words.append(data)


def figures(source):
    return re.findall(r'<figure class="pair".*?</figure>', source, re.DOTALL)


def test_what_was_taken_back_while_the_site_was_built_is_not_in_the_site_that_is_sent(
    season, monkeypatch
):
    one, other = add_follower(season), add_follower(season, photograph(1), name="Bo")
    builds = []

    def taken_back_after(*told):
        report = build_site(*told)
        if not builds:
            back_to_waiting(season, one)
        builds.append(figures(page(season, "followers")))
        return report

    monkeypatch.setattr(build, "build_site", taken_back_after)
    build.build_for_readers(season)
    assert [len(each) for each in builds] == [2, 1]
    assert "Mia" not in page(season, "followers") and "Bo" in page(season, "followers")
    words = iter("abcd")
    monkeypatch.setattr(build, "build_site", lambda *_: correct(season, other, caption=next(words)))
    with pytest.raises(SiteError, match="nothing is sent"):
        build.build_for_readers(season)


@pytest.mark.parametrize("crop", [None, (0, 0, 300, 300)], ids=["whole", "cropped"])
def test_one_damaged_picture_is_left_out_and_told_and_the_site_is_built(season, crop):
    mine = add_follower(season, crop=crop)
    add_follower(season, photograph(1), name="Bo")
    (place_of(season, mine) / "picture.jpg").write_bytes(b"\xff\xd8\xff damaged")
    report = build_site(season)
    assert [
        problem for problem in report.problems if "a follower's picture is not shown" in problem
    ]
    assert len(figures(page(season, "followers"))) == 1 and "Bo" in page(season, "followers")


def test_a_picture_stands_on_its_day_its_plants_page_and_its_own_beside_ours_of_that_age(season):
    add_follower(season, age_days=13, taken_on=date(2031, 4, 12), caption="On the sill.")
    built(season)
    ours = SOWN + timedelta(13)
    for path in ("day/2031-04-12", "plant/basil", "followers"):
        (figure,) = figures(page(season, path))
        said = Text(figure)
        assert "Mia 13 days old , 12 Apr" in said.text and "On the sill." in said.text
        assert re.search(rf"13 days old , {ours.day} Apr, [\d.]+ cm²", said.text), said.text
        assert f"/crops/{ours}-" in figure and f"day/{ours}/index.html" in figure
        alts = [told["alt"] for tag, told in said.tags if tag == "img"]
        assert alts == ["Picture by Mia: Basil, 13 days old", "Ours: Basil, 13 days old"]
    for path in ("day/2031-04-11", "plant/chives"):
        assert figures(page(season, path)) == []


def test_the_crop_beside_it_shows_the_same_part_of_the_same_frame_as_the_plants_own_row(season):
    add_follower(season, age_days=(FIRST - SOWN).days)
    built(season)
    (figure,) = figures(page(season, "followers"))
    stem = re.search(r'src="\.\./(pictures/bench/crops/2031-04-01-\w+)\.jpg"', figure)[1]
    assert stem in page(season, "plant/basil")


def test_where_ours_is_missing_it_is_said_why(season):
    for mark, told in {
        "a": {"age_days": 300},
        "b": {"age_days": None, "sown": None},
        "c": {"region": "", "plant": "Shiso"},
        "d": {"age_days": 2},
    }.items():
        add_follower(season, photograph(ord(mark)), name=f"name-{mark}", **told)
    built(season)
    text = Text(page(season, "followers")).text
    said = {n: text.split(f"name-{n}")[1].split("name-")[0] for n in "abcd"}
    assert "Ours will be as old on Monday, 19 January 2032." in said["a"]
    assert "Its age is not known" in said["b"]
    assert "We grow none" in said["c"]
    assert "Ours has no picture at that age." in said["d"], "no frame yet on its second day"
    assert text.index("Other plants") < text.index("name-c") > text.index("name-a")


def test_no_file_holds_more_of_a_follower_than_the_chosen_name_and_words(season):
    ids = [add_follower(season, photograph(n), age_days=13) for n in range(2)]
    after, _ = built(season)
    names = "\n".join(after)
    for secret in (*SECRETS, *ids):
        assert not [path for path, data in after.items() if secret.encode() in data], secret
        assert secret not in names
    cached = contents(season.folder / ".cache")
    assert not [p for p, data in cached.items() if b"Mia" in data], "nor does what is kept beside"


def test_a_picture_is_made_anew_without_what_a_camera_wrote(season):
    out, exif = io.BytesIO(), Image.Exif()
    exif[ExifTags.Base.ImageDescription] = "Devicename"
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (48.0, 7.0, 24.0)
    Image.open(io.BytesIO(photograph(1))).save(out, "JPEG", exif=exif, comment=b"Devicename")
    assert b"Devicename" in out.getvalue()
    add_follower(season, out.getvalue())
    after, _ = built(season)
    shown = {p: data for p, data in after.items() if p.startswith("followers/pictures/")}
    assert {path[-4:] for path in shown} == {"avif", ".jpg"}
    for path, data in shown.items():
        with Image.open(io.BytesIO(data)) as picture:
            assert not picture.getexif() and picture.info.keys() <= NOTHING_TOLD, path
        assert b"Devicename" not in data


NOTHING_TOLD = {"jfif", "jfif_version", "jfif_unit", "jfif_density", "progressive", "progression"}


def test_strangers_words_are_read_as_words_bounded_and_in_their_direction(season):
    names = (TAG, f'" onload="x{TURNED}', "a\u0000b</figure><b>")
    for number, name in enumerate(names):
        told = {"name": name, "plant": TAG, "caption": f"{TAG} {TURNED} {LONG}"}
        add_follower(season, photograph(number), **told)
    built(season)
    for path in ("day/2031-04-12", "plant/basil", "followers"):
        source = page(season, path)
        said, found = Text(source), figures(source)
        assert len(found) == 3, path
        assert TAG in said.text and "\u202e" not in source and "\0" not in source
        assert not [tag for tag, told in said.tags if any(n.startswith("on") for n in told)]
        inline = [told for tag, told in said.tags if tag == "script" and "src" not in told]
        assert all(told == {"type": "application/ld+json"} for told in inline)
        for figure in found:
            assert len(Text(figure).text) < 900, "10,000 letters are cut"


@pytest.mark.parametrize(
    ("state", "told"),
    [
        ("waiting", {}),
        ("declined", {}),
        ("shown", {"consent": None}),
        ("shown", {"consent": replace(AGREED, parent="")}),
        ("shown", {"is_confirmed": False}),
    ],
)
def test_what_has_no_yes_or_no_consent_changes_no_byte(season, state, told):
    before, _ = built(season)
    add_follower(season, state=state, **told)
    assert built(season) == (before, set())


def test_a_season_that_takes_none_and_shows_none_is_byte_for_byte_without(bench, tmp_path):
    folder = tmp_path / "season"
    shutil.copytree(bench, folder)
    before = contents(folder / "site")
    season = with_settings(folder, '[followers]\ncontact = "the office"\n')
    add_follower(season, state="waiting")
    assert built(season) == (before, set())
    assert not [path for path in before if path.startswith("followers/")]
    pages = [data.decode() for path, data in before.items() if path.endswith(".html")]
    assert not [text for text in pages if "ollowers" in text or "Show us yours" in text]


def test_a_new_picture_writes_the_pages_that_show_it_and_no_other(season):
    add_follower(season, photograph(1))
    built(season)
    add_follower(season, photograph(2), region="chives", taken_on=date(2031, 4, 8), age_days=20)
    _, changed = built(season)
    pages = {path for path in changed if path.endswith("index.html")}
    assert pages == {
        "followers/index.html",
        "day/2031-04-08/index.html",
        "plant/chives/index.html",
        "index.html",
    }
    others = {p for p in changed - pages if not p.startswith(("followers/", "pictures/bench/cr"))}
    assert others == set()
    assert built(season)[1] == set(), "and nothing, once it stands"


def test_what_is_taken_down_leaves_pages_pictures_and_the_far_side(season, tmp_path):
    far = tmp_path / "far"
    season = with_settings(season.folder, f'[publish]\nto = "folder"\ntarget = "{far}"\n')
    trust(season.folder)
    add_follower(season, photograph(1), name="Stays")
    before, _ = built(season)
    publish(season)
    gone = add_follower(season, photograph(2), name="Goes", caption="Takenback", age_days=20)
    shown, _ = built(season)
    publish(season)
    assert hashes(far) == hashes(season.site) and shown != before
    take_down_by_id(season, gone)
    assert built(season)[0] == before
    removed = publish(season).removed
    assert hashes(far) == hashes(season.site)
    assert removed and all(
        p.startswith(("followers/pictures/", "pictures/bench/cr")) for p in removed
    )
    everywhere = {**contents(far), **contents(season.folder / ".cache")}
    assert not [path for path, data in everywhere.items() if b"Takenback" in data]


def test_feeds_data_and_cards_are_the_same_with_followers_pictures_and_without(season):
    before, _ = built(season)
    add_follower(season, name="Unheard", caption="Unheard")
    after, changed = built(season)
    assert {path for path in changed if not path.endswith(".html")} <= {
        path for path in after if path.startswith(("followers/pictures/", "pictures/bench/crops/"))
    }
    naming = {path for path, data in after.items() if b"Unheard" in data}
    assert naming == {f"{at}/index.html" for at in ("followers", "plant/basil", "day/2031-04-12")}
    assert {p for p in before if p.startswith(("data/", "cards/", "feed"))} <= set(after)


def test_a_cropped_picture_is_shown_cropped_and_under_another_name(season):
    picture = Image.new("RGB", (400, 400), "red")
    picture.paste("blue", (200, 0, 400, 400))
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=95)
    add_follower(season, out.getvalue(), crop=(0, 0, 180, 400))
    after, _ = built(season)
    (path,) = [p for p in after if p.startswith("followers/pictures/") and p.endswith(".jpg")]
    with Image.open(io.BytesIO(after[path])) as shown:
        assert shown.size == (180, 400)
        red, _, blue = shown.resize((1, 1)).getpixel((0, 0))
        assert red > 200 and blue < 60


def test_a_picture_that_cannot_be_read_is_left_out_and_told(season):
    broken = add_follower(season, photograph(1))
    add_follower(season, photograph(2), name="Whole")
    (place_of(season, broken) / "picture.jpg").write_bytes(b"no picture")
    report = build_site(season)
    assert len(report.problems) == 1 and "not shown" in report.problems[0]
    assert "Whole" in page(season, "followers") and len(figures(page(season, "followers"))) == 1


def test_the_mail_that_the_page_opens_has_every_line_and_agrees_to_nothing(season):
    built(season)
    source = page(season, "followers/send")
    links = [t["href"] for tag, t in Text(source).tags if tag == "a" and "mailto" in t["href"]]
    (writes, takes_down) = map(urlsplit, links)
    assert writes.path == takes_down.path == "plants@herbs.example"
    told = parse_qs(writes.query, keep_blank_values=True)
    lines = told["body"][0].split("\r\n")
    labels = ["Name", "Plant", "Sown", "Taken", "Caption", "I agree", "I am of age", "Parent"]
    assert lines[2:-1] == [f"{label}: " for label in labels]
    assert "Made-up herbs" in told["subject"][0]
    assert unquote(takes_down.query).endswith("Take down: \r\n")
    assert "https://herbs.example/yours/" in source and "the school" in source


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_lines_are_those_that_the_reader_of_mails_knows(language):
    from lapsekit.language.words import Words
    from lapsekit.site.sending import code_line, lines_to_fill

    words = Words(language)
    labels = [label for label, _ in lines_to_fill(words, with_parent=True)]
    answers = ("Mia", "Basil", "2031-04-01", "2031-04-12", "x", "yes", "no", "Ida")
    lines = [f"{label}: {told}" for label, told in zip(labels, answers, strict=True)]
    told = told_lines([*lines, f"{code_line(words)}: AAAA"], date(2031, 4, 20))
    known = (told.name, told.plant, told.sown, told.taken_on, told.caption, told.parent, told.code)
    assert known == ("Mia", "Basil", date(2031, 4, 1), date(2031, 4, 12), "x", "Ida", "AAAA")
    assert told.agrees is True and told.is_of_age is False


def test_a_season_that_takes_no_minors_asks_for_no_parent(season):
    season = with_settings(season.folder, 'minors = "never"\n')
    built(season)
    text = Text(page(season, "followers/send")).text
    assert "We take no pictures from people who are not of age." in text
    assert "Parent:" not in text and "guardian" not in text


def test_without_a_way_to_send_there_is_no_page_that_says_how(bench, tmp_path):
    folder = tmp_path / "season"
    shutil.copytree(bench, folder)
    season = with_settings(folder, '[followers]\ncontact = "the office"\ninbox = "in"\n')
    add_follower(season)
    after, _ = built(season)
    found = {path for path in after if path.startswith("followers/") and path.endswith(".html")}
    assert found == {"followers/index.html", "followers/privacy/index.html"}
    assert not [p for p, data in after.items() if p.endswith(".html") and b"followers/send" in data]


def test_the_growers_own_notice_is_shown_as_text(season):
    notice = "# Your <b>data</b>\n\nWe keep little.\nReally.\n\n- one\n- two\n\n<script>x</script>"
    (season.folder / "followers-privacy.md").write_text(notice, encoding="utf-8")
    built(season)
    source = page(season, "followers/privacy")
    said = Text(source)
    assert "Your <b>data</b> We keep little. Really. one two <script>x</script>" in said.text
    assert "the school's office" in said.text
    assert "<b>" not in source and [tag for tag, _ in said.tags].count("li") >= 2
    (season.folder / "followers-privacy.md").write_bytes(b"\xff\xfe broken \xff")
    report = build_site(season)
    assert "followers-privacy.md" in report.problems[0]
    assert "the school's office" in Text(page(season, "followers/privacy")).text


def test_a_notice_is_headings_lists_and_paragraphs_and_nothing_else():
    found = blocks_of("# A\n## B\ntext *not bold*\r\nmore\n\n* x\n* y\nafter\n\n\n> q")
    assert [(block.kind, block.lines) for block in found] == [
        ("heading", ("A",)),
        ("heading", ("B",)),
        ("paragraph", ("text *not bold* more",)),
        ("list", ("x", "y")),
        ("paragraph", ("after",)),
        ("paragraph", ("> q",)),
    ]


def test_a_picture_of_a_plant_in_a_group_stands_on_the_groups_page_too(bench, tmp_path):
    season = made(tmp_path / "season", 12, Kind(regions=6, width=160))
    add_follower(season, region="kale", age_days=13)
    built(season)
    for name in ("kale", "group_cut-leaves"):
        assert len(figures(page(season, f"plant/{name}"))) == 1
    assert figures(page(season, "plant/lettuce")) == []


def test_a_german_season_speaks_german_of_followers(season):
    file = season.folder / "season.toml"
    text = file.read_text(encoding="utf-8").replace("[site]\n", '[site]\nlanguage = "de"\n')
    file.write_text(text, encoding="utf-8")
    season = Season(season.folder)
    add_follower(season, name="Oma", plant="Basilikum", caption="Sonnig.")
    add_follower(season, photograph(3), name="", age_days=400, plant="")
    built(season)
    for path in ("followers", "followers/send", "followers/privacy"):
        source = page(season, path).split("<main")[1].split("</main>")[0]
        said = Text(source).text.replace("the school's office", "")
        found = [word for word in ENGLISH.findall(said) if word not in ("an", "in", "so")]
        assert found == [], f"{path}: {found}"
    assert "Oma 11 Tage alt , 12. Apr" in Text(page(season, "followers")).text
