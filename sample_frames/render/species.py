"""The species' own numbers: leaf shapes, how leaves follow one another, colours of their own."""

from __future__ import annotations

from dataclasses import dataclass

from .leaves import Shape


@dataclass(frozen=True)
class Species:
    """How a species grows; ages in days of development, lengths in m, angles in rad.

    Attributes
    ----------
    plan : {"rosette", "pairs", "tall", "straws"}
    shape : Shape
    materials : tuple of str
        Textures of the leaves; a pot of several plants takes one for each.
    leaves : int
    first, every : float
        Age at which the first true leaf starts, and the time from leaf to leaf.
    length : float
        Of the longest leaves.
    small, ranks : float
        The first leaves are shorter by the share `small`, which fades over `ranks` leaves.
    pace, middle : float
        Steepness and middle age of a leaf's growth.
    rise_young, rise_old, bend : float
        Elevation of new and of old leaves; how far a leaf bends down along its length.
    seed_leaf : float
        Length of the seed leaves; 0 for none.
    centres : tuple
        Places of a pot's plants about its centre (m).
    """

    plan: str
    shape: Shape
    materials: tuple[str, ...]
    leaves: int
    first: float
    every: float
    length: float
    small: float = 0.78
    ranks: float = 5.0
    pace: float = 6.0
    middle: float = 13.0
    rise_young: float = 1.25
    rise_old: float = 0.35
    bend: float = 0.55
    seed_leaf: float = 0.017
    centres: tuple[tuple[float, float], ...] = ((0.0, 0.0),)


# fmt: off
SPECIES = {
    "green lettuce": Species(
        "rosette", Shape("fan", 0.92, 0.10, 0.66, 3.4, 0.012, 0.035), ("green lettuce",), 64, 7,
        1.15, 0.135, rise_old=0.24, bend=0.45),
    "red lettuce": Species(
        "rosette", Shape("fan", 0.90, 0.10, 0.80, 3.9, 0.012, 0.04), ("red lettuce",), 60, 8, 1.25,
        0.128, middle=14, rise_old=0.24, bend=0.5),
    "pak choi": Species(
        "rosette", Shape("spoon", 0.60, 0.22, 0.05, 2, 0.003, 0.02, (56, 29)), ("pak choi",), 26,
        7, 2.3, 0.165, pace=5.5, rise_young=1.35, rise_old=0.42),
    "chard": Species(
        "rosette", Shape("paddle", 0.46, 0.12, 0.22, 4, 0.008, 0.06, (40, 17)),
        ("chard red", "chard yellow", "chard pink"), 10, 8, 4.6, 0.165, pace=6.5, middle=15,
        rise_young=1.3, rise_old=0.62, bend=0.8,
        centres=((-0.015, 0.014), (0.019, 0.007), (-0.002, -0.019))),
    "rocket": Species(
        "rosette", Shape("lobed", 0.36, 0.10, 0.12, 3, 0.003, 0.05, (48, 11)), ("rocket",), 34, 6,
        1.8, 0.125, pace=5, middle=11, rise_young=1.2, rise_old=0.32, bend=0.5, seed_leaf=0.012),
    "corn salad": Species(
        "rosette", Shape("tongue", 0.40, 0.16, 0.04, 2, 0.003, 0.02, (16, 9)), ("corn salad",), 22,
        5, 2.4, 0.038, small=0.7, ranks=4, pace=6, middle=12, rise_young=1.2, rise_old=0.36,
        bend=0.5, seed_leaf=0.0085),
    "basil": Species(
        "pairs", Shape("egg", 0.64, -0.28, 0.05, 2.2, 0.006, 0.03, (20, 11)), ("basil",), 10, 7,
        4.6, 0.066, small=0.62, ranks=1.6, pace=4.5, middle=10, rise_young=1.0, rise_old=0.32,
        bend=0.7, seed_leaf=0.012),
    "sunflower": Species(
        "tall", Shape("heart", 0.70, 0.12, 0.07, 3, 0.005, 0.04, (28, 15)), ("sunflower",), 15, 7,
        3.4, 0.142, small=0.66, ranks=3.0, pace=5, middle=12, rise_young=1.05, rise_old=0.40,
        bend=0.8, seed_leaf=0.028),
    "chives": Species(
        "straws", Shape("egg", 0.02), ("chives",), 190, 2, 0.36, 0.16, small=0.5, ranks=14,
        pace=6, middle=12, seed_leaf=0.0),
}
# fmt: on
