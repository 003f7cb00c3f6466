"""Words of hard points: what is let into the foam, or laid between plies, where something is fixed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from plugs.ground.errors import PlugError
from plugs.ground.limits import Name, OneOf, Within
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, SMALLEST_BODY
from plugs.laminate.choosing import check_material, material_named
from plugs.laminate.generic import BOARDS, FOAMS, METALS
from plugs.laminate.materials import Board, Cloth, Foam
from plugs.recesses.recess import ON_SIDES

_NEAR: Final = 1e-6  # mm. Two thicknesses that are one


@record(frozen=True, slots=True, kw_only=True)
class HardPoint:
    """A piece of board, metal plate or other foam where something is fixed to the part.

    Let into the foam it is set flush with the sanded foam and the plies go over it: a board or a foam is
    planed to the surface, a metal plate is sunk so that nothing of it stands out, and what is open over it is
    filled. Laid between plies it raises the surface by its thickness. The files of the body and of the layers
    are those before its pocket is made, which is routed after sanding by a pattern of its own.

    Attributes
    ----------
    name : str
        As the builder calls it, such as "hinge"; no two alike.
    panel : str
        A panel's name, or "front" or "rear" for an end.
    side : str or None
        Of a mirrored plug: "left", "right", or "both", as for `Recess`.
    x, across : float, mm
        On a panel: where its middle lies along the plug, and how far from the panel's middle.
    y, z : float, mm
        On an end: where its middle lies.
    width, height : float, mm
        On a panel across it and along the plug, on an end along y and z.
    corner_radius : float, mm
        Of its corners, seen from outside.
    turn_deg : float
        Turn of the outline, anti-clockwise seen from outside.
    material : str, Board or Foam
        By name, such as "plywood 12", "aluminium 3" or "pvc 75", or a record of your own; a metal plate is a
        `Board` of its density.
    thickness : float or None, mm
        Of a foam; a board has its own.
    after_ply : int or None
        None lets it into the foam; a number lays it between plies, over the ply of that number.
    bedding : float, mm
        Thickened resin under it.
    play : float, mm
        Round it in its pocket, on each side.
    bevel : float, dimensionless
        Its edge between plies: so many mm of slope for each mm of thickness; 0 is square.
    holes : sequence of 3 float, mm
        What is drilled in it: each along width and height from its middle, seen from outside, and the
        diameter.
    plies : sequence of str or Cloth
        More cloth over it alone, the first on the foam or on the piece.
    overlap : float, mm
        By which the first of these goes over its edge all round, and each of the others over the one before.
    """

    name: Name
    panel: str
    side: Annotated[str, OneOf(ON_SIDES)] | None = None
    x: float | None = None
    across: float = 0.0
    y: float = 0.0
    z: float | None = None
    width: Annotated[float, Within(SMALLEST_BODY, LARGEST)]
    height: Annotated[float, Within(SMALLEST_BODY, LARGEST)]
    corner_radius: Annotated[float, Within(0.0, LARGEST)] = 0.0
    turn_deg: Annotated[float, Within(-360.0, 360.0)] = 0.0
    material: str | Board | Foam = "plywood 12"
    thickness: Annotated[float, Within(0.3, 500.0)] | None = None
    after_ply: Annotated[int, Within(1, 100)] | None = None
    bedding: Annotated[float, Within(0.0, 5.0)] = 1.0
    play: Annotated[float, Within(0.0, 10.0)] = 1.0
    bevel: Annotated[float, Within(0.0, 20.0)] = 0.0
    holes: Sequence[tuple[float, float, Annotated[float, Within(0.5, 200.0)]]] = ()
    plies: Sequence[str | Cloth] = ()
    overlap: Annotated[float, Within(0.0, 500.0)] = 50.0

    @property
    def known_as(self) -> str:
        """Its name."""
        return self.name

    @property
    def square_to(self) -> str:
        """It lies in the plane that touches the surface at its middle."""
        return "surface"


def material_of(item: HardPoint, param: str) -> tuple[Board | Foam, float]:
    """Return what a hard point is made of, and how thick it is.

    Parameters
    ----------
    item : HardPoint
    param : str
        Where the recipe gives it, ``"hard_points[0]"``.

    Returns
    -------
    tuple of (Board or Foam) and float, mm

    Raises
    ------
    PlugError
        A name in no table, a foam without a thickness, a board that is not as thick as is said.
    """
    tables: dict[str, Board | Foam] = {**BOARDS, **METALS, **FOAMS}
    found = material_named(item.material, tables, f"{param}.material")
    check_material(found, f"{param}.material")
    if isinstance(found, Board):
        if item.thickness is not None and abs(item.thickness - found.thickness) > _NEAR:
            raise PlugError(
                param=f"{param}.thickness",
                value=item.thickness,
                reason=f"{found.name} is {found.thickness:g} mm thick",
                remedy=f"leave it out, or use {found.thickness:g}",
                would_do=[(f"{param}.thickness", found.thickness)],
            )
        return found, found.thickness
    if item.thickness is None:
        raise PlugError(
            param=f"{param}.thickness",
            value=None,
            reason=f"{found.name} comes in sheets of many thicknesses",
            remedy=f"give it, such as {2.0 * found.least_thickness:g}",
            would_do=[(f"{param}.thickness", 2.0 * found.least_thickness)],
        )
    return found, item.thickness


def check_hard_points(items: Sequence[HardPoint], n_plies: int | None) -> None:
    """Refuse words of hard points that do not go together.

    Parameters
    ----------
    items : sequence of HardPoint
    n_plies : int or None
        Of the schedule; None without one.

    Raises
    ------
    PlugError
        A name given twice; a material that there is not; a ply that there is not; a bevel in the foam; a hole
        beside the piece.
    """
    for i, item in enumerate(items):
        if any(item.name == one.name for one in items[:i]):
            raise PlugError(
                param=f"hard_points[{i}].name",
                value=item.name,
                reason="another hard point is called so",
                remedy=f'use a name of its own, such as "{item.name} {i + 1}"',
            )
        _check(item, f"hard_points[{i}]", n_plies)


def _check(item: HardPoint, param: str, n_plies: int | None) -> None:
    """Refuse words of a hard point that do not go together."""
    material_of(item, param)
    if (item.after_ply is not None or item.plies) and n_plies is None:
        word = "plies" if item.after_ply is None else "after_ply"
        raise PlugError(
            param=f"{param}.{word}",
            value=getattr(item, word),
            reason="there are no plies: the recipe has no schedule",
            remedy="leave it out, or give schedule=Schedule(plies=(...), ...) with 1 ply or more",
        )
    if item.after_ply is not None and item.after_ply > (n_plies or 0):
        raise PlugError(
            param=f"{param}.after_ply",
            value=item.after_ply,
            reason=f"the schedule has {n_plies}",
            remedy=f"use {n_plies} or less",
            would_do=[(f"{param}.after_ply", n_plies)],
        )
    if item.after_ply is None and item.bevel > 0.0:
        raise PlugError(
            param=f"{param}.bevel",
            value=item.bevel,
            reason="in the foam its edge is flush, and nothing goes over it",
            remedy="use 0, or lay it between plies by after_ply",
            would_do=[(f"{param}.bevel", 0.0)],
        )
    _check_holes(item, param)


def _check_holes(item: HardPoint, param: str) -> None:
    """Refuse a hole that is not whole within its piece."""
    for i, (along, up, diameter) in enumerate(item.holes):
        for word, at, side in (("width", along, item.width), ("height", up, item.height)):
            most = 0.5 * (side - diameter)
            if abs(at) > most:
                raise PlugError(
                    param=f"{param}.holes[{i}]",
                    value=(along, up, diameter),
                    reason=f"{abs(at) - most:.1f} mm of it lie beyond the edge",
                    remedy=f"use at most {max(most, 0.0):g} from the middle, or a {word} of "
                    f"{2.0 * abs(at) + diameter:g}",
                )
