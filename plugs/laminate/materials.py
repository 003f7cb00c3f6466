"""Materials of a part as records: each value with where it came from, and the packs it is sold in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Annotated, Final, TypeVar

from plugs.ground.limits import Count, Letters, Name, OneOf, Within
from plugs.ground.records import record

LABELS: Final = ("recipe", "practice", "memory", "derived", "secondary", "confirmed", "sheet")
"""How sure a value is, the least sure first: "recipe" is the user's own word, "practice" is common practice
without a source, "memory" was not looked up again, "derived" was computed from a named source, "secondary"
was read in a trade page or encyclopaedia, "confirmed" in a primary text, "sheet" on the user's own sheet."""

_SAID: Final = {
    "recipe": "your own", "practice": "shop practice", "memory": "from memory", "derived": "worked out",
    "secondary": "trade page", "confirmed": "standard", "sheet": "your data sheet",
}  # fmt: skip


def source_words(source: str) -> str:
    """Return where a value comes from, as a builder reads it.

    Parameters
    ----------
    source : str
        A label of `LABELS`, a colon, and more about it: "practice: roving over an edge".

    Returns
    -------
    str
        "shop practice: roving over an edge".
    """
    label, colon, more = source.partition(":")
    return f"{_SAID.get(label, label)}{colon}{more}"


CLOTH_KINDS: Final = (
    "mat", "woven roving", "cloth", "stitched", "unidirectional", "combination", "tissue", "peel ply",
)  # fmt: skip
FOAM_KINDS: Final = ("polystyrene", "polyurethane", "pvc", "other")
RESIN_KINDS: Final = ("polyester", "vinylester", "epoxy")

Density = Annotated[float, Within(5.0, 9000.0)]
Percent = Annotated[float, Within(1e-3, 4.0)]
Parts = Annotated[float, Within(1e-3, 1000.0)]
Packs = Annotated[
    Mapping[Annotated[float, Within(1e-3, 1e5)], Annotated[float, Within(0.0, 1e9)] | None], Count(1, 50)
]
Sources = Mapping[str, Annotated[str, Letters(0, 500)]]


@record(frozen=True, slots=True, kw_only=True)
class Foam:
    """A foam, sold by the sheet.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    kind : str
        "polystyrene", "polyurethane" (PIR too), "pvc" or "other".
    density_kg_m3 : float, kg/m3
        Of the foam, for weight and price.
    service_c : float or None, degrees C
        The warmest that it stands for long; None when only the data sheet knows.
    hot_wire : str
        "yes" (with extraction), "never", or "sheet": only the data sheet knows.
    dissolved_by : sequence of str
        Kinds of resin that eat it.
    seal_kg_m2 : float, kg/m2
        Resin that its cut cells drink before the first ply.
    least_thickness : float, mm
        Of what can be handled, and stands behind a recess.
    packs : mapping of float to float or None, sheets to currency units
        Price of so many sheets; None where it is not known.
    sources : mapping of str to str
        By field: a label, a colon, and where the value came from.
    """

    name: Name
    kind: Annotated[str, OneOf(FOAM_KINDS)]
    density_kg_m3: Density
    service_c: Annotated[float, Within(30.0, 400.0)] | None = None
    hot_wire: Annotated[str, OneOf(("yes", "never", "sheet"))] = "sheet"
    dissolved_by: Sequence[str] = ()
    seal_kg_m2: Annotated[float, Within(0.0, 5.0)] = 0.2
    least_thickness: Annotated[float, Within(0.5, 200.0)] = 12.0
    packs: Packs = field(default_factory=lambda: {1.0: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Cloth:
    """A reinforcement, or a peel ply, sold by the metre of roll.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    kind : str
        "mat", "woven roving", "cloth", "stitched", "unidirectional", "combination", "tissue" or
        "peel ply" (which is torn off again).
    weight_gsm : float, g/m2
        Dry. `oz_per_yd2` and `oz_per_ft2` turn ounces into it.
    weave : str
        For the ply sheet: "plain", "twill", "satin".
    roll_width : float, mm
        Of the roll.
    mat_ratio : float, dimensionless
        Of a combination: share of its mass that is mat.
    glass_content : float or None, dimensionless
        By mass, by hand; None is usual for its kind.
    fibre_kg_m3 : float, kg/m3
        Density of the fibre: glass, where nothing else is said.
    locking_deg : float or None, degrees
        Shear at which the weave locks; None is the usual limit.
    resin_uptake_kg_m2 : float, kg/m2
        Of a peel ply: resin torn off with it.
    packs : mapping of float to float or None, m to currency units
        Price of so many metres of roll.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    kind: Annotated[str, OneOf(CLOTH_KINDS)]
    weight_gsm: Annotated[float, Within(5.0, 3000.0)]
    weave: str = ""
    roll_width: Annotated[float, Within(10.0, 5000.0)] = 1000.0
    mat_ratio: Annotated[float, Within(0.0, 1.0)] = 0.0
    glass_content: Annotated[float, Within(0.1, 0.8)] | None = None
    fibre_kg_m3: Annotated[float, Within(900.0, 9000.0)] = 2560.0
    locking_deg: Annotated[float, Within(5.0, 89.0)] | None = None
    resin_uptake_kg_m2: Annotated[float, Within(0.0, 2.0)] = 0.1
    packs: Packs = field(default_factory=lambda: {1.0: None})
    sources: Sources = field(default_factory=dict)

    @property
    def stays(self) -> bool:
        """Whether it is in the part when that is done."""
        return self.kind != "peel ply"


@record(frozen=True, slots=True, kw_only=True)
class Resin:
    """A resin, sold by the kg.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    kind : str
        "polyester", "vinylester" or "epoxy".
    density_kg_m3, cured_kg_m3 : float, kg/m3
        Liquid and cured.
    hardens_by : str
        "percent" (a catalyst, by temperature) or "ratio" (a fixed ratio, never varied).
    percent_range : tuple of 2 float, percent
        Least and most hardener by mass; no dose outside is ever given.
    doses : mapping of float to float, degrees C to percent
        The data sheet's table: hardener by mass for a shop temperature.
    ratio_by_mass, ratio_by_volume : tuple of 2 float or None, dimensionless
        Parts of resin and of hardener, as the data sheet has them.
    hardener : str
        The usual one; empty is "mekp" for a percentage and "amine" for a ratio.
    pot_life_min : float or None, minutes
        In the pot, at ``pot_life_c``; None when only the data sheet knows.
    pot_life_c : float, degrees C
        Temperature at which the pot life was measured.
    largest_batch_kg : float, kg
        Resin and hardener in one pot.
    wet_limit : float, mm
        Laminate that may be laid wet in one go.
    least_c : float, degrees C
        Coldest shop.
    peak_c : float or None, degrees C
        How warm a laminate of it gets; None when only the data sheet knows.
    packs : mapping of float to float or None, kg to currency units
        Price of so many kg.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    kind: Annotated[str, OneOf(RESIN_KINDS)]
    density_kg_m3: Density
    cured_kg_m3: Annotated[float, Within(800.0, 2500.0)]
    hardens_by: Annotated[str, OneOf(("percent", "ratio"))]
    percent_range: tuple[Percent, Percent] = (1.0, 2.0)
    doses: Mapping[Annotated[float, Within(-10.0, 60.0)], Percent] = field(default_factory=dict)
    ratio_by_mass: tuple[Parts, Parts] | None = None
    ratio_by_volume: tuple[Parts, Parts] | None = None
    hardener: str = ""
    pot_life_min: Annotated[float, Within(1.0, 600.0)] | None = None
    pot_life_c: Annotated[float, Within(0.0, 50.0)] = 20.0
    largest_batch_kg: Annotated[float, Within(0.02, 50.0)] = 0.5
    wet_limit: Annotated[float, Within(0.1, 50.0)] = 3.0
    least_c: Annotated[float, Within(0.0, 40.0)] = 18.0
    peak_c: Annotated[float, Within(20.0, 300.0)] | None = None
    packs: Packs = field(default_factory=lambda: {1.0: None, 5.0: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Hardener:
    """What makes a resin set, sold by the kg.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    kind : str
        "peroxide" or "amine".
    density_kg_m3 : float, kg/m3
        Of the liquid.
    packs : mapping of float to float or None, kg to currency units
        Price of so many kg.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    kind: Annotated[str, OneOf(("peroxide", "amine"))]
    density_kg_m3: Density
    packs: Packs = field(default_factory=lambda: {0.1: None, 0.5: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Adhesive:
    """What joins the foam, sold by the kg.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    spread_kg_m2 : float, kg/m2
        Between two layers.
    dissolves : sequence of str
        Kinds of foam that it eats.
    packs : mapping of float to float or None, kg to currency units
        Price of so many kg.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    spread_kg_m2: Annotated[float, Within(0.0, 5.0)]
    dissolves: Sequence[str] = ()
    packs: Packs = field(default_factory=lambda: {0.5: None, 1.0: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Filler:
    """What fills hollows and inside corners, sold by the kg.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    density_kg_m3 : float, kg/m3
        Of what is cured.
    dissolves : sequence of str
        Kinds of foam that it eats.
    packs : mapping of float to float or None, kg to currency units
        Price of so many kg.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    density_kg_m3: Density
    dissolves: Sequence[str] = ()
    packs: Packs = field(default_factory=lambda: {1.0: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Board:
    """Plywood, fibreboard or card for templates and the base, sold by the sheet.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    thickness, width, height : float, mm
        Of a sheet of it.
    density_kg_m3 : float, kg/m3
        Of the board.
    packs : mapping of float to float or None, sheets to currency units
        Price of so many sheets.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    thickness: Annotated[float, Within(0.1, 200.0)]
    density_kg_m3: Density
    width: Annotated[float, Within(10.0, 10_000.0)] = 2440.0
    height: Annotated[float, Within(10.0, 10_000.0)] = 1220.0
    packs: Packs = field(default_factory=lambda: {1.0: None})
    sources: Sources = field(default_factory=dict)


@record(frozen=True, slots=True, kw_only=True)
class Barrier:
    """What keeps a resin off foam that it would dissolve, sold by the kg.

    Attributes
    ----------
    name : str
        As drawings and lists call it.
    spread_kg_m2 : float, kg/m2
        All coats together.
    stops : sequence of str
        Kinds of resin that it keeps off when it is whole.
    packs : mapping of float to float or None, kg to currency units
        Price of so many kg.
    sources : mapping of str to str
        Where a value comes from, by its word.
    """

    name: Name
    spread_kg_m2: Annotated[float, Within(0.0, 5.0)]
    stops: Sequence[str] = ("polyester", "vinylester")
    packs: Packs = field(default_factory=lambda: {1.0: None})
    sources: Sources = field(default_factory=dict)


Material = Foam | Cloth | Resin | Hardener | Adhesive | Filler | Board | Barrier
M = TypeVar("M", bound=Material)
