"""The plants of one moment: story and growth law turned into meshes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache

import numpy as np

from . import story
from .growth import leaf_area_cm2
from .layout import Container, containers
from .mesh import Mesh, Posture
from .plants import Plant
from .weather import cloud, sun

CUT_RANKS = 15


@dataclass(frozen=True)
class Standing:
    """One plant at one moment.

    Attributes
    ----------
    name : str
    mesh : Mesh
    leaves : int
    law_cm2 : float
        Leaf area by the growth law.
    """

    name: str
    mesh: Mesh
    leaves: int
    law_cm2: float


def bench_at(time: float) -> tuple[Container, ...]:
    """The containers as they stand at a day time."""
    return containers(time >= story.POTTED_ON, time >= story.REPLANTED, time >= story.MOVED)


@cache
def _plant(name: str) -> Plant:
    grown = next(p for p in story.PLANTS if p.name == name)
    return Plant(grown.species, grown.seed, grown.vigour)


def posture_of(name: str, moment: dt.datetime) -> Posture:
    """How a plant holds its leaves: turgor, time of day, sun, air, and pests."""
    time = story.day_time(moment)
    hour = time % 1 * 24
    species = next(p.species for p in story.PLANTS if p.name == name)
    swing = {"basil": 0.10, "sunflower": 0.08, "green lettuce": 0.04, "red lettuce": 0.04}
    lift = -swing.get(species, 0.03) * np.sin(np.pi * (hour - 7) / 12)
    towards = (0.0, 0.0)
    if species == "sunflower":
        direction, height = sun(moment)
        pull = 0.16 * (1 - cloud_of_day(int(time))) * np.clip(height / 0.3, 0, 1)
        towards = (float(pull * direction[0]), float(0.5 * pull * direction[1]))
    limp = story.limpness(name, time)
    return Posture(limp, float(lift), towards, int(moment.timestamp()) // 60,
                   story.gnawed(name, time))  # fmt: skip


@cache
def cloud_of_day(day: int) -> float:
    """Mean cover of a day's sky at its usual times."""
    moments = [story.in_utc(story.day_of(day), clock) for clock in story.TIMES]
    return float(np.mean([cloud(m) for m in moments]))


def plants_at(moment: dt.datetime) -> list[Standing]:
    """Every plant of the season at one moment, in the order of `story.PLANTS`."""
    time = story.day_time(moment)
    where = {c.name: c for c in bench_at(time)}
    found = []
    for grown in story.PLANTS:
        pot = where[grown.container]
        area = leaf_area_cm2(grown.name, time)
        foot = (pot.x + grown.place[0], pot.y + grown.place[1], pot.soil)
        cut = CUT_RANKS if grown.name == "green-lettuce" and time > story.CUT else 0
        mesh, leaves = _plant(grown.name).mesh(
            area, foot, pot.floor, posture_of(grown.name, moment), cut
        )
        found.append(Standing(grown.name, mesh, leaves, area))
    return found
