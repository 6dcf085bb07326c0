"""Enter in a field presses the first button of its form: never one of several choices."""

from tests.desk.test_desk_frames import FRAME

PAGES = [
    *("/", "/diary/", "/frames/?day=2031-04-04", "/frames/left-out", "/colours/", "/films/"),
    *("/films/new", "/growth/", "/publish/", "/changes/", "/health/", "/followers/", "/settings/"),
    *("/settings/season", "/settings/publish", "/settings/followers", "/regions/bench/"),
    *("/setup/season/", "/setup/camera/bench/", "/setup/aim/bench/", "/setup/times/"),
    *("/setup/scale/bench/", "/setup/first/"),
]
#: Of the diary (asks what is meant), a camera ("Save and try it"), a step that Next saves too.
HARMLESS = {"enter", "try", "Save"}

FIRST_OF_SEVERAL = """
[...document.forms].map((form) => [...form.elements].filter((e) => e.type === "submit"))
  .filter((all) => all.length > 1 && all[0].formMethod !== "dialog")
  .map((all) => all[0].value || all[0].textContent)
"""


def test_no_form_of_several_buttons_takes_enter_for_one_of_them(page, folder):
    (folder / "verdicts.csv").write_text(f"frame,verdict\n{FRAME},no\n")
    found = set()
    for address in PAGES:
        assert page.goto(address).ok, address
        first = set(page.evaluate(FIRST_OF_SEVERAL))
        assert first <= HARMLESS, address
        found |= first
    assert found == HARMLESS
