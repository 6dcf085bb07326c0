"""Only pages that changed are made again; what is deleted or tampered with comes back."""

import pytest

from lapsekit.season import Season
from lapsekit.site.build import build_site
from lapsekit.site.pages import Pages
from lapsekit.trust import trust
from tests.site.small_season import add_day, date


@pytest.fixture
def rendered(monkeypatch):
    """Paths of the pages that are rendered, in order."""
    found, plain = [], Pages.render

    def noted(self, page, head):
        found.append(page.path)
        return plain(self, page, head)

    monkeypatch.setattr(Pages, "render", noted)
    return found


def test_an_unchanged_build_renders_nothing(tiny, rendered):
    build_site(tiny)
    assert len(rendered) > 10
    rendered.clear()
    build_site(tiny)
    assert rendered == []


def test_a_new_day_renders_its_page_its_neighbours_and_the_pages_of_the_season(tiny, rendered):
    build_site(tiny)
    rendered.clear()
    add_day(tiny, date(2031, 4, 11))
    build_site(tiny)
    days = {path for path in rendered if path.startswith("day/2031")}
    # the day before gains its "next"; there is no picture of a week before
    assert days == {"day/2031-04-10/index.html", "day/2031-04-11/index.html"}
    assert "index.html" in rendered and "day/index.html" in rendered


def test_a_page_that_was_changed_or_deleted_by_hand_comes_back(tiny, rendered):
    build_site(tiny)
    page, gone = (tiny.site / "day" / f"2031-04-0{n}" / "index.html" for n in (2, 3))
    whole = page.read_bytes()
    page.write_text("something else")
    gone.unlink()
    rendered.clear()
    build_site(tiny)
    assert page.read_bytes() == whole and gone.is_file()
    assert rendered == ["day/2031-04-02/index.html", "day/2031-04-03/index.html"]


def test_a_changed_template_renders_every_page(tiny, rendered):
    build_site(tiny)
    count = len(rendered)
    (tiny.folder / "site_template").mkdir()
    (tiny.folder / "site_template" / "about.html").write_text("{{ title }}")
    trust(tiny.folder)
    rendered.clear()
    build_site(tiny)
    assert len(rendered) == count


def test_a_season_that_grew_with_a_public_address_is_as_one_built_at_once(empty, rendered):
    """What heads of pages rest on is in the marks: nothing is stale when it is all made again."""
    settings = empty.folder / "season.toml"
    settings.write_text(settings.read_text() + '[site]\naddress = "https://bench.example/"\n')
    season = Season(empty.folder)
    build_site(season)
    for day in (date(2031, 4, 1), date(2031, 4, 2), date(2031, 4, 9), date(2031, 3, 30)):
        add_day(season, day)
        build_site(season)
    (season.folder / ".cache" / "pages.json").unlink()
    assert build_site(season).written == []
    season.catalogue.close()


def test_without_its_ledger_a_build_writes_nothing_that_is_the_same(tiny, rendered):
    build_site(tiny)
    (tiny.folder / ".cache" / "pages.json").write_text("not a ledger")
    rendered.clear()
    report = build_site(tiny)
    assert len(rendered) > 10 and report.written == []
