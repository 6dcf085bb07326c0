"""Rims of containers that leaves hide in part, found by the form that is known of them.

A container that was seen once is looked for again, where it stood, or as a larger or smaller one of
the same form nearby: under a camera that stays, the rims of round pots are ellipses of one form,
those of square ones rectangles of one turn. What of a line leaves hide speaks neither for nor
against it; what is bare must be an edge that runs along the line, and darker or lighter, or of
another colour, on the same side all around: soil has edges in every direction.
"""

from dataclasses import dataclass

import cv2
import numpy as np

POINTS = 72
"""Places around a rim that are looked at."""

EDGE = 0.75
"""An edge is a gradient above that of this share of the picture's pixels."""

ALONG = 0.8
"""Cosine of the angle by which an edge's direction may differ from the line's."""

AGREES = 0.6
"""Share of a rim's bare places that must lie on such an edge."""

BARE = 0.35
"""Share of a rim that must be bare of leaves for it to be found anew."""

HIDES_PX = 4
"""A leaf's own edge lies within this distance of it, and is no rim."""

LARGER = 2.0
"""A plant is potted on into a container at most so many times as broad."""

AWAY = 0.6
"""And stands at most so far from where it stood, in half breadths of the larger of the two."""

OUTER = 0.85
"""A line that agrees at least so many times as well as the best does is taken as well: of lines
within each other the outermost is the rim, and what lies within it its inner edge and the soil."""

OUTER_RIM, OFF = 1.3, 0.1
"""A rim's outer edge is at most so many times as broad as its inner one, and its middle at most so
far from that one's, in half breadths."""

_SIZES, _STEP_PX, _STEPS, _COARSE = 1.04, 2.0, 25, 2
_FINE_SIZES, _FINE_STEP_PX = 1.02, 1.0


@dataclass(frozen=True)
class Agreement:
    """How well a line agrees with a picture.

    Attributes
    ----------
    edge : float
        Share of its bare places that lie on an edge along it, 0 to 1.
    bare : float
        Share of its places that no leaf hides, 0 to 1.
    """

    edge: float
    bare: float


class Edges:
    """Edges of a picture with their directions, and what leaves hide of it.

    Parameters
    ----------
    picture : (H, W, 3) uint8 ndarray
        RGB; best the median of a day's frames.
    leaf : (H, W) bool ndarray
        Canopy in it.
    """

    def __init__(self, picture: np.ndarray, leaf: np.ndarray):
        colours = cv2.cvtColor(cv2.medianBlur(picture, 5), cv2.COLOR_RGB2LAB)
        around = np.ones((2 * HIDES_PX + 1,) * 2, np.uint8)
        self._hidden = cv2.dilate(leaf.view(np.uint8), around).view(bool)
        self._hidden |= picture.max(axis=2) == 0
        self._slopes = []
        for channel in cv2.split(colours):
            across, down = (cv2.Sobel(channel, cv2.CV_32F, *way) for way in ((1, 0), (0, 1)))
            steep = cv2.magnitude(across, down)
            least = max(np.quantile(steep[::2, ::2], EDGE), 1)
            keep = steep > least
            scale = np.where(keep, 1 / np.maximum(steep, 1), 0)
            self._slopes.append((across * scale, down * scale))

    def agreement(self, lines: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Shares of lines' bare places on an edge along them, and of places that are bare.

        Parameters
        ----------
        lines : (n, m, 2) ndarray
            Places on n lines, x and y in px.
        normals : (m, 2) ndarray
            Unit normals there, the same for all.

        Returns
        -------
        edge, bare : (n,) ndarray
        """
        height, width = self._hidden.shape
        x, y = np.rint(lines[..., 0]).astype(int), np.rint(lines[..., 1]).astype(int)
        inside = (x >= 0) & (y >= 0) & (x < width) & (y < height)
        at = np.where(inside, y * width + x, 0)
        bare = inside & ~self._hidden.ravel()[at]
        count, best = bare.sum(axis=1), np.zeros(len(lines))
        for across, down in self._slopes:
            along = across.ravel()[at] * normals[:, 0] + down.ravel()[at] * normals[:, 1]
            for sign in (1, -1):
                on = np.count_nonzero((sign * along > ALONG) & bare, axis=1)
                best = np.maximum(best, on / np.maximum(count, 1))
        return best, count / lines.shape[1]


def form_of(hull: np.ndarray) -> np.ndarray:
    """A container's outline as evenly spaced places: of an ellipse where it is one.

    Parameters
    ----------
    hull : (n, 2) ndarray
        Convex, x and y in px.

    Returns
    -------
    (POINTS, 2) float ndarray
    """
    hull = np.asarray(hull, np.float32)
    if len(hull) >= 5:
        (x, y), (one, two), angle = cv2.fitEllipse(hull)
        turn = np.linspace(0, 2 * np.pi, POINTS, endpoint=False)
        c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
        flat = np.stack([one / 2 * np.cos(turn), two / 2 * np.sin(turn)], -1)
        ellipse = (flat @ np.array([[c, s], [-s, c]]) + (x, y)).astype(np.float32)
        both = cv2.intersectConvexConvex(ellipse, hull)[0]
        if both > 0.95 * (cv2.contourArea(ellipse) + cv2.contourArea(hull) - both):
            return ellipse.astype(float)
    closed = np.vstack([hull, hull[:1]]).astype(float)
    along = np.r_[0, np.cumsum(np.linalg.norm(np.diff(closed, axis=0), axis=1))]
    places = np.linspace(0, along[-1], POINTS, endpoint=False)
    return np.stack([np.interp(places, along, closed[:, k]) for k in (0, 1)], -1)


def stands_at(form: np.ndarray, edges: Edges, reach_px: float = 3.0) -> Agreement:
    """How well a rim agrees with a picture where it stood, moved by no more than `reach_px`."""
    sizes = np.array([0.97, 1.0, 1.03])
    shifts = _grid(reach_px, 1.0)
    lines = _copies(form, sizes, shifts).reshape(-1, POINTS, 2)
    edge, bare = edges.agreement(lines, _normals(form))
    best = int(np.argmax(edge))
    return Agreement(float(edge[best]), float(bare[best]))


def find_rim(form: np.ndarray, edges: Edges) -> tuple[np.ndarray, Agreement] | None:
    """A rim of a known form near where it is known from, larger or smaller.

    Parameters
    ----------
    form : (POINTS, 2) ndarray
        As `form_of` gives it.
    edges : Edges

    Returns
    -------
    (POINTS, 2) ndarray and Agreement
        Or None where no line agrees.
    """
    radius, normals = _radius(form), _normals(form)[::_COARSE]
    step_px = max(_STEP_PX, radius / _STEPS)
    best, most = (1.0, np.zeros(2)), 0.0
    steps = round(np.log(LARGER) / np.log(_SIZES))
    for size in _SIZES ** np.arange(-steps, steps + 1):
        shifts = _grid(AWAY * radius * max(size, 1), step_px)
        lines = _copies(form, np.array([size]), shifts)[0, :, ::_COARSE]
        edge = _bare_enough(lines, normals, edges)[0]
        if edge.max() > most:
            best, most = (size, shifts[np.argmax(edge)]), edge.max()
    line = _copies(form, np.array([best[0]]), best[1][None])[0, 0]
    found = outer_rim(line, edges) if most > 0 else None
    return None if found is None or found[1].edge < AGREES else found


def outer_rim(form: np.ndarray, edges: Edges) -> tuple[np.ndarray, Agreement]:
    """The outermost of the lines around a line that agree about as well as the best of them.

    Parameters and what is returned are as `find_rim` has them; the line itself is one of them.
    """
    normals, shifts = _normals(form), _grid(max(2.0, OFF * _radius(form)), _FINE_STEP_PX)
    steps = round(np.log(OUTER_RIM) / np.log(_FINE_SIZES))
    found = [
        _best(_copies(form, np.array([size]), shifts), normals, edges)
        for size in _FINE_SIZES ** np.arange(-2, steps + 1)
    ]
    edge = np.array([there.edge for _, there in found])
    peaks = (edge >= np.r_[edge[1:], 0]) & (edge >= np.r_[0, edge[:-1]])
    return found[int(np.flatnonzero(peaks & (edge >= OUTER * edge.max()))[-1])]


def _best(lines: np.ndarray, normals: np.ndarray, edges: Edges) -> tuple[np.ndarray, Agreement]:
    """The line that agrees best, of those that are bare enough."""
    lines = lines.reshape(-1, POINTS, 2)
    edge, bare = _bare_enough(lines, normals, edges)
    best = int(np.argmax(edge))
    return lines[best], Agreement(float(edge[best]), float(bare[best]))


def _bare_enough(lines, normals, edges: Edges) -> tuple[np.ndarray, np.ndarray]:
    """As `Edges.agreement`; what leaves hide too much of agrees with nothing."""
    edge, bare = edges.agreement(lines, normals)
    return np.where(bare > BARE, edge, 0), bare


def _radius(form: np.ndarray) -> float:
    """Of a circle of the same area, in px."""
    return float(np.sqrt(cv2.contourArea(form.astype(np.float32)) / np.pi))


def _grid(reach: float, step: float) -> np.ndarray:
    """Shifts (n, 2) within a circle."""
    count = int(reach / step)
    ticks = step * np.arange(-count, count + 1)
    shifts = np.stack(np.meshgrid(ticks, ticks), -1).reshape(-1, 2)
    return shifts[np.hypot(*shifts.T) <= reach + 1e-9]


def _copies(form: np.ndarray, sizes: np.ndarray, shifts: np.ndarray) -> np.ndarray:
    """The form at each size and shift: (sizes, shifts, POINTS, 2)."""
    middle = form.mean(axis=0)
    grown = middle + sizes[:, None, None] * (form - middle)
    return grown[:, None] + shifts[None, :, None]


def _normals(form: np.ndarray) -> np.ndarray:
    """Unit normals at a closed line's places."""
    along = np.roll(form, -1, axis=0) - np.roll(form, 1, axis=0)
    normal = np.stack([along[:, 1], -along[:, 0]], -1)
    return normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)
