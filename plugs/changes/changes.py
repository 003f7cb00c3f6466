"""What changed from one build to another: parameters, figures, findings, workpieces, the surface."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from plugs.changes.moved import Moved, moved, thinned
from plugs.changes.record import FOAM, Record
from plugs.changes.verdicts import Verdict, judged
from plugs.ground.errors import PlugError
from plugs.ground.records import record


@record(frozen=True, slots=True, kw_only=True)
class Change:
    """A parameter or a figure, before and after.

    Attributes
    ----------
    name : str
    old, new : object
        None where there is none.
    """

    name: str
    old: Any
    new: Any


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Changes:
    """What changed.

    Attributes
    ----------
    title, unit : str
        Of the new build.
    parameters, figures : tuple of Change
        Parameters that differ; every figure that both builds have.
    came, went : tuple of mapping
        Findings, as in summary.json.
    verdicts : tuple of Verdict
        On every workpiece of a kind that both builds worked out.
    left : tuple of str
        Foam of the old build that nothing is cut from.
    moved : Moved or None
        The surface of the foam, for a plug that is glued already.
    """

    title: str
    unit: str
    parameters: tuple[Change, ...]
    figures: tuple[Change, ...]
    came: tuple[Mapping[str, str], ...]
    went: tuple[Mapping[str, str], ...]
    verdicts: tuple[Verdict, ...]
    left: tuple[str, ...]
    moved: Moved | None

    def counts(self, kinds: Sequence[str]) -> Counter[str]:
        """Return how many workpieces of some kinds there are of each verdict.

        Parameters
        ----------
        kinds : sequence of str

        Returns
        -------
        Counter of str
        """
        return Counter(found.verdict for found in self.verdicts if found.one.kind in kinds)


def changed(old: Record, new: Record, surface: Moved | None = None) -> Changes:
    """Return what changed from one build to another.

    Parameters
    ----------
    old, new : Record
    surface : Moved or None
        Where the foam's has moved.

    Returns
    -------
    Changes
    """
    verdicts, left = judged(old, new)
    both = [kind for kind in new.kinds if kind in old.kinds]
    return Changes(
        title=new.title,
        unit=new.unit,
        parameters=tuple(
            Change(name=name, old=old.parameters.get(name), new=new.parameters.get(name))
            for name in dict.fromkeys((*new.parameters, *old.parameters))
            if old.parameters.get(name) != new.parameters.get(name)
        ),
        figures=tuple(
            Change(name=name, old=old.figures[name], new=value)
            for name, value in new.figures.items()
            if name in old.figures
        ),
        came=_without(new.findings, old),
        went=_without(old.findings, new),
        verdicts=tuple(found for found in verdicts if found.one.kind in both),
        left=left if set(FOAM) & set(both) else (),
        moved=surface,
    )


def since_cut(cut: Record | None, new: Record, *, wants_surface: bool = True) -> Changes | None:
    """Return what changed since foam was cut.

    Parameters
    ----------
    cut : Record or None
        Of the build that it was cut from.
    new : Record
    wants_surface : bool
        Whether to look where the foam's surface has moved.

    Returns
    -------
    Changes or None
        None where no build is marked.
    """
    return None if cut is None else changed(cut, new, moved(cut, new) if wants_surface else None)


def between(old: Record, new: Record) -> Changes:
    """Return what changed between any two builds, as their folders have them.

    Parameters
    ----------
    old, new : Record

    Returns
    -------
    Changes

    Raises
    ------
    PlugError
        They are of two recipes.
    """
    if old.recipe != new.recipe:
        raise PlugError(
            param="NEW",
            value=new.recipe,
            reason=f"the build there is of another recipe than the old one, which is of {old.recipe}",
            remedy=f"name two folders with builds of {old.recipe}",
        )
    return changed(old, new, moved(thinned(old), new))


def _without(findings: Sequence[Mapping[str, str]], other: Record) -> tuple[Mapping[str, str], ...]:
    """Return the findings that another build has not, of stages that it worked out."""
    known = {(found["code"], found["where"]) for found in other.findings}
    return tuple(
        found
        for found in findings
        if found["stage"] in ("", *other.stages) and (found["code"], found["where"]) not in known
    )
