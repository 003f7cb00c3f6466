"""A table of offsets by what was measured: what was made otherwise comes back as the recipe's own words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from plugs import Corner, Plug, Skin, Station
from plugs.comparing.comparison import Ask, Comparison, compare
from plugs.comparing.corrected import corrected, write_new
from plugs.comparing.reading import POINTS, Measured
from plugs.ground.errors import PlugError
from plugs.lines.offsets import read_table, stations_of
from plugs.sanding.fit_list import EDGE, GAP, HALF_BREADTH
from plugs.work import Work, work_out


def wedge(low: float = 0.0, wide: float = 0.0, crown: float = 0.0) -> Plug:
    """Return a wedge; its middle station's deck lower, its rear one's sides wider, its decks crowned."""
    stations = [
        Station(
            x=x,
            corners={
                "chine": Corner(200.0 - 0.1 * x + w, 0.0, 8.0),
                "edge": Corner(180.0 - 0.1 * x + w, 120.0 - d, 20.0),
            },
            crowns={"deck": crown},
        )
        for x, d, w in ((0.0, 0.0, 0.0), (300.0, low, 0.0), (600.0, 0.0, wide))
    ]
    skin = Skin(thickness=2.0, no_laminate=("floor", "front", "rear"))
    return Plug(name="Wedge", panels=("floor", "side", "deck"), stations=stations, skin=skin)


def compared(real: Plug, against: str = "finished") -> tuple[Work, Comparison]:
    """Return the drawn wedge, and the fit list of a real one compared with it."""
    points = []
    for row in work_out(real).fit_list:
        value = row.foam if against == "foam" else row.finished
        if row.what not in (GAP, EDGE) and value is not None:
            told = -value if row.what == HALF_BREADTH and row.side == "left" else value
            points.append([told if v is None else v for v in (row.x, row.y, row.z)])
    measured = Measured(name="p.csv", kind=POINTS, points=np.array(points), labels=(), gaps=(), notes=())
    drawn = work_out(wedge())
    return drawn, compare(drawn, measured, Ask(against=against, how="probed", locked=(), tolerance=0.5))


@pytest.mark.parametrize(
    ("low", "wide", "crown", "against"), [(3.0, 4.0, 0.0, "finished"), (2.0, -3.0, 5.0, "foam")]
)
def test_the_table_makes_what_was_measured(
    low: float, wide: float, crown: float, against: str, tmp_path: Path
) -> None:
    """Read by a recipe, it passes through the points; and it is what the real thing was made by."""
    real = wedge(low, wide, crown)
    drawn, found = compared(real, against)
    made = corrected(drawn, found)
    assert made.before_mm > 1.0
    assert made.after_mm < 0.1 and made.worst_mm < 0.3, "what is damped stays a few per cent short"
    write_new(made.text, tmp_path / "measured.csv")
    stations = stations_of(read_table(tmp_path / "measured.csv"))
    for own, there in zip(real.stations, stations, strict=True):
        # nobody measured the floor, so the chine may lie anywhere along the side
        corner, made_corner = own.corners["edge"], there.corners["edge"]
        assert made_corner.radius == corner.radius
        assert (made_corner.y, made_corner.z) == pytest.approx((corner.y, corner.z), abs=0.3)
    again = compare(work_out(replace(wedge(), stations=stations)), found.measured, found.ask)
    assert np.sqrt(np.mean(again.off**2)) < 0.1, "what is told of it is so"
    assert any("station 600 mm: chine, half-breadth 140 mm -> " in row for row in made.changes)


def test_what_is_as_drawn_stays(tmp_path: Path) -> None:
    """Nothing is moved where nothing is off, and no file is written over another."""
    drawn, found = compared(wedge())
    made = corrected(drawn, found)
    assert made.changes == () and made.after_mm < 0.01
    path = tmp_path / "measured.csv"
    write_new(made.text, path)
    with pytest.raises(PlugError, match="no table is written over another"):
        write_new(made.text, path)
