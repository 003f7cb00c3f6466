"""What the kernel does with a STEP file that somebody else made: read, count, place, turn to triangles."""

from __future__ import annotations

import io
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.tolerances import LARGEST
from plugs.ground.workers import tell
from plugs.kernel.kernel import each_part, load_kernel
from plugs.kernel.step_in import StepBody, StepRequest

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_SHARE: Final = 0.75  # the kernel keeps a tolerance to about a quarter: measured on balls and rings
_TURN_RAD: Final = 0.2  # of a chord over a curve: it only bounds small curves, the distance bounds the large


def read_step(request: StepRequest) -> StepBody:
    """Return what a STEP file holds, its only solid placed and in triangles.

    Returns
    -------
    StepBody
        With a fault in words if the kernel cannot read it; hollows inside the solid are left out.

    Raises
    ------
    ImportError
        The kernel is not installed.
    """
    k = load_kernel()
    nothing = np.empty((0, 3))
    tell("read step")
    try:
        return _read(request)
    except k.Standard_Failure as fault:
        reason = f"{type(fault).__name__}: {fault}"
        return StepBody(fault=reason, vertices=nothing, triangles=nothing.astype(np.int64))


def _read(request: StepRequest) -> StepBody:
    """Return what a STEP file holds; the kernel's own faults come through."""
    k = load_kernel()
    nothing = np.empty((0, 3))
    k.Interface_Static.SetCVal_s("xstep.cascade.unit", "MM")
    reader = k.STEPControl_Reader()
    if reader.ReadStream("body.step", io.BytesIO(request.content)) != k.IFSelect_RetDone:
        fault = "it is not whole, or breaks the rules of the format"
        return StepBody(fault=fault, vertices=nothing, triangles=nothing.astype(np.int64))
    units = _units(reader)
    reader.TransferRoots()
    solids = list(each_part(reader.OneShape(), "SOLID")) if reader.NbShapes() else []
    scale = request.bare_unit_mm if request.bare_unit_mm and not units else 1.0
    sizes = tuple(_size(solid, scale) for solid in solids)
    if len(solids) != 1:
        return StepBody(units=units, sizes=sizes, vertices=nothing, triangles=nothing.astype(np.int64))
    if max(sizes[0]) > LARGEST:
        fault = (
            f"its solid is {max(sizes[0]) / 1000.0:.4g} m long, and at most {LARGEST / 1000.0:g} m are read"
        )
        return StepBody(fault=fault, vertices=nothing, triangles=nothing.astype(np.int64))
    tell("triangles of step")
    solid = _placed(_outside(solids[0]), request.frame, scale)
    vertices, triangles = triangles_within(solid, request.tolerance)
    stream = io.BytesIO()
    k.BRepTools.Clean_s(solid)
    k.BRepTools.Write_s(solid, stream)
    return StepBody(
        units=units, sizes=sizes, vertices=vertices, triangles=triangles, brep=stream.getvalue()
    )  # fmt: skip


def _units(reader: Any) -> tuple[str, ...]:
    """Return the names of the units of length in a file, each once."""
    k = load_kernel()
    lengths, angles, solid_angles = (k.TColStd_SequenceOfAsciiString() for _ in range(3))
    reader.FileUnits(lengths, angles, solid_angles)
    names = [lengths.Value(i).ToCString().lower() for i in range(1, lengths.Length() + 1)]
    return tuple(dict.fromkeys(filter(None, names)))


def _size(solid: Any, scale: float) -> tuple[float, float, float]:
    """Return the sides of the box round a solid."""
    k = load_kernel()
    box = k.Bnd_Box()
    k.BRepBndLib.AddOptimal_s(solid, box, False, False)
    low, high = box.CornerMin(), box.CornerMax()
    return scale * (high.X() - low.X()), scale * (high.Y() - low.Y()), scale * (high.Z() - low.Z())


def _outside(solid: Any) -> Any:
    """Return a solid of the outermost shell alone."""
    k = load_kernel()
    outside = k.TopoDS_Solid()
    builder = k.BRep_Builder()
    builder.MakeSolid(outside)
    builder.Add(outside, k.BRepClass3d.OuterShell_s(k.TopoDS.Solid_s(solid)))
    return outside


def _placed(solid: Any, frame: Array, scale: float) -> Any:
    """Return a solid scaled and moved into a frame."""
    k = load_kernel()
    move = k.gp_Trsf()
    move.SetValues(*np.column_stack([scale * frame[:, :3], frame[:, 3]]).ravel().tolist())
    return k.BRepBuilderAPI_Transform(solid, move, True).Shape()


def triangles_within(solid: Any, tolerance: float) -> tuple[Array, Indices]:
    """Return triangles of a solid that face outward, the vertices of each face by themselves.

    Parameters
    ----------
    solid : TopoDS_Shape
    tolerance : float, mm
        Between surface and triangles, whatever the size of the solid.

    Returns
    -------
    tuple of (n, 3) float, mm and (m, 3) int
    """
    k = load_kernel()
    wish = k.IMeshTools_Parameters()
    wish.Deflection, wish.Angle, wish.InParallel = _SHARE * tolerance, _TURN_RAD, True
    wish.MeshAlgo = k.IMeshTools_MeshAlgoType.IMeshTools_MeshAlgoType_Delabella  # nine times as quick
    k.BRepMesh_IncrementalMesh(solid, wish)
    points: list[tuple[float, float, float]] = []
    triangles: list[Indices] = []
    for part in each_part(solid, "FACE"):
        face, place = k.TopoDS.Face_s(part), k.TopLoc_Location()
        mesh = k.BRep_Tool.Triangulation_s(face, place)
        if mesh is None:
            continue
        move, start = place.Transformation(), len(points)
        for i in range(1, mesh.NbNodes() + 1):
            node = mesh.Node(i).Transformed(move)
            points.append((node.X(), node.Y(), node.Z()))
        rows = np.array([mesh.Triangle(i).Get() for i in range(1, mesh.NbTriangles() + 1)], dtype=np.int64)
        rows = rows.reshape(-1, 3) + (start - 1)
        triangles.append(rows[:, ::-1] if face.Orientation() == k.TopAbs_REVERSED else rows)
    none = np.empty((0, 3), dtype=np.int64)
    return np.array(points, dtype=np.float64).reshape(-1, 3), np.concatenate([none, *triangles])
