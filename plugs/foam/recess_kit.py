"""Recess kits: the block of foam that is sawn out, set back and glued in again, and the cloth for the pocket.

The saw follows the mouth on its waste side, so that the wall left standing is the wall of the recess;
the block that comes out is smaller by the kerf all round. Set back to the depth of the recess its face
is the floor. Walls that lean in close round it as it goes deeper: what is left of the kerf is its play,
and where nothing is left the block has to be planed.

The mouth is taken in the plane that touches the surface at its middle. The cloth is the floor with the
walls folded flat round it, the blend at the foot of the walls at its true length, and a strip on the
panel; at each corner a dart takes out what the rim is too long by.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np
from numpy.typing import NDArray

from plugs.errors import PlugError
from plugs.limits import Within
from plugs.shape.holding import Rounded
from plugs.shape.recess import Tool
from plugs.tolerances import LENGTH

Array = NDArray[np.float64]

_QUARTER: Final = 0.5 * np.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class PocketWork:
    """How recesses are cut and lined.

    Attributes
    ----------
    kerf : float, mm
        Full width that the saw or wire takes.
    cloth_overlap : float, mm
        Of the pocket's cloth on the panel round it.
    """

    kerf: Annotated[float, Within(0.0, 20.0)] = 1.0
    cloth_overlap: Annotated[float, Within(0.0, 500.0)] = 25.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inlay:
    """The cloth for a pocket, flat.

    Attributes
    ----------
    floor : Rounded
        The flat of the floor: cloth begins to turn up here.
    to_rim : float, mm
        From there to the mouth: blend and wall, unrolled.
    overlap : float, mm
        Beyond the mouth.
    dart_deg : float
        Angle at the rim, seen from the middle of a corner's arc, that each dart takes out.
    area_mm2 : float
        Of the cloth, darts taken out.
    """

    floor: Rounded
    to_rim: float
    overlap: float
    dart_deg: float
    area_mm2: float

    @property
    def reach(self) -> float:
        """From the flat of the floor to the edge of the cloth, mm."""
        return self.to_rim + self.overlap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RecessKit:
    """What one recess is made with.

    Attributes
    ----------
    name : str
    frame : (3, 4) float
        The tool's axes and its middle on the foam's surface.
    mouth : Rounded
        On the surface.
    cut : Rounded
        The middle of the kerf, on the surface.
    floor : Rounded or None
        Where walls and floor would meet without their blend; None for a cut right through.
    depth : float, mm
        From the surface to the floor: how far the block is set back.
    draft_deg : float
        Lean of the saw from square, + so that the opening narrows inward.
    floor_radius : float, mm
        Fillet to be filled in along the foot of the walls.
    kerf : float, mm
    play : float, mm
        Gap round the block once it is set back, each side; negative: plane so much off it. Through
        the plug: the gap as it is sawn.
    inlay : Inlay or None
        None for a cut right through.
    """

    name: str
    frame: Array
    mouth: Rounded
    cut: Rounded
    floor: Rounded | None
    depth: float
    draft_deg: float
    floor_radius: float
    kerf: float
    play: float
    inlay: Inlay | None


def recess_kits(
    tools: Sequence[Tool], finish_tools: Sequence[Tool], words: PocketWork
) -> tuple[RecessKit, ...]:
    """Return a kit for each recess; bosses need none.

    Parameters
    ----------
    tools, finish_tools : sequence of Tool
        As they are in the foam and in the finished surface, in the same order; what the one is deeper
        than the other is how deep the foam's surface lies. The same twice where there is no skin.
    words : PocketWork

    Returns
    -------
    tuple of RecessKit

    Raises
    ------
    PlugError
        A kerf that leaves nothing of a recess.
    """
    return tuple(
        _kit(tool, tool.depth - finish.depth, words)
        for tool, finish in zip(tools, finish_tools, strict=True)
        if tool.kind == "cut"
    )


def _kit(tool: Tool, skin: float, words: PocketWork) -> RecessKit:
    """Return the kit of one recess in a surface that lies some way down its axis."""
    mouth, foot = _section(tool, skin), _section(tool, tool.depth)
    depth = tool.depth - skin
    slope = 0.5 * (mouth.width - foot.width) / depth
    wide = words.kerf * float(np.hypot(1.0, slope))  # across the surface, as the saw leans
    narrow = min(mouth.width, mouth.height)
    if wide >= narrow:
        raise PlugError(
            param="pocket_work.kerf",
            value=words.kerf,
            where=tool.name,
            reason=f"the saw takes the whole recess, which is {narrow:.1f} mm across",
            remedy=f"use at most {np.floor(0.5 * narrow):g}",
        )
    blend = tool.loft.aft.radius if tool.loft.aft is not None else 0.0
    return RecessKit(
        name=tool.name,
        frame=np.column_stack([tool.frame[:, :3], tool.frame[:, 3] + skin * tool.frame[:, 0]]),
        mouth=mouth,
        cut=mouth.grown(-0.5 * wide),
        floor=None if tool.is_through else foot,
        depth=depth,
        draft_deg=float(np.degrees(np.arctan(slope))),
        floor_radius=0.0 if tool.is_through else blend,
        kerf=words.kerf,
        play=wide - (0.0 if tool.is_through else depth * slope),
        inlay=None if tool.is_through else _inlay(tool, mouth, depth, slope, words.cloth_overlap),
    )


def _section(tool: Tool, depth: float) -> Rounded:
    """Return a tool's outline at a depth under the surface, before the floor is blended."""
    corners, radius, _ = tool.loft.unblended(np.array([depth]), np.array([0.0]))
    width, height = np.ptp(corners[0], axis=0)
    return Rounded(width=float(width), height=float(height), radius=float(radius[0].max()))


def _inlay(tool: Tool, mouth: Rounded, depth: float, slope: float, overlap: float) -> Inlay:
    """Return the cloth of a pocket: floor, blend, walls and overlap."""
    blend = tool.loft.aft.radius if tool.loft.aft is not None else 0.0
    last = tool.loft.sections(tool.loft.breaks[-1:])
    width, height = np.ptp(last.corners[0], axis=0)
    floor = Rounded(width=float(width), height=float(height), radius=float(last.radius[0].max()))
    draft = float(np.arctan(slope))
    # the blend turns from the floor into the wall; it ends blend (1 - sin draft) over the floor
    wall = (depth - blend * (1.0 - float(np.sin(draft)))) / float(np.cos(draft))
    to_rim = blend * (_QUARTER - draft) + wall
    straight = floor.perimeter - 2.0 * np.pi * floor.radius
    rim = floor.radius + to_rim
    # what stays of a quarter turn at the rim, so that the cloth is as long there as the mouth
    kept = (mouth.perimeter - straight) / 4.0 / rim if rim > LENGTH else _QUARTER
    dart = min(max(_QUARTER - kept, 0.0), _QUARTER)
    whole = floor.grown(to_rim + overlap)
    return Inlay(
        floor=floor,
        to_rim=to_rim,
        overlap=overlap,
        dart_deg=float(np.degrees(dart)),
        area_mm2=whole.area_mm2 - 4.0 * _dart_area(floor.radius, rim + overlap, dart, rim),
    )


def _dart_area(apex: float, outer: float, dart: float, rim: float) -> float:
    """Return the area of a dart: a sector of the corner less the two triangles beside the dart."""
    along, half = dart_side(apex, outer, dart, rim)
    return outer**2 * float(np.arctan2(half, along)) - apex * half


def dart_side(apex: float, outer: float, dart_rad: float, rim: float) -> tuple[float, float]:
    """Return where the side of a dart meets the edge of the cloth, about a corner's middle.

    The dart begins at the middle of the corner's arc on the floor; its sides pass through the rim
    ``dart_rad`` apart and run on straight.

    Parameters
    ----------
    apex : float, mm
        Radius of the corner on the floor.
    outer : float, mm
        Radius at the edge of the cloth.
    dart_rad : float, rad
        Angle of the dart at the rim.
    rim : float, mm
        Radius at the rim.

    Returns
    -------
    tuple of 2 float, mm
        Along the line that halves the corner, and to one side of it.
    """
    x, y = rim * float(np.cos(0.5 * dart_rad)) - apex, rim * float(np.sin(0.5 * dart_rad))
    length = float(np.hypot(x, y))
    if length <= LENGTH:
        return outer, 0.0
    x, y = x / length, y / length
    step = -apex * x + float(np.sqrt(max(outer**2 - (apex * y) ** 2, 0.0)))
    corner = outer * float(np.sqrt(0.5))  # no farther than the corner's own arc
    return max(apex + step * x, corner), min(step * y, corner)
