"""Containers seen from above: pots, troughs, cells of trays, whatever they are made of.

Whether a shape holds plants is not told by shapes: the printed tag is a rectangle too. A container
is taken where something grows in it, or where it looks within like those in which something grows.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import cv2
import numpy as np
from scipy.sparse.csgraph import connected_components

from lapsekit.vision.closed_lines import Container, overlap_px, smooth_colours
from lapsekit.vision.sights import Leaves, Sight

GROWS = 0.002
"""Share of a container that must be leaf for something to grow in it."""

INNER = 0.4
"""A line within another that holds at least this share of it is the same container's soil or
inner rim; smaller ones are cells, or things that lie on the soil."""

FEWEST_CELLS = 3

ANGULAR = 0.84
"""Share of its narrowest box that a rectangular container fills, its corners a little round."""

CELLS_DIFFER = 1.7
"""Cells of a tray have about one size: none is so many times larger than their median."""

LIKE_SOIL = 14.0
"""Colours within two containers of one bench differ by less (CIE L*a*b*, each 0 to 255)."""

ROUGH = 1.6
"""And one is not so many times as rough as the other: soil is, a shadow on a board is not."""

SMALL = 0.05
"""As long as no container is leaf for more than this, what stands empty may yet come up."""

CELL_GAP = 0.6
"""Between cells of a tray lies less than this share of their side."""

MOST_SHUT = 0.1
"""Share of a container that may lie where there is surely no plant."""


def find_containers(
    sight: Sight, leaves: Sequence[Leaves], closed: np.ndarray | None = None
) -> list[Container]:
    """Containers in which something grows, and those that look like them within.

    Parameters
    ----------
    sight : Sight
    leaves : sequence of Leaves
        Canopy at that time and at others.
    closed : (H, W) bool ndarray, optional
        Where there is surely no plant: printed tags, a grey card.

    Returns
    -------
    list of Container
        None overlaps another but for its rim.
    """
    lines, shape = sight.lines, sight.leaf.shape
    if closed is not None:
        lines = [line for line in lines if np.mean(closed[line.mask(shape)]) < MOST_SHUT]
    return _planted(_nested(lines), smooth_colours(sight.picture), sight.leaf, leaves)


def _nested(lines: list[Container]) -> list[Container]:
    """Trays taken apart into cells; of lines within lines the outer ones."""
    lines = sorted(lines, key=lambda line: -line.area_px)
    gone, cells = set(), set()
    for number, outer in enumerate(lines):
        if number in gone or number in cells:
            continue
        within = [
            k
            for k in range(number + 1, len(lines))
            if k not in gone and overlap_px(outer, lines[k]) > 0.9 * lines[k].area_px
        ]
        small = _apart([k for k in within if lines[k].area_px < INNER * outer.area_px], lines)
        if _are_cells([lines[k] for k in small], outer):
            gone |= {number, *within} - set(small)
            cells |= set(small)
        else:
            gone |= set(within)
    kept = _without_overlaps([line for k, line in enumerate(lines) if k not in gone])
    return with_cells(kept)


def with_cells(lines: list[Container]) -> list[Container]:
    """Which of them are cells: angular ones of one size side by side, three or more together."""
    boxes = [cv2.minAreaRect(line.hull) for line in lines]
    sides = np.array([min(size) for _, size, _ in boxes])
    angular = np.array([
        line.area_px > ANGULAR * size[0] * size[1]
        for line, (_, size, _) in zip(lines, boxes, strict=True)
    ])  # fmt: skip
    near = np.zeros((len(lines),) * 2, bool)
    for k, j in combinations(range(len(lines)), 2):
        alike = max(sides[k], sides[j]) < CELLS_DIFFER**0.5 * min(sides[k], sides[j])
        if (angular[k] or angular[j]) and alike:
            gap = np.min(np.linalg.norm(lines[k].hull[:, None] - lines[j].hull, axis=2))
            near[k, j] = near[j, k] = gap < CELL_GAP * min(sides[k], sides[j])
    _, group = connected_components(near)
    many = np.bincount(group, angular, minlength=1)[group] >= FEWEST_CELLS
    return [
        replace(line, kind="cell" if cell else "pot")
        for line, cell in zip(lines, many, strict=True)
    ]


def _apart(numbers: list[int], lines: list[Container]) -> list[int]:
    """Of lines within each other the largest that have none but their own kind in them."""
    found: list[int] = []
    for k in sorted(numbers, key=lambda k: -lines[k].confidence * lines[k].area_px):
        if all(overlap_px(lines[k], lines[j]) < 0.2 * lines[k].area_px for j in found):
            found.append(k)
    return found


def _are_cells(parts: list[Container], outer: Container) -> bool:
    """Whether these are the cells of a tray: several of one size, that fill it."""
    if len(parts) < FEWEST_CELLS:
        return False
    areas = np.array([part.area_px for part in parts])
    usual = np.median(areas)
    even = (areas < CELLS_DIFFER * usual) & (areas > usual / CELLS_DIFFER)
    return even.mean() > 0.8 and areas.sum() > INNER * outer.area_px


def _without_overlaps(lines: list[Container]) -> list[Container]:
    found: list[Container] = []
    for line in sorted(lines, key=lambda line: -line.confidence):
        if all(
            overlap_px(line, other) < 0.25 * min(line.area_px, other.area_px) for other in found
        ):
            found.append(line)
    return found


def _planted(lines, colours, leaf, leaves) -> list[Container]:
    """Those in which something grows; while all is small, those that look like them within too."""
    fine = np.abs(colours[..., 0].astype(np.float32) - cv2.blur(colours[..., 0], (9, 9)))
    looks, grown = [], []
    for line in lines:
        inside = line.mask(leaf.shape)
        bare = inside & ~leaf
        looks.append(_look(colours[bare], fine[bare]) if bare.any() else None)
        most = max((of.rooted_in(inside) for of in leaves), default=0)
        grown.append(most / max(1, np.count_nonzero(inside)))
    like = [look for look, share in zip(looks, grown, strict=True) if share > GROWS and look]
    small = all(share < SMALL for share in grown)
    return [
        line
        for line, look, share in zip(lines, looks, grown, strict=True)
        if share > GROWS or (small and look and any(_is_like(look, other) for other in like))
    ]


def _look(colours: np.ndarray, fine: np.ndarray) -> tuple[np.ndarray, float]:
    """What a container looks like within: its colour, and how rough it is."""
    return np.median(colours, axis=0), float(np.mean(fine))


def _is_like(one: tuple[np.ndarray, float], other: tuple[np.ndarray, float]) -> bool:
    rough = np.log((one[1] + 0.5) / (other[1] + 0.5))
    return np.abs(one[0] - other[0]).max() < LIKE_SOIL and abs(rough) < np.log(ROUGH)
