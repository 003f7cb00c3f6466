"""Blended ends: tangent to the panel where they begin and to the end plane where they stop, radius R between.

The blend of a plane panel is part of a cylinder of radius R that touches panel and end (derived here);
of any other panel it is what a ball of radius R leaves, so its normal turns from the panel's to the end's.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from plugs.lines.checks import checked_loft
from plugs.lines.lengthwise import Curves
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft, make_loft
from tests.shapes import Array, box_plan, tapered_plan

SIDE, DECK = "side", "deck"


def pyramid(taper: float, rake_deg: float, radius: float, sharp: tuple[str, ...] = ()) -> LinesPlan:
    """Return a box that tapers by ``taper`` mm each side, its sides upright planes.

    The corners of a raked end are points of its plane, so the upper one lies where the side
    has come to there.
    """

    def at(share: float) -> Station:
        z = 120.0 - 0.5 * share * taper
        reach = share * (400.0 + z * math.tan(math.radians(rake_deg))) / 400.0
        corners = {"low": Corner(150.0 - share * taper, 0.0), "high": Corner(150.0 - reach * taper, z)}
        return Station(x=400.0 * share, corners=corners)

    rear = End(radius=radius, rake_deg=rake_deg, sharp=sharp)
    return LinesPlan(stations=[at(0.0), at(1.0)], panels=("floor", "side", "deck"), rear=rear)


def places(loft: Loft, panel: str, t: Array, ratio: float = 0.5) -> tuple[Array, Array]:
    """Return points in the middle of a panel and the outward normals there, one for each t."""
    segment = np.full(1, 2 * loft.table.panel_names.index(panel) + 1)

    def point(tt: Array, r: float) -> Array:
        return loft.sections(tt).place(segment, np.array([r]))[:, 0]

    step, size = 1e-5, 1e-4
    along = point(t + step, ratio) - point(t - step, ratio)
    across = point(t, ratio + size) - point(t, ratio - size)
    normal = np.cross(across, along)
    return point(t, ratio), normal / np.linalg.norm(normal, axis=1)[:, None]


def blend_positions(loft: Loft, panel: str, count: int = 9) -> Array:
    """Return positions inside the rear blend of a panel, from its point of tangency to near the end."""
    zone = loft.rear
    assert zone is not None
    touch = float(zone.theta_touch[loft.table.panel_names.index(panel)].max())
    theta = touch + (0.5 * np.pi - touch) * np.linspace(0.03, 0.97, count)
    share = (theta - zone.theta_start) / (0.5 * np.pi - zone.theta_start)
    return zone.u_start + share * (zone.u_end - zone.u_start)


def end_plane(loft: Loft) -> tuple[Array, Array]:
    """Return a point of the rear end plane and its outward normal."""
    at = loft.sections(loft.breaks[-1:])
    k, u = float(at.k[0]), float(at.u[0])
    return np.array([u, 0.0, 0.0]), np.array([1.0, 0.0, -k]) / math.hypot(1.0, k)


@pytest.mark.parametrize("taper", [0.0, 40.0, 70.0, 120.0, -60.0])
@pytest.mark.parametrize("rake_deg", [0.0, 18.0, -22.0])
@pytest.mark.parametrize("panel", [SIDE, DECK])
def test_blend_of_a_plane_panel_is_a_cylinder(taper: float, rake_deg: float, panel: str) -> None:
    """One radius inward along the normal lies R from the panel and R from the end, everywhere.

    Slopes up to 17 degrees.
    """
    radius = 4.0 if taper == 120.0 else 25.0
    loft = checked_loft(pyramid(taper, rake_deg, radius))
    t = blend_positions(loft, panel)
    points, normals = places(loft, panel, t)
    origin, out = end_plane(loft)
    flat, panel_normal = places(loft, panel, np.array([150.0]))
    centres = points - radius * normals
    assert (origin - centres) @ out == pytest.approx(np.full(len(t), radius), abs=radius * 2e-6)
    assert (flat[0] - centres) @ panel_normal[0] == pytest.approx(np.full(len(t), radius), abs=radius * 2e-6)


CASES = {
    "tapered": tapered_plan(rear=End(radius=25.0)),
    "faired": tapered_plan(rear=End(radius=25.0), bays="faired", bulge=20.0),
    "raked": tapered_plan(rear=End(radius=20.0, rake_deg=15.0)),
    "raked and faired": tapered_plan(rear=End(radius=20.0, rake_deg=-15.0), bays="faired", bulge=20.0),
}


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("panel", [SIDE, DECK, "left side", "floor"])
def test_blend_is_tangent_at_both_its_ends(name: str, panel: str) -> None:
    """The normal has no jump where the blend begins, and is the end's own where it stops."""
    loft = checked_loft(CASES[name])
    zone = loft.rear
    assert zone is not None
    i = loft.table.panel_names.index(panel)
    span = zone.u_end - zone.u_start
    turn = 0.5 * np.pi - zone.theta_start
    for ratio, touch in ((0.02, zone.theta_touch[i, 0]), (0.98, zone.theta_touch[i, 1])):
        begin = zone.u_start + (float(touch) - zone.theta_start) / turn * span
        _, (before, after) = places(loft, panel, np.array([begin - 2e-4, begin + 2e-4]), ratio)
        assert np.arccos(np.clip(before @ after, -1.0, 1.0)) < 0.02
        _, (last,) = places(loft, panel, np.array([loft.breaks[-1] - 1e-3 * span]), ratio)
        _, out = end_plane(loft)
        assert np.arccos(np.clip(last @ out, -1.0, 1.0)) < 1.5e-3 * turn


@pytest.mark.parametrize("name", CASES)
def test_blend_turns_without_a_kink(name: str) -> None:
    """From the panel to the end the normal turns evenly: no step much farther than the mean."""
    loft = checked_loft(CASES[name])
    _, normals = places(loft, SIDE, blend_positions(loft, SIDE, 60))
    turns = np.arccos(np.clip(np.sum(normals[1:] * normals[:-1], axis=1), -1.0, 1.0))
    assert turns.max() < 1.5 * turns.mean()


def test_square_end_is_the_quarter_circle() -> None:
    """On a box the inset is R (1 - cos a) at R sin a: a radius of 20 from x = 280 to 300."""
    loft = checked_loft(box_plan(300.0, 200.0, 100.0, end_radius=20.0))
    zone = loft.rear
    assert zone is not None
    assert zone.u_start == pytest.approx(280.0, abs=1e-5)
    angle = np.linspace(0.05, 0.5 * np.pi, 12)
    t = 280.0 + 20.0 * angle / (0.5 * np.pi)
    at = loft.sections(t)
    assert at.u == pytest.approx(280.0 + 20.0 * np.sin(angle), abs=1e-4)
    assert at.corners[:, 0, 0] == pytest.approx(100.0 - 20.0 * (1.0 - np.cos(angle)), abs=1e-4)
    assert at.corners[:, 1, 1] == pytest.approx(100.0 - 20.0 * (1.0 - np.cos(angle)), abs=1e-4)


def test_front_is_the_mirror_of_rear() -> None:
    """The same end in front: the same volume of foam goes."""
    front = checked_loft(tapered_plan(half=(120.0, 120.0), height=(100.0, 100.0), front=End(radius=22.0)))
    rear = checked_loft(tapered_plan(half=(120.0, 120.0), height=(100.0, 100.0), rear=End(radius=22.0)))
    t = np.linspace(380.0, 400.0, 9)
    assert front.sections(400.0 - t).corners == pytest.approx(rear.sections(t).corners, abs=1e-6)


def test_sharp_panels_are_not_drawn_inward() -> None:
    """A floor kept sharp stays on the baseline to the very end."""
    loft = checked_loft(pyramid(40.0, 0.0, 25.0, sharp=("floor",)))
    assert loft.sections(np.linspace(300.0, 400.0, 41)).corners[..., 1].min() == pytest.approx(0.0, abs=1e-9)
    rounded = checked_loft(pyramid(40.0, 0.0, 25.0))
    assert rounded.sections(rounded.breaks[-1:]).corners[..., 1].min() == pytest.approx(25.0, abs=0.1)


def test_an_end_looks_at_each_corner_on_its_own_line(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a section of eight times as many panels, a blend asks eight times as many places, not 64 times."""
    asked = []
    at = Curves.at

    def counted(self: Curves, x: Array) -> tuple[Array, Array]:
        asked.append(x.size)
        return at(self, x)

    def round_plan(count: int) -> LinesPlan:
        turns = [math.pi * (i + 0.5) / count - 0.5 * math.pi for i in range(count)]
        corners = {f"{i}": Corner(100.0 * math.cos(a), 100.0 * math.sin(a)) for i, a in enumerate(turns)}
        panels = tuple(f"panel {i}" for i in range(count + 1))
        stations = [Station(x=x, corners=corners) for x in (0.0, 300.0)]
        return LinesPlan(stations=stations, panels=panels, rear=End(radius=20.0))

    monkeypatch.setattr(Curves, "at", counted)
    totals = []
    for count in (4, 32):
        asked.clear()
        make_loft(round_plan(count), is_trial=True)
        totals.append(sum(asked))
    assert totals[1] < 9 * totals[0]
