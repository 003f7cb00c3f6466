"""Recess kits: the lines by which a recess is made on the plug, and what its finished floor holds.

Where a block is sawn out, the saw follows the mouth on its waste side, so that the wall left standing is
the wall of the recess; the block that comes out is smaller by the kerf all round. Set back to the depth of
the recess its face is the floor. Walls that lean in close round it as it goes deeper: what is left of the
kerf is its play, and where nothing is left the block has to be planed.

The mouth is taken in the plane that touches the surface at its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from plugs.foam.pockets import LATER, Pocket
from plugs.ground.errors import PlugError
from plugs.ground.limits import Within
from plugs.ground.records import record
from plugs.mesh.mesh import Body, body_of_triangles
from plugs.recesses.holding import Held, Rounded
from plugs.recesses.recess import SAW, Tool

Array = NDArray[np.float64]

_LEAST_BLOCK: Final = 5.0
"""mm. A thinner or narrower block is too small to hold (common practice, no source)."""
_ARC: Final = 17
"""Points of a corner: at a radius of 15 mm they lie within 0.02 mm of it."""
SET_BACK, BY_WIRE = "set back", "by wire"
"""What closes the opening behind the floor of a recess that is sawn out."""
_SHARP: Final = 1e-3
"""mm. Radius of a corner that is sharp, so that no two points lie on one place."""


@record(frozen=True, slots=True, kw_only=True)
class PocketCutting:
    """How recesses are cut and lined.

    Attributes
    ----------
    kerf : float, mm
        Full width that the saw or wire takes.
    """

    kerf: Annotated[float, Within(0.0, 20.0)] = 1.0


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PocketPattern:
    """What one recess is made with.

    Attributes
    ----------
    name, method, why : str
        What it is called, how it is made, and why so.
    layers, notched : tuple of str
        The layers that it reaches into, and those whose cut line has its notch.
    frame : (3, 4) float
        The tool's axes and its middle on the foam's surface.
    mouth : Rounded
        On the surface.
    cut : Rounded or None
        The middle of the kerf, on the surface, where a block is sawn out.
    floor : Rounded or None
        Where walls and floor would meet without their blend; None for a cut right through.
    flat : Rounded or None
        The flat of the finished floor, inside its fillet; None over an edge too, where it is not whole.
    held : Held or None
        What is to lie there.
    depth : float, mm
        From the surface to the floor.
    draft_deg : float
        Lean of the walls from square, + so that the opening narrows inward.
    floor_radius : float, mm
        Fillet along the foot of the walls.
    mouth_radius : float, mm
        To which the edge between walls and surface is rounded, if the recipe draws that.
    over_edge : float, mm
        How far the mouth runs off the flat of its panel.
    kerf, play : float or None, mm
        Of the saw; the gap round the block once it is set back, each side; negative: plane so much off
        it. Through the plug: the gap as it is sawn.
    block : str or None
        What closes the opening that a saw leaves behind the floor: "set back" (what it freed) or "by wire" (a
        new one, cut to the opening); None where nothing does.
    """

    name: str
    method: str
    why: str
    layers: tuple[str, ...]
    notched: tuple[str, ...]
    frame: Array
    mouth: Rounded
    cut: Rounded | None
    floor: Rounded | None
    flat: Rounded | None
    held: Held | None
    depth: float
    draft_deg: float
    floor_radius: float
    mouth_radius: float
    over_edge: float
    kerf: float | None
    play: float | None
    block: str | None = None


def pocket_patterns(
    tools: Sequence[Tool], finish_tools: Sequence[Tool], words: PocketCutting, pockets: Sequence[Pocket]
) -> tuple[PocketPattern, ...]:
    """Return a kit for each recess; bosses need none.

    Parameters
    ----------
    tools, finish_tools : sequence of Tool
        As they are in the foam and in the finished surface, in the same order; what the one is deeper
        than the other is how deep the foam's surface lies. The same twice where there is no skin.
    words : PocketCutting
    pockets : sequence of Pocket
        How each is made.

    Returns
    -------
    tuple of PocketPattern

    Raises
    ------
    PlugError
        A kerf that leaves nothing of a recess.
    """
    made = {pocket.param: pocket for pocket in pockets}
    return tuple(
        _kit(tool, finish, words, made[tool.param])
        for tool, finish in zip(tools, finish_tools, strict=True)
        if tool.param in made
    )


def later_in(kits: Sequence[PocketPattern], layer: str) -> list[str]:
    """Return what is made in a layer that is left whole for it, in words.

    Parameters
    ----------
    kits : sequence of PocketPattern
    layer : str
        Its name.

    Returns
    -------
    list of str
    """
    return [
        f"{kit.name}: left whole here, {LATER[kit.method]} when all is glued and sanded"
        for kit in kits
        if kit.method in LATER and layer in kit.layers
    ]


def _kit(tool: Tool, finish: Tool, words: PocketCutting, pocket: Pocket) -> PocketPattern:
    """Return the kit of one recess in a surface that lies some way down its axis."""
    skin = tool.depth - finish.depth
    mouth, foot = tool.section(skin), tool.section(tool.depth)
    depth = tool.depth - skin
    slope = 0.5 * (mouth.width - foot.width) / depth
    wide = words.kerf * float(np.hypot(1.0, slope))  # across the surface, as the saw leans
    narrow = min(mouth.width, mouth.height)
    is_sawn = pocket.method == SAW
    if is_sawn and wide >= narrow:
        raise PlugError(
            param="pocket_cutting.kerf",
            value=words.kerf,
            where=tool.name,
            reason=f"the saw takes the whole recess, which is {narrow:.1f} mm across",
            remedy=f"use at most {np.floor(0.5 * narrow):g}",
        )
    blend = tool.loft.rear.radius if tool.loft.rear is not None else 0.0
    return PocketPattern(
        name=tool.name,
        method=pocket.method,
        why=pocket.why,
        layers=pocket.layers,
        notched=pocket.notched,
        frame=np.column_stack([tool.frame[:, :3], tool.frame[:, 3] + skin * tool.frame[:, 0]]),
        mouth=mouth,
        cut=mouth.grown(-0.5 * wide) if is_sawn else None,
        floor=None if tool.is_through else foot,
        flat=None if tool.is_through or tool.over_edge > 0.0 else finish.flat,
        held=finish.held,
        depth=depth,
        draft_deg=float(np.degrees(np.arctan(slope))),
        floor_radius=0.0 if tool.is_through else blend,
        mouth_radius=0.0 if tool.mouth is None else tool.mouth.mouth_radius,
        over_edge=tool.over_edge,
        kerf=words.kerf if is_sawn else None,
        play=wide - (0.0 if tool.is_through else depth * slope) if is_sawn else None,
        block=SET_BACK if is_sawn and not tool.is_through else None,
    )


def block_below(kit: PocketPattern, thickness: float) -> Body | None:
    """Return the block that fills the opening of a sawn recess below its floor, as the walls go on.

    Parameters
    ----------
    kit : PocketPattern
    thickness : float, mm
        Of the block; less where the walls, leaning in, leave too little of it.

    Returns
    -------
    Body or None
        Along the recess's own axes, depths upward; None where no block is set back, or none is left.

    Notes
    -----
    A rectangle that shrinks evenly stays convex, so that the block is the hull of its two faces: the walls of
    a recess 100 wide with 5 degrees of draft stand 2 x 30 tan 5 = 5.2 mm closer 30 mm farther down.
    """
    if kit.method != SAW or kit.floor is None:
        return None
    slope = float(np.tan(np.radians(kit.draft_deg)))
    floor, narrower = kit.floor, (kit.mouth.radius - kit.floor.radius) / kit.depth
    if slope > 0.0:
        thickness = min(thickness, 0.5 * (min(floor.width, floor.height) - _LEAST_BLOCK) / slope)
    if thickness < _LEAST_BLOCK:
        return None
    radius = max(floor.radius - thickness * narrower, 0.0)
    less = 2.0 * thickness * slope
    deeper = Rounded(width=floor.width - less, height=floor.height - less, radius=radius)
    return frustum(floor, kit.depth, deeper, kit.depth + thickness)


def frustum(lower: Rounded, low: float, upper: Rounded, high: float) -> Body:
    """Return the body between two rounded rectangles, each square to the axis that they stand round.

    Parameters
    ----------
    lower : Rounded
    low : float, mm
        Where that stands along the axis.
    upper : Rounded
    high : float, mm

    Returns
    -------
    Body
    """
    rings = [
        np.column_stack([_ring(face), np.full(4 * _ARC, at)]) for face, at in ((lower, low), (upper, high))
    ]
    count = 4 * _ARC
    here, ahead = np.arange(count), (np.arange(count) + 1) % count
    fan = np.column_stack([np.zeros(count - 2, dtype=np.int64), here[1:-1], here[2:]])
    sides = [
        np.column_stack([here, ahead, ahead + count]),
        np.column_stack([here, ahead + count, here + count]),
    ]
    return body_of_triangles(np.concatenate(rings), np.concatenate([fan[:, ::-1], fan + count, *sides]))


def _ring(face: Rounded) -> Array:
    """Return a rounded rectangle as a ring, anti-clockwise, each corner by as many points."""
    radius = max(face.radius, _SHARP)
    turns = 0.5 * np.pi * (np.arange(4)[:, None] + np.linspace(0.0, 1.0, _ARC)[None])
    middles = np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)]) * (
        0.5 * np.array([face.width, face.height]) - radius
    )
    arcs = middles[:, None] + radius * np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    return np.asarray(arcs.reshape(-1, 2))
