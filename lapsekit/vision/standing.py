"""Which containers stand on a bench now, and where: rims that came later replace older ones.

Every container that was ever seen is followed to the latest picture in which its rim can be told.
It may have been moved a little, or its plant potted on into a larger one of the same form; one of
another form is seen as a container of its own, and takes the older one's place. Where leaves have
hidden a rim since, its last sight stands, and is told as such; where what is bare of it shows that
it is gone, and no other rim is found, the plant counts as one without a container.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from lapsekit.vision.closed_lines import Container, is_same
from lapsekit.vision.containers import LIKE_SOIL, find_containers, with_cells
from lapsekit.vision.rims import (
    AGREES,
    BARE,
    OUTER,
    Agreement,
    form_of,
    stands_at,
)
from lapsekit.vision.sights import Sight

STILL_THERE = 0.05
"""Share of an older picture's container that is leaf by now where it still stands, hidden."""

SURE = 0.9
"""A rim that agrees so well is not looked for again in earlier sights."""

WITHIN = 0.95
"""A rim's inner edge lies within its outer one by at least this share."""

OVER = 0.2
"""Containers that share more of the smaller one are the same place, at two times."""

TELLING = 0.08
"""Share of a rim that must be bare for it to speak at all against another."""

GONE_BARE = 0.5
"""Where so much of an older rim's line is bare and agrees with no edge, it is gone."""


@dataclass(frozen=True, eq=False)
class Change:
    """A plant that was potted on or moved, as the diary tells it.

    Attributes
    ----------
    first : int
        Number of the first sight after it.
    where : (n, 2) ndarray
        Outline of its region, in px of the pictures.
    """

    first: int
    where: np.ndarray


@dataclass(frozen=True, eq=False)
class Standing:
    """A container that stands on the bench at the latest sight.

    Attributes
    ----------
    container : Container
    seen : int
        Number of the latest sight that shows its rim.
    edge : float
        How well it agrees with that sight: the share of `Agreement`.
    """

    container: Container
    seen: int
    edge: float


def standing(
    sights: Sequence[Sight], closed: np.ndarray | None = None, changes: Sequence[Change] = ()
) -> list[Standing]:
    """Containers at the latest of some sights.

    Parameters
    ----------
    sights : sequence of Sight
        Oldest first.
    closed : (H, W) bool ndarray, optional
        Where there is surely no plant.
    changes : sequence of Change
        What is known besides: rims that were seen before count no more there.

    Returns
    -------
    list of Standing
    """
    leaves, found = [sight.leaves for sight in sights], []
    for number in reversed(range(len(sights))):
        for container in find_containers(sights[number], leaves, closed):
            if any(_is_known(container, other) for other in found):
                continue
            now = _followed(container, number, sights)
            if now is not None and not _is_outdated(container, now, changes):
                found.append(now)
    kept = _of_one_place_one(found)
    kinds = with_cells([one.container for one in kept])
    return [replace(one, container=kind) for one, kind in zip(kept, kinds, strict=True)]


def _of_one_place_one(found: list[Standing]) -> list[Standing]:
    """Of containers in one place the one seen last, of those the outermost that agrees well."""
    kept: list[Standing] = []
    for one in sorted(found, key=lambda one: (-one.seen, -one.edge)):
        over = [o for o in kept if shared(one.container, o.container) > OVER]
        if not over:
            kept.append(one)
        elif len(over) == 1 and _is_around(one, over[0]):
            kept[kept.index(over[0])] = one
    return kept


def _is_around(one: Standing, other: Standing) -> bool:
    """Whether one is the outer edge of a rim of which another is the inner one."""
    larger = one.container.area_px > other.container.area_px
    agrees = one.seen == other.seen and one.edge >= OUTER * other.edge
    return larger and agrees and shared(one.container, other.container) > WITHIN


def _is_known(container: Container, other: Standing) -> bool:
    """Whether a container of an earlier sight is one that is known to stand there still."""
    return other.edge >= SURE and is_same(container, other.container)


def _is_outdated(container: Container, now: Standing, changes: Sequence[Change]) -> bool:
    """Whether the diary tells of a later pot than the one that was seen."""
    return any(now.seen < c.first and _is_in(container, c.where) for c in changes)


def shared(one: Container, other: Container) -> float:
    """Area that two containers share, as a share of the smaller."""
    both = cv2.intersectConvexConvex(one.hull, other.hull)[0]
    return both / min(one.area_px, other.area_px)


def _is_in(found: Container, where: np.ndarray) -> bool:
    x, y = found.hull.mean(axis=0).tolist()
    return cv2.pointPolygonTest(where.astype(np.float32), (x, y), False) >= 0


def _followed(found: Container, number: int, sights: Sequence[Sight]) -> Standing | None:
    """A container of one sight where it stands at the latest; None if it is gone."""
    is_latest = number == len(sights) - 1
    if found.kind != "pot":
        still = is_latest or _looks_alike(found, sights[number], sights[-1])
        return Standing(found, number, found.rim) if still else None
    form, there = sights[number].rim_around(form_of(found.hull))
    if there.edge < AGREES:
        return Standing(found, number, there.edge) if is_latest else None
    for later in reversed(range(number + 1, len(sights))):
        seen = _seen_again(form, sights[later])
        if seen is not None:
            return Standing(_with_line(found, seen[0]), later, seen[1].edge)
    if not is_latest and _is_gone(found, form, sights[number], sights[-1]):
        return None
    return Standing(_with_line(found, form), number, there.edge)


def _seen_again(form: np.ndarray, sight: Sight) -> tuple[np.ndarray, Agreement] | None:
    """A rim in a later sight: where it stood, or one of its form elsewhere that agrees as well."""
    there = stands_at(form, sight.edges)
    if there.bare > BARE and there.edge > AGREES:
        return form, there
    found = sight.rim_near(form)
    wanted = OUTER * there.edge if there.bare > TELLING else 0.0
    return found if found is not None and found[1].edge >= wanted else None


def _with_line(found: Container, line: np.ndarray) -> Container:
    hull = cv2.convexHull(line.astype(np.float32))[:, 0]
    return replace(found, hull=hull, area_px=float(cv2.contourArea(hull)))


def _is_gone(found: Container, form: np.ndarray, then: Sight, now: Sight) -> bool:
    there = stands_at(form, now.edges)
    if there.bare > GONE_BARE and there.edge < AGREES:
        return True
    return not _looks_alike(found, then, now)


def _looks_alike(found: Container, then: Sight, now: Sight) -> bool:
    """Whether leaves cover an older container by now, or what is bare of it looks as it did."""
    inside = found.mask(now.leaf.shape)
    if np.mean(now.leaf[inside]) > STILL_THERE:
        return True
    before, after = then.colours[inside & ~then.leaf], now.colours[inside & ~now.leaf]
    if not len(before) or not len(after):
        return True
    return bool(np.abs(np.median(before, axis=0) - np.median(after, axis=0)).max() < LIKE_SOIL)
