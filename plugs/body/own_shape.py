"""Shapes of the recipe's own: a CadQuery solid made ready for both engines, within the chord tolerance."""

from __future__ import annotations

import io
from typing import Any, Final

from plugs.body.body import Shape
from plugs.ground.errors import PlugError
from plugs.ground.tolerances import LARGEST, NO_VOLUME_MM3
from plugs.kernel.kernel import load_kernel
from plugs.kernel.step_reading import triangles_within
from plugs.mesh import mesh

_FINER: Final = (1.0, 0.4, 0.15)
"""Shares of the tolerance that are tried one after the other, until the volumes agree."""

_ROUNDING: Final = 1e-6
"""Of the volume: what two kernels' arithmetic may differ by, far under the chord's share."""


def make_shape(item: Any, param: str, kind: str, tolerance: float) -> Shape:
    """Return a shape of the recipe's own, ready for both engines.

    Parameters
    ----------
    item : object
        A CadQuery shape or work plane holding solids; known by what it can do, so that nothing
        here loads the kernel before there is one.
    param : str
    kind : str
        "add" or "cut".
    tolerance : float, mm
        Largest distance between surface and mesh.

    Returns
    -------
    Shape
        Its mesh's volume agrees with the kernel's within what the tolerance can explain.

    Raises
    ------
    PlugError
        Not a CadQuery solid, not closed, too large, or not to be turned into triangles.
    """
    found = list(item.vals()) if hasattr(item, "vals") else [item]
    if len(found) != 1 or not all(hasattr(f, "wrapped") and hasattr(f, "exportBrep") for f in found):
        raise PlugError(
            param=param,
            value=type(item).__name__,
            reason="this is not one CadQuery solid",
            remedy="give 1 shape, or join several with .union() or cadquery.Compound.makeCompound first",
        )
    k = load_kernel()
    shape, brep = _copied(found[0])
    volume, area, reach = _measured(shape)
    if reach > LARGEST:
        raise PlugError(
            param=param,
            value=f"{reach:.6g} mm",
            reason="the shape is larger than any plug",
            remedy=f"give lengths in mm, of {LARGEST:g} mm at most",
        )
    gap = 0.0
    for share in _FINER:
        k.BRepTools.Clean_s(shape)
        body = mesh.body_of_loose_triangles(*triangles_within(shape, share * tolerance))
        if body is None or mesh.volume_of(body) <= NO_VOLUME_MM3:
            break
        gap = abs(mesh.volume_of(body) - volume)
        if gap <= tolerance * area + _ROUNDING * volume:
            return Shape(param=param, kind=kind, brep=brep, body=body)
    if gap:
        reason = f"its triangles miss the kernel's volume of {volume:.6g} mm3 by {gap:.3g} mm3"
        remedy = f"check that .isValid() is true, or set chord_tolerance={0.5 * tolerance:g}"
    else:
        reason = "the shape does not enclose a volume"
        remedy = "give 1 closed solid; check it with .isValid() and .Volume()"
    raise PlugError(param=param, value=type(item).__name__, reason=reason, remedy=remedy)


def _copied(shape: Any) -> tuple[Any, bytes]:
    """Return the kernel's shape of a CadQuery shape, the recipe's own left as it is, and its text."""
    k = load_kernel()
    stream = io.BytesIO()
    shape.exportBrep(stream)
    copy = k.TopoDS_Shape()
    k.BRepTools.Read_s(copy, io.BytesIO(stream.getvalue()), k.BRep_Builder())
    k.BRepTools.Clean_s(copy)
    bare = io.BytesIO()
    k.BRepTools.Write_s(copy, bare)
    return copy, bare.getvalue()


def _measured(shape: Any) -> tuple[float, float, float]:
    """Return volume (mm3), area (mm2) and how far from 0 a shape reaches (mm)."""
    k = load_kernel()
    inside, skin, box = k.GProp_GProps(), k.GProp_GProps(), k.Bnd_Box()
    k.BRepGProp.VolumeProperties_s(shape, inside)
    k.BRepGProp.SurfaceProperties_s(shape, skin)
    k.BRepBndLib.Add_s(shape, box, False)
    if box.IsVoid():
        return 0.0, 0.0, 0.0
    corners = (box.CornerMin(), box.CornerMax())
    return (
        abs(inside.Mass()),
        skin.Mass(),
        max(abs(v) for c in corners for v in (c.X(), c.Y(), c.Z())),
    )
