"""The schedule of plies as a laminator writes it, and how thick a ply gets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Final

from plugs.ground.limits import Count, OneOf, Within
from plugs.ground.records import record
from plugs.laminate.materials import Barrier, Cloth, Hardener, Resin

METHODS: Final = ("hand", "hand, awkward", "vacuum")
SPREAD_RATIO: Final = 0.15
"""Thickness by hand lies within this share of the formula's: common practice, no source."""

ISO_FIBRE_KG_M3: Final = 2560.0  # of E-glass in ISO 12215-5 (from memory)
ISO_RESIN_KG_M3: Final = 1200.0  # of polyester in ISO 12215-5 (from memory)

_CONTENT: Final = {
    "mat": (0.30, 0.25, "memory: ISO 12215-5 nominal, simple and complex surface"),
    "tissue": (0.15, 0.15, "practice: a veil is mostly resin"),
    "woven roving": (0.48, 0.36, "memory: ISO 12215-5 nominal, simple and complex surface"),
    "cloth": (0.48, 0.40, "derived: amid 0.44 to 0.52 implied by published thicknesses; awkward: practice"),
    "stitched": (0.47, 0.38, "derived: between ISO 12215-5 nominal 0.50 (memory) and 0.43 implied by a "
                 "published thickness"),
    "unidirectional": (0.55, 0.41, "memory: ISO 12215-5 nominal, simple and complex surface"),
}  # fmt: skip
_VACUUM_GAIN: Final = 0.10  # of glass by mass: amid 0.08 to 0.12 (from memory)


@record(frozen=True, slots=True, kw_only=True)
class Ply:
    """A ply of cloth.

    Attributes
    ----------
    cloth : str or Cloth
        A name of the table, or a cloth of your own.
    zone : str or sequence of str
        "all", or panels, ends, recesses and zones that it covers.
    glass_content : float or None, dimensionless
        By mass; None is usual for the cloth and the method.
    bias_deg : float, degrees
        Turn of the warp from its usual direction, anti-clockwise seen from outside.
    name : str
        For the ply sheet.
    """

    cloth: str | Cloth
    zone: str | Sequence[str] = "all"
    glass_content: Annotated[float, Within(0.1, 0.8)] | None = None
    bias_deg: Annotated[float, Within(-90.0, 90.0)] = 0.0
    name: str = ""


@record(frozen=True, slots=True, kw_only=True)
class Schedule:
    """What is laid up, from the foam outward.

    Attributes
    ----------
    plies : sequence of Ply
        The first lies on the foam.
    resin : str or Resin
        By its name, or one of your own.
    hardener : str, Hardener or None
        None is the resin's usual one.
    method : str
        "hand", "hand, awkward" (a surface hard to roll out) or "vacuum".
    barrier : str, Barrier or None
        Between foam and first ply.
    seal_kg_m2 : float or None, kg/m2
        First coat that the foam drinks; None is usual for the foam, and nothing over a barrier.
    finish_kg_m2 : float, kg/m2
        Last coat, that fills the weave.
    passes : sequence of int
        How many plies go on wet in each go; empty lets the plan decide.
    """

    plies: Annotated[Sequence[Ply], Count(0, 100)] = ()
    resin: str | Resin = "polyester"
    hardener: str | Hardener | None = None
    method: Annotated[str, OneOf(METHODS)] = "hand"
    barrier: str | Barrier | None = None
    seal_kg_m2: Annotated[float, Within(0.0, 5.0)] | None = None
    finish_kg_m2: Annotated[float, Within(0.0, 5.0)] = 0.0
    passes: Sequence[Annotated[int, Within(1.0, 100.0)]] = ()


def ply_thickness(
    weight_gsm: float,
    glass_content: float,
    fibre_kg_m3: float = ISO_FIBRE_KG_M3,
    resin_kg_m3: float = ISO_RESIN_KG_M3,
) -> float:
    """Return how thick a ply is once cured, by the rule of mixtures.

    With the densities that are the default here it is the formula of ISO 12215-5,
    t = w / 3.072 (2.56 / psi - 1.36) with w in kg/m2, since 3.072 = 2.56 x 1.20 and 1.36 = 2.56 - 1.20.

    Parameters
    ----------
    weight_gsm : float, g/m2
        Dry.
    glass_content : float, dimensionless
        By mass.
    fibre_kg_m3, resin_kg_m3 : float, kg/m3
        Cured.

    Returns
    -------
    float, mm

    References
    ----------
    ISO 12215-5 (2008, 2019), annex on laminates: the formula, from memory; the identity: algebra.
    """
    return weight_gsm * (1.0 / fibre_kg_m3 + (1.0 / glass_content - 1.0) / resin_kg_m3)


def usual_content(cloth: Cloth, method: str) -> tuple[float, str]:
    """Return how much glass by mass a cloth usually ends up with, and where the value came from.

    Parameters
    ----------
    cloth : Cloth
    method : str
        One of `METHODS`.

    Returns
    -------
    tuple of float and str, dimensionless
        0 for a peel ply.

    References
    ----------
    ISO 12215-5, nominal contents, from memory; combinations: 0.46 - 0.18 R and 0.35 - 0.11 R with the
    share R of mat. Vacuum: 0.08 to 0.12 more, from memory. The other values: see the texts returned.
    """
    if not cloth.stays:
        return 0.0, "derived: torn off again"
    is_awkward = method == "hand, awkward"
    if cloth.glass_content is not None and not is_awkward:
        content, source = cloth.glass_content, cloth.sources.get("glass_content", "recipe: of the cloth")
    elif cloth.kind == "combination":
        content = 0.35 - 0.11 * cloth.mat_ratio if is_awkward else 0.46 - 0.18 * cloth.mat_ratio
        source = "memory: ISO 12215-5 nominal for combinations"
    else:
        simple, awkward, source = _CONTENT[cloth.kind]
        content = awkward if is_awkward else simple
    if method == "vacuum":
        return content + _VACUUM_GAIN, f"{source}; and 0.08 to 0.12 more under vacuum (memory)"
    return content, source
