"""How each recess is made in the foam, and what that makes of the lines by which layers are cut.

Three ways: its notch stands in the cut line of each layer that it takes through the whole thickness, and
what is left is cut away after gluing; a block is sawn out of the glued plug and set back; or it is routed
into the glued plug. For the last two the layers stay whole there: their cut line is that of the plug
before the recess was cut, and its allowance. The way is chosen here, once: all else follows `Pocket.method`.

Gauges are offered up before any recess is finished, so they are those of the plug without recesses. A saw
goes right through what lies behind a floor, and the block that it frees is set back in one: it is glued
like the rest, and nothing that a saw must not meet lies in its way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

from plugs.body.body import Solid, body_before
from plugs.foam.layers import Layer, rough_outlines, with_glued_faces
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.bands import banded, open_ended, shadows
from plugs.mesh.mesh import Body
from plugs.recesses.holding import Rounded
from plugs.recesses.recess import LAYERS, ROUT, SAW, Tool

Array = NDArray[np.float64]

LATER: Final = {SAW: "sawn out", ROUT: "routed out"}
"""What is done to the glued plug, by how a recess is made; a notch is in the layers."""
PUT_ON, TAKEN_OFF = "form put on", "form cut"
"""What a form is told as."""
_SEEN_MM2: Final = 100.0
"""mm2. A block that stands out of its layer by less, 10 x 10 mm, is not worth telling."""
_HEALED: Final = 1e-6  # mm. Closes the cracks that rounding leaves between two regions
_BEYOND: Final = 1e4  # mm. A saw's way behind a floor: longer than a plug
_TOUCH: Final = 1e-6  # mm2. Rounding leaves areas of some 1e-9


@record(frozen=True, slots=True, kw_only=True)
class Pocket:
    """How one recess is made.

    Attributes
    ----------
    param, name : str
        Of its tool.
    method : str
        "layers", "saw" or "rout".
    why : str
        That way and no other.
    layers : tuple of str
        The layers that it reaches into.
    notched : tuple of str
        Those whose cut line has its notch; none but for "layers".
    """

    param: str
    name: str
    method: str
    why: str
    layers: tuple[str, ...]
    notched: tuple[str, ...]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Feature:
    """A boss, a form, or a shape of the recipe's own: what the layers have of it, and where it lies.

    Attributes
    ----------
    name : str
    kind : str
        "boss", "form put on", "form cut", "added" or "cut".
    layers : tuple of str
        The layers that it reaches into.
    lower, upper : (3,) float, mm
        Box round what stands out of the plain plug, or is taken off it.
    volume_mm3 : float
        Of that.
    rise : float or None, mm
        Of a boss, from the foam's surface.
    top : Rounded or None
        The flat of a boss's top, inside its blend.
    foot_radius : float or None, mm
        Of the blend round a boss's foot, in the foam, if the recipe draws one.
    """

    name: str
    kind: str
    layers: tuple[str, ...]
    lower: Array
    upper: Array
    volume_mm3: float
    rise: float | None
    top: Rounded | None
    foot_radius: float | None


def make_features(solid: Solid, finish_tools: Sequence[Tool], layers: Sequence[Layer]) -> tuple[Feature, ...]:
    """Return the bosses and forms of a plug and shapes of the recipe's own, with the layers that have them.

    Parameters
    ----------
    solid : Solid
        The foam.
    finish_tools : sequence of Tool
        As the tools are in the finished surface, in the same order.
    layers : sequence of Layer

    Returns
    -------
    tuple of Feature
        Those of which nothing stands out of the plug, or is taken off it, are left out.
    """
    found: list[tuple[str, str, Body, Tool | None]] = []
    feet = {tool.name: tool.mouth.mouth_radius for tool in solid.tools if tool.mouth is not None}
    for tool, cutter, finish in zip(solid.tools, solid.cutters, finish_tools, strict=True):
        if tool.kind == "add":
            kind, boss = ("boss", finish) if tool.cover is None else (PUT_ON, None)
            found.append((tool.name, kind, mesh.less(cutter, solid.plain), boss))
    parts = zip(solid.tools, solid.cutters, strict=True)
    put_on = [body for tool, body in parts if tool.kind == "add" and tool.cover is not None]
    added = [*put_on, *(shape.body for shape in solid.shapes if shape.kind == "add")]
    whole = mesh.joined([solid.plain, *added]) if added else solid.plain
    for tool, cutter in zip(solid.tools, solid.cutters, strict=True):
        if tool.kind == "cut" and tool.cover is not None:
            found.append((tool.name, TAKEN_OFF, mesh.common(cutter, whole), None))
    for shape in solid.shapes:
        is_added = shape.kind == "add"
        body = mesh.less(shape.body, solid.plain) if is_added else mesh.common(shape.body, whole)
        found.append((shape.param, "added" if is_added else "cut", body, None))
    made = []
    for name, kind, body, boss in found:
        if body.is_empty:
            continue
        measures = mesh.measure(body)
        made.append(
            Feature(
                name=name,
                kind=kind,
                layers=tuple(_blocks(body, layers, 0.0)),
                lower=measures.lower,
                upper=measures.upper,
                volume_mm3=measures.volume_mm3,
                rise=None if boss is None else boss.depth,
                top=None if boss is None else boss.flat,
                foot_radius=None if boss is None else feet.get(name),
            )
        )
    return tuple(made)


def make_pockets(
    solid: Solid,
    layers: Sequence[Layer],
    allowance: float,
    keep_out: shapely.Geometry | None = None,
) -> tuple[tuple[Pocket, ...], tuple[Layer, ...]]:
    """Return how each recess is made, and the layers with the cut lines that go with it.

    Parameters
    ----------
    solid : Solid
        The foam.
    layers : sequence of Layer
        With the notches of all recesses in their cut lines.
    allowance : float, mm
        Foam left standing all round for sanding.
    keep_out : shapely geometry or None, mm
        Where the layers leave room for something else.

    Returns
    -------
    tuple of (tuple of Pocket) and (tuple of Layer)
        Recesses in their order; without a word from the recipe "layers" where a notch can be seen,
        else "rout", and "saw" for a cut right through.

    Raises
    ------
    PlugError
        Asked for in the layers, where no layer shows it.
    """
    cut = [i for i, tool in enumerate(solid.tools) if tool.is_recess]
    if not cut or not layers:
        return (), tuple(layers)
    uncut = body_before(solid, [solid.tools[i].param for i in cut])
    rough = {layer.name: layer.rough for layer in layers}
    pockets = []
    for i in cut:
        tool = solid.tools[i]
        blocks = _blocks(mesh.common(solid.cutters[i], uncut), layers, allowance)
        if keep_out is not None:
            blocks = {name: block.difference(keep_out) for name, block in blocks.items()}
        named = {layer.name: layer.rough for layer in layers if layer.name in blocks}
        seen = [name for name, line in named.items() if blocks[name].difference(line).area > _SEEN_MM2]
        method, why = _method(tool, bool(seen), allowance)
        if method != LAYERS:
            for name, block in blocks.items():
                rough[name] = _polygons(shapely.union(rough[name], block.buffer(_HEALED)))
        pockets.append(
            Pocket(
                param=tool.param,
                name=tool.name,
                method=method,
                why=why,
                layers=tuple(blocks),
                notched=tuple(seen) if method == LAYERS else (),
            )
        )
    made = tuple(replace(layer, rough=rough[layer.name]) for layer in layers)
    sawn = [one.param for one in pockets if one.method == SAW]
    return tuple(pockets), with_glued_faces(made, body_before(solid, sawn), keep_out) if sawn else made


def made_later(pockets: Sequence[Pocket]) -> list[str]:
    """Return the recesses that are made in the glued plug, in layers that are left whole for them.

    Parameters
    ----------
    pockets : sequence of Pocket

    Returns
    -------
    list of str
        Where the recipe gives them.
    """
    return [pocket.param for pocket in pockets if pocket.method != LAYERS]


def sawn_on(
    tool: Tool, shadow: shapely.Geometry, reach: tuple[float, float], axis: str
) -> tuple[shapely.Geometry, float, float]:
    """Return what a recess covers of a stack, and from where to where, with the saw's way behind its floor.

    Parameters
    ----------
    tool : Tool
    shadow : shapely geometry, mm
        What the recess covers, seen along the stack.
    reach : tuple of 2 float, mm
        From where to where along the stack.
    axis : str
        Of the stack.

    Returns
    -------
    tuple of shapely geometry, float and float, mm
        As given where no saw goes on; walls are taken to go on square, and lean in from there.
    """
    low, high = reach
    if not _goes_on(tool):
        return shadow, low, high
    way = _BEYOND * tool.frame[:, 0]
    across = way[["xyz".index(word) for word in mesh.PLANES[axis]]]
    along = float(way["xyz".index(axis)])
    whole = shapely.convex_hull(shapely.union(shadow, shapely.affinity.translate(shadow, *across)))
    return whole, low + min(along, 0.0), high + max(along, 0.0)


def _goes_on(tool: Tool) -> bool:
    """Return whether a saw goes on through what lies behind a recess's floor."""
    return tool.method == SAW and not tool.is_through


def check_no_plate_in_saws_way(tools: Sequence[Tool], plates: Sequence[tuple[str, float, float]]) -> None:
    """Refuse a block that would be sawn out with a template in it.

    Parameters
    ----------
    tools : sequence of Tool
    plates : sequence of tuple of str, float and float, mm
        Templates that stand in the stack: the axis that each is square to, and from where to where it stands.

    Raises
    ------
    PlugError
        With the ways that would do.
    """
    for tool in filter(_goes_on, tools if plates else ()):
        sections = tool.loft.sections(tool.loft.breaks)
        count = sections.rings.points.shape[1]
        local = sections.place(np.arange(count), np.zeros(count)).reshape(-1, 3)
        points = local @ tool.frame[:, :3].T + tool.frame[:, 3]
        for axis, from_mm, to_mm in plates:
            column = "xyz".index(axis)
            reach = points[:, column].min(), points[:, column].max()
            _, low, high = sawn_on(tool, shapely.Point(), reach, axis)
            if low < to_mm and high > from_mm:
                raise PlugError(
                    param=f"{tool.param}.method",
                    value=tool.method,
                    where=tool.name,
                    reason=f"the saw goes on behind the floor, through the template at {axis} = "
                    f"{0.5 * (from_mm + to_mm):.1f} mm, which stands in the foam",
                    remedy=f'use "{ROUT}", or take 1 template out of its way',
                )


def _blocks(taken: Body, layers: Sequence[Layer], allowance: float) -> dict[str, shapely.Geometry]:
    """Return the shadow in each layer of what a recess takes, grown by the allowance."""
    if taken.is_empty:
        return {}
    axis = layers[0].axis
    faces = sorted({face for layer in layers for face in (layer.from_mm, layer.to_mm)})
    covered = shadows(banded(mesh.stacked(taken, axis)), open_ended(faces))
    at_face = dict(zip(faces, covered, strict=False))
    found = {layer.name: at_face[layer.from_mm] for layer in layers}
    found = {name: shadow for name, shadow in found.items() if shadow.area > _TOUCH}
    return dict(zip(found, rough_outlines([*found.values()], allowance), strict=True))


def _method(tool: Tool, is_seen: bool, allowance: float) -> tuple[str, str]:
    """Return the way that a recess is made, the recipe's own if it can be, and why."""
    if tool.method is None and is_seen:
        return LAYERS, "layers that it takes right through can have its notch as they are cut"
    if tool.method is None:
        unseen = "it takes no layer right through, so that no cut line shows it"
        return (SAW, f"{unseen}, and has no floor") if tool.is_through else (ROUT, unseen)
    if tool.method == LAYERS and not is_seen:
        raise PlugError(
            param=f"{tool.param}.method",
            value=tool.method,
            where=tool.name,
            reason=f"no layer's cut line shows it: with {allowance:g} mm left for sanding it takes no sheet "
            "through its whole thickness",
            remedy=f'use "{SAW if tool.is_through else ROUT}", or leave the word out',
        )
    return tool.method, "as the recipe says"


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of a shape."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return shapely.MultiPolygon(parts)
