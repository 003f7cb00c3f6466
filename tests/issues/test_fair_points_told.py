"""What a fair curve leaves out, or follows but not within its tolerance, is told by the build's findings."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from plugs.findings import line_findings
from plugs.ground.errors import Finding, PlugError
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, Station
from plugs.measure.fairing import fair
from plugs.measure.landmarks import between
from plugs.measure.outlines import outline_of, read_outline
from plugs.recipe.plug import Plug

ARC = np.column_stack([np.linspace(100.0, -100.0, 81), 60.0 - np.linspace(-1.0, 1.0, 81) ** 2 * 60.0])


def findings(curve: object) -> list[Finding]:
    """Return what a plug with a measured top says of it."""
    corners = {"foot": Corner(100.0, -20.0), "rail": Corner(100.0, 0.0)}
    stations = [Station(x=x, corners=corners, curves={"top": curve}) for x in (0.0, 300.0)]
    plug = Plug(name="Hood", stations=stations, panels=("floor", "side", "top"))
    return line_findings(plug, checked_loft(plug.plan()))


def test_point_left_out_is_named(tmp_path: Path) -> None:
    """File, number, coordinates and distance, once though two stations use the curve; a note."""
    points = ARC.copy()
    points[30] += (0.0, 4.0)
    file = tmp_path / "hood.csv"
    file.write_text("y (mm),z\n" + "\n".join(f"{y:.3f},{z:.3f}" for y, z in points))
    parts = between(read_outline(file), {"rail": points[0], "port rail": points[-1]})
    curve = fair(parts["rail", "port rail"], landmarks=(points[0], points[-1]))
    (found,) = findings(curve)
    assert (found.code, found.severity) == ("point-left-out", "note")
    assert found.where == "top, station 1, x = 0 mm, hood.csv"
    assert "of 81 points, number 31 at (25.0, 60.2) lies 3." in found.message
    assert findings(fair(ARC)) == []


def test_kept_points_beyond_the_tolerance_are_told() -> None:
    """Scatter that no fair curve follows: how many, how far, which and where; the remedy clears it."""
    rng = np.random.default_rng(3)
    points = ARC + rng.normal(0.0, 0.25, ARC.shape)
    ends = (ARC[0], ARC[-1])
    curve = fair(points, tolerance=0.5, landmarks=ends)
    assert not curve.is_within
    assert curve.beyond[0].distance == curve.largest > 0.5
    assert all(left.distance > 0.5 for left in curve.beyond)
    (found,) = [f for f in findings(curve) if f.severity == "mind"]
    assert found.code == "fair-beyond-tolerance"
    assert f"{len(curve.beyond)} points lie farther" in found.message
    assert f"by {curve.largest:.2f} mm, point {curve.beyond[0].index + 1} of 81" in found.message
    allowed = float(found.remedy.rpartition("=")[2])
    assert not [f for f in findings(fair(points, tolerance=allowed, landmarks=ends)) if f.severity == "mind"]


@pytest.mark.parametrize("kind", [tuple, list, np.asarray])
def test_landmarks_as_rows_of_an_array(kind: type) -> None:
    """A row of an array, a list and a tuple are one and the same landmark, of a curve and of an outline."""
    curve = fair(ARC, landmarks=(kind(ARC[0]), kind(ARC[-1])))
    assert curve.at(np.array([0.0, 1.0])).tolist() == ARC[[0, -1]].tolist()
    assert fair(ARC, landmarks=np.array([ARC[0], ARC[-1]])).at(np.array([0.0])).tolist() == [ARC[0].tolist()]
    parts = between(outline_of(ARC), {"a": kind(ARC[0]), "b": kind(ARC[40]), "c": kind(ARC[-1])})
    assert list(parts) == [("a", "b"), ("b", "c")]


@pytest.mark.parametrize(
    "landmark", [5.0, "rail", (1.0, "two"), (1.0, 2.0, 3.0), (np.nan, 0.0), (1e300, 0.0)]
)
def test_landmarks_that_are_none(landmark: object) -> None:
    """Refused where they are given, by name."""
    with pytest.raises(PlugError) as caught:
        fair(ARC, landmarks=(None, landmark))  # type: ignore[arg-type]
    assert caught.value.param == "landmarks[1]"
    with pytest.raises(PlugError) as caught:
        between(outline_of(ARC), {"a": ARC[0], "b": landmark})  # type: ignore[dict-item]
    assert caught.value.param == "landmarks['b']"
