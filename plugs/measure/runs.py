"""Pieces of outline as a file holds them, and how their open ends are joined."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from plugs.ground.errors import PlugError
from plugs.ground.records import record
from plugs.ground.tolerances import LARGEST, LENGTH
from plugs.ground.units import to_mm, unit_named
from plugs.tables.csv_in import closest

Array = NDArray[np.float64]

LARGEST_DRAWING: Final = 20_000_000
"""Bytes. An outline of 100 000 points takes 5 MB as DXF; more than this is another drawing."""

CHORD_OF_CURVES: Final = 0.005
"""Largest distance, mm, between a curve of a drawing and the points that stand for it: a hundredth of
the default tolerance of fairing."""

MOST_POINTS: Final = 400_000
"""Points of all curves of a drawing together: four outlines of 100 000 points."""

MOST_PIECES: Final = 20_000
"""Lines, curves, shapes, copies and groups that are looked at in a drawing, hidden and empty ones too."""

_UNITS: Final = ("mm", "cm", "m", "in", "ft")


class Sourced(np.ndarray):
    """Points that know the file or the outline that they come from; otherwise an array like any other.

    Attributes
    ----------
    source : str
        Such as a file's name; kept by slices and copies.
    """

    source: str = ""

    def __array_finalize__(self, parent: object) -> None:
        """Take the source over from the array that this one was made from."""
        self.source = getattr(parent, "source", "")


def sourced(points: Array, source: str) -> Array:
    """Return points that know where they come from.

    Parameters
    ----------
    points : (n, 2) float, mm
    source : str
        Such as a file's name.

    Returns
    -------
    (n, 2) float, mm
    """
    known = points.view(Sourced)
    known.source = source
    return known


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A run of points that a file gives as one.

    Attributes
    ----------
    points : (n, 2) float, mm
        In order; a closed piece does not repeat its first point.
    is_closed : bool
        Whether the last point is followed by the first.
    name : str
        What the file calls it; empty if it has no name.
    """

    points: Array
    is_closed: bool
    name: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Joined:
    """A run of pieces after joining.

    Attributes
    ----------
    points : (n, 2) float, mm
        In order; a closed run does not repeat its first point.
    is_closed : bool
        Whether the last point is followed by the first.
    gaps : tuple of float, mm
        Distance between the ends at each joint that was not exact.
    """

    points: Array
    is_closed: bool
    gaps: tuple[float, ...]


def pair_of(value: object, param: str) -> tuple[float, float]:
    """Return a point as two floats, whether a tuple, a list or a row of an array.

    Parameters
    ----------
    value : object
        What the recipe gives.
    param : str
        Where it gives it.

    Returns
    -------
    tuple of (float, float), mm

    Raises
    ------
    PlugError
        It is no pair of finite numbers, or lies farther out than any plug.
    """
    try:
        point = np.array(value, dtype=np.float64)
    except (TypeError, ValueError):
        point = np.empty(0)
    if isinstance(value, str) or point.shape != (2,) or not (np.abs(point) <= LARGEST).all():
        raise PlugError(
            param=param,
            value=value,
            reason=f"a point is two numbers in mm, neither farther out than {LARGEST / 1000.0:g} m",
            remedy="give a pair such as (120.0, 15.0)",
        )
    return float(point[0]), float(point[1])


def mm_per(unit: str) -> float:
    """Return how long a unit is that somebody asked for.

    Parameters
    ----------
    unit : str
        A name of mm, cm, m, in or ft.

    Returns
    -------
    float, mm

    Raises
    ------
    PlugError
        It is no such unit.
    """
    known = unit_named(unit) if isinstance(unit, str) else None
    if known is None:
        raise PlugError(
            param="unit",
            value=unit,
            reason="it is not a unit of length known here",
            remedy=f"write one of: {', '.join(_UNITS)}",
        )
    return to_mm(1.0, known)


def too_much(name: str, reason: str) -> PlugError:
    """Return the error for a drawing that holds more than an outline can.

    Parameters
    ----------
    name : str
        The file's name.
    reason : str
        What it holds, and the limit.
    """
    remedy = "save the outline alone, in a file of its own, its blocks and copies exploded"
    return PlugError(param="outline", value=name, reason=reason, remedy=remedy)


@contextmanager
def read_or_refused(path: Path) -> Iterator[None]:
    """Let a reader work; what it trips over in a file is the file's fault, and told as such.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    PlugError
        The reader tripped.
    """
    try:
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except PlugError:
        raise
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, RecursionError, RuntimeError,
            MemoryError, AssertionError) as error:  # fmt: skip
        raise PlugError(
            param="outline",
            value=path.name,
            reason=f"it cannot be read ({type(error).__name__}: {error})"[:300],
            remedy="save the outline again, as plain lines and curves",
        ) from error


def drawing_bytes(path: Path) -> bytes:
    """Return what a drawing's file holds.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    PlugError
        The file is missing, a folder, empty, too large or cannot be read.
    """
    try:
        if path.is_dir():
            reason, remedy = "it is a folder, not a drawing", f"name a {path.suffix or '.dxf'} file in it"
            raise PlugError(param="outline", value=str(path), reason=reason, remedy=remedy)
        if not path.exists():
            sys.audit("open", str(path), "r", 0)  # so that a watch sees it come
            beside = sorted(file.name for file in path.parent.glob("*" + path.suffix))[:200]
            remedy = (
                f"beside it are: {closest(path.name, beside)}" if beside else "check the folder and the name"
            )
            raise PlugError(param="outline", value=str(path), reason="there is no such file", remedy=remedy)
        size = path.stat().st_size
        if size > LARGEST_DRAWING or size == 0:
            limit = f"and the drawing of an outline at most {LARGEST_DRAWING / 1e6:.0f} MB"
            raise PlugError(
                param="outline",
                value=str(path),
                reason=f"it has {size / 1e6:.1f} MB, {limit}" if size else "there is nothing in it",
                remedy="save the outline alone, in a file of its own",
            )
        return path.read_bytes()
    except OSError as error:
        raise PlugError(
            param="outline",
            value=str(path),
            reason=f"it cannot be read: {error.strerror or error}",
            remedy="check the name and the rights of the file",
        ) from error


def joined(pieces: Sequence[Run], join: float) -> list[Joined]:
    """Return the pieces joined where open ends meet, nearest ends first.

    At an inexact joint both ends move to the middle between them. A run whose own ends meet is closed.

    Parameters
    ----------
    pieces : sequence of Run
        At least two points each.
    join : float, mm
        Ends no farther apart than this are joined.

    Returns
    -------
    list of Joined
        In the order of each run's first piece.

    Raises
    ------
    PlugError
        There are too many pieces to be one outline.
    """
    if len(pieces) > MOST_PIECES:
        raise PlugError(
            param="outline",
            value=f"{len(pieces)} pieces",
            reason=f"an outline is read from at most {MOST_PIECES} pieces",
            remedy="name the DXF layer or the group that holds the outline, or leave the rest out",
        )
    whole = [Joined(points=p.points, is_closed=True, gaps=()) for p in pieces if p.is_closed]
    open_ones = [p.points for p in pieces if not p.is_closed]
    partner = _partners(open_ones, join)
    seen: set[int] = set()
    # runs with two free ends begin at one of them; what is left are rings
    starts = [e for e in range(len(partner)) if partner[e] < 0] + list(range(len(partner)))
    runs = [_run(open_ones, partner, end, seen) for end in starts if end // 2 not in seen]
    return whole + runs


def _partners(open_ones: list[Array], join: float) -> list[int]:
    """Return the end that each end is joined to, -1 for none; end 2i begins piece i, 2i + 1 ends it."""
    partner = [-1] * (2 * len(open_ones))
    if not open_ones:
        return partner
    ends = np.array([point for points in open_ones for point in (points[0], points[-1])])
    tree = shapely.STRtree(shapely.points(ends))
    first, second = tree.query(shapely.points(ends), predicate="dwithin", distance=join)
    apart = np.linalg.norm(ends[first] - ends[second], axis=1)
    lengths = np.repeat([float(np.linalg.norm(np.diff(p, axis=0), axis=1).sum()) for p in open_ones], 2)
    # the two ends of one piece meet only if it is much longer than the joint: a dot is not a ring
    is_pair = (first < second) & ((first // 2 != second // 2) | (lengths[first] > 4.0 * join))
    order = np.lexsort((second, first, apart))
    for k in order[is_pair[order]]:
        a, b = int(first[k]), int(second[k])
        if partner[a] < 0 and partner[b] < 0:
            partner[a], partner[b] = b, a
    return partner


def _run(open_ones: list[Array], partner: list[int], start: int, seen: set[int]) -> Joined:
    """Return the pieces that hang together from one end on."""
    parts: list[Array] = []
    gaps: list[float] = []
    end, is_closed = start, False
    while True:
        seen.add(end // 2)
        part = open_ones[end // 2]
        parts.append(np.array(part if end % 2 == 0 else part[::-1]))
        following = partner[end ^ 1]
        if following < 0:
            break
        if following // 2 in seen:
            is_closed = True
            break
        end = following
    for before, after in zip(parts, parts[1:] + parts[:1], strict=True):
        if after is parts[0] and not is_closed:
            break
        gap = float(np.linalg.norm(before[-1] - after[0]))
        if gap > LENGTH:
            gaps.append(gap)
        before[-1] = after[0] = 0.5 * (before[-1] + after[0])
    points = np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
    return Joined(
        points=points[:-1] if is_closed else points,
        is_closed=is_closed,
        gaps=tuple(gaps),
    )
