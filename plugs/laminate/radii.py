"""How round an edge must be for the cloth that goes over it, and the fillets that inside corners need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.ground.records import record
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Cloth

_BIAS_DEG: Final = 15.0
"""Cloth laid within this of 45 degrees takes an edge as on the bias (common practice, no source)."""
_LIGHT_GSM: Final = 210.0  # 6 oz cloth, 203 g/m2, and a little (common practice, no source)
_MIDDLE_GSM: Final = 345.0  # 10 oz cloth, 339 g/m2, and a little (common practice, no source)
_CROSSED: Final = 1.5  # times the bias's radius, where fibres cross the edge (common practice, no source)


@record(frozen=True, slots=True, kw_only=True)
class ClothEdge:
    """An edge or an inside corner of the foam that cloth goes over.

    Attributes
    ----------
    place : str
        For people: "edge between deck and side", "floor of the recess 'number plate'".
    radius : float, mm
        Of the foam, the least along the edge.
    is_inside : bool
        A corner that cloth is pressed into.
    length : float, mm
    between : tuple of str
        The two places that meet there.
    angle_deg : float, degrees
        Between the two, through the foam for an edge and through the air for an inside corner.
    across_deg : float, degrees
        Direction of the edge against the part's length: 0 along, 90 across.
    is_drawn : bool
        Whether the recipe can draw a blend there; False for the mouth of a recess, which is rounded by hand.
    lost : float or None, mm
        By how much the foam's radius is less than the one drawn, at most; negative where it is larger. None
        where that is not known beyond the skin's thickness.
    most : float, mm
        The largest radius that can be drawn there.
    """

    place: str
    radius: float
    is_inside: bool
    length: float
    between: tuple[str, str]
    angle_deg: float = 90.0
    across_deg: float = 0.0
    is_drawn: bool = True
    lost: float | None = None
    most: float = math.inf


@record(frozen=True, slots=True, kw_only=True)
class EdgeVerdict:
    """What the cloth needs at an edge.

    Attributes
    ----------
    edge : ClothEdge
    least_radius : float, mm
        0 where no ply goes over it.
    cloth : str
        The ply's cloth that needs it.
    source : str
    is_tight : bool
    fillet_mm3 : float, mm3
        Filler that makes a tight inside corner round enough.
    """

    edge: ClothEdge
    least_radius: float
    cloth: str
    source: str
    is_tight: bool
    fillet_mm3: float


def least_radius(cloth: Cloth, is_inside: bool, angle_to_edge_deg: float = 90.0) -> tuple[float, str]:
    """Return the least radius that a cloth lies down on, and where the value came from.

    Parameters
    ----------
    angle_to_edge_deg : float, degrees
        Between the warp and the edge; within 15 of 45 the cloth lies on the bias.

    Returns
    -------
    tuple of float and str, mm

    References
    ----------
    Outside edges: 3 mm for about 200 g/m2 on the bias, 12.7 mm for mat: pages of builders of aircraft and
    boats, secondary. Others, and all inside radii: common practice, no source; that an inside corner needs
    a fillet: the same pages.
    """
    weight = cloth.weight_gsm
    is_heavy = cloth.kind in ("mat", "woven roving", "combination")
    if is_inside:
        if is_heavy:
            radius = float(np.interp(weight, [300.0, 800.0], [10.0, 20.0]))
        else:
            radius = 6.0 if weight <= _LIGHT_GSM else 8.0 if weight <= _MIDDLE_GSM else 10.0
        return radius, "practice: inside corners"
    if cloth.kind == "mat":
        return 12.7, "secondary: a builder's page, mat over an edge"
    if is_heavy:
        return 10.0, "practice: roving over an edge"
    if cloth.kind in ("tissue", "peel ply") or weight <= _LIGHT_GSM:
        turn = abs((angle_to_edge_deg + 90.0) % 180.0 - 90.0)
        if abs(turn - 45.0) <= _BIAS_DEG:
            return 3.0, "secondary: builders' pages, about 200 g/m2 on the bias over an edge"
        return 3.0 * _CROSSED, "practice: larger than the 3 mm of the bias where fibres cross the edge"
    return (
        (6.0, "practice: 300 g/m2 over an edge") if weight <= _MIDDLE_GSM else (10.0, "practice: heavy cloth")
    )


def judge_edges(layup: Layup, edges: Sequence[ClothEdge]) -> tuple[EdgeVerdict, ...]:
    """Return for each edge whether the heaviest ply that goes round it lies down there.

    Parameters
    ----------
    layup : Layup
    edges : sequence of ClothEdge

    Returns
    -------
    tuple of EdgeVerdict
        In the order given. A ply goes round an edge when it covers both places that meet there.
    """
    return tuple(_verdict(layup, edge) for edge in edges)


def fillet_mm2(radius: float, angle_deg: float = 90.0) -> float:
    """Return the section of a fillet in an inside corner.

    Parameters
    ----------
    radius : float, mm
    angle_deg : float, degrees
        Between the walls, through the air.

    Returns
    -------
    float, mm2

    References
    ----------
    Two right triangles less a sector: r2 (cot(a/2) - (pi - a)/2); (1 - pi/4) r2 in a right angle. Geometry.
    """
    half = 0.5 * math.radians(angle_deg)
    return radius**2 * (1.0 / math.tan(half) - (0.5 * math.pi - half))


def _verdict(layup: Layup, edge: ClothEdge) -> EdgeVerdict:
    """Return what the cloth needs at an edge."""
    needs = [
        (*least_radius(ply.cloth, edge.is_inside, ply.bias_deg - edge.across_deg), ply.cloth.name)
        for ply in layup.plies
        if set(edge.between) <= set(ply.places)
    ]
    radius, source, cloth = max(needs, default=(0.0, "", ""))
    is_tight = edge.radius < radius - 1e-9
    fillet = 0.0
    if is_tight and edge.is_inside:
        more = fillet_mm2(radius, edge.angle_deg) - fillet_mm2(edge.radius, edge.angle_deg)
        fillet = more * edge.length
    return EdgeVerdict(
        edge=edge, least_radius=radius, cloth=cloth, source=source, is_tight=is_tight, fillet_mm3=fillet
    )
