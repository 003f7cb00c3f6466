"""A schedule over the places of a part: what lies over each panel, end and recess, how thick and heavy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import BARRIERS, CLOTHS, FOAMS, HARDENERS, RESINS
from plugs.laminate.materials import Barrier, Cloth, Foam, Hardener, Resin
from plugs.laminate.plies import SPREAD_RATIO, Ply, Schedule, ply_thickness, usual_content
from plugs.skin.skin import Skin
from plugs.tables.csv_in import closest


@record(frozen=True, slots=True, kw_only=True)
class LaidPly:
    """A ply with its figures, per m2.

    Attributes
    ----------
    number : int
        From the foam outward, from 1.
    name : str
    cloth : Cloth
    bias_deg : float, degrees
    places : tuple of str
        What it covers.
    glass_content : float, dimensionless
        By mass; 0 for a peel ply.
    content_source : str
    thickness : float, mm
    glass_kg_m2, resin_kg_m2 : float, kg/m2
        Of a peel ply no glass, and the resin that is torn off with it.
    """

    number: int
    name: str
    cloth: Cloth
    bias_deg: float
    places: tuple[str, ...]
    glass_content: float
    content_source: str
    thickness: float
    glass_kg_m2: float
    resin_kg_m2: float


@record(frozen=True, slots=True, kw_only=True)
class Laminate:
    """What lies over a place when all is cured, peel plies torn off.

    Attributes
    ----------
    place : str
    plies : tuple of int
        Numbers of the plies that stay.
    thickness, spread : float, mm
        By the formula, and how much more or less it may be.
    glass_kg_m2, resin_kg_m2, mass_kg_m2, mass_spread_kg_m2 : float, kg/m2
        Hardener of a fixed ratio counts as resin; the spread is resin that makes it thicker or thinner.
    """

    place: str
    plies: tuple[int, ...]
    thickness: float
    spread: float
    glass_kg_m2: float
    resin_kg_m2: float
    mass_kg_m2: float
    mass_spread_kg_m2: float


@record(frozen=True, slots=True, kw_only=True)
class Layup:
    """A schedule over the places of a part, checked and worked out.

    Attributes
    ----------
    plies : tuple of LaidPly
    laminates : mapping of str to Laminate
        By place, bare ones too.
    resin : Resin
    hardener : Hardener
    barrier : Barrier or None
    foam : Foam
    method : str
    seal_kg_m2, finish_kg_m2 : float, kg/m2
    bare : tuple of str
        Places that stay without.
    passes : tuple of int
        As the recipe has them; empty lets the plan decide.
    """

    plies: tuple[LaidPly, ...]
    laminates: Mapping[str, Laminate]
    resin: Resin
    hardener: Hardener
    barrier: Barrier | None
    foam: Foam
    method: str
    seal_kg_m2: float
    finish_kg_m2: float
    bare: tuple[str, ...]
    passes: tuple[int, ...]

    @property
    def covered(self) -> tuple[str, ...]:
        """The places that are not bare."""
        return tuple(place for place in self.laminates if place not in self.bare)


def lay_up(
    schedule: Schedule,
    places: Sequence[str],
    *,
    foam: str | Foam = "xps 35",
    bare: Sequence[str] = (),
    zones: Mapping[str, Sequence[str]] | None = None,
) -> Layup:
    """Return a schedule worked out over the places of a part.

    Parameters
    ----------
    schedule : Schedule
    places : sequence of str
        Panels, ends, recesses and flanges that there are, bare ones too.
    foam : str or Foam
    bare : sequence of str
        Places over which nothing is laid.
    zones : mapping of str to sequence of str or None
        Places by the name of a zone that holds several.

    Returns
    -------
    Layup

    Raises
    ------
    PlugError
        A cloth, resin, place or value that there is not.
    """
    resin = material_named(schedule.resin, RESINS, "schedule.resin")
    kind = material_named(foam, FOAMS, "foam")
    covered = [place for place in places if place not in bare]
    plies = tuple(
        _laid(ply, i, resin, schedule.method, covered, places, zones or {})
        for i, ply in enumerate(schedule.plies)
    )
    usual_seal = kind.seal_kg_m2 if schedule.barrier is None else 0.0
    seal = usual_seal if schedule.seal_kg_m2 is None else schedule.seal_kg_m2
    finish = schedule.finish_kg_m2
    return Layup(
        plies=plies,
        laminates={place: _laminate(place, plies, resin, finish, place in bare) for place in places},
        resin=resin,
        hardener=_hardener(schedule, resin),
        barrier=None
        if schedule.barrier is None
        else material_named(schedule.barrier, BARRIERS, "schedule.barrier"),
        foam=kind,
        method=schedule.method,
        seal_kg_m2=seal,
        finish_kg_m2=finish,
        bare=tuple(place for place in places if place in bare),
        passes=tuple(schedule.passes),
    )


def skin_of(layup: Layup, panels_and_ends: Sequence[str], filler: float = 0.0) -> Skin:
    """Return the skin that a schedule makes, for the foam's surface to be set back by.

    Parameters
    ----------
    layup : Layup
    panels_and_ends : sequence of str
        The places that a skin is told by: panels, "front" and "rear".
    filler : float, mm
        Filler and paint over the laminate.

    Returns
    -------
    Skin
        Its thickness is that of the covered places that are most alike; others stand in ``by_panel``.
    """
    over = {p: layup.laminates[p].thickness for p in panels_and_ends if p in layup.covered}
    counts: dict[float, int] = {}
    for thickness in over.values():
        counts[thickness] = counts.get(thickness, 0) + 1
    usual = max(counts, key=lambda t: (counts[t], t), default=0.0)
    return Skin(
        thickness=usual,
        filler=filler,
        by_panel={place: thickness for place, thickness in over.items() if thickness != usual},
        no_laminate=tuple(p for p in layup.bare if p in panels_and_ends),
    )


def _hardener(schedule: Schedule, resin: Resin) -> Hardener:
    """Return the hardener, or refuse one that does not set this kind of resin."""
    kind = "peroxide" if resin.hardens_by == "percent" else "amine"
    usual = resin.hardener or ("mekp" if kind == "peroxide" else "amine")
    hardener = material_named(
        usual if schedule.hardener is None else schedule.hardener, HARDENERS, "schedule.hardener"
    )
    if hardener.kind != kind:
        fitting = [h.name for h in HARDENERS.values() if h.kind == kind]
        raise PlugError(
            param="schedule.hardener",
            value=hardener.name,
            reason=f"{resin.name} sets with a hardener of the kind {kind!r}, this is {hardener.kind!r}",
            remedy=f"use {', '.join(fitting)}, or leave it out",
        )
    return hardener


def _laid(
    ply: Ply,
    i: int,
    resin: Resin,
    method: str,
    covered: Sequence[str],
    places: Sequence[str],
    zones: Mapping[str, Sequence[str]],
) -> LaidPly:
    """Return a ply of the schedule with its figures."""
    param = f"schedule.plies[{i}]"
    cloth = material_named(ply.cloth, CLOTHS, f"{param}.cloth")
    content, source = usual_content(cloth, method)
    if ply.glass_content is not None and cloth.stays:
        content = ply.glass_content
        source = "recipe: of the ply"
    weight = 1e-3 * cloth.weight_gsm if cloth.stays else 0.0
    return LaidPly(
        number=i + 1,
        name=ply.name or f"ply {i + 1}",
        cloth=cloth,
        bias_deg=ply.bias_deg,
        places=_places_of(ply.zone, f"{param}.zone", covered, places, zones),
        glass_content=content,
        content_source=source,
        thickness=ply_thickness(1e3 * weight, content, cloth.fibre_kg_m3, resin.cured_kg_m3)
        if cloth.stays
        else 0.0,
        glass_kg_m2=weight,
        resin_kg_m2=weight * (1.0 / content - 1.0) if cloth.stays else cloth.resin_uptake_kg_m2,
    )


def _places_of(
    zone: str | Sequence[str],
    param: str,
    covered: Sequence[str],
    places: Sequence[str],
    zones: Mapping[str, Sequence[str]],
) -> tuple[str, ...]:
    """Return the places that a ply covers, in the part's order."""
    if zone == "all":
        return tuple(covered)
    named: list[str] = []
    words = (zone,) if isinstance(zone, str) else zone
    for word in words:
        if word in places:
            named.append(word)
        elif word in zones:
            named += zones[word]
        else:
            known = ("all", *zones, *places)
            raise PlugError(
                param=param,
                value=word,
                reason="there is no such panel, end, recess or zone",
                remedy=f"use one of: {closest(word, list(dict.fromkeys(known)))}",
            )
        if word in places and word not in covered:
            raise PlugError(
                param=param,
                value=word,
                reason="the skin leaves this place bare",
                remedy=f"take {word!r} out of bare, or use one of: {', '.join(covered)}",
            )
    return tuple(place for place in covered if place in named)


def _laminate(place: str, plies: Sequence[LaidPly], resin: Resin, finish: float, is_bare: bool) -> Laminate:
    """Return what lies over a place."""
    here = [ply for ply in plies if place in ply.places and ply.cloth.stays]
    last = finish if here and not is_bare else 0.0
    glass = sum(ply.glass_kg_m2 for ply in here)
    wet = sum(ply.resin_kg_m2 for ply in here) + last
    thickness = sum(ply.thickness for ply in here) + 1e3 * last / resin.cured_kg_m3
    spread = SPREAD_RATIO * thickness
    return Laminate(
        place=place,
        plies=tuple(ply.number for ply in here),
        thickness=thickness,
        spread=spread,
        glass_kg_m2=glass,
        resin_kg_m2=wet,
        mass_kg_m2=glass + wet,
        mass_spread_kg_m2=1e-3 * spread * resin.cured_kg_m3,
    )
