"""Stages from words to bodies: lines drawn, skin, lines of the foam, what cuts it, foam and finished part."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from plugs.body.body import Shape, Solid, make_all_tools, make_solid
from plugs.body.form_shown import check_buried
from plugs.body.mating import Mating, MatingCut, make_cut
from plugs.body.mating_body import BodyCut, MatingBody, make_body_cut
from plugs.body.tool_proof import prove_tools
from plugs.edges.words import TURNED, told_by_edges
from plugs.foam.layers import likely_faces
from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.twins import begun
from plugs.ground.units import format_length
from plugs.kernel.step_in import StepBody, StepRequest
from plugs.laminate.layup import Layup, lay_up, skin_of
from plugs.lines.checks import checked_loft
from plugs.lines.plan import RingTable
from plugs.lines.stations import Loft
from plugs.measure.comb import FairLine
from plugs.measure.fairing import Fairing
from plugs.mesh.sampling import Faces
from plugs.recesses.courses import check_ends, checked_course
from plugs.recesses.form import form_lines, form_places, form_tool
from plugs.recesses.recess import Boss, Recess, Tool
from plugs.recesses.scribe import Scribe, place_openings
from plugs.recipe.plug import Plug
from plugs.sanding.bays import read_bays
from plugs.sanding.fit_list import FitRow, fit_plan, fit_rows
from plugs.sanding.sanding import SandingAids
from plugs.skin.offset import foam_loft
from plugs.skin.proof import SkinProof, prove_cover, skin_steps
from plugs.skin.skin import ENDS, Cover, Skin, make_cover
from plugs.templates.bays import FoamBay, bay_faces, foam_bays
from plugs.templates.words import Templates, station_spans

Array = NDArray[np.float64]
ReadStep = Callable[[StepRequest], StepBody]


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """The lines of a plug, checked: those that are drawn, and those of the foam under them.

    Attributes
    ----------
    finish, foam : Loft
        Of the finished surface, and of the foam; one and the same without a skin.
    skin : Skin
        As the recipe gives it, or as its schedule makes it.
    cover : Cover
        What it comes to over each panel.
    finish_tools, tools : tuple of Tool
        Bosses, then recesses, then forms, in either.
    scribes : tuple of Scribe
        Openings in the laminate, on the finished surface.
    """

    finish: Loft
    foam: Loft
    skin: Skin
    cover: Cover
    finish_tools: tuple[Tool, ...]
    tools: tuple[Tool, ...]
    scribes: tuple[Scribe, ...]

    @property
    def is_bare(self) -> bool:
        """Whether nothing is laid over any of it: foam and finished surface are one."""
        covers = [tool.cover for tool in self.tools if tool.cover is not None]
        return self.cover.is_nothing and all(cover.is_nothing for cover in covers)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Cutters:
    """What else shapes a plug.

    Attributes
    ----------
    shapes : tuple of Shape
        The recipe's own.
    mating : tuple of MatingCut or BodyCut
    """

    shapes: tuple[Shape, ...]
    mating: tuple[MatingCut | BodyCut, ...]

    @property
    def is_exact(self) -> bool:
        """Whether every cut can be made in exact surfaces, so that the kernel can make the whole body."""
        return all(cut.brep for cut in self.mating if isinstance(cut, BodyCut))


def drawn_lines(plug: Plug) -> Loft:
    """Return the section function of the finished surface, checked.

    Parameters
    ----------
    plug : Plug

    Returns
    -------
    Loft

    Raises
    ------
    PlugError
        Lines that cannot be built, with what would do.
    """
    if plug.along is not None:
        check_ends(plug.front, plug.rear)
    try:
        return checked_course(checked_loft(plug.plan()))
    except PlugError as error:
        raise told_by_edges(error, plug.edges) from error


def measured_lines(plug: Plug) -> tuple[FairLine, ...]:
    """Return the faired curves that a recipe gives: panels of its stations, contours of its mating faces.

    Parameters
    ----------
    plug : Plug

    Returns
    -------
    tuple of FairLine
        A curve that is used twice, once.
    """
    unit = plug.display_unit
    found = [
        (curve, f"station-{i + 1}", f"station {i + 1}, x = {format_length(station.x, unit)}", name,
         f"stations[{i}].curves[{name!r}]")
        for i, station in enumerate(plug.stations)
        for name, curve in station.curves.items()
    ]  # fmt: skip
    found += [
        (item.contour, f"contour-{i + 1}", f"contour of {item.name}", item.name, f"mating[{i}].contour")
        for i, item in enumerate(plug.mating)
        if isinstance(item, Mating)
    ]
    once = {id(line[0]): line for line in reversed(found) if isinstance(line[0], Fairing)}
    return tuple(
        FairLine(curve=curve, drawing=drawing, seen=seen, name=name, where=where)
        for curve, drawing, seen, name, where in reversed(once.values())
    )


def drawn_forms(plug: Plug, drawn: Loft) -> tuple[Loft, ...]:
    """Return the section functions of a plug's forms, each along its own axes, checked.

    Parameters
    ----------
    plug : Plug
    drawn : Loft
        Of the finished surface.

    Returns
    -------
    tuple of Loft

    Raises
    ------
    PlugError
        Lines that cannot be built; a panel that is called as another place is.
    """
    lofts = tuple(form_lines(form, f"forms[{i}]") for i, form in enumerate(plug.forms))
    items: list[Boss | Recess] = [*plug.bosses, *plug.sunk]
    taken = {*dict.fromkeys(drawn.table.drawn_parents), *ENDS, *(item.known_as for item in items)}
    for i, (form, loft) in enumerate(zip(plug.forms, lofts, strict=True)):
        own = {form.name, *form_places(form, loft)}
        if own & taken:
            raise PlugError(
                param=f"forms[{i}].name",
                value=form.name,
                reason=f"another place is called {min(own & taken)!r}",
                remedy=f'use a name that nothing else has, such as "{form.name} {len(plug.forms) + 1}"',
            )
        taken |= own
    return lofts


def _form_places(plug: Plug, forms: Sequence[Loft]) -> list[str]:
    """Return the panels and ends of all forms."""
    pairs = zip(plug.forms, forms, strict=True)
    return [place for form, loft in pairs for place in form_places(form, loft)]


def layup_of(plug: Plug, drawn: Loft, forms: Sequence[Loft]) -> Layup | None:
    """Return a recipe's schedule over the places of its plug; None without a schedule.

    Parameters
    ----------
    plug : Plug
    drawn : Loft
    forms : sequence of Loft

    Returns
    -------
    Layup or None
    """
    if plug.schedule is None:
        return None
    items: list[Boss | Recess] = [*plug.bosses, *plug.sunk]
    flanges = [f"{item.name} flange" for item in plug.mating if item.flange_width > 0.0]
    flanges += [edge.name for edge in plug.edges if edge.kind == TURNED]
    shapes = dict.fromkeys(item.known_as for item in items)
    places = [*dict.fromkeys(drawn.table.drawn_parents), *ENDS, *shapes, *_form_places(plug, forms), *flanges]
    owners = _owners([loft.table for loft in (drawn, *forms)], places)
    return lay_up(
        plug.schedule,
        places,
        foam="xps 35" if plug.foam is None else plug.foam,
        bare=[place for place in plug.skin.no_laminate if place in places],
        zones={
            **{form.name: form_places(form, loft) for form, loft in zip(plug.forms, forms, strict=True)},
            **{zone.name: [owners[word] for word in zone.panels if word in owners] for zone in plug.zones},
        },
    )


def skin_over(plug: Plug, drawn: Loft, forms: Sequence[Loft], layup: Layup | None) -> Skin:
    """Return the skin that the foam is set back by: as the recipe says, else as the schedule makes it.

    Parameters
    ----------
    plug : Plug
    drawn : Loft
    forms : sequence of Loft
    layup : Layup or None

    Returns
    -------
    Skin
    """
    if layup is None or plug.skin.thickness or plug.skin.by_panel:
        return plug.skin
    return skin_of(
        layup,
        [*dict.fromkeys(drawn.table.drawn_parents), *ENDS, *_form_places(plug, forms)],
        plug.skin.filler,
    )


def _owners(tables: Sequence[RingTable], places: Sequence[str]) -> dict[str, str]:
    """Return the place that each word of a zone belongs to: its own name, or one side of a panel."""
    owners = {place: place for place in places}
    for table in tables:
        for name, side in zip(table.ring_parents, table.panel_sides, strict=True):
            if side:
                owners.setdefault(f"{side} {name}", name)
    return owners


def make_lines(plug: Plug, drawn: Loft, forms: Sequence[Loft], skin: Skin) -> Lines:
    """Return the lines of a plug, of its foam, and of what is set on them.

    Parameters
    ----------
    plug : Plug
    drawn : Loft
    forms : sequence of Loft
    skin : Skin

    Returns
    -------
    Lines

    Raises
    ------
    PlugError
        A skin thicker than the shape has room for; a recess or boss that has no place.
    """
    cover = make_cover(drawn, skin, _form_places(plug, forms))
    covers = (None,) if cover.is_nothing else (None, cover)
    tools_made = begun(make_all_tools, drawn, covers, plug.bosses, plug.recesses, plug.openings)
    foam = foam_loft(drawn, cover)
    on_finish, *on_foam = tools_made()
    finish_tools = (*on_finish, *_form_tools(plug, forms, Skin()))
    tools = on_foam[0] if on_foam else on_finish  # foam and finished surface are one
    return Lines(
        finish=drawn, foam=foam, skin=skin, cover=cover, finish_tools=finish_tools,
        tools=(*tools, *_form_tools(plug, forms, skin)),
        scribes=place_openings(drawn, plug.openings, finish_tools, cover),
    )  # fmt: skip


def _form_tools(plug: Plug, forms: Sequence[Loft], skin: Skin) -> list[Tool]:
    """Return what forms cut and put on under a skin."""
    pairs = enumerate(zip(plug.forms, forms, strict=True))
    return [form_tool(form, f"forms[{i}]", loft, skin) for i, (form, loft) in pairs]


def make_cutters(plug: Plug, drawn: Loft, read_step: ReadStep) -> Cutters:
    """Return the recipe's own shapes and its mating cuts; the kernel is asked if there are any of a file.

    Parameters
    ----------
    plug : Plug
    drawn : Loft
    read_step : callable
        Reads the body in a STEP file.

    Returns
    -------
    Cutters

    Raises
    ------
    PlugError
        A shape, a contour or a file that cannot be used.
    """
    shapes: list[Shape] = []
    if plug.added or plug.cut:
        from plugs.body.own_shape import make_shape

        for word, kind, items in (("added", "add", plug.added), ("cut", "cut", plug.cut)):
            shapes += [
                make_shape(item, f"{word}[{i}]", kind, plug.chord_tolerance) for i, item in enumerate(items)
            ]
    cuts: list[MatingCut | BodyCut] = []
    lower, upper = box_of(drawn) if plug.mating else (np.zeros(3), np.zeros(3))
    for i, item in enumerate(plug.mating):
        param = f"mating[{i}]"
        if isinstance(item, MatingBody):
            cuts.append(make_body_cut(item, param, lower, upper, plug.chord_tolerance, read_step))
        else:
            cuts.append(make_cut(item, param, lower, upper, plug.chord_tolerance))
    return Cutters(shapes=tuple(shapes), mating=tuple(cuts))


def box_of(loft: Loft) -> tuple[Array, Array]:
    """Return the corners of a box round a section solid, from its corners at the stations and between.

    Parameters
    ----------
    loft : Loft

    Returns
    -------
    tuple of two (3,) float, mm
    """
    t = np.unique(np.concatenate([np.linspace(loft.breaks[0], loft.breaks[-1], 65), loft.breaks]))
    at = loft.sections(t)
    count = at.rings.points.shape[1]
    points = at.place(np.repeat(np.arange(count), 2), np.tile([0.0, 0.5], count)).reshape(-1, 3)
    return points.min(axis=0), points.max(axis=0)


def stack_bays(plug: Plug, in_stack: Templates | None, lower: Array, upper: Array) -> tuple[FoamBay, ...]:
    """Return the bays of foam between station templates, none where these do not stand in the stack.

    Parameters
    ----------
    in_stack : Templates or None
        That stand in the stack.
    lower, upper : (3,) float, mm
        Box round the foam.
    """
    if in_stack is None:
        return ()
    low, high = float(lower[0]), float(upper[0])
    spans, _ = station_spans(in_stack, [station.x for station in plug.stations], low, high)
    return foam_bays(spans, plug.stack.thicknesses, low, high)


def likely_cuts(plug: Plug, lines: Lines, in_stack: Templates | None) -> Faces:
    """Return where sheets of foam will meet, near enough to sample the surface for it.

    Parameters
    ----------
    plug : Plug
    lines : Lines
    in_stack : Templates or None
        That stand in the stack.

    Returns
    -------
    Faces
    """
    box = box_of(lines.foam)
    bays = stack_bays(plug, in_stack, *box)
    return bay_faces(bays) if bays else likely_faces(plug.stack, *box)


def foam_body(plug: Plug, lines: Lines, cutters: Cutters, faces: Faces) -> Solid:
    """Return the foam.

    Parameters
    ----------
    plug : Plug
    lines : Lines
    cutters : Cutters
    faces : Faces
        Where outlines will be taken.

    Returns
    -------
    Solid

    Raises
    ------
    PlugError
        Tools that meet or break through; nothing left.
    """
    return make_solid(lines.foam, lines.tools, cutters.shapes, plug.chord_tolerance, cutters.mating, faces)


def finished_body(plug: Plug, lines: Lines, cutters: Cutters, body: Solid) -> Solid:
    """Return the finished part, which is the foam itself without a skin.

    Parameters
    ----------
    plug : Plug
    lines : Lines
    cutters : Cutters
    body : Solid
        The foam.

    Returns
    -------
    Solid
    """
    if lines.is_bare:
        return body
    return make_solid(lines.finish, lines.finish_tools, cutters.shapes, plug.chord_tolerance, cutters.mating)


def skin_proof(lines: Lines, body: Solid, finish: Solid) -> SkinProof | None:
    """Return how well the foam lies under the finished surface; None without a skin.

    Parameters
    ----------
    lines : Lines
    body, finish : Solid

    Returns
    -------
    SkinProof or None
    """
    if lines.is_bare:
        return None
    check_buried(finish, body)
    return replace(
        prove_cover(lines.finish, lines.foam, lines.cover),
        tools=prove_tools(finish, body),
        steps=skin_steps(lines.finish, lines.cover),
    )


def list_fit(plug: Plug, solids: tuple[Solid, Solid], lines: Lines, aids: SandingAids) -> tuple[FitRow, ...]:
    """Return the fit list of a plug.

    Parameters
    ----------
    plug : Plug
    solids : tuple of two Solid
        The foam, and the finished part: the foam itself without a skin.
    lines : Lines
    aids : SandingAids

    Returns
    -------
    tuple of FitRow
    """
    words = plug.templates
    stations, ends = [float(one.x) for one in plug.stations], read_bays(lines.foam).edges
    given: tuple[list[float], list[float]] = ([], [])
    if words is not None:
        stations += [] if isinstance(words.stations, str) else list(words.stations)
        given = (list(words.waterlines), list(words.lengthwise))
    box, view = (solids[0].by_mesh.lower, solids[0].by_mesh.upper), ""
    if plug.along is not None:
        straight = replace(lines.foam, table=replace(lines.foam.table, course=None))
        box, view = box_of(straight), plug.along.view
    places = (stations, (ends[0], ends[-1]))
    plan = fit_plan(box, places, given, plug.display_unit, view)
    return fit_rows(*solids, aids, plan, lines.scribes)
