"""A mating edge as measured comes back as a contour: built by it, the plug runs through what was measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from plugs import Corner, Mating, Plug, Skin, Station, fair, read_outline
from plugs.cli import main
from plugs.comparing.comparison import Ask, Comparison, compare
from plugs.comparing.edges import measured_edge
from plugs.comparing.reading import FIT_LIST, POINTS, SCAN, Measured
from plugs.ground.errors import PlugError
from plugs.mesh.mesh import triangles_of
from plugs.sanding.fit_list import EDGE
from plugs.work import Work, work_out

Array = NDArray[np.float64]

TOLERANCE = 0.5  # mm, of fairing
GAP = 1.5  # mm
RADIUS = 900.0  # mm. The drawn contour is an arc: x = R - sqrt(R^2 - y^2)


def drawn_x(y: Array) -> Array:
    """Return the drawn contour."""
    return RADIUS - np.sqrt(RADIUS**2 - y**2)


def real_x(y: Array) -> Array:
    """Return where the real edge is: the drawn face, 3 mm too far back, and askew."""
    return drawn_x(y) + GAP + 3.0 + 0.01 * y


def wedge(contour: Array | None = None, gap: float = GAP) -> Plug:
    """Return a wedge whose front is cut to a contour."""
    if contour is None:
        y = np.linspace(-260.0, 260.0, 61)
        contour = np.stack([drawn_x(y), y], axis=1)
    stations = [
        Station(
            x=x,
            corners={"chine": Corner(200.0 - 0.1 * x, 0.0), "edge": Corner(180.0 - 0.1 * x, 120.0, 20.0)},
        )
        for x in (-20.0, 300.0, 600.0)
    ]
    front = Mating(
        name="joint", view="plan", cuts="front", contour=fair(contour, tolerance=TOLERANCE), gap=gap
    )
    skin = Skin(thickness=2.0, no_laminate=("floor", "front", "rear"))
    return Plug(name="Wedge", panels=("floor", "side", "deck"), stations=stations, skin=skin, mating=(front,))


def compared(kind: str, points: Array, labels: tuple[str, ...] = ()) -> tuple[Work, Comparison]:
    """Return the drawn wedge, and points compared with it."""
    measured = Measured(name="m.csv", kind=kind, points=points, labels=labels, gaps=(), notes=())
    work = work_out(wedge())
    ask = Ask(against="finished", how="probed", locked=(), tolerance=0.5)
    return work, compare(work, measured, ask)


def by_tape() -> tuple[Array, tuple[str, ...]]:
    """Return what a tape shows where the fit list asks for the edge, in the fit list's own words."""
    rows = [row for row in work_out(wedge()).fit_list if row.what == EDGE and row.y is not None]
    y = np.array([row.y for row in rows])
    z = np.array([60.0 if row.z is None else row.z for row in rows])
    return np.stack([real_x(y), y, z], axis=1), tuple(row.place for row in rows)


def scanned() -> tuple[Array, tuple[str, ...]]:
    """Return a scan of the real face, 0.1 mm of noise, and of the deck, which is as drawn."""
    chance = np.random.default_rng(3)
    y, z = chance.uniform(-170.0, 170.0, 3000), chance.uniform(5.0, 90.0, 3000)
    face = np.stack([real_x(y) + chance.normal(0.0, 0.1, 3000), y, z], axis=1)
    x, across = chance.uniform(60.0, 590.0, 3000), chance.uniform(-90.0, 90.0, 3000)
    return np.concatenate([face, np.stack([x, across, np.full(3000, 120.0)], axis=1)]), ()


def probed() -> tuple[Array, tuple[str, ...]]:
    """Return points along the real edge alone, which lies behind the drawn one on the deck."""
    y = np.linspace(-165.0, 165.0, 9)
    return np.stack([real_x(y), y, np.full(9, 120.0)], axis=1), ()


@pytest.mark.parametrize(
    ("kind", "source"),
    [(FIT_LIST, by_tape), (SCAN, scanned), (POINTS, probed)],
    ids=["tape", "scan", "probes"],
)
def test_built_by_the_contour_it_runs_through_what_was_measured(
    kind: str, source: object, tmp_path: Path
) -> None:
    """The face of the new plug is the real one, by its closed form, within the tolerance of fairing."""
    assert callable(source)
    points, labels = source()
    made = measured_edge(*compared(kind, points, labels))
    assert made.name == "joint" and made.axes == ("x", "y")
    assert made.before_mm > 2.0 and made.after_mm < 0.2 and made.worst_mm < TOLERANCE
    assert all("farther in, to x = " in row for row in made.changes if " y = " in row)
    assert 9 <= len(made.changes) <= 13
    path = tmp_path / "edge.csv"
    path.write_text(made.text, encoding="utf-8")
    contour = read_outline(path, columns=("x", "y")).points
    work = work_out(wedge(contour))
    vertices, _ = triangles_of(work.body.body)
    front = vertices[vertices[:, 0] < real_x(vertices[:, 1]) + 20.0]
    measured = np.abs(front[:, 1]) < np.abs(points[:, 1]).max()
    assert measured.sum() > 20
    assert np.abs(front[:, 0] - real_x(front[:, 1]))[measured].max() < TOLERANCE
    assert work.body.faces[0].rms_mm < TOLERANCE


@pytest.mark.parametrize("further", [0.0, -6.0])
def test_an_edge_is_judged_along_its_face_and_not_by_the_deck_it_lies_on(further: float) -> None:
    """Where the part ends short its edge lies on the drawn deck, 0 mm off; it is told as too short.

    The real edge is (3 + 0.01 y) mm behind the drawn one, and the drawn arc leans by asin(y / R) there.
    """
    points, labels = by_tape()
    points = points + np.array([further, 0.0, 0.0])
    _, found = compared(FIT_LIST, points, labels)
    assert [one.place for one in found.edges] == list(labels)
    y = points[:, 1]
    square = (3.0 + 0.01 * y + further) * np.sqrt(1.0 - (y / RADIUS) ** 2)
    assert [one.off for one in found.edges] == pytest.approx(-square, abs=0.05)
    word = "too short" if further == 0.0 else "too long"
    assert sum(word in row for row in found.told()) >= min(len(labels), 12) - 1
    assert f"edges     0 of {len(labels)} places within 0.5 mm" in found.told()
    assert not found.worst and found.figures()["points_on_plug"] == 0


def test_what_is_as_drawn_keeps_its_contour() -> None:
    """Nothing is said to have changed, and the contour is the old one, its gap off the edge."""
    rows = [row for row in work_out(wedge()).fit_list if row.what == EDGE and row.x is None]
    on_face = np.array([[row.finished, row.y, row.z] for row in rows])
    made = measured_edge(*compared(POINTS, on_face))
    assert made.changes == ()
    rows = np.array([[float(v) for v in row.split(",")] for row in made.text.splitlines()[2:]])
    fair_line = shapely.LineString(wedge().mating[0].contour.at(np.linspace(0.0, 1.0, 2001)))
    assert shapely.distance(fair_line, shapely.points(rows)).max() < 0.05


def test_an_edge_that_nobody_measured_is_refused() -> None:
    """On the deck alone; too few places; and a plug without any contour."""
    deck = np.array([[x, y, 120.0] for x in (200.0, 400.0) for y in (-80.0, 80.0)])
    with pytest.raises(PlugError, match="nothing of it was measured on a mating face"):
        measured_edge(*compared(SCAN, deck))
    points, labels = by_tape()
    with pytest.raises(PlugError, match="so few do not tell how the edge runs"):
        measured_edge(*compared(FIT_LIST, points[:1], labels[:1]))
    _, found = compared(SCAN, deck)
    with pytest.raises(PlugError, match="no mating face of it follows a contour"):
        measured_edge(work_out(replace(wedge(), mating=())), found)


RECIPE = """from pathlib import Path
from plugs import *

def wedge(edge="drawn.csv"):
    contour = read_outline(Path(__file__).with_name(edge), columns=("x", "y")).points
    return Plug(
        name="Wedge", panels=("floor", "side", "deck"),
        stations=[
            Station(x=x, corners={"low": Corner(200.0, 0.0), "high": Corner(180.0, 120.0)})
            for x in (-40.0, 600.0)
        ],
        skin=Skin(thickness=2.0, no_laminate=("floor", "front", "rear")),
        mating=(Mating(name="joint", view="plan", cuts="front", contour=contour, gap=2.0),),
    )
"""


def test_the_command_writes_a_new_contour_and_says_what_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The recipe reads it and fits what was measured; a second time the file is there, and is kept."""
    (tmp_path / "wedge.py").write_text(RECIPE, encoding="utf-8")
    (tmp_path / "drawn.csv").write_text("x (mm),y\n-2,-230\n-2,0\n-2,230\n", encoding="utf-8")
    rows = "\n".join(f"{5.0 + 0.02 * y:.2f},{y},120" for y in range(-160, 161, 40))
    (tmp_path / "edge.csv").write_text(f"x (mm),y,z\n{rows}\n", encoding="utf-8")
    new = tmp_path / "new.csv"
    words = [
        "compare",
        str(tmp_path / "wedge.py"),
        str(tmp_path / "edge.csv"),
        "--out",
        str(tmp_path / "out"),
    ]
    assert main([*words, "--edge", str(new)]) == 0
    out = capsys.readouterr().out
    assert "changed   joint, y = 160 mm: 8.2 mm farther in, to x = 8.2 mm" in out
    assert 'read_outline(Path(__file__).with_name("new.csv"), columns=("x", "y")).points' in out
    held = new.read_bytes()
    assert main([*words, "--edge", str(tmp_path / "again.csv"), "--set", "edge=new.csv"]) == 0
    out = capsys.readouterr().out
    assert "changed   nothing" in out and "off by 0 mm rms, 0 mm at most" in out
    assert main([*words, "--edge", str(new)]) == 2
    assert "the file is there already" in capsys.readouterr().err
    assert new.read_bytes() == held
