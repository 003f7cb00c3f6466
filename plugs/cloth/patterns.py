"""Cloth patterns: the flat outline of every zone for every ply, with laps, trim, notches and warp."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import shapely

from plugs.cloth.cloth import ClothPly, Laps, Pattern
from plugs.cloth.cuts import cut_darts, cut_open
from plugs.cloth.edges import (
    THINNED,
    MovedEdges,
    PatchEdge,
    closed_up,
    edge_of,
    largest,
    notches_on,
)
from plugs.cloth.flatten import Flat, finding_of, flatten
from plugs.cloth.seams import Seam, seams_of, zone_letters
from plugs.cloth.zone_words import DartCut, Zone
from plugs.cloth.zones import DART, FREE, OPENED, Patch, Zoned
from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length
from plugs.ground.records import record
from plugs.words.ways import called

_BREADTH_SHARE: Final = 0.3
"""Of the narrower piece: a lap begins no farther in than this, or nothing of it would be left."""
_STAGGERS: Final = 3
"""Laps of plies over one another stand in so many places by turns: two would lie over each other in every
other ply."""
_OVER_ITSELF_MM2: Final = 25.0
"""mm2. Less overlap of a flat pattern with itself, 5 x 5 mm, is cut away by the scissors anyway."""
_OVER_ITSELF: Final = 1e-4  # of the patch's area: the same for a large one
_NO_PLY: Final = ClothPly(number=0)  # what plies share has none
_ARROWS: Final = {"forward": 180.0, "up": 0.0, "across": 0.0}  # degrees


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PatternSet:
    """All patterns of a part.

    Attributes
    ----------
    patterns : tuple of Pattern
        Ply by ply.
    whole : tuple of Pattern
        Of each patch that has pieces what its plies share: no lap at its seams, its trim at free edges.
    flats : tuple of Flat
        Each patch laid flat, cuts and darts made.
    seams : tuple of Seam
    findings : tuple of Finding
    without_mm2 : mapping of int to float, mm2
        By number of ply: surface that it covers and for which no piece can be drawn.
    """

    patterns: tuple[Pattern, ...]
    whole: tuple[Pattern, ...]
    flats: tuple[Flat, ...]
    seams: tuple[Seam, ...]
    findings: tuple[Finding, ...]
    without_mm2: Mapping[int, float]


def patterns_of(
    surface: Zoned, plies: Sequence[ClothPly], laps: Laps | None = None, darts: Sequence[DartCut] = ()
) -> PatternSet:
    """Return the patterns of every ply.

    Parameters
    ----------
    surface : Zoned
    plies : sequence of ClothPly
    laps : Laps or None
        The usual ones without any.
    darts : sequence of DartCut

    Returns
    -------
    PatternSet

    Raises
    ------
    PlugError
        A ply or a dart for a zone that is not there.
    """
    laps = laps or Laps()
    names = [zone.name for zone in surface.zones]
    for i, dart in enumerate(darts):
        if dart.zone not in names:
            raise _unknown(f"darts[{i}].zone", dart.zone, names)
    seams = seams_of(surface.patches, laps.notch_spacing, laps.ply_offset * _STAGGERS)
    flats, laid, findings = _unfolded(surface, seams, darts, names)
    letters, used = zone_letters(surface.patches), set[str]()
    found, breadth, without = [], _breadths(surface), dict.fromkeys([ply.number for ply in plies], 0.0)
    for i, ply in enumerate(plies):
        covered = _covered(ply, surface.zones, f"plies[{i}].zones")
        for flat, moved in zip(flats, laid, strict=True):
            if flat.patch.zone in covered:
                moves = [_move(flat, run[0], i, covered, laps, breadth) for run in moved.edge.runs]
                zone = names[flat.patch.zone]
                code = f"{letters[flat.patch.zone]}{ply.number}"
                pattern = _pattern(flat, moved, moves, ply, zone, code)
                if pattern.outline.area > 0.0:
                    found.append(pattern)
                    used.add(flat.patch.name)
                    over = lapped_over(flat.patch.name, pattern.zone_outline, pattern.outline)
                    findings += [finding for finding in over if finding not in findings]
                else:
                    without[ply.number] += flat.surface_mm2
                    findings += [_no_piece(flat)] if ply is plies[0] else []
    whole = [
        _shared(flat, moved, laps, names[flat.patch.zone], letters[flat.patch.zone])
        for flat, moved in zip(flats, laid, strict=True)
        if flat.patch.name in used
    ]
    return PatternSet(
        patterns=tuple(found), whole=tuple(whole), flats=tuple(flats), seams=seams,
        findings=tuple(findings), without_mm2=without,
    )  # fmt: skip


def _unfolded(
    surface: Zoned, seams: Sequence[Seam], darts: Sequence[DartCut], names: Sequence[str]
) -> tuple[list[Flat], list[MovedEdges], list[Finding]]:
    """Return each patch laid flat, with its edge to be moved and what is to be told of it."""
    flats, laid, findings = list[Flat](), list[MovedEdges](), list[Finding]()
    for patch in surface.patches:
        mine = _nearest_darts(patch, surface, [d for d in darts if d.zone == names[patch.zone]])
        flat = flatten(cut_darts(cut_open(patch), mine))
        edge = edge_of(flat, seams)
        flats.append(flat)
        laid.append(MovedEdges(edge))
        overlap = _overlap_of(flat, edge.zone_outline)
        findings += [found for found in (finding_of(flat), overlap) if found is not None]
    return flats, laid, findings


def _unknown(param: str, value: str, names: Sequence[str]) -> PlugError:
    """Return the error of a zone that is not there."""
    return PlugError(
        param=param, value=value, reason="there is no such zone", remedy=f"use one of: {', '.join(names)}"
    )


def _nearest_darts(patch: Patch, surface: Zoned, darts: Sequence[DartCut]) -> list[DartCut]:
    """Return the darts of a zone that lie nearer to this patch than to the zone's others."""

    def gap(other: Patch, dart: DartCut) -> float:
        return float(np.linalg.norm(other.vertices - np.array(dart.tip), axis=1).min())

    rest = [p for p in surface.patches if p.zone == patch.zone and p is not patch]
    return [d for d in darts if all(gap(patch, d) <= gap(other, d) for other in rest)]


def _covered(ply: ClothPly, zones: Sequence[Zone], param: str) -> set[int]:
    """Return the numbers of the zones that a ply covers."""
    if not ply.zones:
        return set(range(len(zones)))
    found: set[int] = set()
    for word in ply.zones:
        mine = {
            i for i, z in enumerate(zones) if word == z.name or word in z.panels or _is_side(z.name, word)
        }
        if not mine:
            raise _unknown(param, word, [z.name for z in zones])
        found |= mine
    return found


def _is_side(name: str, word: str) -> bool:
    """Return whether a zone is one side of a panel that a word names."""
    return name in (f"{called().right} {word}", f"{called().left} {word}")


def lapped_over(patch: str, zone_outline: shapely.Polygon, outline: shapely.Polygon) -> list[Finding]:
    """Return what is said of holes in a patch that its laps have closed, such as a deep pocket's mouth.

    Parameters
    ----------
    patch : str
        Its name.
    zone_outline, outline : shapely.Polygon, mm
        The patch laid flat, and its piece of cloth.
    """
    found = []
    for ring in zone_outline.interiors:
        hole = shapely.Polygon(ring)
        if outline.contains(hole):
            left, bottom, right, top = hole.bounds
            sides = sorted((right - left, top - bottom), reverse=True)
            found.append(
                Finding(
                    code="cloth-over-hole",
                    severity="note",
                    where=patch,
                    message="the laps of its plies meet over the hole of "
                    f"{as_length(sides[0], '.0f', 'bare')} x {as_length(sides[1], '.0f')}, so their pieces "
                    "are cut without it",
                    remedy="slit the cloth over the hole from corner to corner, and lay the tongues in",
                )
            )
    return found


def _no_piece(flat: Flat) -> Finding:
    """Return what is said of a patch for which no piece can be drawn."""
    return Finding(
        code="no-cloth",
        severity="mind",
        where=flat.patch.name,
        message="its pattern folds up so that no piece of cloth can be drawn",
        remedy="split the zone in 2 or more, such as floor and wall, or give it darts",
    )


def _overlap_of(flat: Flat, zone_outline: shapely.Polygon) -> Finding | None:
    """Return what is said of a piece that lies over itself when it is flat, or None."""
    twice = flat.area_ratio * flat.surface_mm2 - float(zone_outline.area)
    if flat.flipped or twice < max(_OVER_ITSELF_MM2, _OVER_ITSELF * flat.surface_mm2):
        return None
    return Finding(
        code="cloth-overlaps",
        severity="mind",
        where=flat.patch.name,
        message=f"the pattern lies over itself, laid flat, on {twice / 100.0:.1f} cm2",
        remedy="split the zone in 2 where it overlaps",
    )


def _move(
    flat: Flat, beyond: int, index: int, covered: set[int], laps: Laps, breadth: Mapping[int, float]
) -> float:
    """Return how far a piece's edge lies beyond the edge of its zone, negative inside it."""
    if beyond in (FREE, OPENED, DART):
        return _at_no_seam(beyond, laps)
    if beyond not in covered or beyond not in breadth:  # no ply there, or crumbs without a piece
        return laps.overlap
    begin = laps.ply_offset * (1 + (index // 2) % _STAGGERS)
    begin = min(begin, _BREADTH_SHARE * min(breadth[flat.patch.zone], breadth[beyond]))
    takes = (flat.patch.zone < beyond) == (index % 2 == 0)
    return begin + laps.overlap if takes else -begin


def _at_no_seam(beyond: int, laps: Laps) -> float:
    """Return how far the edge of any ply lies beyond that of its zone where no other zone begins."""
    return {FREE: laps.trim, OPENED: laps.overlap}.get(beyond, 0.0)


def laying_order(patterns: PatternSet, ply: int) -> tuple[Pattern, ...]:
    """Return the pieces of a ply in the order in which each laps over those before it.

    Parameters
    ----------
    patterns : PatternSet
    ply : int, dimensionless
        Its number.

    Returns
    -------
    tuple of Pattern
        What gives way at a seam is laid before what takes the lap.
    """
    index = list(patterns.without_mm2).index(ply)
    mine = tuple(pattern for pattern in patterns.patterns if pattern.ply == ply)
    return mine[::-1] if index % 2 == 0 else mine


def _breadths(surface: Zoned) -> dict[int, float]:
    """Return how broad the narrowest patch of each zone is: twice its area over its edge."""
    found: dict[int, float] = {}
    for patch in surface.patches:
        ends = patch.vertices[patch.rim]
        edge = float(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum())
        found[patch.zone] = min(found.get(patch.zone, np.inf), 2.0 * patch.area_mm2 / max(edge, 1e-9))
    return found


def _pattern(
    flat: Flat, moved: MovedEdges, moves: Sequence[float], ply: ClothPly, zone: str, code: str
) -> Pattern:
    """Return the pattern of one patch for one ply, each run of its rim moved out or in."""
    edge = moved.edge
    seams_flat = tuple(
        np.asarray(line.coords) for line, run in zip(edge.lines, edge.runs, strict=True) if run[0] >= 0
    )
    outline = closed_up(shapely.simplify(moved.outline(moves), THINNED))
    kept, trimmed = (
        outline,
        [0.0 if run[0] == FREE else move for run, move in zip(edge.runs, moves, strict=True)],
    )
    if trimmed != list(moves):
        kept = largest(shapely.intersection(outline, moved.outline(trimmed)))
    by_zone = {run[0]: move for run, move in zip(edge.runs, moves, strict=True)}
    degrees = _ARROWS[flat.warp]
    words = (called().to_right if flat.warp == "across" else flat.warp).upper()
    return Pattern(
        name=f"{code} {flat.patch.name}",
        ply=ply.number, cloth=ply.cloth, zone=zone, patch=flat.patch.name,
        outline=outline, kept=kept, zone_outline=edge.zone_outline,
        moves=by_zone, laps=_strips(flat, edge, trimmed),
        seams=seams_flat,
        notches=notches_on(edge.spots, outline, by_zone), centrelines=edge.centrelines,
        arrow_deg=degrees, arrow=words, bias_deg=ply.bias_deg,
        surface_mm2=flat.surface_mm2, is_exact=flat.is_exact,
        stretch_min=flat.stretch_min, stretch_max=flat.stretch_max,
    )  # fmt: skip


def _shared(flat: Flat, moved: MovedEdges, laps: Laps, zone: str, letter: str) -> Pattern:
    """Return what all plies of a patch share."""
    moves = [_at_no_seam(run[0], laps) for run in moved.edge.runs]
    return _pattern(flat, moved, moves, _NO_PLY, zone, letter)


def _strips(
    flat: Flat, edge: PatchEdge, moves: Sequence[float]
) -> tuple[tuple[float, tuple[float, float, float]], ...]:
    """Return the strip that each run of a rim is moved by, and the middle of the run on the plug."""
    found = []
    for (_, chain, is_closed), move in zip(edge.runs, moves, strict=True):
        points = flat.patch.vertices[np.append(chain, chain[:1]) if is_closed else chain]
        length = np.linalg.norm(np.diff(points, axis=0), axis=1)
        whole = float(length.sum())
        if move and whole > 0.0:
            x, y, z = (float(v) for v in length @ (0.5 * (points[1:] + points[:-1])) / whole)
            found.append((move * whole, (x, y, z)))
    return tuple(found)
