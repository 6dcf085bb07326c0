"""What a morning makes again: all that a change reaches, and no more.

A site that grew and was changed has to be, file for file, the one that is built at once of the same
season.
"""

import shutil
from dataclasses import replace
from datetime import timedelta

import pytest

from lapsekit.catalogue import Screening
from lapsekit.reporting import work_out
from lapsekit.season import Season
from lapsekit.site import contents
from lapsekit.site.build import build_site
from lapsekit.site.pages import Pages
from lapsekit.trust import trust
from tests.site.made_season import FIRST, Kind, add_day, made

DAYS = 32
KIND = Kind(regions=7, frames_a_day=2, width=160, trough=True)
#: Seven plants, and the group that two of them make.
PAGES = 8
OWN_WORDS = """\
msgid ""
msgstr "Content-Type: text/plain; charset=UTF-8\\nPlural-Forms: nplurals=2; plural=(n != 1);\\n"

msgid "watered"
msgstr "hat getrunken"
"""


def day_of(number):
    return FIRST + timedelta(days=number)


@pytest.fixture(scope="module")
def grown(tmp_path_factory):
    """A season with its site, held against an earlier one; never changed, but copied."""
    home = tmp_path_factory.mktemp("grown")
    earlier = made(home / "before", 20, KIND)
    build_site(earlier)
    earlier.catalogue.close()
    season = made(home / "season", DAYS, KIND)
    edit(season.folder / "season.toml", "[site]\n", '[site]\nearlier = "../before"\n')
    build_site(Season(season.folder))
    season.catalogue.close()
    return home


@pytest.fixture
def home(grown, tmp_path):
    """A copy of both seasons."""
    return shutil.copytree(grown, tmp_path / "home", copy_function=shutil.copy2)


def edit(file, old, new):
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def contents_of(site):
    return {
        file.relative_to(site).as_posix(): file.read_bytes()
        for file in site.rglob("*")
        if file.is_file()
    }


def rebuilt(folder):
    """What the next build of a season writes and removes, and all files after it."""
    season = Season(folder)
    report = build_site(season)
    season.catalogue.close()
    return {*report.written, *report.removed}, contents_of(season.site)


def built_at_once(folder):
    """The files of the same season's site where nothing was ever built."""
    for derived in ("site", ".cache"):
        shutil.rmtree(folder / derived)
    return rebuilt(folder)[1]


def changed_value(home):
    """An old day's value, as after new frames of it were measured."""
    with_catalogue(home / "season", lambda rows: store_other_value(rows, day_of(20), "basil"))


def with_catalogue(folder, change):
    season = Season(folder)
    change(season)
    season.catalogue.close()


def store_other_value(season, day, region):
    row = next(each for each in season.catalogue.daily(region) if each.day == day)
    other = replace(row, area_cm2=2 * row.area_cm2, area_high_cm2=3 * row.area_cm2)
    season.catalogue.store_daily([other])


def changed_verdict(home):
    """A daily picture turns out to be blurred; the day keeps its other frame, which has no file."""

    def change(season):
        rows = season.catalogue.daily()
        for frame in season.catalogue.frames("bench", day_of(12)):
            seen = Screening(frame.path, "m", ("blurred",), 0.4, 0.0, 0.2)
            season.catalogue.record(seen, None, [])
        season.catalogue.store_daily([row for row in rows if row.day == day_of(12)])

    with_catalogue(home / "season", change)


def said_no(home):
    """The grower says no to all frames of a day that the other camera did not see."""
    paths = [f.path for f in Season(home / "season").catalogue.frames("bench", day_of(19))]
    lines = ["frame,verdict,note", *(f"{path},no,the cat" for path in paths)]
    (home / "season" / "verdicts.csv").write_text("\n".join(lines) + "\n")


def lost_picture(home):
    """A frame's file can no longer be read, and its pictures are gone from the site too."""
    season = Season(home / "season")
    frame = season.daily_pictures()["bench"][day_of(9)]
    (season.folder / frame.path).write_bytes(b"broken")
    for file in (season.site / "pictures" / "bench").glob(f"{day_of(9)}-*"):
        file.unlink()


def new_diary_line(home):
    with (home / "season" / "diary.csv").open("a") as diary:
        diary.write(f"{day_of(3)},basil,cut,late remembered\n")


def renamed_plant(home):
    edit(home / "season" / "regions.toml", 'label = "Basil"', 'label = "Basil of the north"')


def moved_outline(home):
    """A plant gets an outline only from a later day on."""
    edit(home / "season" / "regions.toml", f"from = {FIRST}", f"from = {day_of(6)}")


def other_group(home):
    edit(home / "season" / "regions.toml", 'group = "cut leaves"', 'group = "other leaves"')


def gone_region(home):
    text = (home / "season" / "regions.toml").read_text()
    first, *others = text.split("[[region]]\n")[1:]
    (home / "season" / "regions.toml").write_text("".join(f"[[region]]\n{each}" for each in others))
    assert first.startswith('name = "basil"')


def other_language(home):
    edit(home / "season" / "season.toml", "[site]\n", '[site]\nlanguage = "de"\n')


def other_words(home):
    """A catalogue of the season's own, in the language that it has already."""
    other_language(home)
    rebuilt(home / "season")
    words = home / "season" / "site_template" / "words"
    words.mkdir(parents=True)
    (words / "de.po").write_text(OWN_WORDS, encoding="utf-8")
    trust(home / "season")


def other_template(home):
    own = home / "season" / "site_template"
    own.mkdir()
    (own / "plant_days.html").write_text("{% for row in rows %}<tr><td>{{ row.day }}{% endfor %}")
    trust(home / "season")


def other_sowing(home):
    edit(home / "season" / "season.toml", "sown = 2031-03-25", "sown = 2031-03-24")


def other_hour(home):
    """Daily pictures should have been taken in the morning: each says so."""
    edit(home / "season" / "season.toml", "[place]", '[capture]\ndaily_at = "08:00"\n[place]')


def other_scale(home):
    edit(home / "season" / "season.toml", "px_per_cm = 10", "px_per_cm = 20")


def no_address(home):
    edit(home / "season" / "season.toml", 'address = "', '# address = "')


def other_earlier_season(home):
    with_catalogue(home / "before", lambda season: store_other_value(season, day_of(18), "basil"))


def new_day(home):
    with_catalogue(home / "season", lambda season: add_day(season, DAYS + 4, DAYS, KIND))


def earlier_first_day(home):
    """A day before all others is brought in later."""
    with_catalogue(home / "season", lambda season: add_day(season, -3, DAYS, KIND))


CHANGES = {
    changed_value: "plant/basil/index.html",
    changed_verdict: f"day/{day_of(12)}/index.html",
    said_no: f"day/{day_of(19)}/index.html",
    lost_picture: "data/season.js",
    new_diary_line: f"day/{day_of(3)}/index.html",
    renamed_plant: f"day/{day_of(2)}/index.html",
    moved_outline: f"day/{day_of(2)}/index.html",
    other_group: f"day/{day_of(2)}/index.html",
    gone_region: "plant/basil/index.html",
    other_language: f"day/{day_of(2)}/index.html",
    other_words: f"day/{day_of(28)}/index.html",
    other_template: "plant/basil/index.html",
    other_sowing: f"day/{day_of(2)}/index.html",
    other_hour: f"day/{day_of(2)}/index.html",
    other_scale: "data/season.js",
    no_address: f"day/{day_of(2)}/index.html",
    other_earlier_season: "beside/index.html",
    new_day: f"day/{day_of(DAYS + 4)}/index.html",
    earlier_first_day: f"day/{day_of(0)}/index.html",
}


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_a_changed_season_has_the_site_that_is_built_at_once(home, change):
    change(home)
    touched, after = rebuilt(home / "season")
    assert CHANGES[change] in touched
    assert after == built_at_once(home / "season")


def test_without_its_cache_a_season_has_the_same_site(home):
    shutil.rmtree(home / "season" / ".cache")
    assert rebuilt(home / "season")[0] == set()


@pytest.fixture
def rendered(monkeypatch):
    """Templates that are rendered, with where they stand."""
    found, plain = [], Pages._rendered

    def noted(self, name, told):
        found.append((name, told.get("path", "")))
        return plain(self, name, told)

    monkeypatch.setattr(Pages, "_rendered", noted)
    return found


def days_of(rendered):
    return {path.split("/")[1] for name, path in rendered if name == "day.html"}


def test_an_old_days_value_reaches_that_day_and_the_one_a_week_later(home, rendered):
    changed_value(home)
    rebuilt(home / "season")
    assert days_of(rendered) == {f"{day_of(20)}", f"{day_of(27)}"}
    months = [name for name, _ in rendered if name == "plant_days.html"]
    assert len(months) == PAGES, "its month, of every plant and of the group"


def test_a_day_without_its_picture_reaches_those_that_lead_to_it(home, rendered):
    said_no(home)
    rebuilt(home / "season")
    assert days_of(rendered) == {f"{day_of(number)}" for number in (12, 18, 20, 26)}


def test_a_line_of_the_diary_reaches_the_page_of_its_day_alone(home, rendered):
    new_diary_line(home)
    rebuilt(home / "season")
    assert days_of(rendered) == {f"{day_of(3)}"}


def test_a_new_day_renders_its_own_month_of_long_tables(home, rendered):
    new_day(home)
    rebuilt(home / "season")
    count = {name: [n for n, _ in rendered].count(name) for name, _ in rendered}
    assert count["plant_days.html"] == PAGES
    assert count["growth_days.html"] == 2, "one for each unit"
    assert count["days_of_month.html"] == 1
    assert len(days_of(rendered)) <= 3


def test_another_program_makes_every_page_again(home, rendered, monkeypatch):
    monkeypatch.setattr(contents, "code_mark", lambda: "of another program")
    touched, _ = rebuilt(home / "season")
    pages = list((home / "season" / "site").rglob("index.html"))
    assert len([path for name, path in rendered if path]) == len(pages)
    months = [name for name, _ in rendered if name == "plant_days.html"]
    assert len(months) == 2 * PAGES and touched == set()


def test_what_a_days_page_is_told_does_not_rest_on_other_days(home, monkeypatch):
    """Told of a season that knows no other days, it is what it is when all are known."""
    told = []
    plain = Pages.render
    monkeypatch.setattr(
        Pages,
        "render",
        lambda *given: told.append((given[1].path, given[1].facts)) or plain(*given),
    )
    pages = []
    for around in (contents.Whole.around, lambda whole, day: whole):
        monkeypatch.setattr(contents.Whole, "around", around)
        shutil.rmtree(home / "season" / ".cache")
        rebuilt(home / "season")
        pages.append(dict(told))
        told.clear()
    assert len(pages[0]) > DAYS and pages[0] == pages[1]


def test_pieces_that_were_damaged_are_made_again(home):
    folder = home / "season" / ".cache" / "pieces"
    files = sorted(folder.iterdir())
    assert len(files) > 7
    files[0].write_bytes(files[0].read_bytes()[:-40])
    files[1].write_text("nothing")
    files[2].write_bytes(b"\xff\xfe\x00")
    new_day(home)
    _, after = rebuilt(home / "season")
    assert after == built_at_once(home / "season")


def test_pieces_of_a_page_that_is_gone_are_forgotten(home):
    pieces = home / "season" / ".cache" / "pieces" / "plant%2Fbasil%2Findex.html"
    assert pieces.is_file()
    gone_region(home)
    rebuilt(home / "season")
    assert not pieces.exists()


def test_pieces_hold_what_their_page_shows_and_no_more(home):
    pieces = home / "season" / ".cache" / "pieces" / "plant%2Fbasil%2Findex.html"
    before = pieces.stat().st_size
    changed_value(home)
    rebuilt(home / "season")
    assert abs(pieces.stat().st_size - before) < 200


def test_growth_that_was_worked_out_before_gives_the_same_site(home):
    season = Season(home / "season")
    add_day(season, DAYS + 4, DAYS, KIND)
    assert build_site(season, growth=work_out(season)).written
    after = contents_of(season.site)
    season.catalogue.close()
    assert after == built_at_once(home / "season")
