"""The one builder of drawings: lines first, words last and all at once, then a drawing that nobody edits."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import islice
from typing import Final

import numpy as np
import shapely

from plugs.drafting.drawing import (
    LABELS,
    Array,
    Box,
    Drawing,
    Label,
    Path,
    box_around,
    label_box,
    paths_box,
)
from plugs.drafting.layout import Layout
from plugs.drafting.marks import GAP, ROW, TEXT, arrow, check_bars, line
from plugs.drafting.outlines import outline_paths
from plugs.drafting.placing import Beside, Crowd, Named, Placed, placed
from plugs.drafting.signs import Sign
from plugs.drafting.styles import DIMENSIONS, LEGEND, style_of
from plugs.ground.errors import promise
from plugs.ground.records import record

Foot = Callable[[float, float], tuple[list[Path], list[Label], float]]
"""What is drawn under all else: given its left and top it returns paths, words, and its bottom."""

Signs = Mapping[str, Sign | None]
"""The sign that had room, by what it was asked for under; None where none had."""

Rows = Sequence[str] | Callable[[Signs], Sequence[str]]
"""Rows of words, or what makes them of the signs that had room."""

SAMPLE: Final = 18.0
"""Length of a line in a legend, mm: a dash and a dot of the longest are seen."""

_ARC: Final = float(np.tan(np.radians(30.0)))
"""Bulge of a third of a circle."""

_AT_ONCE: Final = 32  # drawings whose words are placed together

_CRUMB: Final = 0.5
"""Strokes of a hatch are longer than that, mm."""


@record(frozen=True, slots=True)
class _Rows:
    """Rows of words under all else; one that begins with the name of a group of lines shows how they look."""

    rows: Rows
    is_going_on: bool = False

    def below(
        self, signs: Signs, groups: set[str], left: float, top: float
    ) -> tuple[list[Path], list[Label], float]:
        """Return the rows under a height, and take those groups that they name off the set."""
        texts = self.rows(signs) if callable(self.rows) else self.rows
        y = top if self.is_going_on else top - GAP / 2.0
        paths, labels = list[Path](), list[Label]()
        for text in texts:
            group, x = text.partition(":")[0], left
            if group in groups:
                groups.discard(group)
                middle = y - 0.5 * TEXT
                paths.append(line((left, middle), (left + SAMPLE, middle), LEGEND + group))
                x += SAMPLE + TEXT
            labels.append(Label(text=text, at=(x, y - TEXT), height=TEXT))
            y -= ROW
        return paths, labels, y


class DrawingBuilder:
    """A drawing in the making: lines are collected, words asked for; `drawing` places them and ends it.

    Parameters
    ----------
    path : str
        Where its files go in the build's folder, without their ending.
    title : str
        What it shows, for people.
    display_unit : str
        ``"mm"`` or ``"in"``: the unit of the lengths in the texts.
    """

    def __init__(self, *, path: str, title: str, display_unit: str = "mm") -> None:
        """Begin with nothing."""
        self.path, self.title, self.display_unit = path, title, display_unit
        self._paths: list[Path] = []
        self._marks: list[Box] = []
        self._written: list[Label] = []
        self._asked: list[Named | Beside] = []
        self._hatches: list[tuple[shapely.Geometry, float, float, str]] = []
        self._behind: list[Array] = []
        self._feet: list[Foot | _Rows] = []
        self._last: list[Foot] = []
        self.layout: Layout | None = None

    @property
    def lines(self) -> list[Path]:
        """What is drawn so far, words and their lines left out."""
        return [path for path in self._paths if path.dxf_layer != LABELS]

    @property
    def extent(self) -> Box:
        """The box around those lines, mm."""
        return paths_box(self.lines)

    @property
    def given(self) -> Box:
        """The box around all that has its place, which are not the words that seek theirs, mm."""
        return box_around([paths_box(self._paths), *map(label_box, self._written)])

    def draw(self, paths: Iterable[Path]) -> None:
        """Draw paths.

        Parameters
        ----------
        paths : iterable of Path
        """
        self._paths += paths

    def outline(self, shape: shapely.Geometry, dxf_layer: str) -> None:
        """Draw the rings of a shape as lines and arcs.

        Parameters
        ----------
        shape : shapely polygons, mm
            May be empty.
        dxf_layer : str
        """
        self._paths += outline_paths(shape, dxf_layer)

    def line(self, points: Array, dxf_layer: str) -> None:
        """Draw a line of straight pieces, closed if it comes back to its beginning.

        Parameters
        ----------
        points : (n, 2) float, mm
        dxf_layer : str
        """
        points = np.asarray(points, dtype=np.float64)
        is_closed = len(points) > 3 and bool((np.abs(points[0] - points[-1]) <= 1e-6).all())
        points = points[:-1] if is_closed else points
        bulges = np.zeros(len(points))
        self._paths.append(Path(points=points, bulges=bulges, is_closed=is_closed, dxf_layer=dxf_layer))

    def circle(self, centre: tuple[float, float], diameter: float, dxf_layer: str) -> None:
        """Draw a circle of three arcs.

        Parameters
        ----------
        centre : tuple of 2 float, mm
        diameter : float, mm
        dxf_layer : str
        """
        turn = np.radians(np.array([0.0, 120.0, 240.0]))
        points = np.array(centre) + 0.5 * diameter * np.column_stack((np.cos(turn), np.sin(turn)))
        self._paths.append(Path(points=points, bulges=np.full(3, _ARC), is_closed=True, dxf_layer=dxf_layer))

    def behind(self, lines: Iterable[Array]) -> None:
        """Draw lines of the dimensions, which are broken where words stand.

        Parameters
        ----------
        lines : iterable of (2, 2) float, mm
            Level or upright.
        """
        self._behind += lines

    def mark(self, paths: Sequence[Path], box: Box | None = None) -> None:
        """Draw a small mark that words keep off as a whole.

        Parameters
        ----------
        paths : sequence of Path
        box : tuple of 4 float or None, mm
            Around them, where it is known.
        """
        self._paths += paths
        self._marks.append(box or paths_box(paths))

    def hatch(self, shape: shapely.Geometry, angle_deg: float, step: float, dxf_layer: str) -> None:
        """Fill a shape with parallel lines, which leave room for words.

        Parameters
        ----------
        shape : shapely polygons, mm
        angle_deg : float, degrees
            Counter-clockwise from the right.
        step : float, mm
            From line to line.
        dxf_layer : str
        """
        self._hatches.append((shape, angle_deg, step, dxf_layer))

    def write(self, *labels: Label) -> None:
        """Write words whose place is given, such as those of a table.

        Parameters
        ----------
        labels : Label
        """
        self._written += labels

    def sign(
        self,
        within: shapely.Geometry,
        *choices: Sign,
        key: str = "",
        over_lines: bool = True,
        instead: Beside | None = None,
    ) -> None:
        """Ask for the first of some signs that has room in a region, as large as may be.

        Parameters
        ----------
        within : shapely polygons, mm
        key : str
            By which `rows` may ask for what was written.
        over_lines : bool
            Whether they may stand over marks and lines that no saw follows, where there is no other room.
        instead : Beside or None
            What is written where none has room.
        choices : Sign
            The fullest first.
        """
        asked = Named(within=within, choices=choices, key=key, over_lines=over_lines, instead=instead)
        self._asked.append(asked)

    def beside(self, words: Beside) -> None:
        """Ask for words beside what they name.

        Parameters
        ----------
        words : Beside
        """
        self._asked.append(words)

    def dimension(
        self, begin: tuple[float, float], finish: tuple[float, float], words: str, text: float
    ) -> None:
        """Draw a dimension line between two points, level or upright, its figure beside it.

        Parameters
        ----------
        begin, finish : tuple of 2 float, mm
        words : str
            The figure.
        text : float, mm
            Height of its letters.
        """
        (x0, y0), (x1, y1) = begin, finish
        middle = ((x0 + x1) / 2.0, (y0 + y1) / 2.0)
        for tip in (begin, finish):
            self._paths += arrow(middle, tip, 6.0 * text / 7.0, DIMENSIONS)
        if y0 == y1:
            ends = [((x, y0 - 0.6 * text), (x, y0 + 0.9 * text)) for x in (x0, x1)]
            at, align = (middle[0], y0 - 1.2 * text), "centre"
        else:
            ends = [((x0 - 0.9 * text, y), (x0 + 0.6 * text, y)) for y in (y0, y1)]
            at, align = (x0 + 0.6 * text, middle[1] - text / 2.0), "left"
        self._paths += [line(*pair, DIMENSIONS) for pair in ends]
        label = Label(text=words, at=at, height=text, dxf_layer=DIMENSIONS, align=align)
        self._asked.append(Beside(choices=(label,), to=middle))

    def under(self, foot: Foot) -> None:
        """Draw something under all that stands already.

        Parameters
        ----------
        foot : Foot
            Called when all other words stand.
        """
        self._feet.append(foot)

    def bars(self, gap: float = GAP) -> None:
        """Draw bars of a known length under all that stands already.

        Parameters
        ----------
        gap : float, mm
            Left free over them.
        """
        self._feet.append(lambda left, top: check_bars(self.display_unit, left, top - gap))

    def rows(self, rows: Rows) -> None:
        """Write rows of words under all that stands already.

        Parameters
        ----------
        rows : sequence of str, or function of the signs that had room
        """
        self._feet.append(_Rows(rows))

    def at_the_foot(self, foot: Foot) -> None:
        """Draw something under everything else, the legend included.

        Parameters
        ----------
        foot : Foot
            Called last.
        """
        self._last.append(foot)

    def drawing(self) -> Drawing:
        """Return the drawing: every word placed, in the order asked for.

        Returns
        -------
        Drawing
        """
        return drawn_together([self])[0]

    @property
    def crowd(self) -> Crowd:
        """What stands in it, and the words that are asked for."""
        taken = [label_box(label) for label in self._written]
        lines = self._paths if self._asked else ()
        return Crowd(lines=lines, marks=self._marks, taken=taken, asked=self._asked)

    def ended(self, words: Sequence[Placed]) -> Drawing:
        """Return the drawing with its words where they were placed.

        Parameters
        ----------
        words : sequence of Placed
            For all that was asked for.

        Returns
        -------
        Drawing
        """
        drawn, written, beside = list[Path](), list(self._written), list[Label]()
        signs: dict[str, Sign | None] = {}
        for asked, (sign, (paths, labels)) in zip(self._asked, words, strict=True):
            if isinstance(asked, Named):
                signs[asked.key] = sign
            drawn += paths
            if sign is None:
                beside += labels
            else:
                written += labels
        drawn += self._clear_of([*written, *beside])
        below, labels = self._under(signs, [*drawn, *self._paths], [*written, *beside])
        return Drawing(
            path=self.path,
            title=self.title,
            paths=(*self._paths, *drawn, *below),
            labels=(*written, *labels, *beside),
            layout=self.layout,
        )

    def _under(
        self, signs: Signs, lines: Sequence[Path], written: Sequence[Label]
    ) -> tuple[list[Path], list[Label]]:
        """Return what stands under all else: what was asked for, the rest of the legend, tables."""
        paths, labels = list[Path](), list[Label]()
        if not self._feet:
            return paths, labels
        left, bottom, _, _ = paths_box(self._paths)
        y = min([bottom, *(label_box(label)[1] for label in written)])
        groups = dict.fromkeys(path.dxf_layer for path in lines if style_of(path.dxf_layer).means)
        untold = set(groups)
        rest = _Rows(
            is_going_on=True,
            rows=lambda _: [f"{name}: {style_of(name).means}" for name in groups if name in untold],
        )
        for one in (*self._feet, rest, *self._last):
            if isinstance(one, _Rows):
                more, words, y = one.below(signs, untold, left, y)
            else:
                more, words, y = one(left, y)
                new = {path.dxf_layer: None for path in more if style_of(path.dxf_layer).means}
                untold |= new.keys() - groups.keys()
                groups |= new
            paths, labels = paths + more, labels + words
        return paths, labels

    def _clear_of(self, labels: Sequence[Label]) -> list[Path]:
        """Return the lines of the hatches, and those behind words, clear of words."""
        found, boxes = list[Path](), [label_box(label) for label in labels]
        for ends in self._behind:
            found += [line(*pair, DIMENSIONS) for pair in _bared(ends, boxes)]
        if not self._hatches:
            return found
        words = shapely.STRtree(shapely.box(*np.array(boxes).reshape(-1, 4).T))
        for shape, angle_deg, step, group in self._hatches:
            over = words.geometries.take(np.sort(words.query(shape, predicate="intersects")))
            found += _parallels(shapely.difference(shape, shapely.union_all(over)), angle_deg, step, group)
        return found


def drawn_together(builders: Iterable[DrawingBuilder]) -> list[Drawing]:
    """Return drawings, their words placed in some drawings at once, which is quicker.

    Parameters
    ----------
    builders : iterable of DrawingBuilder
        Taken as they are wanted, so that none is kept for long.

    Returns
    -------
    list of Drawing
    """
    found, rest = list[Drawing](), iter(builders)
    while some := list(islice(rest, _AT_ONCE)):
        words = placed([builder.crowd for builder in some])
        found += [builder.ended(own) for builder, own in zip(some, words, strict=True)]
    return found


def _bared(ends: Array, boxes: Sequence[Box]) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return the parts of a level or upright line that keep clear of boxes, but for crumbs."""
    begin, finish = ends.tolist()
    k = int(begin[0] == finish[0])
    promise(begin[1 - k] == finish[1 - k], "a line behind words is neither level nor upright")
    low, high, across = min(begin[k], finish[k]), max(begin[k], finish[k]), begin[1 - k]
    over = [
        (box[k] - _CRUMB, box[k + 2] + _CRUMB)
        for box in boxes
        if box[1 - k] - _CRUMB <= across <= box[3 - k] + _CRUMB
    ]
    parts, last = list[tuple[float, float]](), low
    for first, end in [*sorted(over), (high, high)]:
        if min(first, high) - last > _CRUMB:
            parts.append((last, min(first, high)))
        last = max(last, end)
    if begin[k] > finish[k]:
        parts = [pair[::-1] for pair in reversed(parts)]
    if k:
        return [((across, one), (across, other)) for one, other in parts]
    return [((one, across), (other, across)) for one, other in parts]


def _parallels(shape: shapely.Geometry, angle_deg: float, step: float, group: str) -> list[Path]:
    """Return parallel lines within a shape."""
    if shape.is_empty:
        return []
    angle = np.radians(angle_deg)
    along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    x0, y0, x1, y1 = shape.bounds
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
    low, high = (corners @ across).min(), (corners @ across).max()
    rows = np.arange(np.ceil(low / step), np.floor(high / step) + 1.0) * step
    reach = np.array([(corners @ along).min() - 1.0, (corners @ along).max() + 1.0])
    if not len(rows):
        return []
    lines = shapely.linestrings(rows[:, None, None] * across + reach[None, :, None] * along)
    pieces = shapely.get_parts(shapely.intersection(lines, shape))
    pieces = pieces[(shapely.get_type_id(pieces) == 1) & (shapely.length(pieces) > _CRUMB)]
    ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2).tolist()
    return [line(begin, finish, group) for begin, finish in ends]
