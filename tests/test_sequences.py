"""Three real plots through the released commands, with a model that never saw them."""

import sys
from pathlib import Path

import pytest

from tests.browsing import opened, running

pytestmark = pytest.mark.photographs


@pytest.fixture(scope="module")
def road(photographs, tmp_path_factory):
    """The season folder and the comparison with the drawn masks."""
    sys.path.insert(0, str(Path(__file__).parent))
    try:
        from prove_sequences import prove
    finally:
        sys.path.pop(0)
    folder = tmp_path_factory.mktemp("plots") / "season"
    return folder, prove(photographs, folder)


def test_measured_cover_follows_the_drawn_masks(road):
    """What hands draw is wider than leaf, so that areas lie below it, yet go up and down alike."""
    _, rows = road
    assert [(r["dates"], r["measured"]) for r in rows] == [(16, 16), (16, 16), (12, 12)]
    for row in rows:
        assert row["mean_absolute_error"] < 0.10, row
        assert row["correlation"] > 0.96, row


@pytest.mark.browser
def test_each_plot_has_its_film_and_its_days_on_the_site(road, browser):
    from lapsekit.serving import open_server

    folder, _ = road
    with (
        running(open_server(folder / "site", 0)) as address,
        opened(browser, address, viewport={"width": 390, "height": 800}) as page,
    ):
        assert page.locator("nav.ribbon").count() == 3
        page.goto(f"{address}film/index.html")
        assert page.locator("video").count() == 3
        assert page.locator("nav.ribbon").count() == 3
        page.goto(f"{address}day/2019-03-22/")
        assert page.locator("figure.plate img").count() >= 2
