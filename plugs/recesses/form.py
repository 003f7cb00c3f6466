"""Forms: section solids of the recipe's own stations, placed and turned, cut from a plug or put on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field, replace
from typing import Annotated, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import PlugError, present
from plugs.ground.limits import Name, OneOf
from plugs.ground.records import record
from plugs.lines.checks import checked_loft
from plugs.lines.section import Along, End, LinesPlan, Station, Way
from plugs.lines.stations import Loft
from plugs.recesses.courses import check_ends, checked_course
from plugs.recesses.recess import ON_SIDES, Tool
from plugs.skin.offset import foam_loft
from plugs.skin.skin import ENDS, Skin, make_cover

Array = NDArray[np.float64]
_Made = TypeVar("_Made")

KINDS: Final = ("cut", "add")
"""Whether a form is taken off the plug or put on it."""

_OF_PLAN: Final = ("stations", "panels", "bays", "front", "rear", "along")
"""Words of a form that its lines are made of: what is wrong with them is told as the form's own."""
_NO_AREA: Final = 1e-3  # mm2. As in `skin.offset`


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Form:
    """A second set of stations: a duct that is cut from the plug, a bulge or an arch that is put on it.

    Attributes
    ----------
    name : str
        Its panels and ends are called by it in ``skin``, plies and zones, "duct roof" and "duct front"; by
        the name alone a ply covers all of them.
    kind : str
        "cut" takes it off the plug, "add" puts it on. All that is put on is put on first.
    stations : sequence of Station
        From front to rear along its own axis, as a plug's. An open end is drawn 1 mm or more out of the
        plug, the foot of what is put on deeper in it than twice the skin.
    panels : sequence of str
        Names of its panels, as a plug's.
    mirrored : bool
        Whether its stations are drawn on its own right side only.
    bays : str, sequence of str, or mapping of str to these
        How its lines run, as a plug's.
    front, rear : End
        How it ends.
    along : Along or None
        A curve that its stations stand square to, along its own axes: their x is then the length along it.
        Its ends are then square to the curve, and rounded where it runs straight for so long.
    side : str or None
        "left", "right" or "both", as for a recess: it is moved and turned as the right one, and the left is
        its mirror image. Its own section is then mirrored too.
    move : tuple of float, mm
        Where its own x = y = z = 0 comes to lie: x, y and z.
    turn_deg : tuple of float
        Turned about that point before it is moved: about x, then y, then z.
    """

    name: Name
    kind: Annotated[str, OneOf(KINDS)]
    stations: Sequence[Station]
    panels: Sequence[Name] = ()
    mirrored: bool = True
    bays: Way | Sequence[Way] | Mapping[Name, Way | Sequence[Way]] = "straight"
    front: End = field(default_factory=End)
    rear: End = field(default_factory=End)
    along: Along | None = None
    side: Annotated[str, OneOf(ON_SIDES)] | None = None
    move: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)

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
            rear=self.rear,
            along=self.along,
        )

    @property
    def known_as(self) -> str:
        """Its name."""
        return self.name

    @property
    def frame(self) -> Array:
        """(3, 4) float: its axes and its origin in the plug's axes, dimensionless and mm."""
        (cx, cy, cz), (sx, sy, sz) = (f(np.radians(self.turn_deg)) for f in (np.cos, np.sin))
        about_x = np.array([[1.0, 0.0, 0.0], [0.0, cx, -sx], [0.0, sx, cx]])
        about_y = np.array([[cy, 0.0, sy], [0.0, 1.0, 0.0], [-sy, 0.0, cy]])
        about_z = np.array([[cz, -sz, 0.0], [sz, cz, 0.0], [0.0, 0.0, 1.0]])
        return np.column_stack([about_z @ about_y @ about_x, self.move])


def form_lines(form: Form, param: str) -> Loft:
    """Return the section function of a form, checked as a plug's is, its panels called by its name.

    Parameters
    ----------
    form : Form
    param : str
        Where the recipe gives it, ``"forms[0]"``.

    Returns
    -------
    Loft
        Along the form's own axes, of the finished surface.

    Raises
    ------
    PlugError
        Lines that cannot be built, with what would do.
    """
    if form.along is not None:
        check_ends(form.front, form.rear, param)
    loft = _of_form(form, param, lambda: checked_course(checked_loft(form.plan())))

    def told(names: Sequence[str]) -> tuple[str, ...]:
        return tuple(f"{form.name} {name}" for name in names)

    table = loft.table
    for clash in sorted(set(ENDS) & set(table.drawn_parents)):
        raise PlugError(
            param=f"{param}.panels",
            value=clash,
            reason="this is what an end of the form is called",
            remedy='use another name, such as "1st" or "nose"',
        )
    named = replace(
        table,
        drawn_parents=told(table.drawn_parents),
        parent_names=told(table.parent_names),
        ring_parents=told(table.ring_parents),
    )
    return replace(loft, table=named)


def form_places(form: Form, loft: Loft) -> tuple[str, ...]:
    """Return the places of a form that are told of: its panels as they are drawn, and its ends.

    Parameters
    ----------
    form : Form
    loft : Loft
        From `form_lines`.

    Returns
    -------
    tuple of str
    """
    return (*dict.fromkeys(loft.table.drawn_parents), *(f"{form.name} {end}" for end in ENDS))


def form_tool(form: Form, param: str, finish: Loft, skin: Skin) -> Tool:
    """Return what a form cuts from the foam or puts on it: one that is cut is larger by its skin.

    Parameters
    ----------
    form : Form
    param : str
        Where the recipe gives it.
    finish : Loft
        From `form_lines`.
    skin : Skin
        Nothing for the finished surface.

    Returns
    -------
    Tool

    Raises
    ------
    PlugError
        A skin that the form has no room for.
    """
    cover = make_cover(finish, skin, of=f"{form.name} ", outward=form.kind == "cut")
    ends = finish.sections(finish.breaks[[0, -1]]).rings.moments()[:, 0]
    if form.kind == "cut" and not cover.is_nothing and ends.min() < _NO_AREA:
        end = ENDS[int(np.argmin(ends))]
        raise PlugError(
            param=f"{param}.{end}",
            value="a point or an edge",
            reason="under a skin the foam is cut larger, and an end without any width has no such line",
            remedy=f"end it in a flat, 1 mm wide or more, or leave it without laminate: {form.name} {end}",
        )
    return Tool(
        param=param,
        name=form.name,
        kind=form.kind,
        loft=_of_form(form, param, lambda: foam_loft(finish, cover)),
        frame=form.frame,
        depth=0.0,
        is_through=True,
        cover=cover,
    )


def form_depths(tool: Tool) -> dict[str, float]:
    """Return how thick the skin is over each place of a form.

    Parameters
    ----------
    tool : Tool
        From `form_tool`.

    Returns
    -------
    dict of str to float, mm
        By its panels and ends.
    """
    cover, places = present(tool.cover), tool.loft.table.ring_parents
    over = dict(zip(places, np.abs(cover.panels).tolist(), strict=True))
    return over | {f"{tool.name} front": abs(cover.front), f"{tool.name} rear": abs(cover.rear)}


def _of_form(form: Form, param: str, made: Callable[[], _Made]) -> _Made:
    """Return what is made of a form; what is wrong with its lines is told as the form's."""
    try:
        return made()
    except PlugError as error:

        def told(place: str) -> str:
            return f"{param}.{place}" if place.startswith(_OF_PLAN) else place

        raise PlugError(
            param=told(error.param),
            value=error.value,
            reason=error.reason.replace("the plug", "the form"),
            remedy=error.remedy.replace("the plug", "the form"),
            where=f"form {form.name!r}" + (f", {error.where}" if error.where else ""),
            would_do=[(told(place), value) for place, value in error.would_do],
        ) from error
