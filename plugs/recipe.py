"""The plug as a recipe describes it: one record with everything that the stages need."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from plugs.errors import PlugError
from plugs.foam.layers import Stack, checked_stack
from plugs.paper import paper_of
from plugs.shape.mating import Mating
from plugs.shape.mating_body import MatingBody
from plugs.shape.plan import number
from plugs.shape.recess import Boss, Recess
from plugs.shape.section import End, LinesPlan, Station
from plugs.shape.skin import Skin
from plugs.tolerances import CHORD


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plug:
    """A foam plug.

    Attributes
    ----------
    name : str
        As it stands on drawings.
    stations, panels, mirrored, bays, front, aft
        The lines, as for `LinesPlan`.
    recesses, bosses : sequence of Recess, of Boss
    mating : sequence of Mating or MatingBody
        Faces cut to the body that the part meets.
    added, cut : sequence of object
        CadQuery solids of the recipe's own, put on and taken off.
    skin : Skin
        What will be laid over the foam; the lines are those of the finished surface.
    stack : Stack
        The foam.
    display_unit : str
        "mm" or "in": what is printed for people.
    chord_tolerance : float, mm
        Largest distance between the surface and what is cut and exported.
    paper : str, float or tuple of 2 float, mm
        What full-size paper is printed on: "A4" and so on, the width of a roll, or the width and
        height of a sheet.
    paper_margin, paper_overlap : float, mm
        Free on all four sides of a page; shown by both pages of a joint.
    """

    name: str
    stations: Sequence[Station]
    panels: Sequence[str] = ()
    mirrored: bool = True
    bays: str | Mapping[str, str] = "straight"
    front: End = field(default_factory=End)
    aft: End = field(default_factory=End)
    recesses: Sequence[Recess] = ()
    bosses: Sequence[Boss] = ()
    mating: Sequence[Mating | MatingBody] = ()
    added: Sequence[object] = ()
    cut: Sequence[object] = ()
    skin: Skin = field(default_factory=Skin)
    stack: Stack = field(default_factory=Stack)
    display_unit: str = "mm"
    chord_tolerance: float = CHORD
    paper: str | float | tuple[float, float] = "A4"
    paper_margin: float = 8.0
    paper_overlap: float = 12.0

    def plan(self) -> LinesPlan:
        """Return the lines alone.

        Returns
        -------
        LinesPlan
        """
        return LinesPlan(
            stations=self.stations,
            panels=self.panels,
            mirrored=self.mirrored,
            bays=self.bays,
            front=self.front,
            aft=self.aft,
        )


_KINDS: dict[str, tuple[type | tuple[type, ...], str]] = {
    "stations": (Sequence, "a list of Station(...)"),
    "panels": (Sequence, 'a list of names, such as ("floor", "side", "deck")'),
    "mirrored": (bool, "True or False"),
    "bays": ((str, Mapping), '"straight", "faired" or {"line": "faired"}'),
    "front": (End, "End(radius=..., rake_deg=...)"),
    "aft": (End, "End(radius=..., rake_deg=...)"),
    "recesses": (Sequence, "a list of Recess(...)"),
    "bosses": (Sequence, "a list of Boss(...)"),
    "mating": (Sequence, "a list of Mating(...) and MatingBody(...)"),
    "added": (Sequence, "a list of CadQuery solids"),
    "cut": (Sequence, "a list of CadQuery solids"),
    "skin": (Skin, 'Skin(thickness=2.0, bare=("floor", "front"))'),
    "stack": (Stack, 'Stack(axis="z", thicknesses=(50.0,), ...)'),
}


def checked_plug(result: object, function: str) -> Plug:
    """Return what a recipe returned, its own fields checked; the shape is checked by the stages.

    Parameters
    ----------
    result : object
        What the recipe's function returned.
    function : str
        The function's name.

    Returns
    -------
    Plug

    Raises
    ------
    PlugError
        Not a `Plug`, or a field of the wrong kind.
    """
    if not isinstance(result, Plug):
        raise PlugError(
            param=f"{function}()",
            value=type(result).__name__,
            reason="a recipe's function returns the plug",
            remedy="end it with: return Plug(name=..., stations=(...), ...)",
        )
    if not isinstance(result.name, str) or not result.name.strip():
        raise PlugError(
            param="name",
            value=result.name,
            reason="drawings carry the plug's name",
            remedy='give one, such as name="Seat hump"',
        )
    for word, (kind, example) in _KINDS.items():
        value = getattr(result, word)
        if not isinstance(value, kind) or (isinstance(value, str) and word != "bays"):
            raise PlugError(
                param=word, value=value, reason=f"{word} is of another kind", remedy=f"give {example}"
            )
    if result.display_unit not in ("mm", "in"):
        raise PlugError(
            param="display_unit",
            value=result.display_unit,
            reason="this unit is not known",
            remedy='use "mm" or "in"',
        )
    number("chord_tolerance", result.chord_tolerance, least=0.001, most=1.0)
    paper_of(
        result.paper,
        margin=number("paper_margin", result.paper_margin),
        overlap=number("paper_overlap", result.paper_overlap),
    )
    checked_stack(result.stack)
    return result
