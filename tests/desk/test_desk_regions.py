"""Outlines drawn on the desk by mouse, touch and keys, and what regions.toml holds then."""

from datetime import date

import pytest

from lapsekit.desk.outlines import name_for, points_of, text_of
from lapsekit.errors import SettingsError
from lapsekit.season import Season
from tests.axe import findings
from tests.desk.pointing import board_of, tap


def regions_of(folder):
    return Season(folder).regions.by_name


def drawn(page):
    """Corners of the outline in hand, as the form would send them."""
    return points_of(page.locator("#f-points").input_value())


def near(found, wanted, px=2):
    return len(found) == len(wanted) and all(
        abs(x - u) <= px and abs(y - v) <= px for (x, y), (u, v) in zip(found, wanted, strict=True)
    )


SQUARE = ((20, 30), (120, 30), (120, 130), (20, 130))


def test_tapped_corners_become_a_region_and_hand_comments_stay(page, folder):
    file = folder / "regions.toml"
    file.write_text(f"# mine\n{file.read_text()}# the end\n")
    before = file.read_text().splitlines()
    page.goto("/regions/bench/")
    tap(page, board_of(page), *SQUARE, SQUARE[0])
    page.fill("#f-label", "Böhnchen “A”")
    page.fill("#f-group", "feed A")
    page.click("text=Save the region")
    page.wait_for_selector("text=outline from 2031-03-25 (regions.toml)")
    found = regions_of(folder)["bohnchen-a"]
    assert (found.title, found.group) == ("Böhnchen “A”", "feed A")
    assert near(found.outline[0].points, SQUARE)
    after = file.read_text().splitlines()
    assert [line for line in before if line not in after] == []


def test_a_corner_is_dragged_added_on_an_edge_and_taken_away(page, folder):
    page.goto("/regions/bench/?region=basil")
    place = board_of(page)
    page.mouse.move(*place(4, 236))  # the corner itself lies on the rim
    page.mouse.down()
    page.mouse.move(*place(30, 200), steps=4)
    page.mouse.up()
    assert near([drawn(page)[3]], [(30, 200)])
    tap(page, place, (80, 0))
    assert near([drawn(page)[1]], [(80, 0)])
    page.locator(".board-view").press("Delete")
    assert len(drawn(page)) == 4
    page.click("#undo")
    page.click("#undo")
    page.click("#undo")
    assert text_of(drawn(page)) == text_of(regions_of(folder)["basil"].outline[0].points)
    page.click("#redo")
    assert near([drawn(page)[3]], [(30, 200)])


def test_a_long_press_takes_a_corner_away(page, folder):
    page.goto("/regions/bench/")
    place = board_of(page)
    tap(page, place, *SQUARE, SQUARE[0])
    page.mouse.move(*place(*SQUARE[2]))
    page.mouse.down()
    page.wait_for_selector("#drawn:has-text('3 corners')")
    page.mouse.up()
    assert near(drawn(page), (SQUARE[0], SQUARE[1], SQUARE[3]))


def test_an_outline_that_crosses_itself_is_refused_at_once_and_not_sent(page, folder):
    before = (folder / "regions.toml").read_bytes()
    page.goto("/regions/bench/")
    tap(page, board_of(page), (20, 30), (120, 130), (120, 30), (20, 130), (20, 30))
    assert "crosses itself" in page.inner_text("#drawn")
    page.fill("#f-label", "Knot")
    page.click("text=Save the region")
    assert "crosses itself" in page.inner_text("#notes")
    assert (folder / "regions.toml").read_bytes() == before


def test_without_scripts_a_crossing_outline_is_refused_with_words(browser, desk, folder):
    before = (folder / "regions.toml").read_bytes()
    context = browser.new_context(base_url=desk, java_script_enabled=False)
    page = context.new_page()
    page.goto("/regions/bench/")
    page.click("summary:has-text('Corners as numbers')")
    page.fill("#f-points", "20, 30\n120, 130\n120, 30\n20, 130")
    page.fill("#f-label", "Knot")
    page.click("text=Save the region")
    assert "the outline crosses itself" in page.inner_text(".refusal")
    assert (folder / "regions.toml").read_bytes() == before
    page.goto("/regions/bench/")
    page.click("summary:has-text('Corners as numbers')")
    page.fill("#f-points", text_of(SQUARE))
    page.fill("#f-label", "Square")
    page.click("text=Save the region")
    context.close()
    assert regions_of(folder)["square"].outline[0].points == SQUARE


def test_freehand_and_circle_leave_few_corners_that_follow_the_line(page):
    page.goto("/regions/bench/")
    page.click("[data-tool=free]")
    place = board_of(page)
    page.mouse.move(*place(40, 40))
    page.mouse.down()
    for corner in ((240, 40), (240, 200), (40, 200), (40, 44)):
        page.mouse.move(*place(*corner), steps=24)
    page.mouse.up()
    found = drawn(page)
    assert 4 <= len(found) <= 8
    for corner in ((40, 40), (240, 40), (240, 200), (40, 200)):
        assert any(near([each], [corner], 5) for each in found)
    page.click("[data-tool=circle]")
    page.mouse.move(*place(160, 120))
    page.mouse.down()
    page.mouse.move(*place(220, 120), steps=4)
    page.mouse.up()
    assert all(abs(((x - 160) ** 2 + (y - 120) ** 2) ** 0.5 - 60) < 3 for x, y in drawn(page))
    page.click("[data-tool=move]")
    page.mouse.move(*place(160, 120))
    page.mouse.down()
    page.mouse.move(*place(180, 100), steps=4)
    page.mouse.up()
    assert all(abs(((x - 180) ** 2 + (y - 100) ** 2) ** 0.5 - 60) < 5 for x, y in drawn(page))


def test_an_outline_is_drawn_by_keys_alone(page, folder):
    page.goto("/regions/bench/")
    view = page.locator(".board-view")
    view.focus()
    for keys in ("ArrowLeft", "ArrowUp", "ArrowRight", "ArrowDown"):
        view.press(f"Shift+{keys}")
        view.press("Enter")
    found = drawn(page)
    assert len(found) == 4
    page.focus("#close")
    page.keyboard.press("Enter")
    page.fill("#f-label", "By keys")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=By keys: outline")
    assert regions_of(folder)["by-keys"].outline[0].points == found


def test_corners_are_changed_as_numbers(page, folder):
    page.goto("/regions/bench/?region=basil")
    page.click("summary:has-text('Corners as numbers')")
    field = page.get_by_label("Corner 2, px from the left")
    field.fill("100")
    field.press("Tab")
    page.click("#outline-form button.main")
    page.wait_for_selector("#notes .note")
    assert regions_of(folder)["basil"].outline[0].points[1] == (100, 0)
    assert len(regions_of(folder)["basil"].outline) == 1


def test_a_moved_pot_gets_an_outline_from_its_day_on_and_loses_it_again(page, folder):
    page.goto("/regions/bench/?region=basil&day=2031-04-03")
    page.click("#anew")
    tap(page, board_of(page), *SQUARE, SQUARE[0])
    page.check("input[name=since][value=day]")
    page.click("#outline-form button.main")
    page.wait_for_selector("text=Basil: outline from 2031-04-03")
    basil = regions_of(folder)["basil"]
    assert basil.outline_on(date(2031, 4, 2)).points == ((0, 0), (159.5, 0), (159.5, 240), (0, 240))
    assert near(basil.outline_on(date(2031, 4, 3)).points, SQUARE)
    assert findings(page) == []
    page.get_by_label("Take out the outline of Basil from 2031-04-03").click()
    page.wait_for_selector("text=outline from 2031-04-03 taken out")
    assert len(regions_of(folder)["basil"].outline) == 1


def test_an_outline_from_a_day_to_come_is_taken_and_asked_about(page, folder):
    """A pot that is moved after today's frames gets its outline from tomorrow on."""
    page.goto("/regions/bench/?region=basil&day=2031-04-06")
    page.click("#anew")
    tap(page, board_of(page), *SQUARE, SQUARE[0])
    page.check("input[name=since][value=day]")
    page.click("#outline-form button.main")
    page.wait_for_selector("text=2031-04-06 has not come yet (today is 2031-04-05): the outline")
    assert near(regions_of(folder)["basil"].outline_on(date(2031, 4, 6)).points, SQUARE)


def test_a_region_that_was_harvested_ends_and_lives_again(page, folder):
    page.goto("/regions/bench/?region=basil")
    page.click("summary:has-text('It ended')")
    page.fill("#f-until", "2031-04-04")
    page.fill("#f-ended", "harvested")
    page.click("text=Save its end")
    page.wait_for_selector("text=basil: harvested, until 2031-04-04")
    assert regions_of(folder)["basil"].until == date(2031, 4, 4)
    assert "has not come yet" not in page.inner_text("body")
    page.fill("#f-until", "2031-05-04")
    page.click("text=Save its end")
    page.wait_for_selector("text=2031-05-04 has not come yet (today is 2031-04-05)")
    page.fill("#f-until", "")
    page.click("text=Save its end")
    page.wait_for_selector("text=basil lives")
    assert regions_of(folder)["basil"].until is None


def test_another_s_outline_is_not_written_over(page, folder):
    page.goto("/regions/bench/?region=basil")
    file = folder / "regions.toml"
    by_hand = file.read_text().replace("[159.5, 0], [159.5, 240]", "[150, 0], [150, 240]", 1)
    file.write_text(by_hand)
    page.fill("#f-label", "Mine")
    page.click("#outline-form button.main")
    assert "Somebody else was quicker" in page.inner_text("h1")
    assert file.read_text() == by_hand


def test_proposed_regions_are_taken_named_and_dropped(page, folder):
    (folder / "regions.toml").write_text("")
    page.goto("/regions/bench/propose")
    page.wait_for_selector(".list-of-proposed", timeout=60_000)
    rows = page.locator(".list-of-proposed li")
    assert rows.count() >= 2
    assert findings(page) == []
    for number in range(1, rows.count()):
        rows.nth(number).locator("input[name=take]").uncheck()
    page.fill("[name=label-1]", "Basil")
    page.fill("[name=group-1]", "left")
    page.click("text=Take those ticked")
    page.wait_for_selector("text=1 proposed region taken")
    found = regions_of(folder)
    assert list(found) == ["basil"]
    assert found["basil"].group == "left"
    page.goto("/regions/bench/propose")
    page.wait_for_selector(".list-of-proposed", timeout=60_000)
    ticked = [each.is_checked() for each in page.locator("input[name=take]").all()]
    assert ticked[0] is False and ticked.count(False) == 1  # it is there already


@pytest.mark.parametrize("text", ["1, 2\n3, 4", "1, 2\nx\n5, 6", "1 2 3\n4, 5\n6, 7"])
def test_text_that_is_no_outline_is_refused(text):
    with pytest.raises(SettingsError):
        points_of(text)


def test_names_are_made_of_labels_and_differ():
    assert name_for("Pak Choi (süß)", ()) == "pak-choi-suss"
    assert name_for("Basil", {"basil", "basil-2"}) == "basil-3"
    assert name_for("みどり", ()) == "region"


def test_tapping_another_outline_takes_that_one_in_hand(page):
    page.goto("/regions/bench/?region=basil")
    tap(page, board_of(page), (240, 120))
    page.wait_for_url("**region=chives")
    assert page.locator("#f-label").input_value() == "Chives"


def test_a_region_is_taken_out_and_undo_brings_it_back(page, folder):
    before = (folder / "regions.toml").read_bytes()
    page.goto("/regions/bench/?region=basil")
    page.click("text=Take the region out")
    page.wait_for_selector("text=basil taken out")
    assert list(regions_of(folder)) == ["chives"]
    page.click("#notes button")
    page.wait_for_selector("#notes .note")
    assert (folder / "regions.toml").read_bytes() == before
