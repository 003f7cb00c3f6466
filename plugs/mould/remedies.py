"""What lets a mould go where the plug holds it: another pull, a parting, a loose piece, more draft."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.lines.stations import Loft
from plugs.mould.drafts import LEVEL_DEG, covered, degrees
from plugs.mould.parted import OPEN, Parted, corner_pairs, sides_by
from plugs.mould.words import CENTRELINE, Mould, MouldPart, whole_mould
from plugs.recesses.recess import Tool

Array = NDArray[np.float64]
Indices = NDArray[np.int64]

_WAYS: Final = 1500  # looked at all round, some 5 degrees apart
_CLOSER: Final = 12  # rounds of looking closer, each within half of the one before
_ALIKE: Final = 200.0  # of 1: normals that differ by less count once
_MOST_DRAFT_DEG: Final = 60.0  # more is no wall


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Held:
    """What holds a mould, and all that a remedy is looked for in.

    Attributes
    ----------
    parted : Parted
    loft : Loft
        Of the finished surface.
    tools : tuple of Tool
        Of recesses, bosses and forms.
    """

    parted: Parted
    loft: Loft
    tools: tuple[Tool, ...]

    @property
    def facing(self) -> Array:
        """Which way each triangle faces in its middle, (m, 3)."""
        middle = self.parted.surface.normals.mean(axis=1)
        return np.asarray(middle / np.maximum(np.linalg.norm(middle, axis=1, keepdims=True), 1e-12))

    def is_free(self, rows: Indices, way: Array) -> bool:
        """Return whether some triangles let go of a mould that is pulled along a way.

        Parameters
        ----------
        rows : (k,) int
        way : (3,) float, dimensionless

        Returns
        -------
        bool
        """
        facing = self.facing
        if not len(rows) or degrees(facing[rows] @ way).min() < -LEVEL_DEG:
            return False
        return not covered(self.parted.surface.corners, rows, facing, way).any()


def pull_for(held: Held, rows: Indices, wanted_deg: float) -> tuple[float, float, float] | None:
    """Return the pull along which some triangles let go, with as much draft as can be.

    Parameters
    ----------
    held : Held
    rows : (k,) int
    wanted_deg : float, degrees
        That is enough.

    Returns
    -------
    tuple of 3 float, dimensionless, or None
        Rounded as it is told; None where none has that draft.
    """
    normals = held.parted.surface.normals[rows].reshape(-1, 3)
    normals = np.unique(np.rint(normals * _ALIKE), axis=0) / _ALIKE
    turn = np.arange(_WAYS) * np.pi * (3.0 - np.sqrt(5.0))  # a golden spiral spreads evenly (textbook)
    z = 1.0 - (2.0 * np.arange(_WAYS) + 1.0) / _WAYS
    ways = np.column_stack([np.sqrt(1.0 - z * z)[:, None] * np.column_stack([np.cos(turn), np.sin(turn)]), z])
    ways = np.concatenate([np.vstack([np.eye(3), -np.eye(3)]), ways])
    best, reach = ways[int(np.argmax((normals @ ways.T).min(axis=0)))], 0.1
    for _ in range(_CLOSER):
        near = np.concatenate([best[None], best + reach * ways[:: _WAYS // 60]])
        near /= np.linalg.norm(near, axis=1, keepdims=True)
        best, reach = near[int(np.argmax((normals @ near.T).min(axis=0)))], 0.5 * reach
    told = np.round(best, 3) + 0.0
    way = told / np.linalg.norm(told)
    is_enough = degrees(normals @ way).min() >= wanted_deg - 0.5 and held.is_free(rows, way)
    return (float(told[0]), float(told[1]), float(told[2])) if is_enough else None


def parting_for(held: Held) -> str | float | None:
    """Return a parting at which the halves, pulled straight off, let go all over.

    Parameters
    ----------
    held : Held

    Returns
    -------
    str, float, mm, or None
        The centreline, else a corner's line, else the height at which the plug is widest; None where none
        does.
    """
    parted, facing = held.parted, held.facing
    mains = [i for i, part in enumerate(parted.mould.parts) if not part.panels]
    rows = np.flatnonzero(np.isin(parted.part, mains) & (parted.surface.areas_mm2 > 1.0))
    widest = parted.surface.vertices[int(np.argmax(np.abs(parted.surface.vertices[:, 1])))]
    choices: list[str | float] = [CENTRELINE, *corner_pairs(held.loft), float(np.round(widest[2], 1))]
    for choice in choices:
        if choice == parted.mould.parting:
            continue
        whole = whole_mould(Mould(parting=choice))
        side, is_crossed = sides_by(parted.surface, held.loft, choice)
        ways = np.array([part.way for part in whole.parts])
        own = rows[~is_crossed[rows]]
        draft = degrees(np.sum(facing[own] * ways[side[own]], axis=1))
        if len(set(side[own].tolist())) < 2 or draft.min() < -LEVEL_DEG:
            continue
        hidden = [covered(parted.surface.corners, own[side[own] == i], facing, ways[i]).any() for i in (0, 1)]
        if not any(hidden):
            return choice
    return None


def piece_for(held: Held, owner: str) -> MouldPart | None:
    """Return a loose piece that takes all of a recess or boss, and lets go.

    Parameters
    ----------
    held : Held
    owner : str

    Returns
    -------
    MouldPart or None
        None where it is no such thing, or none lets go.
    """
    surface, part = held.parted.surface, held.parted.part
    tool = next((one for one in held.tools if one.name == owner), None)
    rows = np.flatnonzero((np.array(surface.owners)[surface.place] == owner) & (part != OPEN))
    if tool is None or tool.is_through or any(owner in one.panels for one in held.parted.mould.parts):
        return None
    out = (1.0 if tool.kind == "add" else -1.0) * tool.frame[:, 0]
    straight = np.round(out, 3) + 0.0
    made = MouldPart(name=f"{owner} piece", pull=tuple(straight.tolist()), panels=(owner,))
    if held.is_free(rows, made.way):
        return made
    pull = pull_for(held, rows, LEVEL_DEG)
    return None if pull is None else replace(made, pull=pull)


def draft_for(tool: Tool, normals: Sequence[Array] | Array, way: Array, wanted_deg: float) -> float | None:
    """Return the draft to give a recess or boss, so that its walls lean as wanted from a pull.

    A wall square to e, out of a hole along a, that is drawn with a draft r faces cos r e + sin r a. Along a
    pull d that is R sin(r + f), with R and f of e d and a d: so r follows.

    Parameters
    ----------
    tool : Tool
    normals : (k, 3) float, dimensionless
        Which way its walls face now.
    way : (3,) float, dimensionless
        Of the pull.
    wanted_deg : float, degrees

    Returns
    -------
    float or None, degrees
        Rounded up; None where none would do.
    """
    out = (1.0 if tool.kind == "add" else -1.0) * tool.frame[:, 0]
    walls = np.asarray(normals)
    walls = walls[degrees(walls @ out) < _MOST_DRAFT_DEG]
    across = walls - np.outer(walls @ out, out)
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    one, other = across @ way, float(out @ way)
    size, phase = np.hypot(one, other), np.degrees(np.arctan2(one, other))
    sine = np.sin(np.radians(wanted_deg)) / np.maximum(size, 1e-12)
    if not len(walls) or sine.max() > 1.0:
        return None
    asked = float((np.degrees(np.arcsin(sine)) - phase).max())
    return float(np.ceil(asked * 10.0 - 1e-6) / 10.0) if 0.0 <= asked < _MOST_DRAFT_DEG else None
