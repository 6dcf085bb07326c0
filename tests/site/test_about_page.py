"""About this bench: the season's own numbers, and its methods as settings have them."""

from typing import get_args

import pytest

from lapsekit.language.words import Words
from lapsekit.season import Season
from lapsekit.settings.tables import CanopyTable
from lapsekit.site.about_page import Sureness, about_page, method_text, reasons
from lapsekit.site.almanac import gather
from lapsekit.site.build import build_site
from lapsekit.site.views import frame_counts
from tests.site.test_happenings import whole_of

METHODS = get_args(CanopyTable.model_fields["method"].annotation)


def page_of(season):
    return " ".join((season.site / "about" / "index.html").read_text(encoding="utf-8").split())


def test_the_seasons_own_numbers_are_counted(tiny):
    """Eight values of each plant, two days without; half of the widths 20 % or less, half 20.2."""
    facts = about_page(whole_of(tiny)).facts
    assert facts["sure"] == Sureness(16, 4, 20, None)
    build_site(tiny)
    page = page_of(tiny)
    assert "This season there are 16 values of a plant on a day." in page
    assert "On 4 days between a plant’s first and its last, it has no value" in page
    assert "cm² or more" not in page, "no plant is so large"


def test_frames_are_counted_by_reason_and_camera(tiny):
    counts = frame_counts(gather(tiny))
    assert [(name, frames.total, shown) for name, frames, shown in counts] == [
        ("bench", 9, 8),
        ("trough", 8, 7),
    ]
    left_out = [frames.left_out for _, frames, _ in counts]
    assert reasons(Words("en"), left_out) == [("dark", [1, 1])]


def test_nothing_is_counted_where_there_is_nothing(empty):
    assert about_page(whole_of(empty)).facts["sure"] == Sureness(0, 0, None, None)
    build_site(empty)
    assert "There is no frame yet." in page_of(empty)


@pytest.mark.parametrize("method", METHODS)
def test_every_method_is_said_in_a_sentence_of_its_own(method):
    said = method_text(Words("en"), method, None)
    others = {method_text(Words("en"), other, None) for other in METHODS if other != method}
    assert said.endswith(".") and said not in others
    assert "trained for this bench" in method_text(Words("en"), "model", "own.json")


EVERY_30 = "Every 30 minutes, between 08:00 and 18:00, a frame is kept."
NEAREST = "The picture of the day is the usable one nearest 12:00."


@pytest.mark.parametrize(
    ("bench", "trough", "said"),
    [
        ("files", "files", "All pictures are brought in by hand."),
        ("watched", "watched", "All pictures come from a folder, as they are put there."),
        ("usb", "pi", EVERY_30),
        ("usb", "files", f"{EVERY_30} The pictures of one camera are brought in by hand."),
        ("watched", "files", "The pictures of one camera are brought in by hand. The pictures of "
         "one camera come from a folder, as they are put there."),
    ],
)  # fmt: skip
def test_how_pictures_come_is_told_by_kind_of_camera(tiny, bench, trough, said):
    settings = tiny.folder / "season.toml"
    first, second, rest = settings.read_text().split('kind = "files"')
    lines = {"watched": 'kind = "watched"\nfolder = "../inbox"'}
    kinds = [lines.get(kind, f'kind = "{kind}"') for kind in (bench, trough)]
    settings.write_text(f"{first}{kinds[0]}{second}{kinds[1]}{rest}", encoding="utf-8")
    changed = Season(tiny.folder)
    build_site(changed)
    changed.catalogue.close()
    assert f"2 cameras look down on the plants. {said} {NEAREST}" in page_of(tiny)


@pytest.mark.parametrize(
    ("added", "said", "unsaid"),
    [
        ("[registration]\nuse = false\n", "the camera must not move", "laid onto a reference"),
        ("[canopy]\nmethod = 'gli'\n", "green leaf index (GLI)", "small model"),
        ("", "where a camera has no scale, the share of the outline", "No scale is set"),
    ],
)
def test_the_page_says_what_settings_have(tiny, added, said, unsaid):
    settings = tiny.folder / "season.toml"
    settings.write_text(f"{settings.read_text()}{added}", encoding="utf-8")
    changed = Season(tiny.folder)
    build_site(changed)
    changed.catalogue.close()
    assert said in page_of(tiny) and unsaid not in page_of(tiny).split("How sure it is")[0].replace(
        "cannot be laid onto the reference view", ""
    )
