"""What the kernel does with a job: body, booleans, measures, plane sections and STEP, stage by stage."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.workers import tell
from plugs.kernel.job import CurvedPrism, KernelFault, KernelJob, KernelProof, OwnShape, SolidTool
from plugs.kernel.kernel import build_prism, build_solid, count_parts, each_part, free_edges, load_kernel
from plugs.kernel.spline_strips import placed_strips
from plugs.kernel.step_text import PRODUCT_MARK, settled_step

Array = NDArray[np.float64]

SECTION_DISTANCE: Final = 0.005
"""Largest distance in mm between a plane section's points and its curve."""

_MEASURE_RATIO: Final = 1e-7  # a hundredth of `KERNEL_VOLUME_RATIO`, which it must not spoil
_SECTION_TURN_RAD: Final = 0.2  # as in `step_reading`


@contextmanager
def _stage(name: str, seconds: list[tuple[str, float]]) -> Iterator[None]:
    """Time a stage, and name it in whatever fault the kernel raises."""
    k = load_kernel()
    tell(name)
    start = time.perf_counter()
    try:
        yield
    except k.Standard_Failure as fault:
        raise KernelFault(name, f"{type(fault).__name__}: {fault}") from fault
    seconds.append((name, time.perf_counter() - start))


def prepare() -> None:
    """Import the kernel, so that the first job need not wait for it."""
    load_kernel()


def run_job(job: KernelJob) -> KernelProof:
    """Build a body, apply its tools, measure it, and write it as STEP.

    Raises
    ------
    ImportError
        The kernel is not installed.
    KernelFault
        A stage failed, or left an unsound body.
    """
    load_kernel()
    seconds: list[tuple[str, float]] = []
    with _stage("body", seconds):
        plain = build_solid(job.body)
        _demand_sound(plain, "body")
    with _stage("measure body", seconds):
        plain_volume, plain_area, plain_centroid = _measures(plain)
        if plain_volume <= 0.0:
            raise KernelFault("measure body", f"its volume is {plain_volume:g} mm3")
    solid = plain
    for number, tool in enumerate(job.tools, start=1):
        name = f"{tool.kind} tool {number}"
        with _stage(name, seconds):
            solid = _combined(solid, tool, name)
            _demand_sound(solid, name)
    volume, area, centroid = plain_volume, plain_area, plain_centroid
    if job.tools:
        with _stage("measure", seconds):
            volume, area, centroid = _measures(solid)
    sections = []
    for axis, position in job.planes:
        with _stage(f"section {axis} = {position:g}", seconds):
            sections.append(plane_section(solid, axis, position))
    step = b""
    if job.wants_step:
        with _stage("step", seconds):
            step = settled_step(_step_bytes(solid), job.name)
    return KernelProof(
        plain_volume_mm3=plain_volume, plain_area_mm2=plain_area, plain_centroid=plain_centroid,
        volume_mm3=volume, area_mm2=area, centroid=centroid,
        n_solids=count_parts(solid, "SOLID"),
        n_free_edges=free_edges(plain) + free_edges(solid),
        step=step, sections=tuple(sections), seconds=tuple(seconds),
    )  # fmt: skip


def _tool_shape(tool: SolidTool | CurvedPrism | OwnShape, stage: str) -> Any:
    """Return the kernel's shape of a tool."""
    k = load_kernel()
    if isinstance(tool, SolidTool):
        return build_solid(placed_strips(tool.strips, tool.frame))
    if isinstance(tool, CurvedPrism):
        return build_prism(tool)
    shape = k.TopoDS_Shape()
    k.BRepTools.Read_s(shape, io.BytesIO(tool.brep), k.BRep_Builder())
    if shape.IsNull():
        raise KernelFault(stage, "the recipe's own shape cannot be read")
    return shape


def _combined(solid: Any, tool: SolidTool | CurvedPrism | OwnShape, stage: str) -> Any:
    """Return a body with a tool cut away or added.

    By one thread: pieces are so small that several only wait for each other.
    """
    k = load_kernel()
    bodies, tools = k.TopTools_ListOfShape(), k.TopTools_ListOfShape()
    bodies.Append(solid)
    tools.Append(_tool_shape(tool, stage))
    work = {"cut": k.BRepAlgoAPI_Cut, "add": k.BRepAlgoAPI_Fuse}[tool.kind]()
    work.SetArguments(bodies)
    work.SetTools(tools)
    work.SetCheckInverted(not isinstance(tool, SolidTool))  # sections run one way round: they are checked
    work.Build()
    if not work.IsDone():
        raise KernelFault(stage, "the boolean gave no result")
    return _single(work.Shape())


def _single(shape: Any) -> Any:
    """Return the only solid of a compound itself, else the shape."""
    solids = list(each_part(shape, "SOLID"))
    return solids[0] if len(solids) == 1 else shape


def _demand_sound(shape: Any, stage: str) -> None:
    """Refuse a body that the kernel finds unsound, open or empty."""
    k = load_kernel()
    if count_parts(shape, "SOLID") == 0:
        raise KernelFault(stage, "nothing is left of the body")
    if not k.BRepCheck_Analyzer(shape).IsValid():
        raise KernelFault(stage, "the body is not sound")
    loose = free_edges(shape)
    if loose:
        raise KernelFault(stage, f"the body is open along {loose} edges")


def _measures(shape: Any) -> tuple[float, float, Array]:
    """Return volume (mm3), area (mm2) and centroid (mm) of a body."""
    k = load_kernel()
    inside, skin = k.GProp_GProps(), k.GProp_GProps()
    k.BRepGProp.VolumeProperties_s(shape, inside, _MEASURE_RATIO)
    k.BRepGProp.SurfaceProperties_s(shape, skin, _MEASURE_RATIO)
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
    k = load_kernel()
    normal = [float(axis == name) for name in "xyz"]
    plane = k.gp_Pln(k.gp_Pnt(*(position * part for part in normal)), k.gp_Dir(*normal))
    section = k.BRepAlgoAPI_Section(shape, plane, False)
    section.Approximation(True)
    section.Build()
    curves = []
    for edge in each_part(section.Shape(), "EDGE"):
        curve = k.BRepAdaptor_Curve(k.TopoDS.Edge_s(edge))
        points = k.GCPnts_TangentialDeflection(curve, _SECTION_TURN_RAD, SECTION_DISTANCE)
        places = [points.Value(i) for i in range(1, points.NbPoints() + 1)]
        curves.append(np.array([[p.X(), p.Y(), p.Z()] for p in places]))
    return tuple(curves)


def _step_bytes(shape: Any) -> bytes:
    """Return a shape as STEP, ISO 10303-242, in mm, as the kernel writes it."""
    k = load_kernel()
    writer = k.STEPControl_Writer()
    for name, value in (("schema", "AP242DIS"), ("unit", "MM"), ("product.name", PRODUCT_MARK)):
        if not k.Interface_Static.SetCVal_s(f"write.step.{name}", value):
            raise KernelFault("step", f"the kernel refuses {name} {value}")
    k.Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)
    stream = io.BytesIO()
    done = k.IFSelect_RetDone
    if writer.Transfer(shape, k.STEPControl_AsIs) != done or writer.WriteStream(stream) != done:
        raise KernelFault("step", "the kernel cannot write the body")
    return stream.getvalue()
