"""A drawing in millimetres that knows no file format: paths of lines and arcs, labels, their extent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record

if TYPE_CHECKING:
    from plugs.drafting.layout import Layout

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]

LABELS: Final = "LABELS"
"""Group of everything that is neither cut nor sanded to: texts, arrows, check bars."""

TEXT_WIDTH_RATIO: Final = 1.1
"""Width of one letter over its height, for finding room: wide for a plain upright face (common
practice, no source)."""

TEXT_SIDES: Final = ((0.0, 0.3, 1.0, 1.1), (0.5, 0.8, 0.5, 0.6))
"""From its place to the four sides of a text, in its width and its height: at the left, and centred."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """A polyline of lines and arcs.

    Attributes
    ----------
    points : (n, 2) float, mm
        Vertices, y up; copied and read-only.
    bulges : (n,) float, dimensionless
        tan(angle / 4) of the segment after each vertex, + counter-clockwise, 0 straight; the
        last one belongs to the closing segment.
    is_closed : bool
        Whether a segment leads from the last vertex to the first.
    dxf_layer : str
        Name of the group of lines that the path belongs to.
    """

    points: Array
    bulges: Array
    is_closed: bool
    dxf_layer: str

    def __post_init__(self) -> None:
        """Copy the arrays, refuse shapes that do not belong together, and lock them.

        Raises
        ------
        AssertionError
            Fewer than two points, not one bulge to a point, or a value that is not finite.
        """
        points, bulges = _locked(self.points), _locked(self.bulges)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 2 or bulges.shape != (len(points),):
            raise AssertionError(f"path on {self.dxf_layer}: points {points.shape}, bulges {bulges.shape}")
        # a sum is finite only where all that is summed is
        if not (math.isfinite(np.add.reduce(points, axis=None)) and math.isfinite(np.add.reduce(bulges))):
            raise AssertionError(f"path on {self.dxf_layer}: a coordinate or bulge is not finite")
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "bulges", bulges)


def _locked(values: Array) -> Array:
    """Return a copy that cannot be changed, or the array itself if it is one."""
    is_array = isinstance(values, np.ndarray) and values.dtype == np.float64
    if is_array and values.base is None and not values.flags.writeable:
        return values
    found = np.array(values, dtype=np.float64)
    found.setflags(write=False)
    return found


@record(frozen=True, slots=True, kw_only=True)
class Label:
    """A line of text.

    Attributes
    ----------
    text : str
        What it says.
    at : tuple of 2 float, mm
        Left end of the base line (``"left"``), or the middle of the text (``"centre"``).
    height : float, mm
        Height of a capital letter.
    dxf_layer : str
        Name of the group that the text belongs to.
    align : str
        ``"left"`` or ``"centre"``.
    """

    text: str
    at: tuple[float, float]
    height: float
    dxf_layer: str = LABELS
    align: str = "left"


@record(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A drawing at full size, y up.

    Attributes
    ----------
    path : str
        Where its files go in the build's folder, without their ending.
    title : str
        What the drawing shows, for people.
    paths : tuple of Path
        Lines and arcs, mm.
    labels : tuple of Label
        Texts, mm.
    layout : Layout or None
        The figures by which it is laid out, which it shows as its dimensions.
    """

    path: str
    title: str
    paths: tuple[Path, ...]
    labels: tuple[Label, ...]
    layout: Layout | None = None

    @property
    def name(self) -> str:
        """What its files are called, without folder and ending."""
        return self.path.rpartition("/")[2]

    def __reduce__(self) -> tuple[object, ...]:
        """Return how it is sent elsewhere: all points together, for those of hundreds of paths take long."""
        points = np.concatenate([np.zeros((0, 2)), *(path.points for path in self.paths)])
        bulges = np.concatenate([np.zeros(0), *(path.bulges for path in self.paths)])
        told = [(len(path.points), path.is_closed, path.dxf_layer) for path in self.paths]
        return _received, (self.path, self.title, told, points, bulges, self.labels, self.layout)


def _received(
    path: str,
    title: str,
    told: Sequence[tuple[int, bool, str]],
    points: Array,
    bulges: Array,
    labels: tuple[Label, ...],
    layout: Layout | None,
) -> Drawing:
    """Return a drawing that was sent."""
    paths = tuple(paths_along(told, points, bulges))
    return Drawing(path=path, title=title, paths=paths, labels=labels, layout=layout)


def paths_along(told: Sequence[tuple[int, bool, str]], points: Array, bulges: Array) -> list[Path]:
    """Return many paths that look at parts of the same arrays, which are checked and locked once for all.

    Parameters
    ----------
    told : sequence of tuple of int, bool and str
        Of each path how many vertices it has, at least two, whether it is closed, and its group.
    points : (n, 2) float, mm
        One path after the other.
    bulges : (n,) float, dimensionless

    Returns
    -------
    list of Path

    Raises
    ------
    AssertionError
        A value that is not finite.
    """
    if not (math.isfinite(np.add.reduce(points, axis=None)) and math.isfinite(np.add.reduce(bulges))):
        raise AssertionError("a coordinate or bulge of many paths is not finite")
    points.setflags(write=False)
    bulges.setflags(write=False)
    paths, begin = list[Path](), 0
    for count, is_closed, dxf_layer in told:
        own: Any = object.__new__(Path)
        end = begin + count
        own.__setstate__((points[begin:end], bulges[begin:end], is_closed, dxf_layer))
        paths.append(own)
        begin = end
    return paths


def path_bounds(path: Path) -> Box:
    """Return the bounding box of a path, its bowed arcs included.

    Parameters
    ----------
    path : Path
        Lines and arcs, mm.

    Returns
    -------
    tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    return paths_box((path,))


def paths_box(paths: Sequence[Path]) -> Box:
    """Return the bounding box of paths, their bowed arcs included.

    Parameters
    ----------
    paths : sequence of Path
        At least one, mm.

    Returns
    -------
    tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    return boxes_of([paths])[0]


def boxes_of(groups: Sequence[Sequence[Path]]) -> list[Box]:
    """Return the bounding box of each of some groups of paths, their bowed arcs included.

    Parameters
    ----------
    groups : sequence of sequence of Path
        At least one in each, mm.

    Returns
    -------
    list of tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    points, after, bulges, counts = pieces_of([path for paths in groups for path in paths])
    which, at = np.repeat(np.arange(len(counts)), counts), np.flatnonzero(bulges)
    tips, of = tips_of(points[at], points[after[at]], bulges[at])
    which = np.append(which, which[at[of]])
    order = np.argsort(which, kind="stable")
    begins = which[order].searchsorted(np.cumsum([0, *map(len, groups[:-1])]))
    return boxes_from(np.concatenate((points, tips))[order], begins)


def boxes_from(points: Array, begins: NDArray[np.intp]) -> list[Box]:
    """Return the box around each of some runs of points, one run after the other.

    Parameters
    ----------
    points : (n, 2) float, mm
    begins : (k,) int
        Where each run begins, at least a point before the next.

    Returns
    -------
    list of tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    low, high = (f.reduceat(points, begins, axis=0).tolist() for f in (np.minimum, np.maximum))
    return [(x0, y0, x1, y1) for (x0, y0), (x1, y1) in zip(low, high, strict=True)]


def pieces_of(paths: Sequence[Path]) -> tuple[Array, NDArray[np.intp], Array, NDArray[np.intp]]:
    """Return the vertices of paths, one path after the other, each with the piece that begins at it.

    Parameters
    ----------
    paths : sequence of Path
        At least one, mm.

    Returns
    -------
    points : (n, 2) float, mm
    after : (n,) int
        The number of the vertex that follows on its path: of the last, the first.
    bulges : (n,) float, dimensionless
        0 after the last vertex of a path that is open.
    counts : (p,) int
        Vertices of each path.
    """
    points = np.concatenate([path.points for path in paths])
    bulges = np.concatenate([path.bulges for path in paths])
    counts = np.array([len(path.points) for path in paths])
    after = pieces_after(bulges, counts, np.array([path.is_closed for path in paths]))
    return points, after, bulges, counts


def pieces_after(bulges: Array, counts: NDArray[np.intp], is_closed: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the number of the vertex that follows on its path: of the last, the first.

    Parameters
    ----------
    bulges : (n,) float, dimensionless
        After each vertex of paths, one path after the other; of an open one the last is made 0.
    counts : (p,) int, dimensionless
        Vertices of each path.
    is_closed : (p,) bool

    Returns
    -------
    (n,) int
    """
    last = np.cumsum(counts) - 1
    after = np.arange(1, len(bulges) + 1)
    after[last] = last - counts + 1
    bulges[last[~is_closed]] = 0.0
    return after


def tips_of(begins: Array, ends: Array, bulges: Array) -> tuple[Array, NDArray[np.intp]]:
    """Return where arcs reach farthest to the four sides, as far as that lies on them.

    Parameters
    ----------
    begins, ends : (n, 2) float, mm
    bulges : (n,) float, dimensionless
        None is 0.

    Returns
    -------
    tips : (m, 2) float, mm
    of : (m,) int
        The arc of each.
    """
    z, far = (at[:, 0] + 1j * at[:, 1] for at in (begins, ends))
    span = far - z
    centre = z + span / 2.0 + 1j * span * (1.0 - bulges**2) / (4.0 * bulges)
    tips = centre + np.abs(z - centre) * np.array([[1.0], [1.0j], [-1.0], [-1.0j]])
    # a tip is on the arc when it lies on the same side of the chord as the bow
    side, of = np.nonzero(((tips - z) * np.conj(span)).imag * -np.sign(bulges) > 0.0)
    found = tips[side, of]
    return np.column_stack((found.real, found.imag)), of


def label_box(label: Label) -> Box:
    """Return a box that surely holds a label's text in a plain upright face.

    Parameters
    ----------
    label : Label
        The text, mm.

    Returns
    -------
    tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y; room for tails below the base line.
    """
    (x, y), height = label.at, label.height
    width = TEXT_WIDTH_RATIO * height * len(label.text)
    back, down, ahead, up = TEXT_SIDES[label.align == "centre"]
    return x - back * width, y - down * height, x + ahead * width, y + up * height


def label_boxes(labels: Sequence[Label]) -> Array:
    """Return the boxes of labels, each as `label_box` does.

    Parameters
    ----------
    labels : sequence of Label
        The texts, mm.

    Returns
    -------
    (4, n) float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    low, high = text_boxes(
        np.array([label.at for label in labels]).reshape(-1, 2),
        np.array([label.height for label in labels]),
        np.array([len(label.text) for label in labels]),
        np.array([label.align == "centre" for label in labels], dtype=np.bool_),
    )
    return np.concatenate((low.T, high.T))


def text_boxes(
    at: Array, heights: Array, letters: NDArray[np.int64], is_centred: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Return the boxes of texts, each as `label_box` does.

    Parameters
    ----------
    at : (n, 2) float, mm
    heights : (n,) float, mm
    letters : (n,) int, dimensionless
        How many each has.
    is_centred : (n,) bool

    Returns
    -------
    tuple of two (n, 2) float, mm
        Lower left and upper right corners.
    """
    back, down, ahead, up = np.array(TEXT_SIDES)[is_centred.astype(np.intp)].T
    width = TEXT_WIDTH_RATIO * heights * letters
    low, high = ((back * width, down * heights), (ahead * width, up * heights))
    return at - np.column_stack(low), at + np.column_stack(high)


def drawing_bounds(drawing: Drawing) -> Box:
    """Return the bounding box of everything in a drawing.

    Parameters
    ----------
    drawing : Drawing
        The drawing, mm.

    Returns
    -------
    tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.

    Raises
    ------
    AssertionError
        The drawing has neither paths nor labels.
    """
    boxes = [label_box(label) for label in drawing.labels]
    if drawing.paths:
        boxes.append(paths_box(drawing.paths))
    if not boxes:
        raise AssertionError(f"drawing {drawing.path!r} is empty")
    return box_around(boxes)


def box_around(boxes: Sequence[Box]) -> Box:
    """Return the box around boxes.

    Parameters
    ----------
    boxes : sequence of tuple of 4 float, mm
        At least one box: smallest x, smallest y, largest x, largest y.

    Returns
    -------
    tuple of 4 float, mm
        Smallest x, smallest y, largest x, largest y.
    """
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    return float(min(x0)), float(min(y0)), float(max(x1)), float(max(y1))
