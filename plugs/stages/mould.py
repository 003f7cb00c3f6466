"""What a mould taken from the finished plug needs."""

from __future__ import annotations

from plugs.body.body import Solid
from plugs.ground.errors import Finding, present
from plugs.ground.records import record
from plugs.mould.drafts import Drafts, drafts_of
from plugs.mould.findings import mould_findings
from plugs.mould.parted import Parted, part_surface
from plugs.mould.remedies import Held
from plugs.mould.surface import surface_of
from plugs.recipe.plug import Plug
from plugs.stages.shape import Lines


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Taken:
    """The surface that a mould is taken from.

    Attributes
    ----------
    parted : Parted
    drafts : Drafts
    findings : tuple of Finding
        Faces that lock, and those with too little draft.
    """

    parted: Parted
    drafts: Drafts
    findings: tuple[Finding, ...]


def take_mould(plug: Plug, lines: Lines, finish: Solid) -> Taken:
    """Return the finished surface in the parts of its mould, with its draft.

    Parameters
    ----------
    plug : Plug
        With a mould.
    lines : Lines
    finish : Solid

    Returns
    -------
    Taken

    Raises
    ------
    PlugError
        A parting, a panel or a line that is not there.
    """
    open_places = [*lines.skin.no_laminate, *(cut.item.name for cut in finish.mating)]
    parted = part_surface(surface_of(finish), finish.loft, present(plug.mould), open_places)
    drafts = drafts_of(parted)
    held = Held(parted=parted, loft=finish.loft, tools=finish.tools)
    return Taken(parted=parted, drafts=drafts, findings=mould_findings(held, drafts))
