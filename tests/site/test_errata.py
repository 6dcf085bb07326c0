"""Numbers corrected after publication stand where readers met them."""

import html
import re

from lapsekit.season import CORRECTIONS_FILE, Season
from lapsekit.site.build import build_site

TEXT = """\
noticed,region,from,until,wrong,change
2031-04-08,basil,2031-04-01,2031-04-05,The scale was <b>off</b> by a tenth.,Areas are larger now.
2031-04-09,,2031-04-02,,The clock was an hour late.,
someday,basil,,,no date,
2031-04-10,cress,,2031-04-03,Two pots were swapped.,
"""


def words_of(season, page):
    text = (season.site / page / "index.html").read_text(encoding="utf-8")
    assert "<b>off</b>" not in text
    found = re.search(r'<ul class="errata">(.*?)</ul>', text, re.DOTALL)
    lines = found[1].split("<li>")[1:] if found else []
    bare = (html.unescape(re.sub(r"<[^>]*>", "", line)) for line in lines)
    return [" ".join(line.split()) for line in bare]


def test_a_correction_is_told_on_the_pages_of_its_plant_and_of_the_season(tiny):
    build_site(tiny)
    assert not any("errata" in f.read_text() for f in tiny.site.rglob("*.html"))
    (tiny.folder / CORRECTIONS_FILE).write_text(TEXT, encoding="utf-8")
    report = build_site(Season(tiny.folder))
    assert any("corrections.csv: line 4 is passed over" in said for said in report.problems)
    scale = (
        "Corrected on Tuesday, 8 April 2031: Basil <img src=x onerror=alert(2)>. The scale was "
        "<b>off</b> by a tenth. Areas are larger now. Numbers of 1 Apr to 5 Apr changed."
    )
    clock = (
        "Corrected on Wednesday, 9 April 2031: The clock was an hour late. Numbers from 2 Apr on "
        "changed."
    )
    swapped = (
        "Corrected on Thursday, 10 April 2031: Cress. Two pots were swapped. Numbers until 3 Apr "
        "changed."
    )
    for page in ("about", "growth"):
        assert words_of(tiny, page) == [swapped, clock, scale]
    basil, cress = sorted(p.name for p in (tiny.site / "plant").iterdir() if p.is_dir())
    assert words_of(tiny, f"plant/{basil}") == [clock, scale]
    assert words_of(tiny, f"plant/{cress}") == [swapped, clock]


def test_pages_speak_of_corrections_in_the_readers_language(tiny):
    settings = tiny.folder / "season.toml"
    settings.write_text(settings.read_text() + '[site]\nlanguage = "de"\n')
    (tiny.folder / CORRECTIONS_FILE).write_text(TEXT, encoding="utf-8")
    season = Season(tiny.folder)
    build_site(season)
    assert words_of(season, "about")[1].startswith("Berichtigt am Mittwoch, 9. April 2031:")
