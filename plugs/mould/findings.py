"""Findings on a mould: faces that lock it, faces with too little draft, each with what would let it go."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.errors import Finding
from plugs.ground.figures import tenth_up
from plugs.ground.lengths import as_length
from plugs.mould.drafts import LEVEL_DEG, Drafts, FaceDraft
from plugs.mould.parted import Parted
from plugs.mould.remedies import Held, draft_for, parting_for, piece_for, pull_for
from plugs.mould.words import CENTRELINE, MouldPart
from plugs.words.ways import called

Array = NDArray[np.float64]

SHALLOW: Final = 10.0
"""mm. So far along the pull a face without draft still lets go (common practice, no source)."""

_CRUMB: Final = 25.0  # mm2. What locks on less is the edge of a triangle
_MUCH: Final = 0.05  # of a face: less beside what locks is no word
_AWAY: Final = 0.9  # of a face: so much of it leans the wrong way, and the mould is better without it


def mould_findings(held: Held, drafts: Drafts) -> tuple[Finding, ...]:
    """Return what holds a mould on the plug.

    Parameters
    ----------
    held : Held
    drafts : Drafts

    Returns
    -------
    tuple of Finding
        One for each place that locks, hides or lacks draft, by part.
    """
    found = []
    parted, wanted = held.parted, held.parted.mould.draft_deg
    doubtful = [face for face in drafts.faces if _is_locked(face) or _is_steep(face, wanted)]
    general = _general(held, drafts, {face.part for face in doubtful if _is_locked(face)})
    for face in doubtful:
        part = next(one for one in parted.mould.parts if one.name == face.part)
        own = list(_own_remedies(held, drafts, face, part))
        if _is_locked(face):
            remedies = [*own, *general.get(face.part, ())]
            message = _locked(face, part, wanted)
        else:
            remedies = own
            least = round(face.worst_deg, 1) + 0.0
            message = (
                f"a draft of {least:.1f} degrees, over {as_length(face.depth, '.0f')} along "
                f"the pull, will not let the mould go; {wanted:g} are wanted (sources say 1 to 5)"
            )
        found.append(
            Finding(
                code="mould-locks" if _is_locked(face) else "no-draft",
                severity="mind",
                where=f"{face.place} in the {face.part}, {_place(face.at, held)}",
                message=message,
                remedy=", or ".join(remedies),
            )
        )
    return tuple(found)


def _is_locked(face: FaceDraft) -> bool:
    """Return whether a place holds the mould, whatever the draft that is wanted."""
    return face.locked_mm2 > _CRUMB or face.hidden_mm2 > _CRUMB


def _is_steep(face: FaceDraft, wanted: float) -> bool:
    """Return whether a place has too little draft, over more than what slides off."""
    return face.worst_deg < wanted - LEVEL_DEG and face.under_mm2 > _CRUMB and face.depth > SHALLOW


def _locked(face: FaceDraft, part: MouldPart, wanted: float) -> str:
    """Return how a place locks."""
    told = []
    if face.locked_mm2 > _CRUMB:
        told.append(
            f"it leans the wrong way by up to {-face.worst_deg:.1f} degrees on {_area(face.locked_mm2)}"
        )
    if face.hidden_mm2 > _CRUMB:
        told.append(f"{_area(face.hidden_mm2)} of it lie behind another face")
    lacks = (
        f"; {_area(face.under_mm2)} more have less than the {wanted:g} degrees wanted"
        if _is_steep(face, wanted) and face.under_mm2 > _MUCH * face.area_mm2
        else ""
    )
    return f"{' and '.join(told)}: it locks the mould that is pulled {pull_words(part)}{lacks}"


def pull_words(part: MouldPart) -> str:
    """Return which way a part is pulled, in words.

    Parameters
    ----------
    part : MouldPart

    Returns
    -------
    str
    """
    said = called()
    ways = {"left": said.to_left, "right": said.to_right, "front": said.forward, "rear": said.rearward}
    if isinstance(part.pull, str):
        return ways.get(part.pull, part.pull)
    return f"along {_way(part.pull)}"


def _way(pull: Sequence[float] | Array) -> str:
    """Return a pull as a recipe writes it."""
    return f"({', '.join(f'{value + 0.0:g}' for value in pull)})"


def _area(mm2: float) -> str:
    """Return an area, in two figures."""
    return f"{float(f'{0.01 * mm2:.2g}'):g} cm2"


def _place(at: Array, held: Held) -> str:
    """Return where a point lies: from the front, in which bay, to which side, how high."""
    x, y, z = (float(value) for value in np.round(at, 0) + 0.0)
    stations = held.loft.table.x
    course = held.loft.table.course
    along = at[0] if course is None else course.straightened(at[None])[0, 0]
    number = int(np.clip(np.searchsorted(stations, along), 1, len(stations) - 1))
    bay = f" (between stations {number} and {number + 1})" if len(stations) > 2 else ""
    return (
        f"worst at x = {as_length(x, '.0f', 'bare')}{bay}, y = {as_length(y, '.0f', 'bare')}, "
        f"z = {as_length(z, '.0f')}"
    )


def _own_remedies(held: Held, drafts: Drafts, face: FaceDraft, part: MouldPart) -> Iterator[str]:
    """Yield what would do for one place."""
    parted, wanted = held.parted, held.parted.mould.draft_deg
    tool = next((one for one in held.tools if one.name == face.owner and one.cover is None), None)
    if tool is not None:
        asked = draft_for(tool, _normals(parted, face), part.way, wanted)
        if asked is not None:
            yield f"give it {asked:g} degrees of draft ({tool.param}.draft_deg)"
    if _is_locked(face):
        piece = piece_for(held, face.owner)
        if piece is not None:
            yield (
                "take it by a loose piece: "
                f'MouldPart(name="{piece.name}", pull={_way(piece.way.round(3))}, panels=("{face.owner}",))'
            )
        if tool is None and face.locked_mm2 > _AWAY * face.area_mm2:
            yield f'leave it open: no_mould=("{face.owner}",)'
    if _is_locked(face) and 0.0 < face.depth <= SHALLOW:
        yield f"let the mould end {as_length(tenth_up(face.depth), '.1f', 'least')} short of there"
    elif tool is None and face.worst_deg > -45.0 and face.depth > 0.0:
        depth = math.ceil(face.depth)
        lean = math.tan(math.radians(wanted)) - math.tan(math.radians(face.worst_deg))
        yield (
            f"lean it {wanted - face.worst_deg:.1f} degrees more: "
            f"{as_length(tenth_up(depth * lean), '.1f', 'least')} over its "
            f"{as_length(depth, '.0f')} along the pull"
        )


def _normals(parted: Parted, face: FaceDraft) -> Array:
    """Return which way a place faces at the corners of its triangles."""
    surface = parted.surface
    number = [part.name for part in parted.mould.parts].index(face.part)
    mine = (surface.place == surface.names.index(face.place)) & (parted.part == number)
    return np.asarray(surface.normals[mine].reshape(-1, 3))


def _general(held: Held, drafts: Drafts, locked: set[str]) -> dict[str, list[str]]:
    """Return what would do for all places of each part that locks."""
    if not locked:
        return {}
    parted, found = held.parted, dict[str, list[str]]()
    mains = [part.name for part in parted.mould.parts if not part.panels]
    choice = parting_for(held) if locked & set(mains) else None
    for number, part in enumerate(parted.mould.parts):
        if part.name not in locked:
            continue
        rows = np.flatnonzero((parted.part == number) & np.isfinite(drafts.draft_deg))
        pull = pull_for(held, rows, LEVEL_DEG)
        words = [] if pull is None else [f'pull the "{part.name}" along {_way(pull)}']
        if choice is not None and part.name in mains:
            told = f'"{choice}"' if isinstance(choice, str) else as_length(choice, "g", "codeleast")
            where = choice if choice == CENTRELINE else "line" if isinstance(choice, str) else "height"
            words.append(f"part the mould at that {where}: parting={told}")
        if not words:
            words.append("part the mould there, or draw it with more draft")
        found[part.name] = words
    return found
