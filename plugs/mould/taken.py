"""What a mould taken from the finished plug needs."""

from __future__ import annotations

from collections.abc import Sequence

from plugs.body.body import Solid
from plugs.ground.errors import Finding
from plugs.ground.records import record
from plugs.mould.drafts import Drafts, drafts_of
from plugs.mould.findings import mould_findings
from plugs.mould.parted import Parted, part_surface
from plugs.mould.remedies import Held
from plugs.mould.surface import surface_of
from plugs.mould.words import Mould


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


def take_mould(mould: Mould, finish: Solid, no_laminate: Sequence[str] = ()) -> Taken:
    """Return the finished surface in the parts of its mould, with its draft.

    Parameters
    ----------
    mould : Mould
        Whole.
    finish : Solid
        The finished part.
    no_laminate : sequence of str
        Panels and ends over which nothing is laid: there is no mould either, nor over mating faces.

    Returns
    -------
    Taken

    Raises
    ------
    PlugError
        A parting, a panel or a line that is not there.
    """
    open_places = [*no_laminate, *(cut.item.name for cut in finish.mating)]
    parted = part_surface(surface_of(finish), finish.loft, mould, open_places)
    drafts = drafts_of(parted)
    held = Held(parted=parted, loft=finish.loft, tools=finish.tools)
    return Taken(parted=parted, drafts=drafts, findings=mould_findings(held, drafts))
