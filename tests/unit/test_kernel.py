"""The kernel engine: strips, shared edges, booleans, plane sections, STEP text and the worker's manners."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import textwrap
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from plugs.ground.errors import PlugError
from plugs.kernel import worker as kernel_worker
from plugs.kernel.job import KernelFault, KernelJob, KernelProof, OwnShape, SolidTool
from plugs.kernel.spline_strips import STRIP_DISTANCE, Strips, fit_strips, placed_strips
from plugs.kernel.step_text import step_string
from plugs.kernel.strip_edges import plan_seams
from plugs.kernel.worker import KernelRun, start_kernel
from plugs.lines.checks import checked_loft
from plugs.lines.section import Corner, End, LinesPlan, Station
from plugs.lines.stations import Loft, make_loft
from tests.demos import EVERY

Array = NDArray[np.float64]

ROOT = Path(__file__).resolve().parents[2]
VOLUME_RATIO = 1e-5
"""Agreement asked of the kernel's volume and the integral of the sections."""
GAUSS_X, GAUSS_W = np.polynomial.legendre.leggauss(12)
UPRIGHT = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0]])


@pytest.fixture(scope="module")
def kernel() -> Iterator[KernelRun]:
    """One kernel for all tests of this file."""
    with start_kernel() as run:
        yield run


def built(kernel: KernelRun, loft: Loft, **rest: object) -> KernelProof:
    """Return the kernel's proof of a loft, STEP only if asked for."""
    kernel.submit(KernelJob(**{"name": "test plug", "body": fit_strips(loft), "wants_step": False, **rest}))
    return kernel.result(60.0)


def section_volume(loft: Loft) -> float:
    """Return the volume by integrating the sections, 12 Gauss points to a span."""
    start, length = loft.breaks[:-1, None], np.diff(loft.breaks)[:, None]
    sections = loft.sections((start + 0.5 * length * (GAUSS_X + 1.0)).ravel())
    moments = sections.rings.moments()
    weight = (0.5 * length * GAUSS_W).ravel()
    return float(np.sum(weight * (moments[:, 0] * sections.du_dt + sections.dk_dt * moments[:, 2])))


def box_plan(length: float, breadth: float, height: float) -> LinesPlan:
    """Return a box on the baseline, from x = 0."""
    corners = {"chine": Corner(breadth / 2, 0.0), "deck": Corner(breadth / 2, height)}
    return LinesPlan(stations=[Station(x=0.0, corners=corners), Station(x=length, corners=corners)])


def tail_plan(*, bays: str = "faired", rake_deg: float = 12.0, crown: float = 10.0) -> LinesPlan:
    """Return a tapering tail with 50 mm deck blends, a crowned deck and a blended rear end."""
    rows = ((260, 240, 300), (255, 232, 290), (240, 210, 270), (215, 180, 235), (180, 140, 190))
    stations = [
        Station(
            x=250.0 * i,
            corners={"chine": Corner(low, 0.0, 15.0), "deck": Corner(up, height, 50.0)},
            crowns={"across deck": crown},
        )
        for i, (low, up, height) in enumerate(rows)
    ]
    return LinesPlan(stations=stations, bays=bays, rear=End(radius=30.0, rake_deg=rake_deg))


def two_stations(first: dict[str, Corner], last: dict[str, Corner], **rest: object) -> LinesPlan:
    """Return a plan of two stations 300 mm apart."""
    return LinesPlan(stations=[Station(x=0.0, corners=first), Station(x=300.0, corners=last)], **rest)


SHARP = {"a": Corner(100, 0), "b": Corner(100, 100)}
BLENDED = {"a": Corner(100, 0, 20), "b": Corner(100, 100, 30)}
THIN = {
    "pyramid to a point": two_stations(SHARP, {"a": Corner(0, 50), "b": Corner(0, 50)}),
    "wedge to an upright ridge": two_stations(SHARP, {"a": Corner(0, 0), "b": Corner(0, 100)}),
    "wedge to a level ridge, unequal corners": two_stations(
        {"k": Corner(0, 0), "a": Corner(100, 10), "b": Corner(100, 60), "m": Corner(40, 75)},
        {"k": Corner(0, 50), "a": Corner(90, 50), "b": Corner(90, 50), "m": Corner(30, 50)},
    ),
    "curved ridge": LinesPlan(
        stations=[
            Station(x=0.0, corners=SHARP, crowns={"across b": 10.0}),
            Station(
                x=300.0,
                corners={"a": Corner(100, 50), "b": Corner(100, 50)},
                crowns={"across a": -10.0, "across b": 10.0},
            ),
        ]
    ),
    "radius fading out": two_stations(BLENDED, SHARP),
    "radius fading out and back": LinesPlan(
        stations=[
            Station(x=x, corners={"a": Corner(100, 0), "b": Corner(100, 100, radius)})
            for x, radius in ((0.0, 30.0), (100.0, 0.0), (200.0, 0.0), (300.0, 10.0))
        ]
    ),
    "blends fading into a ridge": two_stations(BLENDED, {"a": Corner(0, 0), "b": Corner(0, 100)}),
    "blends fading into a point": two_stations(BLENDED, {"a": Corner(0, 50), "b": Corner(0, 50)}),
    "raked front": two_stations(
        BLENDED, {"a": Corner(80, 0), "b": Corner(70, 90, 15)}, front=End(rake_deg=25.0)
    ),
    "blended ends and slopes": two_stations(
        BLENDED,
        {"a": Corner(120, -10, 20), "b": Corner(80, 90, 15)},
        front=End(radius=25.0),
        rear=End(radius=40.0),
    ),
    "an edge that turns from outside to inside": two_stations(
        {"a": Corner(100, 0), "b": Corner(110, 50, 30), "c": Corner(100, 100)},
        {"a": Corner(100, 0), "b": Corner(85, 50, 30), "c": Corner(100, 100)},
    ),
}


def random_plan(rng: np.random.Generator) -> LinesPlan:
    """Return a plan of random corners, radii, crowns, bays and ends; not every one can be built."""
    is_mirrored = rng.random() < 0.75
    count = int(rng.integers(2, 6) if is_mirrored else rng.integers(3, 8))
    if is_mirrored:
        angle_deg = np.linspace(-75.0, 75.0, count) + rng.uniform(-8.0, 8.0, count)
    else:
        angle_deg = -90.0 + np.arange(count) * 360.0 / count + rng.uniform(-40.0, 40.0, count) / count
    names = [f"c{i}" for i in range(count)]
    radius = np.where(rng.random(count) < 0.7, rng.uniform(3.0, 22.0, count), 0.0)
    is_crowned, reach = rng.random() < 0.4, rng.uniform(100.0, 170.0, count)
    stations, x = [], 0.0
    for _ in range(int(rng.integers(2, 6))):
        size = reach * rng.uniform(0.93, 1.07, count) * rng.uniform(0.75, 1.25)
        place = [size * np.cos(np.radians(angle_deg)), 150.0 + size * np.sin(np.radians(angle_deg))]
        here = radius * rng.uniform(0.5, 1.3, count)
        crowns = {f"c{i} to c{i + 1}": float(rng.uniform(0.0, 8.0)) for i in range(0, count - 1, 2)}
        places = zip(names, *place, here, strict=True)
        corners = {name: Corner(float(y), float(z), float(blend)) for name, y, z, blend in places}
        stations.append(Station(x=x, corners=corners, crowns=crowns if is_crowned else {}))
        x += float(rng.uniform(120.0, 400.0))
    bays = {name: str(rng.choice(["straight", "faired"])) for name in names}
    ends = [
        End(
            radius=float(rng.uniform(5.0, 40.0)) if rng.random() < 0.6 else 0.0,
            rake_deg=float(rng.uniform(-15.0, 25.0)) if rng.random() < 0.35 else 0.0,
        )
        for _ in range(2)
    ]
    return LinesPlan(stations=stations, mirrored=is_mirrored, bays=bays, front=ends[0], rear=ends[1])


def sound_loft(plan: LinesPlan) -> Loft | None:
    """Return the loft of a plan that can be built, else None."""
    try:
        return checked_loft(plan)
    except PlugError:
        return None


def strip_points(strips: Strips, span: int, segment: int, across: float, share: float) -> Array:
    """Return a point of a strip, worked out with scipy's B-splines."""
    part = strips.spans[span]
    knots = np.concatenate([[part.knots[0]] * part.degree, part.knots, [part.knots[-1]] * part.degree])
    t = part.knots[0] + share * (part.knots[-1] - part.knots[0])
    right = (segment + 1) % len(part.edges)
    start, end, middle = (
        BSpline(knots, poles, part.degree)(t)
        for poles in (part.edges[segment], part.edges[right], part.middles[segment])
    )
    if not part.is_arc[segment]:
        return np.asarray((1.0 - across) * start + across * end)
    a, b, c = (1.0 - across) ** 2, 2.0 * across * (1.0 - across), across**2
    return np.asarray((a * start + b * middle[:3] + c * end) / (a + b * middle[3] + c))


# --- strips -----------------------------------------------------------------------------------


def test_strips_lie_on_the_section_function() -> None:
    """Points of the strips stand on the rings of their section, wherever between the knots."""
    loft = make_loft(tail_plan())
    strips = fit_strips(loft)
    rng = np.random.default_rng(5)
    worst = 0.0
    for span in range(len(strips.spans)):
        share = float(rng.uniform(0.02, 0.98))
        first, last = strips.spans[span].knots[[0, -1]]
        t = first + share * (last - first)
        sections = loft.sections(np.array([t]))
        count = sections.rings.points.shape[1]
        ring = shapely.LinearRing(
            sections.rings.at(np.repeat(np.arange(count), 4000), np.tile(np.arange(4000) / 4000, count))[0]
        )
        for segment in range(count):
            x, y, z = strip_points(strips, span, segment, float(rng.random()), share)
            in_plane = abs(x - sections.u[0] - sections.k[0] * z)
            worst = max(worst, in_plane, ring.distance(shapely.Point(y, z)))
    assert worst < STRIP_DISTANCE + 1e-5  # the ring's own chords: 50 mm x (angle / 4000)^2 / 8


def test_straight_spans_stay_straight() -> None:
    """A tapering box is bilinear: degree 1 along, two knots, no arc."""
    (span,) = fit_strips(make_loft(two_stations(SHARP, {"a": Corner(80, 0), "b": Corner(60, 90)}))).spans
    assert (span.degree, len(span.knots)) == (1, 2)
    assert not span.is_arc.any()
    assert span.is_there.tolist() == [False, True] * 4


def test_faired_corners_are_single_cubics() -> None:
    """Between stations a sharp faired plug is a cubic: one piece will do."""
    stations = [
        Station(x=x, corners={"a": Corner(100 - x / 10, 0), "b": Corner(100 - x * x / 2000, 100)})
        for x in (0.0, 100.0, 200.0, 300.0)
    ]
    spans = fit_strips(make_loft(LinesPlan(stations=stations, bays="faired"))).spans
    assert [(span.degree, len(span.knots)) for span in spans] == [(3, 2)] * 3


def test_left_handed_frames_are_refused() -> None:
    """A frame that mirrors would turn a tool inside out."""
    strips = fit_strips(make_loft(box_plan(10, 10, 10)))
    with pytest.raises(AssertionError, match="right-handed"):
        placed_strips(strips, UPRIGHT * np.array([1.0, -1.0, 1.0, 1.0]))


def test_a_surface_with_a_jump_is_not_fitted() -> None:
    """A section function that is not smooth between its breaks is an error, not a bad fit."""
    loft = make_loft(two_stations(SHARP, SHARP))

    class Broken:
        """A loft that jumps half-way."""

        breaks, front, rear = loft.breaks, None, None
        radii, rises, position_of = loft.radii, loft.rises, loft.position_of

        def sections(self, t: Array) -> object:
            """Return sections moved to the rear by 1 mm past the middle."""
            return loft.sections(np.where(t > 150.0, 0.5 * t, t))

    with pytest.raises(AssertionError, match="smooth"):
        fit_strips(Broken())  # type: ignore[arg-type]


@pytest.mark.parametrize("name", THIN)
def test_every_edge_is_shared_by_two_faces(name: str) -> None:
    """Each edge is run through once each way, and Euler's count of a ball comes out: V - E + F = 2."""
    strips = fit_strips(make_loft(THIN[name]))
    plan = plan_seams(strips)
    loops = [loop for _, _, loop in plan.strips] + [cap.loop for cap in plan.caps]
    uses = [use for loop in loops for use in loop if len(plan.edges[use.edge].poles)]
    ways = Counter((use.edge, use.is_forward) for use in uses)
    edges = {edge for edge, _ in ways}
    assert set(ways.values()) == {1}
    assert len(ways) == 2 * len(edges)
    assert len(plan.vertices) - len(edges) + len(loops) == 2


# --- bodies -----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", THIN)
def test_thin_cases_are_sound_solids(kernel: KernelRun, name: str) -> None:
    """Points, ridges and fading blends: one valid solid with the volume of its sections."""
    loft = make_loft(THIN[name])
    proof = built(kernel, loft)
    assert (proof.n_solids, proof.n_free_edges) == (1, 0)
    assert proof.plain_volume_mm3 == pytest.approx(section_volume(loft), rel=VOLUME_RATIO)


@pytest.mark.kernel
@pytest.mark.parametrize("block", range(4 if EVERY else 2))
def test_random_plans_are_sound_solids(kernel: KernelRun, block: int) -> None:
    """Eleven random plans a block: valid, closed, and of the volume of their sections."""
    n_built, seed = 0, 1000 * block
    while n_built < 11:
        loft = sound_loft(random_plan(np.random.default_rng(seed)))
        seed += 1
        if loft is None:
            continue
        n_built += 1
        proof = built(kernel, loft)
        assert (proof.n_solids, proof.n_free_edges) == (1, 0), f"seed {seed - 1}"
        volume = section_volume(loft)
        assert proof.plain_volume_mm3 == pytest.approx(volume, rel=VOLUME_RATIO), f"seed {seed - 1}"


def test_plane_sections_lie_on_the_rings(kernel: KernelRun) -> None:
    """The kernel's own section at a position is the section function's ring there."""
    loft = make_loft(tail_plan(rake_deg=0.0))
    (curves,) = built(kernel, loft, planes=(("x", 620.0),)).sections
    rings = loft.sections(np.array([620.0])).rings
    count = rings.points.shape[1]
    outline = rings.at(np.repeat(np.arange(count), 2000), np.tile(np.arange(2000) / 2000, count))[0]
    points = np.concatenate(curves)
    assert np.abs(points[:, 0] - 620.0).max() < 1e-6
    assert shapely.distance(shapely.LinearRing(outline), shapely.points(points[:, 1:])).max() < 1e-3
    length = sum(float(np.linalg.norm(np.diff(curve, axis=0), axis=1).sum()) for curve in curves)
    # Chords within 0.005 mm of 50 mm arcs are shorter by at most 8/3 of it for each of a few chords.
    assert length == pytest.approx(shapely.LinearRing(outline).length, abs=1.0)


# --- tools ------------------------------------------------------------------------------------


def tool(kind: str, plan: LinesPlan, x: float, z: float) -> SolidTool:
    """Return a section solid as a tool, its axes along the plug's."""
    frame = UPRIGHT.copy()
    frame[:, 3] = x, 0.0, z
    return SolidTool(kind=kind, strips=fit_strips(make_loft(plan)), frame=frame)


def test_tools_cut_and_add_in_order(kernel: KernelRun) -> None:
    """A pocket of 40 x 60 x 30 and a boss of 50 x 50 x 20: the volumes of boxes, exactly."""
    body = make_loft(box_plan(300, 200, 100))
    pocket = tool("cut", box_plan(40, 60, 50), 100.0, 70.0)
    boss = tool("add", box_plan(50, 50, 20), 200.0, 100.0)
    proof = built(kernel, body, tools=(pocket, boss))
    assert proof.plain_volume_mm3 == pytest.approx(6_000_000.0, rel=1e-9)
    assert proof.volume_mm3 == pytest.approx(6_000_000.0 - 72_000.0 + 50_000.0, rel=1e-9)
    assert proof.area_mm2 == pytest.approx(220_000.0 + 200 * 30 + 200 * 20, rel=1e-9)
    moved_x = (6e6 * 150 - 72_000 * 120 + 50_000 * 225) / proof.volume_mm3
    moved_z = (6e6 * 50 - 72_000 * 85 + 50_000 * 110) / proof.volume_mm3
    assert proof.centroid == pytest.approx([moved_x, 0.0, moved_z], abs=1e-6)
    assert (proof.n_solids, proof.n_free_edges) == (1, 0)


def test_a_frame_turns_a_tool(kernel: KernelRun) -> None:
    """A tool's own axis may point down: the pocket is where the frame says."""
    body = make_loft(box_plan(300, 200, 100))
    down = np.array([[0.0, 0, 1, 50], [0, 1, 0, 0], [-1, 0, 0, 110]])
    cut = SolidTool(kind="cut", strips=fit_strips(make_loft(box_plan(40, 60, 20))), frame=down)
    proof = built(kernel, body, tools=(cut,))
    assert proof.plain_volume_mm3 - proof.volume_mm3 == pytest.approx(30 * 60 * 20, rel=1e-9)
    assert proof.centroid[0] > 150.0


def test_a_cut_through_leaves_two_solids(kernel: KernelRun) -> None:
    """A gap across the box parts it."""
    gap = tool("cut", box_plan(20, 300, 200), 140.0, -50.0)
    proof = built(kernel, make_loft(box_plan(300, 200, 100)), tools=(gap,))
    assert proof.n_solids == 2
    assert proof.volume_mm3 == pytest.approx(280 * 200 * 100, rel=1e-9)


@pytest.mark.kernel
def test_a_recess_in_a_blended_tail(kernel: KernelRun) -> None:
    """A drafted recess cut across the rear end's blend: sound, and as large as the mesh engine says."""
    from plugs.mesh import mesh
    from plugs.mesh.grid_mesh import body_of_grid
    from plugs.mesh.sampling import sample

    body = make_loft(tail_plan())
    corners = {"low": Corner(150, -75, 20), "high": Corner(150, 75, 20)}
    wide = {"low": Corner(156, -81, 20), "high": Corner(156, 81, 20)}
    recess = make_loft(two_stations(corners, wide, front=End(radius=10.0)))
    frame = UPRIGHT.copy()
    frame[:, 3] = 970.0, 0.0, 100.0
    proof = built(kernel, body, tools=(SolidTool(kind="cut", strips=fit_strips(recess), frame=frame),))
    assert (proof.n_solids, proof.n_free_edges) == (1, 0)
    cut = mesh.placed(body_of_grid(sample(recess, 0.005)), frame)
    left = mesh.less(body_of_grid(sample(body, 0.005)), cut)
    # Meshes within 0.005 mm of 0.9 m2 of surface: 4500 mm3 at the very most.
    assert proof.volume_mm3 == pytest.approx(mesh.volume_of(left), abs=4500.0)
    assert proof.plain_volume_mm3 - proof.volume_mm3 > 500_000.0


def test_a_recipes_own_shape(kernel: KernelRun) -> None:
    """A kernel shape in BREP text cuts like any tool: a cylinder of 20 through 100."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.BRepTools import BRepTools
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt

    axis = gp_Ax2(gp_Pnt(150.0, 0.0, -10.0), gp_Dir(0.0, 0.0, 1.0))
    stream = io.BytesIO()
    BRepTools.Write_s(BRepPrimAPI_MakeCylinder(axis, 20.0, 120.0).Shape(), stream)
    own = OwnShape(kind="cut", brep=stream.getvalue())
    proof = built(kernel, make_loft(box_plan(300, 200, 100)), tools=(own,))
    assert proof.volume_mm3 == pytest.approx(6_000_000.0 - np.pi * 400.0 * 100.0, rel=1e-6)


def test_faults_name_their_stage_and_leave_the_kernel_running(kernel: KernelRun) -> None:
    """An unreadable shape, and a cut that leaves nothing; afterwards the same kernel still works."""
    body = make_loft(box_plan(300, 200, 100))
    with pytest.raises(KernelFault) as unreadable:
        built(kernel, body, tools=(OwnShape(kind="add", brep=b"no shape"),))
    assert unreadable.value.stage == "add tool 1"
    whole = tool("cut", box_plan(500, 400, 300), -50.0, -50.0)
    with pytest.raises(KernelFault) as nothing:
        built(kernel, body, tools=(tool("add", box_plan(50, 50, 20), 200.0, 100.0), whole))
    assert nothing.value.stage == "cut tool 2"
    assert built(kernel, body).volume_mm3 == pytest.approx(6_000_000.0)


# --- STEP -------------------------------------------------------------------------------------


def test_step_is_read_back_with_its_volume_and_schema(kernel: KernelRun, tmp_path: Path) -> None:
    """ISO 10303-242 in mm: another reading of the file gives a valid solid of the same volume."""
    from OCP.STEPControl import STEPControl_Reader

    step = built(kernel, make_loft(tail_plan()), wants_step=True, name="tail").step
    proof = built(kernel, make_loft(tail_plan()))
    head = step.decode("ascii").partition("ENDSEC;")[0]
    # ISO 10303-242 object identifier: { 1 0 10303 442 ... }, part 442 being its long-form schema.
    assert "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF {1 0 10303 442" in head
    assert "FILE_NAME('tail','1970-01-01T00:00:00'" in head
    assert b"SI_UNIT(.MILLI.,.METRE.)" in step
    path = tmp_path / "tail.step"
    path.write_bytes(step)
    from plugs.kernel.kernel import count_parts, load_kernel
    from plugs.kernel.modelling import _measures

    checker = load_kernel().BRepCheck_Analyzer
    reader = STEPControl_Reader()
    reader.ReadFile(str(path))
    reader.TransferRoots()
    shape = reader.OneShape()
    assert count_parts(shape, "SOLID") == 1
    assert checker(shape).IsValid()
    assert _measures(shape)[0] == pytest.approx(proof.volume_mm3, rel=1e-6)


def test_step_has_the_same_bytes_in_two_processes(kernel: KernelRun) -> None:
    """Same plug, same bytes: in another process, after other jobs, with a boolean."""
    body, cut = make_loft(tail_plan()), tool("cut", box_plan(40, 60, 90), 400.0, 240.0)
    first = built(kernel, body, tools=(cut,), wants_step=True).step
    again = built(kernel, body, tools=(cut,), wants_step=True).step
    with start_kernel() as other:
        elsewhere = built(other, body, tools=(cut,), wants_step=True).step
    assert first == again == elsewhere
    assert len(first) > 10_000


def test_product_names_of_any_letters(kernel: KernelRun) -> None:
    """The product bears the plug's name; quotes and letters beyond ASCII are encoded."""
    step = built(kernel, make_loft(box_plan(30, 20, 10)), wants_step=True, name="Höcker 'A'\\1").step
    # ISO 10303-21, 6.4.3 (from memory): \X2\ and four hexadecimal digits for a letter beyond ASCII.
    encoded = r"'H\X2\00F6\X0\cker ''A''\\1'"
    assert step_string("Höcker 'A'\\1") == encoded
    assert f"PRODUCT({encoded},{encoded},".encode() in step.replace(b"\n", b"").replace(b"  ", b"")


# --- the worker's manners ---------------------------------------------------------------------


def run_python(text: str, **rest: object) -> subprocess.CompletedProcess[str]:
    """Run a short program beside the package."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(text)],
        capture_output=True, text=True, timeout=600, cwd=ROOT, check=False, **rest,
    )  # fmt: skip


def is_alive(pid: int) -> bool:
    """Return whether a process runs, one that waits to be collected not counted."""
    status = Path(f"/proc/{pid}/stat")
    return status.exists() and status.read_text().rpartition(")")[2].split()[0] not in ("Z", "X")


def wait_until_gone(pid: int) -> bool:
    """Return whether a process ends before a long while is over."""
    until = time.monotonic() + 120.0
    while is_alive(pid) and time.monotonic() < until:
        time.sleep(0.02)
    return not is_alive(pid)


def test_importing_the_engine_does_not_load_the_kernel() -> None:
    """Neither the records, nor the fit, nor the parent's side of the worker import OCP."""
    done = run_python(
        """
        import sys
        import plugs.kernel.kernel, plugs.kernel.modelling, plugs.kernel.worker
        print(any(name.partition(".")[0] in ("OCP", "cadquery") for name in sys.modules))
        """
    )
    assert (done.stdout, done.stderr) == ("False\n", "")


def test_nothing_is_printed() -> None:
    """A whole job with STEP, here and in the worker, leaves standard output and error empty."""
    done = run_python(
        """
        from plugs.kernel.job import KernelJob
        from plugs.kernel.modelling import run_job
        from plugs.kernel.worker import start_kernel
        from plugs.lines.section import Corner, LinesPlan, Station
        from plugs.kernel.spline_strips import fit_strips
        from plugs.lines.stations import make_loft
        corners = {"a": Corner(100, 0, 5), "b": Corner(100, 100, 20)}
        loft = make_loft(LinesPlan(stations=[Station(x=0, corners=corners), Station(x=300, corners=corners)]))
        job = KernelJob(name="quiet", body=fit_strips(loft))
        with start_kernel() as run:
            run.submit(job)
            assert run.result(60).step == run_job(job).step
        """
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_no_answer_in_time_names_the_stage_and_ends_the_worker() -> None:
    """A wait that is too short raises, and leaves no process behind."""
    with start_kernel() as run:
        run.submit(KernelJob(name="late", body=fit_strips(make_loft(box_plan(30, 20, 10)))))
        with pytest.raises(KernelFault, match=r"no answer within 0\.01 s") as late:
            run.result(0.01)
        assert late.value.stage == "start"
        assert not is_alive(run.pid)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to see processes")
def test_the_worker_ends_with_its_parent() -> None:
    """A parent that vanishes without closing anything takes the worker with it."""
    done = run_python(
        """
        import os
        from plugs.kernel.worker import start_kernel
        run = start_kernel()
        os.write(1, str(run.pid).encode())
        os._exit(1)
        """
    )
    assert wait_until_gone(int(done.stdout))


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to see processes")
def test_a_dead_worker_is_noticed_and_a_second_close_does_no_harm() -> None:
    """Killed from outside: the wait ends at once, with the stage and the exit status."""
    run = start_kernel()
    os.kill(run.pid, 9)
    run.submit(KernelJob(name="dead", body=fit_strips(make_loft(box_plan(30, 20, 10)))))
    with pytest.raises(KernelFault, match="exit status -9") as fault:
        run.result(20.0)
    assert fault.value.stage == "start"
    run.close()
    assert wait_until_gone(run.pid)


def test_a_kernel_for_one_build_ends_when_it_has_answered(monkeypatch: pytest.MonkeyPatch) -> None:
    """What it has loaded takes a quarter of a gigabyte, beside all that a build still makes."""
    monkeypatch.setattr(kernel_worker, "prepare", os.getpid)
    monkeypatch.setattr(kernel_worker, "run_job", abs)
    for is_copy in (True, False):
        with KernelRun(is_copy=is_copy) as run:
            run.submit(-5)  # type: ignore[arg-type]
            assert run.result(20.0) == 5  # type: ignore[comparison-overlap]
            assert wait_until_gone(run.pid) if is_copy else run.is_running


def test_a_missing_kernel_is_the_users_error(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not installed: told before anything starts, with the command that helps."""
    monkeypatch.setattr(kernel_worker.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(PlugError) as error:
        start_kernel()
    assert error.value.param == "step"
    assert "pip install cadquery" in error.value.remedy


def test_a_kernel_that_cannot_be_imported_is_the_users_error(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Installed but broken, as without its system libraries: the same error, with the import's words."""
    (tmp_path / "OCP").mkdir()
    (tmp_path / "OCP" / "__init__.py").write_text("raise ImportError('libGL.so.1 is missing')\n")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    with start_kernel() as run:
        run.submit(KernelJob(name="none", body=fit_strips(make_loft(box_plan(30, 20, 10)))))
        with pytest.raises(PlugError, match="libGL") as error:
            run.result(30.0)
    assert error.value.param == "step"
