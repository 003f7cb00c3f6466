"""How each recess is made in the foam, and what that makes of the lines by which layers are cut.

Three ways: its notch stands in the cut line of each layer that it takes through the whole thickness, and
what is left is cut away after gluing; a block is sawn out of the glued plug and set back; or it is routed
into the glued plug. For the last two the layers stay whole there: their cut line is that of the plug
before the recess was cut, and its allowance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body import Solid, body_before
from plugs.foam.layers import Layer, rough_outline
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.mesh import mesh
from plugs.mesh.bands import banded, open_ended, shadow
from plugs.mesh.mesh import Body
from plugs.recesses.holding import Rounded
from plugs.recesses.recess import LAYERS, ROUT, SAW, Tool

Array = NDArray[np.float64]

PUT_ON, TAKEN_OFF = "form put on", "form cut"
"""What a form is told as."""
_SEEN_MM2: Final = 100.0
"""mm2. A block that stands out of its layer by less, 10 x 10 mm, is not worth telling."""
_HEALED: Final = 1e-6  # mm. Closes the cracks that rounding leaves between two regions
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
    layers : tuple of str
        The layers that it reaches into.
    notched : tuple of str
        Those whose cut line has its notch; none but for "layers".
    """

    param: str
    name: str
    method: str
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
    """

    name: str
    kind: str
    layers: tuple[str, ...]
    lower: Array
    upper: Array
    volume_mm3: float
    rise: float | None
    top: Rounded | None


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
    cut = [i for i, tool in enumerate(solid.tools) if tool.kind == "cut" and tool.cover is None]
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
        method = _method(tool, bool(seen), allowance)
        if method != LAYERS:
            for name, block in blocks.items():
                rough[name] = _polygons(shapely.union(rough[name], block.buffer(_HEALED)))
        pockets.append(
            Pocket(
                param=tool.param,
                name=tool.name,
                method=method,
                layers=tuple(blocks),
                notched=tuple(seen) if method == LAYERS else (),
            )
        )
    return tuple(pockets), tuple(replace(layer, rough=rough[layer.name]) for layer in layers)


def _blocks(taken: Body, layers: Sequence[Layer], allowance: float) -> dict[str, shapely.Geometry]:
    """Return the shadow in each layer of what a recess takes, grown by the allowance."""
    if taken.is_empty:
        return {}
    axis = layers[0].axis
    ready = banded(mesh.stacked(taken, axis))
    faces = sorted({face for layer in layers for face in (layer.from_mm, layer.to_mm)})
    reaches = dict(zip(faces, open_ended(faces), strict=False))
    found = {}
    for layer in layers:
        covered = shadow(ready, *reaches[layer.from_mm])
        if covered.area > _TOUCH:
            found[layer.name] = rough_outline(covered, allowance)
    return found


def _method(tool: Tool, is_seen: bool, allowance: float) -> str:
    """Return the way that a recess is made, the recipe's own if it can be."""
    if tool.method is None:
        return LAYERS if is_seen else SAW if tool.is_through else ROUT
    if tool.method == LAYERS and not is_seen:
        raise PlugError(
            param=f"{tool.param}.method",
            value=tool.method,
            where=tool.name,
            reason=f"no layer's cut line shows it: with {allowance:g} mm left for sanding it takes no sheet "
            "through its whole thickness",
            remedy=f'use "{SAW if tool.is_through else ROUT}", or leave the word out',
        )
    return tool.method


def _polygons(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """Return the polygons of a shape."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return shapely.MultiPolygon(parts)
