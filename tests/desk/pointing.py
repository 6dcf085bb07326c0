"""Pointing at the picture of a page: what tests of drawing share."""


def board_of(page):
    """Where a px of the frame lies on the screen, as (x, y) -> (x, y)."""
    view = page.locator(".board-view")
    view.evaluate("view => view.scrollIntoView({ block: 'center' })")
    box, width = view.bounding_box(), float(page.locator("#board").get_attribute("data-width"))
    scale = box["width"] / width
    return lambda x, y: (box["x"] + x * scale, box["y"] + y * scale)


def tap(page, place, *points):
    for point in points:
        page.mouse.click(*place(*point))
