"""What to do where the weave locks: another start, darts, or a split of the zone; each with its shear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drape.darts import Dart, darts_for, shear_with_darts
from plugs.drape.drape import Asked, Drape, drape, drapes
from plugs.drape.geodesic import Surface, direction, locate, make_surface, middle_of, positions
from plugs.drape.splitting import split_at_zero
from plugs.ground.errors import Finding, PlugError
from plugs.ground.records import record
from plugs.ground.units import format_length
from plugs.mesh.triangles import areas

Array = NDArray[np.float64]

N_STARTS: Final = 6
"""Starts and directions that are tried."""

_COARSER: Final = 3.0  # times the cell, while other starts are tried: a ninth of the work
_TRIAL_ACROSS: Final = 16.0  # cells across the patch at least, in a trial
_APART: Final = 2.0  # cells between two starts that are tried
_WORTH: Final = 0.95  # as in `darts`: less is not worth another start
_AS_MUCH: Final = 0.98  # of what the net reached before: no remedy leaves cloth out
_ON_LINE: Final = 1e-5  # mm. A vertex so near the line is taken to lie on it
_CRUMB: Final = 1e-3  # mm2. A part no larger is left by rounding
_LEAST_REACH: Final = 0.9  # of the patch: a net that reaches less tells little of it
_BIAS: Final = np.exp(0.25j * np.pi)


@record(frozen=True, slots=True, kw_only=True, eq=False)
class ZoneSplit:
    """A zone parted by a plane, each part laid from its own middle.

    Attributes
    ----------
    at, square_to : (3,) float, mm and dimensionless
        A point of the plane and the direction square to it.
    parts : tuple of Drape
        Where a part reaches over the plane not at all, there is one only.
    """

    at: Array
    square_to: Array
    parts: tuple[Drape, ...]
    largest_shear_deg: float
    n_locked: int


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Remedies:
    """What can be done about a net that locks.

    Attributes
    ----------
    restart : Drape or None
        From another start or in another direction, when that shears less.
    darts : tuple of Dart
        One in each quarter of the net that locks.
    darted_deg : float, degrees
        Largest shear with all the darts, an estimate.
    split : ZoneSplit or None
    """

    restart: Drape | None
    darts: tuple[Dart, ...]
    darted_deg: float
    split: ZoneSplit | None


def nets_on(
    asked: Sequence[Asked], display_unit: str = "mm"
) -> list[tuple[Drape | None, Remedies | None, tuple[Finding, ...]]]:
    """Return the nets on zones, what can be done where one locks, and what is to be known of both.

    Parameters
    ----------
    asked : sequence of Asked
        With the name of the patch as the place.
    display_unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    list of tuple of (Drape or None), (Remedies or None) and (tuple of Finding)
        Where no net can be laid there is none, and a warning tells why.
    """
    return [_told(one, net, display_unit) for one, net in zip(asked, drapes(asked), strict=True)]


def _told(
    asked: Asked, net: Drape | PlugError, unit: str
) -> tuple[Drape | None, Remedies | None, tuple[Finding, ...]]:
    """Return a net, what can be done about it, and what is to be known."""
    zone = asked.where
    if isinstance(net, Drape):
        remedies = remedies_for(asked.surface, net)
        return net, remedies, drape_findings(net, remedies, zone, unit)
    place = _place(middle_of(asked.surface) if asked.start is None else np.asarray(asked.start), unit)
    remedy = "split the zone in 2 where it narrows or bends, or give it another start"
    told = Finding(
        code="cloth-not-draped", severity="mind", where=zone,
        message=f"how the cloth lies cannot be worked out from a start at {place}: {net.reason}",
        remedy=net.remedy if net.param == "warp" else remedy,
    )  # fmt: skip
    return None, None, (told,)


def remedies_for(
    surface: Surface,
    draped: Drape,
    *,
    split_at: Sequence[float] | None = None,
    split_square_to: Sequence[float] | None = None,
) -> Remedies | None:
    """Return what can be done about a net that locks, None when it does not.

    Parameters
    ----------
    draped : Drape
        Of that patch.
    split_at : (3,) float or None, mm
        A point of the plane to split by; None is the start.
    split_square_to : (3,) float or None, dimensionless
        Direction square to that plane; None tries that of the warp and that of the weft and keeps the better.
    """
    if not draped.n_locked:
        return None
    restart = better_start(surface, draped)
    if restart is not None and not restart.n_locked:
        return Remedies(restart=restart, darts=(), darted_deg=draped.largest_shear_deg, split=None)
    darts = darts_for(surface, draped)
    at = draped.start if split_at is None else np.asarray(split_at, dtype=np.float64)
    if split_square_to is not None:
        ways = [np.asarray(split_square_to, dtype=np.float64)]
    else:
        tri, _ = locate(surface, draped.start)
        ways = [draped.warp, np.cross(surface.normal[tri], draped.warp)]
    trials = [trial for way in ways if (trial := _split_if_any(surface, draped, at, way)) is not None]
    best = min(trials, key=lambda trial: trial.largest_shear_deg, default=None)
    return Remedies(
        restart=restart,
        darts=darts,
        darted_deg=shear_with_darts(draped, darts),
        split=best if best is not None and best.largest_shear_deg < draped.largest_shear_deg else None,
    )


def better_start(surface: Surface, draped: Drape, *, count: int = N_STARTS) -> Drape | None:
    """Return the best of a few other nets, when it shears clearly less and reaches as far.

    Tried in coarse cells, and the best of them once more in the net's own: the start that was given, the
    middle of the patch, half the way to the place of the largest shear, and as far the other way; each
    with the warp as given and on the bias.

    Parameters
    ----------
    count : int
        Number of nets that are tried.
    """
    size = float(np.ptp(surface.vertices, axis=0).max())
    coarse = max(draped.cell, min(_COARSER * draped.cell, size / _TRIAL_ACROSS))
    tried = [_again(surface, draped, *one, coarse) for one in _other_starts(surface, draped)[:count]]
    trials = [trial for trial in drapes(tried) if isinstance(trial, Drape)]
    best = min(trials, key=lambda trial: round(trial.largest_shear_deg, 6), default=None)
    if best is None:
        return None
    (fine,) = drapes([_again(surface, draped, best.start, best.warp, draped.cell)])
    if isinstance(fine, PlugError):
        return None
    is_better = fine.largest_shear_deg < _WORTH * draped.largest_shear_deg
    return fine if is_better and fine.reached_ratio > _AS_MUCH * min(draped.reached_ratio, 1.0) else None


def _again(surface: Surface, draped: Drape, start: Array, warp: Array, cell: float) -> Asked:
    """Return a net asked for once more from another start."""
    return Asked(
        surface=surface, start=start, warp=warp, cell=cell, warn_deg=draped.warn_deg, lock_deg=draped.lock_deg
    )


def _other_starts(surface: Surface, draped: Drape) -> list[tuple[Array, Array]]:
    """Return starts and warp directions other than those of a net, the likeliest first."""
    half = (draped.largest_at - draped.start) / 2.0
    starts = [draped.start]
    for wish in (middle_of(surface), draped.start + half, draped.start - half):
        tri, at = locate(surface, wish)
        place = positions(surface, np.array([tri]), np.array([at]))[0]
        if min(float(np.linalg.norm(place - other)) for other in starts) > _APART * draped.cell:
            starts.append(place)
    found = []
    for start in starts:
        tri, _ = locate(surface, start)
        along = direction(surface, tri, draped.warp) or 1.0 + 0j
        for turn in (1.0 + 0j, complex(_BIAS)):
            way = along * turn
            found.append((start, way.real * surface.along[tri] + way.imag * surface.across[tri]))
    return found[1:]


def split_zone(surface: Surface, draped: Drape, at: Array, square_to: Array) -> ZoneSplit:
    """Return a zone parted by a plane, with the net of each part from its own middle.

    Parameters
    ----------
    draped : Drape
        Its cells, angles and warp are used again.
    at : (3,) float, mm
        A point of the plane.
    square_to : (3,) float, dimensionless
        Direction square to the plane, any length.
    """
    way = np.asarray(square_to, dtype=np.float64) / np.linalg.norm(square_to)
    height = (surface.vertices - np.asarray(at)) @ way
    split = split_at_zero(surface.vertices, surface.triangles, height[surface.triangles], nearest=_ON_LINE)
    is_ahead = split.fields.mean(axis=1) > 0.0
    parts = []
    for side in (is_ahead, ~is_ahead):
        if areas(split.vertices.take(split.triangles[side], axis=0)).sum() > _CRUMB:
            part = make_surface(split.vertices, split.triangles[side], is_parted=True)
            parts.append(_part_drape(part, draped))
    return ZoneSplit(
        at=np.asarray(at, dtype=np.float64),
        square_to=way,
        parts=tuple(parts),
        largest_shear_deg=max(part.largest_shear_deg for part in parts),
        n_locked=sum(part.n_locked for part in parts),
    )


def _split_if_any(surface: Surface, draped: Drape, at: Array, square_to: Array) -> ZoneSplit | None:
    """Return a zone parted by a plane, None where no net can be laid on one of its parts."""
    try:
        return split_zone(surface, draped, at, square_to)
    except PlugError:
        return None


def _part_drape(part: Surface, draped: Drape) -> Drape:
    """Return the net of a part of a zone, with the warp as near that of the whole as it can be."""
    size = float(np.ptp(part.vertices, axis=0).max())
    middle = middle_of(part)
    tri, _ = locate(part, middle)
    warp = draped.warp if direction(part, tri, draped.warp) else None
    cell = min(draped.cell, size / _TRIAL_ACROSS)
    return drape(part, start=middle, warp=warp, cell=cell, warn_deg=draped.warn_deg, lock_deg=draped.lock_deg)


def drape_findings(
    draped: Drape, remedies: Remedies | None, zone: str, display_unit: str = "mm"
) -> tuple[Finding, ...]:
    """Return what is to be known of a net before the cloth is cut.

    Parameters
    ----------
    zone : str
        Name of the patch.
    display_unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    tuple of Finding
        A warning where the cloth locks, a note where it is sheared by more than the angle to warn of, a
        note where the net does not reach all of the patch.
    """
    found = []
    place = _place(draped.largest_at, display_unit)
    if draped.n_locked:
        message = (
            f"the cloth must shear {draped.largest_shear_deg:.1f} degrees at {place}; it wrinkles from "
            f"{draped.lock_deg:g} on, and {100.0 * draped.locked_ratio:.1f} % of the zone is beyond that"
        )
        remedy = _remedy_words(remedies, display_unit)
        found.append(
            Finding(code="cloth-wrinkles", severity="mind", where=zone, message=message, remedy=remedy)
        )
    elif draped.largest_shear_deg > draped.warn_deg:
        message = (
            f"the cloth must shear {draped.largest_shear_deg:.1f} degrees at {place}; wrinkles are likely "
            f"from {draped.warn_deg:g} (common practice)"
        )
        remedy = "work it from the start outward, on the bias, or use a looser weave"
        found.append(
            Finding(code="cloth-shears", severity="note", where=zone, message=message, remedy=remedy)
        )
    elif draped.most_shear_deg > draped.warn_deg and draped.hides_a_corner:
        message = (
            "the surface turns there more sharply than the net of threads can follow, and cloth does not "
            "shear round such a corner"
        )
        remedy = "snip the cloth there from its edge, or work it down with narrow strips"
        where = f"{zone} at {_place(draped.most_at, display_unit)}"
        found.append(
            Finding(code="cloth-shears", severity="note", where=where, message=message, remedy=remedy)
        )
    if draped.reached_ratio < _LEAST_REACH:
        missed = 100.0 * (1.0 - draped.reached_ratio)
        message = f"how the cloth lies is not checked on {missed:.0f} % of the zone"
        remedy = "split the zone where it narrows or turns sharply, or start nearer to what is not reached"
        found.append(
            Finding(code="cloth-does-not-reach", severity="note", where=zone, message=message, remedy=remedy)
        )
    return tuple(found)


def _place(point: Array, unit: str) -> str:
    """Return a place in words."""
    pairs = zip("xyz", point.tolist(), strict=True)
    return ", ".join(f"{axis} = {format_length(round(value, 1), unit)}" for axis, value in pairs)


def _remedy_words(remedies: Remedies | None, unit: str) -> str:
    """Return the remedies in words, each with its shear."""
    if remedies is None:
        return "cut a dart from the edge towards that place, or split the zone there"
    ways = []
    if remedies.restart is not None:
        again = remedies.restart
        warp = ", ".join(f"{value:.2f}" for value in again.warp.tolist())
        ways.append(
            f"start at {_place(again.start, unit)} with the warp along ({warp}): "
            f"{again.largest_shear_deg:.1f} degrees"
        )
    if remedies.darts:
        count = len(remedies.darts)
        name = "a dart" if count == 1 else f"{count} darts"
        cuts = "; ".join(
            f"{format_length(round(dart.length, 1), unit)} long from {_place(dart.line[0], unit)}, "
            f"{format_length(round(dart.width, 1), unit)} wide there"
            for dart in remedies.darts
        )
        ways.append(f"{name} ({cuts}): about {remedies.darted_deg:.0f} degrees")
    if remedies.split is not None:
        shear = remedies.split.largest_shear_deg
        ways.append(f"split the zone at {_place(remedies.split.at, unit)}: {shear:.1f} degrees")
    return "; or ".join(ways) if ways else "split the zone at that place, and lay each part by itself"
