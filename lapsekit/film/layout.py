"""How large a film's picture is, and where its panels lie. Pure."""

from lapsekit.film.windows import Size

SHAPES = {"wide": 16 / 9, "square": 1.0, "upright": 9 / 16}
"""Width over height; a film of the shape ``picture`` has its camera's own."""

_GAP_SHARE = 0.012


def film_size(shape: str, short_side_px: int, own: float) -> Size:
    """Width and height in px, both even.

    Parameters
    ----------
    shape : {"picture", "wide", "square", "upright"}
    short_side_px : int
    own : float
        Width over height of the camera's pictures.
    """
    aspect = SHAPES.get(shape, own)
    width, height = short_side_px * max(1.0, aspect), short_side_px * max(1.0, 1 / aspect)
    return 2 * round(width / 2), 2 * round(height / 2)


def panel_boxes(count: int, size: Size, own: float) -> list[tuple[int, int, int, int]]:
    """Left, top, right and bottom of each panel: in rows on paper, as large as they can be.

    Parameters
    ----------
    count : int
    size : (int, int)
        Of the film's picture.
    own : float
        Width over height of panels; one alone fills the picture, whatever its shape.
    """
    if count == 1:
        return [(0, 0, *size)]
    gap = 2 * round(_GAP_SHARE * min(size) / 2)
    width, _, columns = max(  # of widths that are alike, rows without a gap
        (_width(count, n, size, own, gap), -(-count % n), n) for n in range(1, count + 1)
    )
    height, rows = 2 * round(width / own / 2), -(-count // columns)
    top = (size[1] - rows * height - (rows - 1) * gap) // 2
    found = []
    for number in range(count):
        row, column = divmod(number, columns)
        in_row = min(columns, count - row * columns)
        left = (size[0] - in_row * width - (in_row - 1) * gap) // 2 + column * (width + gap)
        above = top + row * (height + gap)
        found.append((left, above, left + width, above + height))
    return found


def _width(count: int, columns: int, size: Size, own: float, gap: int) -> int:
    """How wide panels can be in so many columns; even."""
    rows = -(-count // columns)
    across = (size[0] - gap * (columns + 1)) / columns
    down = (size[1] - gap * (rows + 1)) / rows
    return 2 * int(min(across, down * own) / 2)
