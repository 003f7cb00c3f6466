"""What is doubtful about hard points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from plugs.foam.hollow import Void
from plugs.ground.errors import Finding
from plugs.ground.lengths import as_length
from plugs.hard_points.set_in import FLAT_ENOUGH, SetIn, meets_void
from plugs.laminate.layup import Layup
from plugs.laminate.materials import Foam
from plugs.mesh import mesh

_LEAST_BEVEL: Final = 3.0
"""To one: cloth follows a slope of 3 to 1, and bridges over a steeper step (common practice, no source)."""
_STEP: Final = 1.0  # mm. A lower step is filled by the resin of a ply (common practice, no source)


def hard_point_doubts(
    made: Sequence[SetIn], layup: Layup | None, voids: Sequence[Void], axis: str
) -> Iterator[Finding]:
    """Yield what is doubtful about hard points.

    Parameters
    ----------
    made : sequence of SetIn
    layup : Layup or None
    voids : sequence of Void
        What is hollowed out of layers.
    axis : str
        Of the stack.

    Yields
    ------
    Finding
    """
    for one in made:
        where = one.name
        if one.item.after_ply is not None:
            yield from _between_plies(one)
        elif one.curve >= FLAT_ENOUGH:
            done = "is planed off it" if one.is_planed else "is filled over it"
            yield Finding(
                code="curved-under-flat",
                severity="note",
                where=where,
                message=f"its panel is curved: up to {as_length(one.curve, '.1f')} {done}",
                remedy=f"a narrower piece, under {as_length(FLAT_ENOUGH, 'g', 'size')} of curve, needs none",
            )
        if (
            layup is not None
            and isinstance(one.material, Foam)
            and layup.resin.kind in one.material.dissolved_by
        ):
            yield Finding(
                code="resin-eats-insert",
                severity="stop",
                where=where,
                message=f"{layup.resin.name} dissolves {one.material.name}",
                remedy="use a foam or board that it does not, such as plywood 12 or pvc 75, or epoxy",
            )
        yield from _over_hollows(one, voids, axis)


def _over_hollows(one: SetIn, voids: Sequence[Void], axis: str) -> Iterator[Finding]:
    """Yield the first hollow that a pocket breaks through to."""
    for void in voids if one.tool is not None else ():
        if void.outline.is_empty:
            continue
        if meets_void(one, mesh.extruded(void.outline, axis, void.from_mm, void.to_mm)):
            yield Finding(
                code="hollow-under-hard-point",
                severity="stop",
                where=one.name,
                message=f"its pocket, {as_length(one.depth, '.1f')} deep, breaks through to the hollow of "
                f"{void.layer}",
                remedy=f"use a hollow.wall of {as_length(one.depth + 10.0, '.0f', 'bare')} or more",
            )
            return


def _between_plies(one: SetIn) -> Iterator[Finding]:
    """Yield what is doubtful about one between plies."""
    if one.item.bevel < _LEAST_BEVEL and one.thickness > _STEP:
        yield Finding(
            code="square-edge",
            severity="mind",
            where=one.name,
            message=f"cloth bridges over its edge, {as_length(one.thickness, 'g', 'size')} high and "
            f"{one.item.bevel:g} to 1 (common practice: {_LEAST_BEVEL:g} to 1 or flatter)",
            remedy=f"use a bevel of {_LEAST_BEVEL:g} or more",
        )
    yield Finding(
        code="raised-surface",
        severity="note",
        where=one.name,
        message=f"the finished surface stands {as_length(one.rise, '.1f')} higher over it than "
        "drawn; drawings, gauges and views do not show that",
        remedy="fair it in, or let it into the foam: leave out after_ply",
    )
