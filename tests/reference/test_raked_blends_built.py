"""Raked, blended ends of a built folder against a box rounded by hand.

A box of width W and height H, its lengthwise edges sharp, ends in a plane that leans by a rake; a ball of
radius R rolls in the groove between that plane and each of the four sides. Textbook geometry (memory), put
together here: where the material between end plane and side is a wedge of the angle b and h is the depth
under the end plane, the ball's centre lies R cot(b / 2) in from the wedge's edge, it touches the side at
h = R (1 + cos b), and down to there the side lies

    m(h) = R cot(b / 2) - sqrt(R R - (h - R) (h - R)) - h cot b

farther in. A section parallel to the end is a rectangle of (W - 2 m) by (H / cos(rake) - m - m), whose
integral over h is taken by scipy (BSD). Foam under a skin of d is the same figure of W - 2 d, H - 2 d and
R - d between planes moved by d. Volumes, and every corner of both meshes, are read by trimesh (MIT) from
the folder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.integrate import quad

from plugs.build import build

Array = NDArray[np.float64]

WIDTH, HEIGHT, LENGTH = 160.0, 120.0, 300.0
CHORD = 0.01

RECIPE = """
from plugs import Corner, End, Plug, Skin, Stack, Station

def plug(rake: float = 15.0, radius: float = 20.0, skin: float = 3.0):
    corners = {{"low": Corner({half}, 0.0), "high": Corner({half}, {height})}}
    return Plug(
        name="Leaning box",
        stations=[Station(x=x, corners=corners) for x in (0.0, {length})],
        panels=("floor", "side", "deck"),
        rear=End(radius=radius, rake_deg=rake),
        skin=Skin(thickness=skin),
        stack=Stack(thicknesses=(60.0,)),
        chord_tolerance={chord},
    )
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box from ``front`` to the plane x = ``end`` + z tan(``rake``), blended there."""

    half: float
    low: float
    high: float
    front: float
    end: float
    rake: float
    radius: float

    def wedges(self) -> tuple[float, float, float]:
        """Return the angles between the end plane and floor, deck and sides."""
        return 0.5 * math.pi + self.rake, 0.5 * math.pi - self.rake, 0.5 * math.pi

    def volume(self) -> float:
        """Return the volume."""
        tall = self.high - self.low
        lean = math.tan(self.rake)
        sharp = 2.0 * self.half * tall * (self.end + 0.5 * lean * (self.low + self.high) - self.front)
        along = tall / math.cos(self.rake)
        floor, deck, side = self.wedges()

        def lost(h: float) -> float:
            inside = along - inset(h, self.radius, floor) - inset(h, self.radius, deck)
            return 2.0 * self.half * along - (2.0 * self.half - 2.0 * inset(h, self.radius, side)) * inside

        marks = sorted(self.radius * (1.0 + math.cos(angle)) for angle in (floor, deck, side))
        return sharp - quad(lost, 0.0, marks[-1], points=marks[:-1], epsabs=1e-7, limit=400)[0]

    def depth(self, points: Array) -> Array:
        """Return how far points (k, 3) lie inside the surface, - outside."""
        x, y, z = points.T
        h = (self.end + z * math.tan(self.rake) - x) * math.cos(self.rake)
        floor, deck, side = self.wedges()
        walls = (
            (z - self.low, floor),
            (self.high - z, deck),
            (self.half - y, side),
            (self.half + y, side),
        )
        return np.min([x - self.front, *(rounded(h, wall, self.radius, a) for wall, a in walls)], axis=0)


def inset(h: float, radius: float, angle: float) -> float:
    """Return how far in a blended side lies at a depth under the end plane: m(h) of the module's head."""
    if h >= radius * (1.0 + math.cos(angle)):
        return 0.0
    ball = radius / math.tan(0.5 * angle) - math.sqrt(max(radius**2 - (h - radius) ** 2, 0.0))
    return ball - h / math.tan(angle)


def rounded(h: Array, wall: Array, radius: float, angle: float) -> Array:
    """Return how far inside a rounded wedge points lie, from how far they lie from both its planes."""
    # along the end plane from the wedge's edge, by the distance from the side
    s = (wall + h * math.cos(angle)) / math.sin(angle)
    off_s, off_h = s - radius / math.tan(0.5 * angle), h - radius
    # the ball is the surface where the way from its centre lies between the normals of both planes
    before_end = -off_s
    before_wall = off_s * math.cos(angle) + off_h * math.sin(angle)
    is_ball = (before_end > 0.0) & (before_wall < 0.0)
    return np.where(is_ball, radius - np.hypot(off_s, off_h), np.minimum(h, wall))


@pytest.mark.parametrize(("rake_deg", "radius", "skin"), [(15.0, 20.0, 3.0), (-22.0, 12.0, 4.0)])
def test_raked_blended_end_of_a_built_folder(
    tmp_path: Path, rake_deg: float, radius: float, skin: float
) -> None:
    """Volumes within the chords, and every corner of both meshes on the surface drawn by hand."""
    recipe = tmp_path / "leaning_box.py"
    recipe.write_text(
        RECIPE.format(half=0.5 * WIDTH, height=HEIGHT, length=LENGTH, chord=CHORD), encoding="utf-8"
    )
    words = {"rake": rake_deg, "radius": radius, "skin": skin}
    build(recipe, words, out=tmp_path / "out", kinds=("stl",))
    rake = math.radians(rake_deg)
    finish = Box(half=0.5 * WIDTH, low=0.0, high=HEIGHT, front=0.0, end=LENGTH, rake=rake, radius=radius)
    foam = Box(
        half=finish.half - skin,
        low=skin,
        high=HEIGHT - skin,
        front=skin,
        end=LENGTH - skin / math.cos(rake),
        rake=rake,
        radius=radius - skin,
    )
    for name, box in (("finish", finish), ("foam", foam)):
        (path,) = (tmp_path / "out").rglob(f"{name}.stl")
        found = trimesh.load(path)
        assert found.is_watertight
        girth = 2.0 * (WIDTH + HEIGHT) * 0.5 * math.pi * radius
        assert found.volume == pytest.approx(box.volume(), abs=CHORD * girth)
        assert np.abs(box.depth(np.asarray(found.vertices))).max() < 2e-3
