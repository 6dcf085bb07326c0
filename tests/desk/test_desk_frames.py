"""Frames at the desk: which are left out and why, and the grower's word on them."""

import pytest

from lapsekit.season import Season
from tests.axe import findings

FRAME = "frames/bench/2031-04-04/20310404T130000Z.png"
BY_HAND = f"# mine\r\nframe,verdict,note\r\n{FRAME.rpartition('/')[2]},yes,looked at it\r\n"


def verdicts(folder):
    return (folder / "verdicts.csv").read_bytes().decode()


def hold_back(page, *at, note=""):
    for time in at:
        page.get_by_label(time).check()
    page.get_by_label("Why").fill(note)
    page.get_by_role("button", name="Hold back").click()


def test_frames_that_are_held_back_are_written_down_and_undone(page, folder):
    page.goto("/frames/?day=2031-04-04")
    hold_back(page, "11:00", "15:00", note="my hand, and a cat")
    name = "frames/bench/2031-04-04/20310404T{}0000Z.png"
    assert verdicts(folder) == "frame,verdict,note\n" + "".join(
        f'{name.format(hour)},no,"my hand, and a cat"\n' for hour in ("09", "13")
    )
    page.get_by_role("button", name="Undo").click()
    assert not (folder / "verdicts.csv").exists()


@pytest.mark.parametrize("has_scripts", [True, False])
@pytest.mark.parametrize("path", ["/frames/?day=2031-04-04", "/frames/left-out"])
def test_enter_in_the_reason_says_nothing_of_a_frame(browser, desk, folder, path, has_scripts):
    (folder / "verdicts.csv").write_text(f"frame,verdict\n{FRAME},no\n")
    context = browser.new_context(base_url=desk, java_script_enabled=has_scripts)
    page = context.new_page()
    page.goto(path)
    page.get_by_label("15:00").check()
    page.get_by_label("Why").fill("a hand")
    page.keyboard.press("Enter")
    page.get_by_label("15:00").press("Enter")
    page.wait_for_timeout(300)
    assert page.get_by_label("Why").input_value() == "a hand"
    assert verdicts(folder) == f"frame,verdict\n{FRAME},no\n"
    page.get_by_role("button", name="Hold back").click()
    assert verdicts(folder).endswith(f"{FRAME},no,a hand\n")
    context.close()


def test_the_word_counts_once_the_days_are_worked_out_again(page, folder):
    page.goto("/frames/?day=2031-04-04")
    hold_back(page, "15:00", note="a cat")
    told = page.locator("form.waiting").inner_text()
    assert "1 day waits" in told
    assert "2031-04-04" in told
    page.get_by_role("button", name="Work them out now").click()
    page.wait_for_selector("text=Done.", timeout=60_000)
    page.get_by_role("link", name="Go on").click()
    assert page.locator("form.waiting").count() == 0
    hold_back(page, "15:00", note="a cat")  # the same word once more
    assert page.locator("#notes .note").inner_text().strip() == "That is so already."
    assert page.locator(".told").first.inner_text() == "You said no: a cat."
    season = Season(folder)
    (daily,) = [d for d in season.catalogue.daily("basil") if str(d.day) == "2031-04-04"]
    season.catalogue.close()
    assert daily.frames_used == 2


def test_a_word_taken_back_leaves_the_hand_s_comment(page, folder):
    (folder / "verdicts.csv").write_bytes(BY_HAND.encode())
    page.goto("/frames/?day=2031-04-04")
    page.get_by_label("15:00").check()
    page.get_by_role("button", name="Forget my word").click()
    assert verdicts(folder) == "# mine\r\nframe,verdict,note\r\n"


def test_verdicts_that_a_hand_changed_meanwhile_are_told_and_stay(page, folder):
    (folder / "verdicts.csv").write_bytes(BY_HAND.encode())
    page.goto("/frames/?day=2031-04-04")
    by_hand = BY_HAND.replace("looked at it", "looked twice")
    (folder / "verdicts.csv").write_bytes(by_hand.encode())
    hold_back(page, "15:00")
    assert page.locator("h1").inner_text() == "Somebody else was quicker"
    assert "looked twice" in page.locator(".refusal").inner_text()
    assert verdicts(folder) == by_hand


def test_a_name_that_is_no_frame_is_refused(page, folder):
    page.goto("/frames/?day=2031-04-04")
    page.evaluate("document.querySelector('[name=frame]').value = '../season.toml'")
    page.locator("[name=frame]").first.check()
    page.get_by_role("button", name="Use after all").click()
    assert "no such frame" in page.locator(".refusal").inner_text()
    assert not (folder / "verdicts.csv").exists()


def test_frames_left_out_stand_on_one_list_with_the_caution(page, folder):
    (folder / "verdicts.csv").write_text(f"frame,verdict\n{FRAME},no\n")
    page.goto("/frames/left-out")
    assert page.locator(".frames li").count() == 1
    assert "without your yes" in page.locator(".caution").inner_text()
    page.get_by_label("2031-04-04, 15:00").check()
    page.get_by_role("button", name="Use after all").click()
    assert verdicts(folder) == f"frame,verdict\n{FRAME},yes\n"
    page.goto("/frames/left-out")
    heads = page.locator("h2").all_inner_texts()
    assert heads == ["Used, since you said yes"]


def test_a_word_that_changes_without_a_reason_leaves_the_old_reason(page, folder):
    page.goto("/frames/?day=2031-04-04")
    hold_back(page, "15:00", note="hand in it")
    page.get_by_label("15:00").check()
    page.get_by_role("button", name="Use after all").click()
    assert verdicts(folder) == f"frame,verdict,note\n{FRAME},yes,\n"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_frames_are_usable_by_everyone(page, scheme):
    page.emulate_media(color_scheme=scheme)
    for path in ("/frames/?day=2031-04-04", "/frames/left-out"):
        page.goto(path)
        assert findings(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
