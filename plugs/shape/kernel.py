"""The kernel engine: B-spline strips to one solid, booleans, measures, plane sections and STEP.

The one door to the CAD kernel, which is imported inside functions only. Work is done in a
process of its own, see `plugs.shape.kernel_worker`; every function here runs where it is called.
The kernel's shapes are typed `Any`: its bindings carry no types.
"""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.shape.kernel_job import KernelFault, KernelJob, KernelProof, OwnShape, SolidTool
from plugs.shape.spline_strips import Span, Strips, placed_strips
from plugs.shape.step_text import PRODUCT_MARK, settled_step
from plugs.shape.strip_edges import Cap, Edge, SeamPlan, plan_seams
from plugs.tolerances import LENGTH

Array = NDArray[np.float64]

SECTION_DISTANCE: Final = 0.005
"""Largest distance in mm between a plane section's points and its curve."""

_TOUCHING: Final = 2.0 * LENGTH
_MEASURE_RATIO: Final = 1e-7
_SECTION_TURN_RAD: Final = 0.2


def load_kernel() -> None:
    """Import the kernel, and stop it from printing.

    Raises
    ------
    ImportError
        It is not installed.
    """
    from OCP.Message import Message, Message_Printer

    Message.DefaultMessenger_s().RemovePrinters(Message_Printer.get_type_descriptor_s())


@contextmanager
def _stage(name: str, report: Callable[[str], None], seconds: list[tuple[str, float]]) -> Iterator[None]:
    """Time a stage, and name it in whatever fault the kernel raises."""
    from OCP.Standard import Standard_Failure

    report(name)
    start = time.perf_counter()
    try:
        yield
    except Standard_Failure as fault:
        raise KernelFault(name, f"{type(fault).__name__}: {fault}") from fault
    seconds.append((name, time.perf_counter() - start))


def run_job(job: KernelJob, report: Callable[[str], None] = lambda stage: None) -> KernelProof:
    """Build a body, apply its tools, measure it, and write it as STEP.

    Parameters
    ----------
    job : KernelJob
    report : callable, optional
        Called with the name of each stage as it begins.

    Returns
    -------
    KernelProof

    Raises
    ------
    ImportError
        The kernel is not installed.
    KernelFault
        A stage failed, or left an unsound body.
    """
    load_kernel()
    seconds: list[tuple[str, float]] = []
    with _stage("body", report, seconds):
        plain = build_solid(job.body)
        _demand_sound(plain, "body")
    with _stage("measure body", report, seconds):
        plain_volume, plain_area, plain_centroid = _measures(plain)
    solid = plain
    for number, tool in enumerate(job.tools, start=1):
        name = f"{tool.kind} tool {number}"
        with _stage(name, report, seconds):
            solid = _combined(solid, _tool_shape(tool, name), tool.kind, name)
            _demand_sound(solid, name)
    volume, area, centroid = plain_volume, plain_area, plain_centroid
    if job.tools:
        with _stage("measure", report, seconds):
            volume, area, centroid = _measures(solid)
    sections = []
    for axis, position in job.planes:
        with _stage(f"section {axis} = {position:g}", report, seconds):
            sections.append(plane_section(solid, axis, position))
    step = b""
    if job.wants_step:
        with _stage("step", report, seconds):
            step = settled_step(_step_bytes(solid), job.name)
    return KernelProof(
        plain_volume_mm3=plain_volume, plain_area_mm2=plain_area, plain_centroid=plain_centroid,
        volume_mm3=volume, area_mm2=area, centroid=centroid,
        n_solids=_count(solid, "SOLID"), n_faces=_count(solid, "FACE"),
        n_free_edges=free_edges(plain) + free_edges(solid), is_valid=True,
        step=step, sections=tuple(sections), seconds=tuple(seconds),
    )  # fmt: skip


def build_solid(strips: Strips) -> Any:
    """Return the kernel's solid of strips and caps, every edge shared by construction.

    Parameters
    ----------
    strips : Strips

    Returns
    -------
    TopoDS_Solid
    """
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Shell, TopoDS_Solid

    plan = plan_seams(strips)
    builder = BRep_Builder()
    edges = _edges(builder, plan)
    shell, solid = TopoDS_Shell(), TopoDS_Solid()
    builder.MakeShell(shell)
    for s, i, loop in plan.strips:
        surface = _surface(strips.spans[s], i)
        builder.Add(shell, _face(builder, surface, plan, edges, loop))
    for cap in plan.caps:
        builder.Add(shell, _face(builder, _plane(cap), plan, edges, cap.loop))
    shell.Closed(True)
    builder.MakeSolid(solid)
    builder.Add(solid, shell)
    return solid


def _edges(builder: Any, plan: SeamPlan) -> list[Any]:
    """Return the kernel's edges of a plan."""
    from OCP.gp import gp_Pnt
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopoDS import TopoDS_Edge, TopoDS_Vertex

    vertices = []
    for point in plan.vertices.tolist():
        vertex = TopoDS_Vertex()
        builder.MakeVertex(vertex, gp_Pnt(*point), _TOUCHING)
        vertices.append(vertex)
    edges = []
    for edge in plan.edges:
        made = TopoDS_Edge()
        if len(edge.poles):
            builder.MakeEdge(made, _curve(edge), _TOUCHING)
        else:
            builder.MakeEdge(made)
            builder.Degenerated(made, True)
            builder.UpdateEdge(made, _TOUCHING)
        builder.Add(made, vertices[edge.first].Oriented(TopAbs_Orientation.TopAbs_FORWARD))
        builder.Add(made, vertices[edge.last].Oriented(TopAbs_Orientation.TopAbs_REVERSED))
        builder.Range(made, float(edge.knots[0]), float(edge.knots[-1]))
        edges.append(made)
    return edges


def _face(builder: Any, surface: Any, plan: SeamPlan, edges: Sequence[Any], loop: Sequence[Any]) -> Any:
    """Return a face on a surface inside one loop."""
    from OCP.TopAbs import TopAbs_Orientation
    from OCP.TopLoc import TopLoc_Location
    from OCP.TopoDS import TopoDS_Face, TopoDS_Wire

    face, wire, here = TopoDS_Face(), TopoDS_Wire(), TopLoc_Location()
    builder.MakeFace(face, surface, _TOUCHING)
    builder.MakeWire(wire)
    for use in loop:
        edge = edges[use.edge]
        if use.first_uv:
            builder.UpdateEdge(edge, _flat_curve(plan.edges[use.edge], use.first_uv, use.last_uv), surface, here, _TOUCHING)
            if not len(plan.edges[use.edge].poles):
                builder.Range(edge, surface, here, 0.0, 1.0)
        way = TopAbs_Orientation.TopAbs_FORWARD if use.is_forward else TopAbs_Orientation.TopAbs_REVERSED
        builder.Add(wire, edge.Oriented(way))
    wire.Closed(True)
    builder.Add(face, wire)
    return face


def _rows(knots: Array, degree: int) -> tuple[Any, Any]:
    """Return the kernel's rows of knots and of their multiplicities."""
    from OCP.TColStd import TColStd_Array1OfInteger, TColStd_Array1OfReal

    count = len(knots)
    row, many = TColStd_Array1OfReal(1, count), TColStd_Array1OfInteger(1, count)
    for i, knot in enumerate(knots.tolist(), start=1):
        row.SetValue(i, knot)
        many.SetValue(i, degree + 1 if i in (1, count) else 1)
    return row, many


def _curve(edge: Edge) -> Any:
    """Return the kernel's curve of an edge."""
    from OCP.Geom import Geom_BSplineCurve
    from OCP.gp import gp_Pnt
    from OCP.TColgp import TColgp_Array1OfPnt
    from OCP.TColStd import TColStd_Array1OfReal

    count = len(edge.poles)
    points, weights = TColgp_Array1OfPnt(1, count), TColStd_Array1OfReal(1, count)
    for i, (x, y, z, w) in enumerate(edge.poles.tolist(), start=1):
        points.SetValue(i, gp_Pnt(x / w, y / w, z / w))
        weights.SetValue(i, w)
    knots, many = _rows(edge.knots, edge.degree)
    if np.ptp(edge.poles[:, 3]) == 0.0:
        return Geom_BSplineCurve(points, knots, many, edge.degree)
    return Geom_BSplineCurve(points, weights, knots, many, edge.degree)


def _flat_curve(edge: Edge, first: tuple[float, ...], last: tuple[float, ...]) -> Any:
    """Return the straight line of an edge in a strip's (across, along), run through at the edge's own pace."""
    from OCP.Geom2d import Geom2d_BSplineCurve, Geom2d_Line
    from OCP.gp import gp_Dir2d, gp_Pnt2d
    from OCP.TColgp import TColgp_Array1OfPnt2d

    begin, end = float(edge.knots[0]), float(edge.knots[-1])
    way = (last[0] - first[0], last[1] - first[1])
    if abs(way[0]) + abs(way[1]) == end - begin:
        turn = (way[0] / (end - begin), way[1] / (end - begin))
        return Geom2d_Line(gp_Pnt2d(first[0] - begin * turn[0], first[1] - begin * turn[1]), gp_Dir2d(*turn))
    points = TColgp_Array1OfPnt2d(1, 2)
    points.SetValue(1, gp_Pnt2d(*first))
    points.SetValue(2, gp_Pnt2d(*last))
    return Geom2d_BSplineCurve(points, *_rows(np.array([begin, end]), 1), 1)


def _surface(span: Span, segment: int) -> Any:
    """Return the kernel's surface of a strip."""
    from OCP.Geom import Geom_BSplineSurface
    from OCP.gp import gp_Pnt
    from OCP.TColgp import TColgp_Array2OfPnt
    from OCP.TColStd import TColStd_Array2OfReal

    right = (segment + 1) % len(span.edges)
    is_arc = bool(span.is_arc[segment])
    middle, weight = span.middles[segment, :, :3], span.middles[segment, :, 3:]
    rows = [span.edges[segment], *([middle / weight] if is_arc else []), span.edges[right]]
    across, along = len(rows), len(rows[0])
    points = TColgp_Array2OfPnt(1, across, 1, along)
    for i, row in enumerate(rows, start=1):
        for j, place in enumerate(row.tolist(), start=1):
            points.SetValue(i, j, gp_Pnt(*place))
    knots = (*_rows(np.array([0.0, 1.0]), across - 1), *_rows(span.knots, span.degree))
    order = (knots[0], knots[2], knots[1], knots[3], across - 1, span.degree)
    if not is_arc:
        return Geom_BSplineSurface(points, *order)
    weights = TColStd_Array2OfReal(1, across, 1, along)
    for j, w in enumerate(weight[:, 0].tolist(), start=1):
        weights.SetValue(1, j, 1.0)
        weights.SetValue(2, j, w)
        weights.SetValue(3, j, 1.0)
    return Geom_BSplineSurface(points, weights, *order)


def _plane(cap: Cap) -> Any:
    """Return the kernel's plane of a cap."""
    from OCP.Geom import Geom_Plane
    from OCP.gp import gp_Dir, gp_Pnt

    return Geom_Plane(gp_Pnt(*cap.origin.tolist()), gp_Dir(*cap.normal.tolist()))


def _tool_shape(tool: SolidTool | OwnShape, stage: str) -> Any:
    """Return the kernel's shape of a tool."""
    from OCP.BRep import BRep_Builder
    from OCP.BRepTools import BRepTools
    from OCP.TopoDS import TopoDS_Shape

    if isinstance(tool, SolidTool):
        return build_solid(placed_strips(tool.strips, tool.frame))
    shape = TopoDS_Shape()
    BRepTools.Read_s(shape, io.BytesIO(tool.brep), BRep_Builder())
    if shape.IsNull():
        raise KernelFault(stage, "the recipe's own shape cannot be read")
    return shape


def _combined(solid: Any, tool: Any, kind: str, stage: str) -> Any:
    """Return a body with a tool cut away or added."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut, BRepAlgoAPI_Fuse
    from OCP.TopTools import TopTools_ListOfShape

    bodies, tools = TopTools_ListOfShape(), TopTools_ListOfShape()
    bodies.Append(solid)
    tools.Append(tool)
    work = {"cut": BRepAlgoAPI_Cut, "add": BRepAlgoAPI_Fuse}[kind]()
    work.SetArguments(bodies)
    work.SetTools(tools)
    work.SetRunParallel(True)
    work.Build()
    if not work.IsDone():
        raise KernelFault(stage, "the boolean gave no result")
    return _single(work.Shape())


def _single(shape: Any) -> Any:
    """Return the only solid of a compound itself, else the shape."""
    solids = list(_each(shape, "SOLID"))
    return solids[0] if len(solids) == 1 else shape


def _each(shape: Any, kind: str) -> Iterator[Any]:
    """Return every part of a kind in a shape."""
    from OCP import TopAbs
    from OCP.TopExp import TopExp_Explorer

    explorer = TopExp_Explorer(shape, getattr(TopAbs.TopAbs_ShapeEnum, f"TopAbs_{kind}"))
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _count(shape: Any, kind: str) -> int:
    """Return how many parts of a kind a shape has."""
    return sum(1 for _ in _each(shape, kind))


def _demand_sound(shape: Any, stage: str) -> None:
    """Refuse a body that the kernel finds unsound, open or empty."""
    from OCP.BRepCheck import BRepCheck_Analyzer

    if _count(shape, "SOLID") == 0:
        raise KernelFault(stage, "nothing is left of the body")
    if not BRepCheck_Analyzer(shape).IsValid():
        raise KernelFault(stage, "the body is not sound")
    loose = free_edges(shape)
    if loose:
        raise KernelFault(stage, f"the body is open along {loose} edges")


def free_edges(shape: Any) -> int:
    """Return how many edges of a shape have a face on one side only.

    Parameters
    ----------
    shape : TopoDS_Shape

    Returns
    -------
    int
    """
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedDataMapOfShapeListOfShape

    faces_of = TopTools_IndexedDataMapOfShapeListOfShape()
    TopExp.MapShapesAndAncestors_s(shape, TopAbs_ShapeEnum.TopAbs_EDGE, TopAbs_ShapeEnum.TopAbs_FACE, faces_of)
    return sum(
        1
        for i in range(1, faces_of.Extent() + 1)
        if faces_of.FindFromIndex(i).Extent() < 2 and not BRep_Tool.Degenerated_s(TopoDS.Edge_s(faces_of.FindKey(i)))
    )


def _measures(shape: Any) -> tuple[float, float, Array]:
    """Return volume (mm3), area (mm2) and centroid (mm) of a body."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    inside, skin = GProp_GProps(), GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, inside, _MEASURE_RATIO)
    BRepGProp.SurfaceProperties_s(shape, skin, _MEASURE_RATIO)
    centre = inside.CentreOfMass()
    return float(inside.Mass()), float(skin.Mass()), np.array([centre.X(), centre.Y(), centre.Z()])


def plane_section(shape: Any, axis: str, position: float) -> tuple[Array, ...]:
    """Return the curves in which a plane meets a body, each as points within `SECTION_DISTANCE`.

    Parameters
    ----------
    shape : TopoDS_Shape
    axis : str
        Square to the plane: "x", "y" or "z".
    position : float, mm

    Returns
    -------
    tuple of (n, 3) float, mm
        Unjoined, in the kernel's order.
    """
    from OCP.BRepAdaptor import BRepAdaptor_Curve
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Section
    from OCP.GCPnts import GCPnts_TangentialDeflection
    from OCP.gp import gp_Dir, gp_Pln, gp_Pnt
    from OCP.TopoDS import TopoDS

    normal = [float(axis == name) for name in "xyz"]
    plane = gp_Pln(gp_Pnt(*(position * part for part in normal)), gp_Dir(*normal))
    curves = []
    for edge in _each(BRepAlgoAPI_Section(shape, plane).Shape(), "EDGE"):
        curve = BRepAdaptor_Curve(TopoDS.Edge_s(edge))
        points = GCPnts_TangentialDeflection(curve, _SECTION_TURN_RAD, SECTION_DISTANCE)
        places = [points.Value(i) for i in range(1, points.NbPoints() + 1)]
        curves.append(np.array([[p.X(), p.Y(), p.Z()] for p in places]))
    return tuple(curves)


def _step_bytes(shape: Any) -> bytes:
    """Return a shape as STEP, ISO 10303-242, in mm, as the kernel writes it."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    writer = STEPControl_Writer()
    for name, value in (("schema", "AP242DIS"), ("unit", "MM"), ("product.name", PRODUCT_MARK)):
        if not Interface_Static.SetCVal_s(f"write.step.{name}", value):
            raise KernelFault("step", f"the kernel refuses {name} {value}")
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    stream = io.BytesIO()
    done = IFSelect_ReturnStatus.IFSelect_RetDone
    if writer.Transfer(shape, STEPControl_StepModelType.STEPControl_AsIs) != done or writer.WriteStream(stream) != done:
        raise KernelFault("step", "the kernel cannot write the body")
    return stream.getvalue()
