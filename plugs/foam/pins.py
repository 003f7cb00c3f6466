"""Pins that locate layers on one another: inside the margin, spread wide, and in one way only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Annotated, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.foam.glue import Contact, Glue
from plugs.foam.pieces import Joint
from plugs.foam.pin_cover import PinCover, too_near
from plugs.foam.pin_patterns import is_keyed
from plugs.foam.pin_places import (
    LEAST_TO_A_JOINT,
    LEAST_TO_A_PIECE,
    Parts,
    PinPlaces,
    chosen,
    gaps,
    inset,
    places_in,
)
from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.ground.limits import Within
from plugs.ground.records import record

Array = NDArray[np.float64]
Pieces = Mapping[str, Sequence[shapely.Polygon]]

APART_RATIO: Final = 4.0
"""Pins nearer than so many diameters do not locate (common practice, no source)."""

BESIDE_A_JOINT: Final = 2.0
"""Diameters of foam that a pin should have beside the edge of a piece, or it breaks out there (common
practice, no source)."""

NO_PIECES: Final[Pieces] = MappingProxyType({})
NO_KEEP_OUTS: Final[Mapping[str, shapely.Geometry]] = MappingProxyType({})

_END_TO_END: Final = 0.45
"""Of a layer's thickness: deeper pins from both faces would meet end to end, or nearly."""
_SPARE: Final = 0.01  # mm. Room for rounding
_THINNEST_PIN: Final = 0.5  # mm. A thinner pin bends in foam (common practice, no source)


@record(frozen=True, slots=True, kw_only=True)
class Pins:
    """The pins that hold layers in place while the glue sets.

    Attributes
    ----------
    diameter : float, mm
        A 6 mm dowel (common practice, no source).
    clearance : float, mm
        Foam left round a pin and beyond its ends: to the glue's margin, a recess, a joint, another pin.
        Beside a joint two diameters are left where there is room.
    depth_ratio : float, dimensionless
        How deep a pin goes into either layer, of the foam there. Over 0.5 the pins of one joint pass
        those of the next.
    """

    diameter: Annotated[float, Within(_THINNEST_PIN, 100.0)] = 6.0
    clearance: Annotated[float, Within(0.0, 200.0)] = 3.0
    depth_ratio: Annotated[float, Within(0.05, 0.9)] = 0.4

    @property
    def around(self) -> float:
        """From a pin's axis to where its clearance ends, mm."""
        return 0.5 * self.diameter + self.clearance

    @property
    def beside_a_joint(self) -> float:
        """From a pin's axis to the edge of a piece where there is room, mm."""
        return 0.5 * self.diameter + max(self.clearance, BESIDE_A_JOINT * self.diameter)


@record(frozen=True, slots=True, kw_only=True)
class Pin:
    """One pin, through two layers.

    Attributes
    ----------
    name : str
        "P3-1" is the first of contact 3; it stands on both faces.
    at : tuple of 2 float, mm
        In the axes of `plugs.mesh.mesh.PLANES`.
    lower_depth, upper_depth : float, mm
        How far it goes into the layer before the joint and into the one behind, along the axis.
    between : float, mm
        What it passes between them, such as a template.
    lower_piece, upper_piece : int
        Number of the piece, from 0, in either layer.
    """

    name: str
    at: tuple[float, float]
    lower_depth: float
    upper_depth: float
    between: float
    lower_piece: int
    upper_piece: int

    @property
    def length(self) -> float:
        """Length of the pin, mm."""
        return self.lower_depth + self.between + self.upper_depth


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Pinned:
    """A contact with its pins.

    Attributes
    ----------
    contact : Contact
    diameter : float, mm
    pins : tuple of Pin
        In the order of their places: the first axis of the plane first.
    is_keyed : bool
        Whether the layers go together in one way only.
    """

    contact: Contact
    diameter: float
    pins: tuple[Pin, ...]
    is_keyed: bool

    @property
    def places(self) -> Array:
        """Where the pins stand, (n, 2), mm."""
        return np.array([pin.at for pin in self.pins], dtype=np.float64).reshape(-1, 2)


def make_pins(
    contacts: Sequence[Contact],
    pins: Pins,
    standing: Sequence[PinCover],
    *,
    pieces: Pieces = NO_PIECES,
    keep_outs: Mapping[str, shapely.Geometry] = NO_KEEP_OUTS,
) -> tuple[tuple[Pinned, ...], tuple[Finding, ...]]:
    """Return the pins of every contact, and what is doubtful about them.

    Parameters
    ----------
    contacts : sequence of Contact
        In the order of stacking.
    pins : Pins
    standing : sequence of PinCover
        For each contact, as from `plugs.foam.pin_cover.pin_cover`.
    pieces : mapping of str to sequence of shapely.Polygon, mm
        Rough outlines of the pieces of a layer, by its name; a layer that is not named is one piece.
    keep_outs : mapping of str to shapely.Geometry, mm
        What no pin may cross, by the layer's name.

    Returns
    -------
    tuple of (tuple of Pinned) and (tuple of Finding)
    """
    parted = {name: np.array(outlines) for name, outlines in pieces.items() if len(outlines) > 1}
    aways = (pins.beside_a_joint, pins.around)
    inner = [{name: _inner(own, away, pins.around) for name, own in parted.items()} for away in aways]
    found: list[Pinned] = []
    doubts: list[Finding] = []
    rooms = _rooms(contacts, pins, standing, keep_outs)
    sides = [(contact.lower_layer, contact.upper_layer) for contact in contacts]

    def places_of(inner: Mapping[str, Parts], some: slice) -> list[PinPlaces]:
        """Return the places for the pins of some contacts."""
        lower, upper = ([inner.get(names[i]) for names in sides[some]] for i in (0, 1))
        return places_in(rooms[some], lower, upper)

    choices = places_of(inner[0], slice(None))
    for number, (contact, foam, names) in enumerate(zip(contacts, standing, sides, strict=True)):
        parts = tuple(parted.get(name) for name in names)
        before = found[-1].places if found else None
        counts = (1 if parts[0] is None else len(parts[0]), 1 if parts[1] is None else len(parts[1]))
        tried = [_standing_in(choices[number], counts, pins, contact, foam, before)]
        if counts != (1, 1) and _shortage(tried[0], counts):
            (nearer,) = places_of(inner[1], slice(number, number + 1))
            tried.append(_standing_in(nearer, counts, pins, contact, foam, before))
        pinned = min(tried, key=lambda one: _shortage(one, counts))
        found.append(pinned)
        doubts += _findings(pinned, counts)
        doubts += _near_joints(pinned, [o for own in parts if own is not None for o in own])
    return tuple(found), tuple(doubts)


def _rooms(
    contacts: Sequence[Contact],
    pins: Pins,
    standing: Sequence[PinCover],
    keep_outs: Mapping[str, shapely.Geometry],
) -> Parts:
    """Return where the axis of a pin of each contact may stand."""
    glued = [contact.glued for contact in contacts]
    for i, contact in enumerate(contacts):
        for name in (contact.lower_layer, contact.upper_layer):
            if name in keep_outs:
                glued[i] = glued[i].difference(keep_outs[name])
    rooms = inset(np.array(glued, dtype=object), pins.around)
    reaches = np.array([contact.margin for contact in contacts]) + pins.around
    for outlines in zip(*(foam.outlines for foam in standing), strict=True):
        rooms = shapely.intersection(rooms, inset(np.array(outlines, dtype=object), reaches))
    return rooms


def _inner(pieces: Parts, away: float, least: float) -> Parts:
    """Return what pins may take of pieces: so far from the edges, or the least if that leaves none."""
    inner = inset(pieces, away)
    return np.where(shapely.is_empty(inner), inset(pieces, least), inner)


def _standing_in(
    choice: PinPlaces,
    counts: tuple[int, int],
    pins: Pins,
    contact: Contact,
    foam: PinCover,
    before: Array | None,
) -> Pinned:
    """Return a contact with pins at the best of given places that leave enough foam along their length."""
    taken = _taken(choice, counts, pins, before)
    reach = contact.margin + pins.around
    if too_near(taken.points, foam, reach).any():
        taken = _taken(choice.only(~too_near(choice.points, foam, reach)), counts, pins, before)
    return _pinned(contact, pins, taken)


def _taken(choice: PinPlaces, counts: tuple[int, int], pins: Pins, before: Array | None) -> PinPlaces:
    """Return the places taken: clear of the pins of the joint before, if there is room or they would meet."""
    least = APART_RATIO * pins.diameter
    if before is None or not len(before) or not len(choice.points):
        return chosen(choice, counts, least, None)
    is_clear = gaps(choice.points, before) >= pins.diameter + pins.clearance + _SPARE
    clear = chosen(choice.only(is_clear), counts, least, before)
    if len(clear.points) >= LEAST_TO_A_JOINT or pins.depth_ratio > _END_TO_END:
        return clear
    free = chosen(choice, counts, least, before)
    return free if len(free.points) > len(clear.points) else clear


def _pinned(contact: Contact, pins: Pins, taken: PinPlaces) -> Pinned:
    """Return a contact with pins at the places chosen."""
    return Pinned(
        contact=contact,
        diameter=pins.diameter,
        pins=tuple(
            Pin(
                name=f"P{contact.number}-{i}",
                at=(float(x), float(y)),
                lower_depth=pins.depth_ratio * contact.lower_mm,
                upper_depth=pins.depth_ratio * contact.upper_mm,
                between=contact.between_mm,
                lower_piece=int(lower),
                upper_piece=int(upper),
            )
            for i, ((x, y), lower, upper) in enumerate(
                zip(taken.points, taken.lower, taken.upper, strict=True), start=1
            )
        ),
        is_keyed=is_keyed(taken.points),
    )


def _findings(pinned: Pinned, counts: tuple[int, int]) -> list[Finding]:
    """Return what is doubtful about the pins of a contact."""
    contact = pinned.contact
    where = f"between {contact.lower_layer} and {contact.upper_layer}"
    found = []
    if contact.touching_mm2 > 0.0 and len(pinned.pins) < LEAST_TO_A_JOINT:
        found.append(
            Finding(
                code="few-pins",
                severity="note",
                where=where,
                message=f"there is room for {len(pinned.pins) or 'no'} pin{'s' * (len(pinned.pins) != 1)}, "
                f"not for {LEAST_TO_A_JOINT}",
                remedy="use thinner pins, less clearance or a smaller glue.margin, or line them up by eye",
            )
        )
    elif pinned.pins and not pinned.is_keyed:
        found.append(
            Finding(
                code="pins-alike",
                severity="note",
                where=where,
                message="the pins also fit when a layer is turned round or over; there is no room to tell",
                remedy="go by the names and the arrow on the layers, or use thinner pins",
            )
        )
    names = (contact.lower_layer, contact.upper_layer)
    for name, count, few in zip(names, counts, _short_pieces(pinned, counts), strict=True):
        if few:
            found.append(
                Finding(
                    code="few-pins",
                    severity="note",
                    where=where,
                    message=f"{few} of the {count} pieces of {name} {'has' if few == 1 else 'have'} fewer "
                    f"than {LEAST_TO_A_PIECE} pins",
                    remedy="line up by eye what has fewer, or use thinner pins or less clearance",
                )
            )
    return found


def _short_pieces(pinned: Pinned, counts: tuple[int, int]) -> tuple[int, int]:
    """Return how many pieces of the layer on either side of a contact have too few pins, of parted layers."""
    owners = ([pin.lower_piece for pin in pinned.pins], [pin.upper_piece for pin in pinned.pins])
    lower, upper = (
        sum(owner.count(i) < LEAST_TO_A_PIECE for i in range(count)) if count > 1 else 0
        for owner, count in zip(owners, counts, strict=True)
    )
    return lower, upper


def _shortage(pinned: Pinned, counts: tuple[int, int]) -> int:
    """Return how many pieces beside a contact, and pins of it, are wanting."""
    return max(LEAST_TO_A_JOINT - len(pinned.pins), 0) + sum(_short_pieces(pinned, counts))


def _near_joints(pinned: Pinned, pieces: Sequence[shapely.Polygon]) -> list[Finding]:
    """Return a finding where a pin stands so near to an edge of a piece that it may break out."""
    edges = [piece.boundary for piece in pieces]
    if not edges or not pinned.pins:
        return []
    away = shapely.distance(shapely.points(pinned.places)[:, None], np.array(edges)[None, :]).min(axis=1)
    least = int(np.argmin(away))
    foam = float(away[least]) - 0.5 * pinned.diameter
    if foam >= BESIDE_A_JOINT * pinned.diameter - _SPARE:
        return []
    thinner = float(np.floor(10.0 * foam / BESIDE_A_JOINT)) / 10.0
    other = f", or use pins of {as_length(thinner, '.1f', 'most')} (pins.diameter)"
    return [
        Finding(
            code="pin-near-joint",
            severity="note",
            where=f"{pinned.pins[least].name}, between {pinned.contact.lower_layer} and "
            f"{pinned.contact.upper_layer}",
            message=f"{as_length(foam, '.1f')} of foam is left between pin and edge of a piece: it may "
            "break out",
            remedy="drill it with care" + (other if thinner >= _THINNEST_PIN else ""),
        )
    ]


def joint_glue_g(glue: Glue, joint: Joint) -> float:
    """Return the glue in a joint between pieces of a layer, on one of its faces.

    Parameters
    ----------
    glue : Glue
    joint : Joint

    Returns
    -------
    float, g
    """
    return 1e-6 * joint.glued_mm2(glue.margin) * glue.spread_gsm


def glue_kg(glue: Glue, pinned: Sequence[Pinned], joints: Sequence[Joint]) -> float:
    """Return the glue between layers, and in the joints within them.

    Parameters
    ----------
    glue : Glue
    pinned : sequence of Pinned
    joints : sequence of Joint

    Returns
    -------
    float, kg
    """
    return 1e-3 * (
        sum(joint.contact.glue_g for joint in pinned) + sum(joint_glue_g(glue, joint) for joint in joints)
    )
