"""The part when it is done: its mass, where that acts, and where a flat panel would give under a hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from plugs.ground.records import record
from plugs.laminate.layup import LaidPly, Layup

HAND_N: Final = 100.0  # a person leans on a panel with about 10 kg (common practice, no source)
HAND_MM: Final = 80.0  # across a palm (common practice, no source)
MOST_SAG: Final = 3.0
"""A hand's push and breadth, and the sag that people mind, mm: common practice, no source."""

_POISSON: Final = 0.3
"""Of glass laminates and of foam, roughly (from memory); 0.25 or 0.35 changes the sag by 4 %."""
_TERMS: Final = 120  # terms of either series; with these handbook values of plates are met (tests/reference)
_LONGEST_RATIO: Final = 10.0  # a longer panel bends as an endless strip does


@record(frozen=True, slots=True, kw_only=True)
class Share:
    """A share of the part's mass.

    Attributes
    ----------
    name : str
    mass_kg, spread_kg : float, kg
        And how much more or less it may be.
    centroid : tuple of 3 float, mm
    area_m2 : float, m2
        Of laminate; 0 for what has none.
    """

    name: str
    mass_kg: float
    centroid: tuple[float, float, float]
    spread_kg: float = 0.0
    area_m2: float = 0.0


@record(frozen=True, slots=True, kw_only=True)
class Part:
    """The part as a whole.

    Attributes
    ----------
    shares : tuple of Share
    mass_kg, least_kg, most_kg : float, kg
    centre : tuple of 3 float, mm
        Of gravity.
    area_m2 : float, m2
        Of laminate.
    """

    shares: tuple[Share, ...]
    mass_kg: float
    least_kg: float
    most_kg: float
    centre: tuple[float, float, float]
    area_m2: float


@record(frozen=True, slots=True, kw_only=True)
class FlatPanel:
    """A large and nearly flat rectangle of the part, held along its edges.

    Attributes
    ----------
    place : str
    length, width : float, mm
    crown : float, mm
        Rise of its middle over its edges.
    """

    place: str
    length: float
    width: float
    crown: float = 0.0


@record(frozen=True, slots=True, kw_only=True)
class Sag:
    """How far a flat panel gives under a hand: an estimate.

    Attributes
    ----------
    panel : FlatPanel
    thickness : float, mm
    load_n : float, N
    sag : float, mm
    least_thickness : float, mm
        With which it would give no more than the limit.
    """

    panel: FlatPanel
    thickness: float
    load_n: float
    sag: float
    least_thickness: float


def weigh(shares: Sequence[Share]) -> Part:
    """Return the part's mass and centre of gravity.

    Parameters
    ----------
    shares : sequence of Share

    Returns
    -------
    Part
        With its centre at the origin when it weighs nothing.
    """
    mass = sum(s.mass_kg for s in shares)
    spread = sum(s.spread_kg for s in shares)
    x, y, z = (
        sum(s.mass_kg * s.centroid[axis] for s in shares) / mass if mass > 0.0 else 0.0 for axis in range(3)
    )
    return Part(
        shares=tuple(shares),
        mass_kg=mass,
        least_kg=max(0.0, mass - spread),
        most_kg=mass + spread,
        centre=(x, y, z),
        area_m2=sum(s.area_m2 for s in shares),
    )


def laminate_shares(
    layup: Layup, surfaces: Sequence[tuple[str, float, tuple[float, float, float], str]], foam_stays: bool
) -> tuple[Share, ...]:
    """Return the laminate's shares of the mass.

    Parameters
    ----------
    layup : Layup
    surfaces : sequence of tuple of str, float, tuple of 3 float and str, m2 and mm
        Each place, its area, the middle of its surface, and what tells it from others of the same place:
        "side port" of "side".
    foam_stays : bool
        With it stays what it drank, and the barrier.

    Returns
    -------
    tuple of Share
        Bare places left out.
    """
    under = layup.seal_kg_m2 + (layup.barrier.spread_kg_m2 if layup.barrier is not None else 0.0)
    found = []
    for place, area_m2, centroid, name in surfaces:
        over = layup.laminates[place]
        if over.plies:
            kg_m2 = over.mass_kg_m2 + (under if foam_stays else 0.0)
            spread = area_m2 * over.mass_spread_kg_m2
            found.append(
                Share(
                    name=name,
                    mass_kg=area_m2 * kg_m2,
                    centroid=centroid,
                    spread_kg=spread,
                    area_m2=area_m2,
                )
            )
    return tuple(found)


def foam_share(layup: Layup, volume_m3: float, centroid: tuple[float, float, float]) -> Share:
    """Return the mass of the foam that stays in the part.

    Parameters
    ----------
    layup : Layup
    volume_m3 : float, m3
    centroid : tuple of 3 float, mm

    Returns
    -------
    Share
    """
    return Share(name=layup.foam.name, mass_kg=volume_m3 * layup.foam.density_kg_m3, centroid=centroid)


def sag_under_hand(
    layup: Layup, panel: FlatPanel, load_n: float = HAND_N, hand: float = HAND_MM
) -> Sag | None:
    """Return how far a flat panel gives under a hand in its middle, by thin-plate theory: an estimate.

    The plate is a simply supported rectangle; edges that are held stiffly, a crown, and a sag of more than
    half the thickness all make it stiffer than that.

    Parameters
    ----------
    layup : Layup
    panel : FlatPanel
    load_n : float, N
    hand : float, mm
        Side of the square under the hand.

    Returns
    -------
    Sag or None
        None where there is no laminate.

    References
    ----------
    w = alpha P a2 / D with D = E t3 / 12 (1 - nu2): Timoshenko and Woinowsky-Krieger, *Theory of Plates and
    Shells*, from memory. Poisson's ratio 0.3: common practice.
    """
    over = layup.laminates[panel.place]
    modulus = _modulus(layup, panel.place)
    if not over.thickness > 0.0 or not modulus > 0.0:
        return None
    short, long = sorted((panel.length, panel.width))
    stiffness = modulus * over.thickness**3 / (12.0 * (1.0 - _POISSON**2))
    alpha = plate_coefficient(long / short, min(1.0, hand / short))
    sag = alpha * load_n * short**2 / stiffness
    return Sag(
        panel=panel,
        thickness=over.thickness,
        load_n=load_n,
        sag=sag,
        least_thickness=over.thickness * (sag / MOST_SAG) ** (1.0 / 3.0),
    )


def plate_coefficient(long_ratio: float, patch_ratio: float = 0.0) -> float:
    """Return alpha in w = alpha P a2 / D, for a load in the middle of a simply supported rectangle.

    Parameters
    ----------
    long_ratio : float, dimensionless
        Long side over short side a, from 1; over 10 it counts as 10.
    patch_ratio : float, dimensionless
        Side of the square that the load lies on, over the short side; 0 is a point.

    Returns
    -------
    float, dimensionless

    References
    ----------
    Navier's double series, Timoshenko and Woinowsky-Krieger, *Theory of Plates and Shells*, from memory;
    the table of the same book for a point load is held in the tests.
    """
    ratio = min(long_ratio, _LONGEST_RATIO)
    m = np.arange(1, 2 * _TERMS, 2, dtype=np.float64)
    n = np.arange(1, 2 * math.ceil(ratio) * _TERMS, 2, dtype=np.float64)
    along = np.sinc(0.5 * m * patch_ratio)
    across = np.sinc(0.5 * n * patch_ratio / ratio)
    terms = np.outer(along, across) / (m[:, None] ** 2 + (n[None, :] / ratio) ** 2) ** 2
    return float(4.0 / (math.pi**4 * ratio) * terms.sum())


def ply_modulus(ply: LaidPly) -> float:
    """Return the stiffness of a ply in its plane, on the low side.

    Returns
    -------
    float, MPa
        0 for a peel ply.

    References
    ----------
    Mat: 1000 (15 psi + 2), woven along its threads: 1000 (30 psi - 0.5), psi being the glass content by
    mass: rules of classification societies for glass laminates, from memory. Other plies, and woven ones
    on the bias, are taken as mat: common practice, no source.
    """
    if not ply.cloth.stays:
        return 0.0
    is_along = min(abs(ply.bias_deg), 90.0 - abs(ply.bias_deg)) <= 10.0
    if ply.cloth.kind in ("woven roving", "cloth") and is_along:
        return 1000.0 * (30.0 * ply.glass_content - 0.5)
    return 1000.0 * (15.0 * ply.glass_content + 2.0)


def _modulus(layup: Layup, place: str) -> float:
    """Return the stiffness of the plies over a place, by thickness, MPa."""
    here = [ply for ply in layup.plies if ply.number in layup.laminates[place].plies]
    thick = sum(ply.thickness for ply in here)
    return sum(ply.thickness * ply_modulus(ply) for ply in here) / thick if thick else 0.0
