"""Hard points where they lie: the piece, its pocket in the foam, what curve it leaves, what it weighs.

A piece is flat, a panel may not be. Its plane is square to the surface at its middle; how much the surface
rises and falls under it is its curve. A board or foam is set so far out that the surface lies within it, and
is planed down to it: at the place that is planed most it loses the curve. A metal plate is not planed: it is
set so far in that nothing of it stands out, and up to the curve is filled over it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.body.body import Solid
from plugs.foam.layers import Layer
from plugs.foam.pockets import Pocket
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.hard_points.words import HardPoint, material_of
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import CLOTHS
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Board, Cloth, Foam
from plugs.laminate.plies import ply_thickness, usual_content
from plugs.lines.stations import Loft
from plugs.mesh import mesh
from plugs.mesh.mesh import Body
from plugs.recesses.holding import Rounded
from plugs.recesses.mounting import Mounting, find_mounting
from plugs.recesses.recess import ROUT, Recess, Tool, make_tool
from plugs.sanding.pocket_pattern import PocketPattern, frustum

Array = NDArray[np.float64]

WOOD_KG_M3: Final = 1500.0
"""Boards and foams lie under it, metals and solid laminates over it, and these no plane takes down (derived
from the tables: the densest board has 750, aluminium 2700)."""
MOST_FILLED: Final = 3.0
"""mm. Of thickened resin over or under a piece that does not follow the surface; more cracks, and gets hot as
it sets (common practice, no source)."""
LEAST_LEFT_RATIO: Final = 0.5
"""Of a board's thickness: when more is planed off it anywhere, a thicker one is wanted (common practice)."""
LEAST_UNDER: Final = 5.0
"""mm. Foam under a pocket: less breaks through under the router (common practice, no source)."""
FLAT_ENOUGH: Final = 0.3
"""mm. Less curve than this is what sanding leaves (common practice, no source)."""
_OUT: Final = 5.0  # mm. A pocket's body stands so far out of the surface at its middle, beyond the curve
_WHOLE: Final = 0.98  # of a slab of foam under a floor; rounding and a blend's foot take less
_HALVINGS: Final = 20  # of a size: to a millionth of it
_MET_MM3: Final = 1.0  # what two bodies share where they only touch


@record(frozen=True, slots=True, kw_only=True)
class LocalPly:
    """A ply over a hard point alone.

    Attributes
    ----------
    cloth : Cloth
    width, height : float, mm
        Of its rectangle.
    thickness : float, mm
    glass_kg, resin_kg : float, kg
    """

    cloth: Cloth
    width: float
    height: float
    thickness: float
    glass_kg: float
    resin_kg: float


@record(frozen=True, slots=True, kw_only=True, eq=False)
class SetIn:
    """A hard point where it lies.

    Attributes
    ----------
    param : str
        Where the recipe gives it.
    item : HardPoint
    material : Board or Foam
    thickness : float, mm
    frame : (3, 4) float
        Along width, height and outward, and its middle on the foam's surface.
    face : Rounded
        The piece, on its larger face.
    curve : float, mm
        By how much the surface rises and falls under it.
    is_planed : bool
        Whether it is planed to the surface; else what is open over it is filled.
    top : float, mm
        Its upper face over the foam's surface at its middle, as it is set.
    depth : float, mm
        Of its pocket under the surface at its middle; 0 between plies.
    tool : Tool or None
        What the pocket keeps clear of pins and joints; None between plies.
    pocket_mm3, piece_mm3, bedding_mm3 : float, mm3
        Foam that is taken out; the piece as it ends, without holes; thickened resin under, round and over it.
    pocket_centre, centre : (3,) float, mm
        Of gravity, of the foam taken out and of the piece.
    plies : tuple of LocalPly
    """

    param: str
    item: HardPoint
    material: Board | Foam
    thickness: float
    frame: Array
    face: Rounded
    curve: float
    is_planed: bool
    top: float
    depth: float
    tool: Tool | None
    pocket_mm3: float
    piece_mm3: float
    bedding_mm3: float
    pocket_centre: Array
    centre: Array
    plies: tuple[LocalPly, ...]

    @property
    def name(self) -> str:
        """As the builder calls it."""
        return self.item.name

    @property
    def mass_kg(self) -> float:
        """Of the piece."""
        return 1e-9 * self.piece_mm3 * self.material.density_kg_m3

    @property
    def run(self) -> float:
        """How far its bevel runs in from its edge, mm."""
        return self.item.bevel * self.thickness

    @property
    def pocket(self) -> Rounded:
        """The outline of its pocket."""
        return self.face.grown(self.item.play)

    @property
    def rise(self) -> float:
        """By how much the finished surface stands higher there, mm."""
        own = sum(ply.thickness for ply in self.plies)
        return own + (0.0 if self.item.after_ply is None else self.thickness + self.item.bedding)

    def body(self, over: float = 0.0) -> Body:
        """Return the piece as it is set, without its holes, in the plug's axes.

        Parameters
        ----------
        over : float, mm
            So much thicker on its outer face.

        Returns
        -------
        Body
        """
        return _piece(self.face, self.run, self.top - self.thickness, self.top + over, self.frame)


def set_in(items: Sequence[HardPoint], foam: Loft, solid: Solid, layup: Layup | None) -> tuple[SetIn, ...]:
    """Return hard points where they lie.

    Parameters
    ----------
    items : sequence of HardPoint
        Their words checked.
    foam : Loft
        The lines of the foam.
    solid : Solid
        The foam.
    layup : Layup or None

    Returns
    -------
    tuple of SetIn

    Raises
    ------
    PlugError
        A panel or a place that there is not, a piece too large for its panel's curve, a pocket that breaks
        through or meets another.
    """
    made = [_set_in(item, f"hard_points[{i}]", foam, layup) for i, item in enumerate(items)]
    _check_apart(made, solid)
    return tuple(_weighed(one, solid) for one in made)


def with_pockets(tools: Sequence[Tool], made: Sequence[SetIn]) -> tuple[Tool, ...]:
    """Return tools with the pockets of hard points, which pins and joints keep clear of as well.

    Parameters
    ----------
    tools : sequence of Tool
    made : sequence of SetIn

    Returns
    -------
    tuple of Tool
    """
    return (*tools, *(one.tool for one in made if one.tool is not None))


def pocket_of(one: SetIn, layers: Sequence[Layer]) -> PocketPattern:
    """Return the pattern by which a hard point's pocket is routed into the sanded foam.

    Parameters
    ----------
    one : SetIn
        In the foam.
    layers : sequence of Layer

    Returns
    -------
    PocketPattern
    """
    points, _ = mesh.triangles_of(_pocket_body(one, one.curve))
    column = "xyz".index(layers[0].axis)
    low, high = points[:, column].min(), points[:, column].max()
    reached = tuple(layer.name for layer in layers if low < layer.to_mm and high > layer.from_mm)
    inward = np.column_stack([-one.frame[:, 2], -one.frame[:, 0], one.frame[:, 1], one.frame[:, 3]])
    pocket = Pocket(
        param=one.param,
        name=f"{one.name} pocket",
        method=ROUT,
        why="a hard point is set to the sanded surface, so that its pocket is made after sanding",
        layers=reached,
        notched=(),
    )
    return PocketPattern(
        name=pocket.name,
        method=pocket.method,
        why=pocket.why,
        layers=pocket.layers,
        notched=(),
        frame=inward,
        mouth=one.pocket,
        cut=None,
        floor=one.pocket,
        flat=one.pocket,
        held=None,
        depth=one.depth,
        draft_deg=0.0,
        floor_radius=0.0,
        kerf=None,
        play=None,
        mouth_radius=0.0,
        over_edge=0.0,
    )


def meets_void(one: SetIn, void: Body) -> bool:
    """Return whether a hard point's pocket, with the foam that it needs under it, meets a hollow.

    Parameters
    ----------
    one : SetIn
    void : Body
    """
    low, high = -one.depth - LEAST_UNDER, one.top
    return mesh.volume_of(mesh.common(_piece(one.pocket, 0.0, low, high, one.frame), void)) > _MET_MM3


def _set_in(item: HardPoint, param: str, foam: Loft, layup: Layup | None) -> SetIn:
    """Return one hard point where it lies, before it is weighed."""
    material, thickness = material_of(item, param)
    face = Rounded(width=item.width, height=item.height, radius=item.corner_radius)
    tool = make_tool(foam, _as_recess(item, thickness + item.bedding), param)
    mounting = find_mounting(foam, item, param)
    frame = np.column_stack([mounting.width, mounting.height, mounting.outward, mounting.point])
    low, high = _heights(mounting, face)
    curve, is_planed = high - low, material.density_kg_m3 < WOOD_KG_M3
    _check_curve(
        item, param, thickness, is_planed, lambda sides: np.subtract(*_heights(mounting, sides)[::-1])
    )
    if item.after_ply is None:
        top = high if is_planed else low
        depth = thickness - top + item.bedding
    else:
        under = _under(item, layup)
        top, depth = under + high + item.bedding + thickness, 0.0
    return SetIn(
        param=param, item=item, material=material, thickness=thickness, frame=frame, face=face, curve=curve,
        is_planed=is_planed, top=top, depth=depth, tool=None if item.after_ply else tool, pocket_mm3=0.0,
        piece_mm3=0.0, bedding_mm3=0.0, pocket_centre=mounting.point, centre=mounting.point,
        plies=_local_plies(item, param, layup),
    )  # fmt: skip


def _as_recess(item: HardPoint, depth: float) -> Recess:
    """Return a hard point as the recess that would hold it, which is checked as any other."""
    return Recess(
        name=item.name, panel=item.panel, x=item.x, across=item.across, y=item.y, z=item.z, width=item.width,
        height=item.height, corner_radius=item.corner_radius, turn_deg=item.turn_deg, depth=max(depth, 0.5),
        method=ROUT,
    )  # fmt: skip


def _weighed(one: SetIn, solid: Solid) -> SetIn:
    """Return a hard point with its volumes and centres."""
    holes = sum(0.25 * math.pi * d**2 * one.thickness for _, _, d in one.item.holes)
    body = one.body()
    if one.item.after_ply is not None:
        whole = mesh.measure(body)
        bedding = one.face.width * one.face.height * (one.item.bedding + 0.5 * one.curve)
        return replace(
            one, piece_mm3=whole.volume_mm3 - holes, bedding_mm3=bedding, centre=np.asarray(whole.centroid)
        )
    _check_foam_under(one, solid)
    taken = mesh.measure(mesh.common(_pocket_body(one, one.curve + _OUT), solid.body))
    whole = mesh.measure(mesh.common(body, solid.body) if one.is_planed else body)
    return replace(
        one,
        pocket_mm3=taken.volume_mm3,
        piece_mm3=whole.volume_mm3 - holes,
        bedding_mm3=max(taken.volume_mm3 - whole.volume_mm3, 0.0),
        pocket_centre=np.asarray(taken.centroid),
        centre=np.asarray(whole.centroid),
    )


def _pocket_body(one: SetIn, over: float) -> Body:
    """Return a hard point's pocket, so far over the surface at its middle."""
    return _piece(one.pocket, 0.0, -one.depth, max(one.top, 0.0) + over, one.frame)


def _piece(face: Rounded, run: float, low: float, high: float, frame: Array) -> Body:
    """Return a piece between two heights over the surface, its upper face smaller by a bevel's run."""
    return mesh.placed(frustum(face, low, face.grown(-run), high), frame)


def _heights(mounting: Mounting, face: Rounded) -> tuple[float, float]:
    """Return how far the surface falls away under a piece, and how far it stands over its plane."""
    outline = shapely.box(-0.5 * face.width, -0.5 * face.height, 0.5 * face.width, 0.5 * face.height)
    heights = mounting.heights_under(outline)
    return float(heights.min(initial=0.0)), float(heights.max(initial=0.0))


def _check_curve(
    item: HardPoint, param: str, thickness: float, is_planed: bool, curve_of: Callable[[Rounded], float]
) -> None:
    """Refuse a flat piece on a panel too curved for it, with the size or the thickness that does."""
    in_foam = item.after_ply is None
    most = (1.0 - LEAST_LEFT_RATIO) * thickness if is_planed and in_foam else MOST_FILLED
    curve = curve_of(Rounded(width=item.width, height=item.height, radius=0.0))
    if curve <= most:
        return
    least, largest = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + largest)
        sides = Rounded(width=middle * item.width, height=middle * item.height, radius=0.0)
        least, largest = (middle, largest) if curve_of(sides) <= most else (least, middle)
    width, height = (math.floor(10.0 * least * side) / 10.0 for side in (item.width, item.height))
    thicker = f", or a piece {math.ceil(2.0 * curve):g} mm thick" if is_planed and in_foam else ""
    what = "would be planed off it" if is_planed and in_foam else "would be filled over or under it"
    raise PlugError(
        param=f"{param}.width",
        value=item.width,
        where=item.name,
        reason=f"the panel is curved: under {item.width:g} x {item.height:g} mm its surface rises and falls "
        f"by {curve:.1f} mm, and up to so much {what}, of which {most:g} mm is the most",
        remedy=f"use a width of {width:g} with a height of {height:g}{thicker}",
        would_do=[(f"{param}.width", width), (f"{param}.height", height)],
    )


def _check_foam_under(one: SetIn, solid: Solid) -> None:
    """Refuse a pocket that leaves too little foam under it, with the thickness that does."""

    def is_whole(deep: float) -> bool:
        slab = _piece(one.pocket, 0.0, -deep - LEAST_UNDER, -deep, one.frame)
        return mesh.volume_of(mesh.common(slab, solid.body)) > _WHOLE * mesh.volume_of(slab)

    if is_whole(one.depth):
        return
    least, most = 0.0, one.depth
    for _ in range(_HALVINGS):
        middle = 0.5 * (least + most)
        least, most = (middle, most) if is_whole(middle) else (least, middle)
    left = math.floor(10.0 * (least - one.depth + one.thickness)) / 10.0
    raise PlugError(
        param=f"{one.param}.material",
        value=one.material.name,
        where=one.name,
        reason=f"its pocket, {one.depth:.1f} mm deep, leaves less than {LEAST_UNDER:g} mm of foam under it",
        remedy=f"use 1 that is at most {left:g} mm thick"
        if left > 0.0
        else "set it on another panel: here is no foam for 1 mm of it",
    )


def _check_apart(made: Sequence[SetIn], solid: Solid) -> None:
    """Refuse hard points that meet each other, a recess, or what else is cut."""
    inner = [one for one in made if one.item.after_ply is None]
    bodies = [_pocket_body(one, _OUT) for one in inner]
    cut = [
        (tool.name, tool.frame[:, 3], 0.5 * math.hypot(*_mouth(tool)), body)
        for tool, body in zip(solid.tools, solid.cutters, strict=True)
        if tool.is_recess
    ]
    for i, (one, body) in enumerate(zip(inner, bodies, strict=True)):
        others = [
            (two.name, two.frame[:, 3], 0.5 * math.hypot(two.pocket.width, two.pocket.height), met)
            for two, met in zip(inner[:i], bodies[:i], strict=True)
        ]
        for name, at, reach, met in (*cut, *others):
            if mesh.volume_of(mesh.common(body, met)) > _MET_MM3:
                apart = float(np.linalg.norm(one.frame[:, 3] - at))
                need = reach + 0.5 * math.hypot(one.pocket.width, one.pocket.height)
                raise PlugError(
                    param=f"{one.param}.panel",
                    value=one.item.panel,
                    where=one.name,
                    reason=f"its pocket meets {name}: their middles are {apart:.1f} mm apart",
                    remedy=f"set it {max(need - apart, 0.1):.1f} mm farther away, or make it smaller",
                )


def _mouth(tool: Tool) -> tuple[float, float]:
    """Return the sides of a recess at the surface."""
    mouth = tool.section(0.0)
    return mouth.width, mouth.height


def _under(item: HardPoint, layup: Layup | None) -> float:
    """Return how thick the laminate is that a hard point lies on, mm."""
    if layup is None or item.after_ply is None:
        return 0.0
    place = item.panel.partition(" ")[2] if item.panel not in layup.laminates else item.panel
    return sum(ply.thickness for ply in layup.plies[: item.after_ply] if place in ply.places)


def _local_plies(item: HardPoint, param: str, layup: Layup | None) -> tuple[LocalPly, ...]:
    """Return the plies over a hard point alone, each larger than the one before."""
    if layup is None:
        return ()
    made = []
    for i, given in enumerate(item.plies, start=1):
        cloth = material_named(given, CLOTHS, f"{param}.plies[{i - 1}]")
        content, _ = usual_content(cloth, layup.method)
        width, height = (side + 2.0 * item.overlap * i for side in (item.width, item.height))
        glass = 1e-6 * width * height * 1e-3 * cloth.weight_gsm
        made.append(
            LocalPly(
                cloth=cloth,
                width=width,
                height=height,
                thickness=ply_thickness(
                    cloth.weight_gsm, content, cloth.fibre_kg_m3, layup.resin.cured_kg_m3
                ),
                glass_kg=glass,
                resin_kg=glass * (1.0 / content - 1.0),
            )
        )
    return tuple(made)
