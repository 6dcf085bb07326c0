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
    """Left, top, right and bottom of each panel, in rows, with paper between them.

    Parameters
    ----------
    count : int
    size : (int, int)
        Of the film's picture.
    own : float
        Width over height that panels would like to have: rows are chosen so that they come near.
    """
    if count == 1:
        return [(0, 0, *size)]
    gap = 2 * round(_GAP_SHARE * min(size) / 2)
    columns = min(range(1, count + 1), key=lambda n: _waste(count, n, size, own))
    rows = -(-count // columns)
    width = (size[0] - gap * (columns + 1)) // columns // 2 * 2
    height = (size[1] - gap * (rows + 1)) // rows // 2 * 2
    found = []
    for number in range(count):
        row, column = divmod(number, columns)
        in_row = min(columns, count - row * columns)
        left = (size[0] - in_row * width - (in_row - 1) * gap) // 2 + column * (width + gap)
        top = gap + row * (height + gap)
        found.append((left, top, left + width, top + height))
    return found


def _waste(count: int, columns: int, size: Size, own: float) -> float:
    """Share of the picture that panels of the wished shape would leave empty."""
    rows = -(-count // columns)
    width, height = size[0] / columns, size[1] / rows
    fitting = min(width, height * own)
    return 1 - count * fitting * fitting / own / (size[0] * size[1])
