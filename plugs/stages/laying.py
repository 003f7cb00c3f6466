"""What is laid up, what stays under it, and the edges that cloth goes over."""

from __future__ import annotations

from plugs.body.body import Solid
from plugs.foam.pins import Pinned
from plugs.ground.records import record
from plugs.laminate.choosing import material_named
from plugs.laminate.generic import FILLERS
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Filler
from plugs.laminate.radii import ClothEdge, EdgeVerdict, judge_edges
from plugs.laminate.resin_plan import ResinPlan
from plugs.laminate.shape_edges import plug_edges, shape_edges
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
        Of the plug, its bosses and its recesses.
    verdicts : tuple of EdgeVerdict
        Whether cloth lies over each, and what filler it needs.
    """

    edges: tuple[ClothEdge, ...]
    verdicts: tuple[EdgeVerdict, ...]


def judge(plug: Plug, layup: Layup, lines: Lines) -> Edges:
    """Return the edges that cloth goes over, and how it lies there.

    Parameters
    ----------
    plug : Plug
    layup : Layup
    lines : Lines

    Returns
    -------
    Edges
    """
    shapes: list[Boss | Recess] = [*plug.bosses, *plug.recesses]
    skins = [lines.cover.over(lines.finish, item.panel) for item in shapes]
    edges = [*plug_edges(lines.foam, layup.bare, lines.finish), *shape_edges(shapes, lines.tools, skins)]
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
    """

    body: Solid
    parted: Parted
    pinned: tuple[Pinned, ...]
    templates: tuple[Template, ...]


def filler_of(plug: Plug) -> Filler:
    """Return what inside corners are filled with and the laminate is faired with.

    Returns
    -------
    Filler
        The usual one where the recipe names none.
    """
    return material_named(plug.filler or "epoxy filler", FILLERS, "filler")
