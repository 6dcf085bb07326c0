"""Plants as meshes: from a leaf area by the growth law to leaves of their own in their places.

Every leaf draws its traits from the plant's seed and its own rank, so that it keeps its shape
while it grows. No two plants share a seed.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from .flower import add_flower
from .leaves import Pose, Shape, fan_leaf, form_factor, sigmoid, strip_leaf, tube
from .mesh import Mesh, Posture
from .pests import gnaw
from .species import SPECIES

GOLDEN_ANGLE = np.deg2rad(137.507764)
SEED_SHAPE = Shape("seed", 0.72, 0.1, 0.0, 2, 0.0, 0.0, (14, 9))
AT_REST = Posture()
AGES = np.arange(0.0, 150.0, 0.25)
FLOWERS_FROM, FLOWER_DAYS = 62.5, 6.0


def grown(age, pace, middle):
    """Size of an organ against its final one (0 at age 0, towards 1)."""
    start = sigmoid(-middle / pace)
    size = (sigmoid((np.asarray(age, float) - middle) / pace) - start) / (1 - start)
    return np.where(np.asarray(age) > 0, size, 0.0)


class Plant:
    """One plant (or a pot's group of one species) of the season.

    Parameters
    ----------
    species : str
        A key of `SPECIES`.
    seed : int
    vigour : float
        Leaf lengths against the species' own.
    """

    def __init__(self, species: str, seed: int, vigour: float = 1.0):
        self.kind, self.seed, self.vigour = SPECIES[species], seed, vigour
        self.species = species
        births, sizes, places = [], [], []
        for number in range(len(self.kind.centres)):
            for birth, size, place in self._ranks(number):
                births.append(birth), sizes.append(size), places.append((number, *place))
        self.births, self.sizes, self.places = np.array(births), np.array(sizes), places

    def rng(self, *key):
        """The plant's own random stream for an organ."""
        return np.random.default_rng([self.seed, *key])

    def _ranks(self, number):
        """Birth (days), final length (m) and place (shoot, rank, side) of every leaf."""
        kind, rng = self.kind, self.rng(900, number)
        late = number * 1.4

        def size(rank, share=1.0):
            young = 1 - kind.small * np.exp(-(rank + 0.6) / kind.ranks)
            return kind.length * self.vigour * share * young * rng.uniform(0.88, 1.1)

        if kind.plan != "pairs":
            for i in range(kind.leaves):
                birth = kind.first + late + i * kind.every * rng.uniform(0.93, 1.07)
                yield birth, size(i), (0, i, 0)
            return
        for k in range(kind.leaves):
            for side in range(2):
                yield kind.first + k * kind.every, size(k), (0, k, side)
            for j in range(4 if k < 7 else 0):
                for side in range(2):
                    yield kind.first + k * kind.every + 9 + j * 5.0, size(j, 0.8), (k + 1, j, side)

    def lengths(self, age):
        """Length of every leaf (m) at a developmental age."""
        return self.sizes * grown(np.asarray(age)[..., None] - self.births, self.kind.pace,
                                  self.kind.middle)  # fmt: skip

    def _seed_leaves(self, age):
        return self.kind.seed_leaf * grown(np.asarray(age) - 1.5, 1.6, 3.5)

    def area_cm2(self, age, cut_ranks=0):
        """Flat area of all leaves (one side) at a developmental age, without the cut ones."""
        length = self.lengths(age)
        kept = np.array([rank >= cut_ranks for _, _, rank, _ in self.places])
        if self.kind.plan == "straws":
            leaf = length * 0.0034 * 0.7
        else:
            ripe = grown(np.asarray(age)[..., None] - self.births, 7, 16)
            shape = self.kind.shape
            leaf = length**2 * shape.slim * (0.75 + 0.25 * ripe) * form_factor(shape.outline)
        seed = 2 * len(self.kind.centres) * self._seed_leaves(age) ** 2 * 0.72 * form_factor("seed")
        return ((leaf * kept).sum(-1) + (0 if cut_ranks else seed)) * 1e4

    @cached_property
    def _table(self):
        return np.maximum.accumulate(self.area_cm2(AGES))

    def age_for(self, area_cm2: float, cut_ranks=0) -> float:
        """Developmental age at which the leaves have that area in all."""
        table = self._table if not cut_ranks else self.area_cm2(AGES, cut_ranks)
        return float(np.interp(area_cm2, table, AGES))

    def mesh(self, area_cm2, foot, floor, posture=AT_REST, cut_ranks=0) -> tuple[Mesh, int]:
        """The plant as it stands.

        Parameters
        ----------
        area_cm2 : float
            Leaf area by the growth law.
        foot : tuple of float
            Where it grows from the soil (x, y, z; m).
        floor : callable
            Lowest height (m) a leaf may have at x, y.
        posture : Posture
        cut_ranks : int
            Leaves below this rank were harvested.

        Returns
        -------
        mesh : Mesh
        leaves : int
            Leaves, seed leaves not counted, longer than a twentieth of the species' longest.
        """
        mesh = Mesh()
        if area_cm2 <= 0:
            return mesh, 0
        age = self.age_for(area_cm2, cut_ranks)
        lengths = self.lengths(age)
        draw = {"rosette": self._rosette, "pairs": self._pairs, "tall": self._tall,
                "straws": self._straws}[self.kind.plan]  # fmt: skip
        self._breeze = np.random.default_rng([self.seed, posture.breeze])
        for number, centre in enumerate(self.kind.centres):
            if not cut_ranks:
                self._add_seed_leaves(mesh, age, np.add(foot, (*centre, 0)), number, posture)
        draw(mesh, age, lengths, np.asarray(foot, float), posture, cut_ranks)
        for part in range(len(mesh.points)):
            p = mesh.points[part]
            if len(p) > 40:
                p[:, 2] = np.maximum(p[:, 2], floor(p[:, 0], p[:, 1]) + 0.00035 * (part % 24))
        shown = lengths > 0.05 * self.kind.length
        ranks = np.array([rank for _, _, rank, _ in self.places])
        count = np.count_nonzero(shown & (ranks >= cut_ranks))
        return mesh, int(count)

    def _add_seed_leaves(self, mesh, age, foot, number, posture):
        length = float(self._seed_leaves(age))
        fade = 1 - float(grown(age - 34, 3, 8))
        if length < 0.0012 or fade < 0.06:
            return
        rng = self.rng(999, number)
        high = (
            {"sunflower": 0.03, "basil": 0.018}.get(self.species, 0.010)
            * length
            / self.kind.seed_leaf
        )
        top = np.add(foot, (0, 0, high))
        mesh.add(tube(np.linspace(foot - [0, 0, 0.004], top, 4), 0.0011, 0.0009), "stalk")
        azimuth = rng.uniform(0, 2 * np.pi)
        yellow = (1.5 - 0.5 * fade, 1.15 - 0.15 * fade, 0.9)
        for side in range(2):
            size = length * fade * rng.uniform(0.93, 1.07)
            pose = Pose(size, size * 0.72, 0.35 - posture.limp * 0.4 + posture.lift, 0.5,
                        azimuth + side * np.pi + rng.normal(0, 0.08), tuple(top))  # fmt: skip
            mesh.add(strip_leaf(SEED_SHAPE, pose, rng), "seed leaf", yellow)

    def _tint(self, rng, ripe, age):
        """Colour of a leaf against its texture: fresh ones lighter, the oldest yellowing."""
        light = rng.uniform(0.84, 1.12) * (1.18 - 0.24 * ripe)
        hue = rng.normal(0, 0.035)
        old = float(np.clip((age - 38) / 16, 0, 1)) * rng.uniform(0.2, 0.9)
        return light * np.array([1 + hue + 0.75 * old, 1 + 0.14 * old, 1 - 1.5 * hue - 0.2 * old])

    def _leaf(self, mesh, i, age, length, azimuth, base, posture, material, rise=None):
        """Add leaf number `i` of the plant."""
        kind, rng, breeze = self.kind, self.rng(i), self._breeze
        leaf_age = age - self.births[i]
        ripe = float(grown(leaf_age, 7, 16))
        rise_old = kind.rise_old + rng.normal(0, 0.08)
        rise = kind.rise_young + (rise_old - kind.rise_young) * ripe if rise is None else rise
        droop = posture.limp * rng.uniform(0.75, 1.15)
        rise = rise + posture.lift + breeze.normal(0, 0.008)
        rise = rise - droop * (rise + 0.25)
        width = length * kind.shape.slim * (0.75 + 0.25 * ripe) * rng.uniform(0.92, 1.08)
        bend = kind.bend * (0.3 + 0.7 * ripe) * rng.uniform(0.8, 1.2) + 0.9 * droop
        pose = Pose(length, width, rise, bend, azimuth + breeze.normal(0, 0.008), tuple(base),
                    rng.normal(0, 0.12), 0.3 * (1 - ripe) + 0.35 * droop)  # fmt: skip
        grid = fan_leaf if kind.shape.outline == "fan" else strip_leaf
        points, uv = grid(kind.shape, pose, rng)
        keep = None
        if posture.gnawed > 0 and kind.shape.outline != "fan":
            keep = gnaw(uv, pose, self.rng(i, 7), posture.gnawed)
        mesh.add((points, uv), material, self._tint(rng, ripe, leaf_age), keep)

    def _rosette(self, mesh, age, lengths, foot, posture, cut_ranks):
        kind = self.kind
        start = self.rng(901).uniform(0, 2 * np.pi)
        for i, (number, _, rank, _) in enumerate(self.places):
            if lengths[i] < 0.0025:
                continue
            rng = self.rng(i, 3)
            centre = np.array([*kind.centres[number], 0.0])
            ripe = float(grown(age - self.births[i], 7, 16))
            azimuth = start + number * 2.1 + rank * GOLDEN_ANGLE + rng.normal(0, 0.18)
            out = 0.002 + 0.009 * ripe * min(1, kind.length / 0.1)
            crown = 0.016 * min(1, age / 50) * rank / kind.leaves * min(1, kind.length / 0.1)
            base = foot + centre + [out * np.cos(azimuth), out * np.sin(azimuth), 0.003 + crown]
            material = kind.materials[number % len(kind.materials)]
            if rank < cut_ranks:
                stump = base + 0.016 * np.array([np.cos(azimuth), np.sin(azimuth), 0.9])
                mesh.add(tube([base, (base + stump) / 2, stump], 0.0042, 0.0036), "stalk")
                continue
            self._leaf(mesh, i, age, lengths[i], azimuth, base, posture, material)

    def _shoot(self, shoot, age, start, azimuth, lean, nodes, height, delay, posture):
        """Nodes of one basil shoot, from its foot up."""
        rng = self.rng(902, shoot)
        ahead = np.array(
            [np.cos(azimuth) * np.sin(lean), np.sin(azimuth) * np.sin(lean), np.cos(lean)]
        )
        path = [start]
        for k in range(nodes):
            on = age - self.kind.first - delay - k * (self.kind.every if shoot == 0 else 5.0)
            part = height / nodes * 1.15 * float(grown(on, 5, 9)) * (1.15 - 0.05 * k)
            way = ahead + rng.normal(0, 0.03, 3) - [0, 0, 0.3 * posture.limp * (shoot > 0)]
            path.append(path[-1] + part * way / np.linalg.norm(way))
        return np.array(path)

    def _pairs(self, mesh, age, lengths, foot, posture, cut_ranks):
        start = self.rng(901).uniform(0, 2 * np.pi)
        nodes = self.kind.leaves
        foot = np.add(foot, (0, 0, 0.012))
        main = self._shoot(0, age, foot, start, 0.02, nodes, 0.15 * self.vigour, 0, posture)
        mesh.add(tube(np.vstack([foot - [0, 0, 0.014], main]), 0.0026, 0.0012), "stalk")
        shoots = {0: (main, start)}
        for k in range(min(nodes, 7)):
            if lengths[[p[1] == k + 1 for p in self.places]].max(initial=0) > 0.002:
                azimuth = start + k * np.pi / 2 + 0.3
                path = self._shoot(k + 1, age, main[k + 1], azimuth, 0.8, 4, 0.07 * self.vigour,
                                   9 + k * self.kind.every, posture)  # fmt: skip
                mesh.add(tube(path, 0.0016, 0.0010), "stalk")
                shoots[k + 1] = (path, azimuth)
        for i, (_, shoot, rank, side) in enumerate(self.places):
            if lengths[i] < 0.0025 or shoot not in shoots:
                continue
            path, azimuth = shoots[shoot]
            turn = azimuth + rank * np.pi / 2 + side * np.pi + self.rng(i, 3).normal(0, 0.14)
            self._leaf(mesh, i, age, lengths[i], turn, path[rank + 1], posture, "basil")

    def _tall(self, mesh, age, lengths, foot, posture, cut_ranks):
        kind, rng = self.kind, self.rng(901)
        height = 0.25 * self.vigour * float(grown(age - 4, 9, 40)) + 0.03 * float(
            grown(age - 1, 2, 4)
        )
        lean = rng.normal(0, 0.05, 2) + posture.towards
        part = np.linspace(0, 1, 9)
        bow = part**2.2
        path = foot + np.c_[lean[0] * height * bow + 0.004 * np.sin(3 * part),
                            lean[1] * height * bow, height * part]  # fmt: skip
        mesh.add(tube(np.vstack([path[0] - [0, 0, 0.004], path]), 0.0062 * min(1, 0.25 + age / 55),
                      0.0034), "stalk")  # fmt: skip
        for i, (_, _, rank, _) in enumerate(self.places):
            if lengths[i] < 0.0025:
                continue
            where = min(
                1.0, (0.1 + 0.9 * rank / (kind.leaves - 1)) * 0.25 * self.vigour / max(height, 0.02)
            )
            base = [np.interp(where, part, path[:, axis]) for axis in range(3)]
            azimuth = rank * GOLDEN_ANGLE + self.rng(i, 3).normal(0, 0.15)
            self._leaf(mesh, i, age, lengths[i], azimuth, base, posture, "sunflower")
        opened = float(np.clip((age - FLOWERS_FROM) / FLOWER_DAYS, 0, 1))
        if opened > 0.02:
            add_flower(mesh, path[-1], opened, posture.limp, self.rng(903))

    def _straws(self, mesh, age, lengths, foot, posture, cut_ranks):
        for i, length in enumerate(lengths):
            if length < 0.004:
                continue
            rng = self.rng(i)
            azimuth, lean = rng.uniform(0, 2 * np.pi), abs(rng.normal(0.24, 0.22))
            bend = abs(rng.normal(0.45, 0.35)) * min(1, length / 0.1) + self._breeze.normal(0, 0.01)
            u = np.linspace(0, 1, 10)
            angle = np.pi / 2 - lean - bend * u**1.6
            out = np.concatenate([[0], np.cumsum(np.cos(angle[:-1]))]) / 9 * length
            up = np.concatenate([[0], np.cumsum(np.sin(angle[:-1]))]) / 9 * length
            spread, about = 0.024 * np.sqrt(rng.uniform()), rng.uniform(0, 2 * np.pi)
            path = np.add(foot, (spread * np.cos(about), spread * np.sin(about), -0.002))
            path = path + np.stack([out * np.cos(azimuth), out * np.sin(azimuth), up], -1)
            mesh.add(tube(path, 0.0017, 0.0005, 5, (0.2, 0.9)), "chives",
                     rng.uniform(0.75, 1.2) * np.ones(3))  # fmt: skip
