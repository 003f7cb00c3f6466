"""Measured panels are followed as closely as is said, and where they cannot be, a finding says so."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from plugs.lines.checks import checked_loft
from plugs.lines.measured import LARGEST_MISS
from plugs.lines.section import Corner, LinesPlan, Station
from plugs.lines.stations import Loft

Array = NDArray[np.float64]


def wing(chord: float, turn: Array) -> Array:
    """Return points of a NACA 0012 section (report 460, 1933) by their angle, nose at z = 0.

    The printed last term 0.1015 leaves the tail 0.126 % of the chord half-thick: a corner of its own.
    """
    x = 0.5 * (1.0 - np.cos(turn))
    y = 0.6 * (0.2969 * np.sqrt(x) - 0.1260 * x - 0.3516 * x**2 + 0.2843 * x**3 - 0.1015 * x**4)
    return chord * np.column_stack((np.sign(turn) * y, x))


def strut(points: Array) -> LinesPlan:
    """Return a prism over one measured panel that runs from the tail round the nose and back."""
    tail = Corner(*points[-1].tolist())
    stations = [Station(x=x, corners={"tail": tail}, curves={"shell": points}) for x in (0.0, 200.0)]
    return LinesPlan(stations=stations, panels=("shell", "tail face"))


def outline(loft: Loft, t: float) -> Array:
    """Return a section's outline, 30 points to a segment."""
    at = loft.sections(np.array([t]))
    count = at.rings.points.shape[1]
    return at.rings.at(np.repeat(np.arange(count), 30), np.tile(np.arange(30) / 30.0, count))[0]


def is_near(points: Array, chord: float, limit: float) -> bool:
    """Return whether all points lie so near to the formula."""
    exact = shapely.LinearRing(wing(chord, np.linspace(-np.pi, np.pi, 60_001)))
    shapely.prepare(exact)
    return bool(shapely.dwithin(exact, shapely.points(points), limit).all())


@pytest.mark.parametrize("chord", [150.0, 300.0, 1200.0, 3000.0])
def test_nose_of_any_size_is_followed(chord: float) -> None:
    """No point of the outline is farther from the formula than 0.01 mm, and no more pieces than 64."""
    loft = checked_loft(strut(wing(chord, np.linspace(-np.pi, np.pi, 3001))))
    # the 3,001 points cost up to 0.001 mm themselves
    assert is_near(outline(loft, 100.0), chord, 1.2 * LARGEST_MISS)
    assert loft.table.findings == ()
    assert len(loft.table.parent_names) <= 65


class Faired:
    """The same section as something that gives its own points, as a faired curve does."""

    def at(self, s: Array) -> Array:
        """Return points at shares of the curve."""
        return wing(1200.0, np.pi * (2.0 * s - 1.0))


def test_curve_that_gives_its_own_points_is_asked_for_enough() -> None:
    """A faired curve is sampled until its chords lie on it, also round a nose."""
    points = wing(1200.0, np.array([-np.pi]))
    plan = strut(np.vstack([points, wing(1200.0, np.array([np.pi]))]))
    stations = [Station(x=s.x, corners=s.corners, curves={"shell": Faired()}) for s in plan.stations]
    loft = checked_loft(LinesPlan(stations=stations, panels=plan.panels))
    assert is_near(outline(loft, 100.0), 1200.0, 1.1 * LARGEST_MISS)


def test_points_that_no_arcs_follow_are_told() -> None:
    """Points that jump to and fro by 0.4 mm: a finding with distance and place, and fairing clears it."""
    from plugs.measure.fairing import fair

    points = wing(300.0, np.linspace(-np.pi, np.pi, 601))
    rough = points.copy()
    rough[1:-1:2] += (0.4, 0.0)
    (found,) = checked_loft(strut(rough)).table.findings
    assert (found.code, found.severity) == ("measured-panel", "mind")
    assert found.where.startswith("panel 'shell' at x = 0, y = ")
    told = float(found.message.split(" mm off")[0].rpartition(" ")[2])
    assert 0.05 < told < 0.5
    assert f"tolerance={0.5:g}" in found.remedy
    ends = tuple(map(tuple, rough[[0, -1]].tolist()))
    faired = strut(fair(rough, tolerance=0.5, landmarks=ends).at(np.linspace(0.0, 1.0, 4001)))
    assert checked_loft(faired).table.findings == ()
