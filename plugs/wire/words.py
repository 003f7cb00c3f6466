"""The words of a recipe on cutting by wire: what is cut, and the machine that many recipes share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Final

from plugs.ground.limits import Count, Letters, Name, OneOf, Within

LETTERS: Final = ("X", "Y", "Z", "A", "B", "C", "U", "V", "W")
"""Of axes: six in NIST IR 6556, 2.1.2.1; U, V, W lie beside X, Y, Z (ISO 6983, from memory)."""

GUESSED_KERF: Final = 1.0
"""mm. Slot of a hot wire in polystyrene before anybody measured it: 0.5 to 2 (common practice, no source)."""

Feed = Annotated[float, Within(1.0, 50_000.0)]
"""mm a minute."""
Place = Annotated[float, Within(-20_000.0, 20_000.0)]
"""In the machine's own axes, mm."""
Span = tuple[Place, Place]
How = Annotated[str, OneOf(("finish", "allowance", "upright", "none"))]
"""At finish size where it is ruled, with the sanding allowance, with upright walls, or not by wire."""
Line = Annotated[str, Letters(0, 200)]
"""A line of a program; NIST IR 6556, 3.1 allows 256 letters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WireAxis:
    """An axis of a wire cutter.

    Attributes
    ----------
    letter : str
        That stands for it in programs.
    least, most : float, mm
        Its travel.
    """

    letter: Annotated[str, OneOf(LETTERS)]
    least: Place = 0.0
    most: Place = 600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WireCutter:
    """A machine whose wire is held at both ends, each moved in a plane of its own.

    Attributes
    ----------
    name : str
    span : float, mm
        Between the two planes in which the ends move.
    wire_lies : str
        "level": across a table, the second axis of each end is upright; "upright": over a flat sheet.
    near, far : tuple of two WireAxis
        Of the end at 0 across, and of the end at ``span``: along, then up (or away from you, with an
        upright wire). At equal values the wire lies square to both planes.
    room_along, room_up, room_across : tuple of two float, mm
        Where a block may lie: along and up as the axes count, across from the near plane.
    start : tuple of two float, mm
        Along and up: where both ends stand before and after a program, clear of any block.
    unit : str
        "mm" or "in": of what is written.
    decimals : int
        Behind the point.
    begins, ends : sequence of str
        Lines before the first move and after the last; the last ends the program.
    wire_on, wire_off : str
        Lines that heat the wire and let it cool; empty where that is done by hand.
    feed_mode : str
        "G93", inverse time, in which both ends arrive together whatever the axes; or "G94".
    inverse_time : str
        What F is under G93: "1/minutes" as in NIST IR 6556, "1/seconds", or "seconds" of the move.
    feed_along : str
        What F is along under G94: the "near" end's axes, and the far end's where that stands (as
        controllers do that count X, Y, Z first), or "all" four together.
    most_feed : tuple of two float, mm a minute
        That the near and the far end can follow.
    feed : float, mm a minute
        Of the wire through the foam, at the face where it is faster.
    air_feed : float, mm a minute
        Of the ends outside the foam.
    wire_diameter : float, mm
    kerf : sequence of (float, float)
        Feed in mm a minute and width of the slot in mm, as measured on a slot test; none is a guess.
    """

    name: Name = "wire cutter"
    span: Annotated[float, Within(50.0, 20_000.0)] = 1200.0
    wire_lies: Annotated[str, OneOf(("level", "upright"))] = "level"
    near: tuple[WireAxis, WireAxis] = (WireAxis(letter="X"), WireAxis(letter="Y", most=300.0))
    far: tuple[WireAxis, WireAxis] = (WireAxis(letter="U"), WireAxis(letter="V", most=300.0))
    room_along: Span = (20.0, 580.0)
    room_up: Span = (0.0, 280.0)
    room_across: Span = (100.0, 1100.0)
    start: Span = (0.0, 0.0)
    unit: Annotated[str, OneOf(("mm", "in"))] = "mm"
    decimals: Annotated[int, Within(1.0, 6.0)] = 3
    begins: Annotated[Sequence[Line], Count(0, 50)] = ()
    ends: Annotated[Sequence[Line], Count(1, 50)] = ("M2",)
    wire_on: Line = "M3"
    wire_off: Line = "M5"
    feed_mode: Annotated[str, OneOf(("G93", "G94"))] = "G93"
    inverse_time: Annotated[str, OneOf(("1/minutes", "1/seconds", "seconds"))] = "1/minutes"
    feed_along: Annotated[str, OneOf(("near", "all"))] = "near"
    most_feed: tuple[Feed, Feed] = (1000.0, 1000.0)
    feed: Feed = 240.0
    air_feed: Feed = 600.0
    wire_diameter: Annotated[float, Within(0.05, 5.0)] = 0.4
    kerf: Annotated[Sequence[tuple[Feed, Annotated[float, Within(0.05, 20.0)]]], Count(0, 100)] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WireWork:
    """What of a plug is cut by wire, and by which machine.

    Attributes
    ----------
    machine : WireCutter
    cut : str
        "layers": every piece of the stack; "bays": blocks glued up between station templates in the stack,
        or between stations; "block": the whole plug between its ends along ``across``.
    across : str
        The plug's axis along the wire, for "bays" always "x", for "layers" the stack's.
    how : str or mapping of str to str
        "finish": at finish size where straight lines lie on the surface, else with the stack's sanding
        allowance; "allowance": always with it; "upright": the same with upright walls, for what leans more
        than the machine can; "none": not by wire. For all, or by the name of a layer, bay or piece.
    """

    machine: WireCutter
    cut: Annotated[str, OneOf(("layers", "bays", "block"))] = "layers"
    across: Annotated[str, OneOf(("x", "y", "z"))] = "x"
    how: How | Mapping[Name, How] = "finish"

    def way(self, name: str, whole: str) -> str:
        """Return how a piece is cut.

        Parameters
        ----------
        name : str
        whole : str
            Of the layer or bay that it belongs to; the piece's own name goes before.

        Returns
        -------
        str
        """
        if isinstance(self.how, str):
            return self.how
        return self.how.get(name, self.how.get(whole, "finish"))
