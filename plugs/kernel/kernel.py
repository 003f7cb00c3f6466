"""The one door to the CAD kernel, and the way through it: B-spline strips to a solid.

The kernel is imported inside `load_kernel` only. Work is done in a process of its own, see
`plugs.kernel.worker`; every function here runs where it is called. The kernel's shapes are
typed `Any`: its bindings carry no types.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Iterator, Sequence
from functools import cache
from importlib import import_module
from itertools import pairwise
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.tolerances import LENGTH
from plugs.kernel.job import CurvedPrism
from plugs.kernel.spline_strips import Strips, StripSpan
from plugs.kernel.strip_edges import Cap, SeamPlan, StripEdge, Use, plan_seams

Array = NDArray[np.float64]

PRISM_DISTANCE: Final = 1e-3
"""Largest distance of a prism's smooth side from its points, mm."""

_TOUCHING: Final = 2.0 * LENGTH  # mm. Two points, each off by rounding, the other way
_NAMES: Final = {
    "BRep": "BRep_Builder BRep_Tool",
    "BRepAdaptor": "BRepAdaptor_Curve",
    "BRepAlgoAPI": "BRepAlgoAPI_Cut BRepAlgoAPI_Fuse BRepAlgoAPI_Section",
    "Bnd": "Bnd_Box",
    "BRepBndLib": "BRepBndLib",
    "BRepBuilderAPI": "BRepBuilderAPI_MakeEdge BRepBuilderAPI_MakeFace BRepBuilderAPI_MakeWire "
    "BRepBuilderAPI_Transform",
    "BRepCheck": "BRepCheck_Analyzer",
    "BRepClass3d": "BRepClass3d",
    "BRepGProp": "BRepGProp",
    "BRepMesh": "BRepMesh_IncrementalMesh",
    "BRepPrimAPI": "BRepPrimAPI_MakePrism",
    "BRepTools": "BRepTools",
    "GCPnts": "GCPnts_TangentialDeflection",
    "Geom": "Geom_BSplineCurve Geom_BSplineSurface Geom_Plane",
    "Geom2d": "Geom2d_BSplineCurve Geom2d_Line",
    "GeomAbs": "GeomAbs_C2",
    "GeomAPI": "GeomAPI_PointsToBSpline",
    "gp": "gp_Dir gp_Dir2d gp_Pln gp_Pnt gp_Pnt2d gp_Trsf gp_Vec",
    "GProp": "GProp_GProps",
    "IFSelect": "IFSelect_RetDone",
    "IMeshTools": "IMeshTools_MeshAlgoType IMeshTools_Parameters",
    "Interface": "Interface_Static",
    "Message": "Message Message_Printer",
    "Standard": "Standard_Failure",
    "STEPControl": "STEPControl_AsIs STEPControl_Reader STEPControl_Writer",
    "TColgp": "TColgp_Array1OfPnt TColgp_Array1OfPnt2d TColgp_Array2OfPnt",
    "TColStd": "TColStd_Array1OfInteger TColStd_Array1OfReal TColStd_Array2OfReal "
    "TColStd_SequenceOfAsciiString",
    "TopAbs": "TopAbs_EDGE TopAbs_FACE TopAbs_FORWARD TopAbs_REVERSED TopAbs_SOLID",
    "TopExp": "TopExp TopExp_Explorer",
    "TopLoc": "TopLoc_Location",
    "TopoDS": "TopoDS TopoDS_Edge TopoDS_Face TopoDS_Shape TopoDS_Shell "
    "TopoDS_Solid TopoDS_Vertex TopoDS_Wire",
    "TopTools": "TopTools_IndexedDataMapOfShapeListOfShape TopTools_ListOfShape",
}
"""What is used of the kernel, by the room of its bindings."""


@cache
def load_kernel() -> SimpleNamespace:
    """Import the kernel, stop it from printing, and return what is used of it.

    Returns
    -------
    SimpleNamespace
        The kernel's classes by name.

    Raises
    ------
    ImportError
        It is not installed.
    """
    known = getattr(sys, "getdlopenflags", int)()
    if known:
        sys.setdlopenflags(os.RTLD_LAZY)  # most of what its libraries take of each other is never called
    gc.disable()  # while nothing is dropped: it makes all its classes at once
    rows = [(import_module(f"OCP.{room}"), row.split()) for room, row in _NAMES.items()]
    gc.enable()
    gc.freeze()
    if known:
        sys.setdlopenflags(known)
    k = SimpleNamespace(**{name: getattr(room, name) for room, row in rows for name in row})
    k.Message.DefaultMessenger_s().RemovePrinters(k.Message_Printer.get_type_descriptor_s())
    return k


def build_solid(strips: Strips) -> Any:
    """Return the kernel's solid of strips and caps, every edge shared by construction.

    Returns
    -------
    TopoDS_Solid
    """
    k = load_kernel()
    plan = plan_seams(strips)
    builder = k.BRep_Builder()
    edges = _edges(builder, plan)
    shell, solid = k.TopoDS_Shell(), k.TopoDS_Solid()
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


def build_prism(prism: CurvedPrism) -> Any:
    """Return the kernel's solid of a prism with one smooth side.

    Returns
    -------
    TopoDS_Solid
        Its smooth side within `PRISM_DISTANCE` of the points.
    """
    k = load_kernel()
    axes = ["xyz".index(name) for name in "xyz" if name != prism.axis]
    along = "xyz".index(prism.axis)

    def point(place: Array) -> Any:
        xyz = [prism.low] * 3
        xyz[axes[0]], xyz[axes[1]] = float(place[0]), float(place[1])
        return k.gp_Pnt(*xyz)

    curve = prism.curve
    row = k.TColgp_Array1OfPnt(1, len(curve) - 2)
    for i, place in enumerate(curve[1:-1], start=1):
        row.SetValue(i, point(place))
    smooth = k.GeomAPI_PointsToBSpline(row, 3, 8, k.GeomAbs_C2, PRISM_DISTANCE).Curve()
    wire = k.BRepBuilderAPI_MakeWire()
    wire.Add(k.BRepBuilderAPI_MakeEdge(point(curve[0]), smooth.StartPoint()).Edge())
    wire.Add(k.BRepBuilderAPI_MakeEdge(smooth).Edge())
    straight = [curve[-1], *prism.closing, curve[0]]
    corners = [smooth.EndPoint(), *(point(place) for place in straight)]
    for first, second in pairwise(corners):
        wire.Add(k.BRepBuilderAPI_MakeEdge(first, second).Edge())
    face = k.BRepBuilderAPI_MakeFace(wire.Wire(), True).Face()
    sweep = [0.0, 0.0, 0.0]
    sweep[along] = prism.high - prism.low
    return k.BRepPrimAPI_MakePrism(face, k.gp_Vec(*sweep)).Shape()


def _edges(builder: Any, plan: SeamPlan) -> list[Any]:
    """Return the kernel's edges of a plan."""
    k = load_kernel()
    vertices = []
    for point in plan.vertices.tolist():
        vertex = k.TopoDS_Vertex()
        builder.MakeVertex(vertex, k.gp_Pnt(*point), _TOUCHING)
        vertices.append(vertex)
    edges = []
    for edge in plan.edges:
        made = k.TopoDS_Edge()
        if len(edge.poles):
            builder.MakeEdge(made, _curve(edge), _TOUCHING)
        else:
            builder.MakeEdge(made)
            builder.Degenerated(made, True)
            builder.UpdateEdge(made, _TOUCHING)
        builder.Add(made, vertices[edge.first].Oriented(k.TopAbs_FORWARD))
        builder.Add(made, vertices[edge.last].Oriented(k.TopAbs_REVERSED))
        builder.Range(made, float(edge.knots[0]), float(edge.knots[-1]))
        edges.append(made)
    return edges


def _face(builder: Any, surface: Any, plan: SeamPlan, edges: Sequence[Any], loop: Sequence[Use]) -> Any:
    """Return a face on a surface inside one loop."""
    k = load_kernel()
    face, wire, here = k.TopoDS_Face(), k.TopoDS_Wire(), k.TopLoc_Location()
    builder.MakeFace(face, surface, _TOUCHING)
    builder.MakeWire(wire)
    for use in loop:
        edge = edges[use.edge]
        if use.first_uv:
            line = _flat_curve(plan.edges[use.edge], use.first_uv, use.last_uv)
            builder.UpdateEdge(edge, line, surface, here, _TOUCHING)
            if not len(plan.edges[use.edge].poles):
                builder.Range(edge, surface, here, 0.0, 1.0)
        way = k.TopAbs_FORWARD if use.is_forward else k.TopAbs_REVERSED
        builder.Add(wire, edge.Oriented(way))
    wire.Closed(True)
    builder.Add(face, wire)
    return face


def _rows(knots: Array, degree: int) -> tuple[Any, Any]:
    """Return the kernel's rows of knots and of their multiplicities."""
    k = load_kernel()
    count = len(knots)
    row, many = k.TColStd_Array1OfReal(1, count), k.TColStd_Array1OfInteger(1, count)
    for i, knot in enumerate(knots.tolist(), start=1):
        row.SetValue(i, knot)
        many.SetValue(i, degree + 1 if i in (1, count) else 1)
    return row, many


def _curve(edge: StripEdge) -> Any:
    """Return the kernel's curve of an edge."""
    k = load_kernel()
    count = len(edge.poles)
    points, weights = k.TColgp_Array1OfPnt(1, count), k.TColStd_Array1OfReal(1, count)
    for i, (x, y, z, w) in enumerate(edge.poles.tolist(), start=1):
        points.SetValue(i, k.gp_Pnt(x / w, y / w, z / w))
        weights.SetValue(i, w)
    knots, many = _rows(edge.knots, edge.degree)
    if np.ptp(edge.poles[:, 3]) == 0.0:
        return k.Geom_BSplineCurve(points, knots, many, edge.degree)
    return k.Geom_BSplineCurve(points, weights, knots, many, edge.degree)


def _flat_curve(edge: StripEdge, first: tuple[float, ...], last: tuple[float, ...]) -> Any:
    """Return the straight line of an edge in a strip's (across, along), at the edge's own pace."""
    k = load_kernel()
    begin, end = float(edge.knots[0]), float(edge.knots[-1])
    way = (last[0] - first[0], last[1] - first[1])
    if abs(way[0]) + abs(way[1]) == end - begin:
        turn = (way[0] / (end - begin), way[1] / (end - begin))
        zero = k.gp_Pnt2d(first[0] - begin * turn[0], first[1] - begin * turn[1])
        return k.Geom2d_Line(zero, k.gp_Dir2d(*turn))
    points = k.TColgp_Array1OfPnt2d(1, 2)
    points.SetValue(1, k.gp_Pnt2d(*first))
    points.SetValue(2, k.gp_Pnt2d(*last))
    return k.Geom2d_BSplineCurve(points, *_rows(np.array([begin, end]), 1), 1)


def _surface(span: StripSpan, segment: int) -> Any:
    """Return the kernel's surface of a strip."""
    k = load_kernel()
    right = (segment + 1) % len(span.edges)
    is_arc = bool(span.is_arc[segment])
    middle, weight = span.middles[segment, :, :3], span.middles[segment, :, 3:]
    rows = [span.edges[segment], *([middle / weight] if is_arc else []), span.edges[right]]
    across, along = len(rows), len(rows[0])
    points = k.TColgp_Array2OfPnt(1, across, 1, along)
    for i, row in enumerate(rows, start=1):
        for j, place in enumerate(row.tolist(), start=1):
            points.SetValue(i, j, k.gp_Pnt(*place))
    knots = (*_rows(np.array([0.0, 1.0]), across - 1), *_rows(span.knots, span.degree))
    order = (knots[0], knots[2], knots[1], knots[3], across - 1, span.degree)
    if not is_arc:
        return k.Geom_BSplineSurface(points, *order)
    weights = k.TColStd_Array2OfReal(1, across, 1, along)
    for j, w in enumerate(weight[:, 0].tolist(), start=1):
        weights.SetValue(1, j, 1.0)
        weights.SetValue(2, j, w)
        weights.SetValue(3, j, 1.0)
    return k.Geom_BSplineSurface(points, weights, *order)


def _plane(cap: Cap) -> Any:
    """Return the kernel's plane of a cap."""
    k = load_kernel()
    return k.Geom_Plane(k.gp_Pnt(*cap.origin.tolist()), k.gp_Dir(*cap.normal.tolist()))


def each_part(shape: Any, kind: str) -> Iterator[Any]:
    """Return every part of a kind in a shape, one after the other.

    Parameters
    ----------
    shape : TopoDS_Shape
    kind : str
        "SOLID", "FACE" or "EDGE".

    Returns
    -------
    iterator of TopoDS_Shape
    """
    k = load_kernel()
    explorer = k.TopExp_Explorer(shape, getattr(k, f"TopAbs_{kind}"))
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def count_parts(shape: Any, kind: str) -> int:
    """Return how many parts of a kind a shape has.

    Parameters
    ----------
    shape : TopoDS_Shape
    kind : str
        As for `each_part`.
    """
    return sum(1 for _ in each_part(shape, kind))


def free_edges(shape: Any) -> int:
    """Return how many edges of a shape have a face on one side only.

    Parameters
    ----------
    shape : TopoDS_Shape
    """
    k = load_kernel()
    faces_of = k.TopTools_IndexedDataMapOfShapeListOfShape()
    k.TopExp.MapShapesAndAncestors_s(shape, k.TopAbs_EDGE, k.TopAbs_FACE, faces_of)
    single = [i for i in range(1, faces_of.Extent() + 1) if faces_of.FindFromIndex(i).Extent() < 2]
    edges = [k.TopoDS.Edge_s(faces_of.FindKey(i)) for i in single]
    return sum(1 for edge in edges if not k.BRep_Tool.Degenerated_s(edge))
