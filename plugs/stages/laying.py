"""What is laid up, what stays under it, and the edges that cloth goes over."""

from __future__ import annotations

from dataclasses import replace

from plugs.body.body import Solid
from plugs.body.form_shown import form_faces
from plugs.edges.strips import strips_of
from plugs.foam.pins import Pinned
from plugs.ground.records import record
from plugs.hard_points.set_in import SetIn
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import FILLERS
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Filler
from plugs.laminate.radii import ClothEdge, EdgeVerdict, judge_edges
from plugs.laminate.resin_plan import ResinPlan
from plugs.laminate.shape_edges import plug_edges, shape_edges, turned_corners
from plugs.recesses.mounting import drawn_name
from plugs.recesses.recess import Boss, Recess
from plugs.recipe.plug import Plug
from plugs.stages.cloth import CutCloth
from plugs.stages.foam import Parted
from plugs.stages.shape import Lines
from plugs.templates.templates import Template


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """The edges that cloth goes over.

    Attributes
    ----------
    edges : tuple of ClothEdge
        Of the plug, its forms, its bosses and its recesses.
    verdicts : tuple of EdgeVerdict
        Whether cloth lies over each, and what filler it needs.
    """

    edges: tuple[ClothEdge, ...]
    verdicts: tuple[EdgeVerdict, ...]


def judge(plug: Plug, layup: Layup, lines: Lines, body: Solid) -> Edges:
    """Return the edges that cloth goes over, and how it lies there.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    lines : Lines
    body : Solid
        The foam, which tells what is seen of forms.

    Returns
    -------
    Edges
    """
    shapes: list[Boss | Recess] = [*plug.bosses, *plug.sunk]
    skins = [lines.cover.over(lines.finish, item.panel) for item in shapes]
    shapes = [replace(item, panel=drawn_name(lines.finish, item.panel)) for item in shapes]
    tools = [tool for tool in lines.tools if tool.cover is None]
    edges = [
        *plug_edges(lines.foam, layup.bare, lines.finish),
        *shape_edges(shapes, tools, skins, body.plain),
    ]
    for i, (tool, own) in enumerate(zip(lines.tools, lines.finish_tools, strict=True)):
        if tool.cover is not None:
            seen = form_faces(body, i)
            every = plug_edges(tool.loft, layup.bare, own.loft, of=f"{tool.name} ", is_cut=tool.kind == "cut")
            edges += [edge for edge in every if set(edge.between) <= set(seen)]
    if plug.edges:
        edges += turned_corners(strips_of(plug.edges, lines.finish, lines.foam, lines.cover), lines.foam)
    return Edges(edges=tuple(edges), verdicts=judge_edges(layup, edges))


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Laying:
    """Everything that is laid over the foam.

    Attributes
    ----------
    layup : Layup
    cloth : CutCloth
    edges : Edges
    resin : ResinPlan
    """

    layup: Layup
    cloth: CutCloth
    edges: Edges
    resin: ResinPlan


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Inside:
    """Everything that is under it.

    Attributes
    ----------
    body : Solid
        The foam.
    parted : Parted
    pinned : tuple of Pinned
    templates : tuple of Template
    hard_points : tuple of SetIn
        Those between plies too.
    """

    body: Solid
    parted: Parted
    pinned: tuple[Pinned, ...]
    templates: tuple[Template, ...]
    hard_points: tuple[SetIn, ...]


def filler_of(plug: Plug) -> Filler:
    """Return what inside corners are filled with and the laminate is faired with.

    Returns
    -------
    Filler
        The usual one where the recipe names none.
    """
    return material_named(plug.filler or "epoxy filler", FILLERS, "filler")
