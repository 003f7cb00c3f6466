"""Many drawings as a few arrays: so they travel, and so they are made into files."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain, pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Drawing, pieces_after, text_boxes, tips_of
from plugs.ground.errors import promise
from plugs.ground.records import record

Counts = NDArray[np.intp]

MOST: Final = 32
"""Drawings together: of more, arrays leave the cache, and whoever waits for them begins late."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Bundle:
    """Drawings with all their paths and all their labels, one drawing after the other.

    Attributes
    ----------
    stems, titles : list of str
        Of each drawing: its path in the folder without ending, and what it shows.
    n_paths, n_labels : (d,) int, dimensionless
        How many it has.
    points : (n, 2) float, mm
    bulges : (n,) float, dimensionless
    n_points : (p,) int, dimensionless
        Of each path.
    is_closed : (p,) bool
    path_groups : list of str
        The group of lines that each path belongs to.
    texts, label_groups : list of str
        Of each label.
    at : (l, 2) float, mm
    heights : (l,) float, mm
    is_centred : (l,) bool
    """

    stems: list[str]
    titles: list[str]
    n_paths: Counts
    n_labels: Counts
    points: Array
    bulges: Array
    n_points: Counts
    is_closed: NDArray[np.bool_]
    path_groups: list[str]
    texts: list[str]
    label_groups: list[str]
    at: Array
    heights: Array
    is_centred: NDArray[np.bool_]

    def demand_lines(self) -> None:
        """Refuse a drawing without paths: its file would be valid, and cut nothing.

        Raises
        ------
        AssertionError
            One has none.
        """
        for stem, count in zip(self.stems, self.n_paths.tolist(), strict=True):
            promise(count > 0, f"drawing {stem!r} has no lines")

    def groups(self) -> list[list[str]]:
        """Return the groups of each drawing in the order in which they appear, those of the paths first.

        Returns
        -------
        list of list of str
        """
        paths, labels = ends(self.n_paths), ends(self.n_labels)
        return [
            [*dict.fromkeys(chain(self.path_groups[a:b], self.label_groups[c:d]))]
            for (a, b), (c, d) in zip(pairwise(paths), pairwise(labels), strict=True)
        ]


def bundle_of(drawings: Mapping[str, Drawing]) -> Bundle:
    """Return drawings as arrays.

    Parameters
    ----------
    drawings : mapping of str to Drawing
        By path in the folder, without ending.

    Returns
    -------
    Bundle
    """
    paths = [path for drawing in drawings.values() for path in drawing.paths]
    labels = [label for drawing in drawings.values() for label in drawing.labels]
    return Bundle(
        stems=[*drawings],
        titles=[drawing.title for drawing in drawings.values()],
        n_paths=np.array([len(drawing.paths) for drawing in drawings.values()]),
        n_labels=np.array([len(drawing.labels) for drawing in drawings.values()]),
        points=np.concatenate([np.zeros((0, 2)), *(path.points for path in paths)]),
        bulges=np.concatenate([np.zeros(0), *(path.bulges for path in paths)]),
        n_points=np.array([len(path.points) for path in paths], dtype=int),
        is_closed=np.array([path.is_closed for path in paths], dtype=bool),
        path_groups=[path.dxf_layer for path in paths],
        texts=[label.text for label in labels],
        label_groups=[label.dxf_layer for label in labels],
        at=np.array([label.at for label in labels], dtype=float).reshape(-1, 2),
        heights=np.array([label.height for label in labels], dtype=float),
        is_centred=np.array([label.align == "centre" for label in labels], dtype=bool),
    )


def ends(counts: Counts) -> list[int]:
    """Return where runs of so many begin and end: one more than there are.

    Parameters
    ----------
    counts : (n,) int

    Returns
    -------
    list of int
    """
    return [0, *np.cumsum(counts).tolist()]


def bounds_of(bundle: Bundle) -> tuple[Array, Array]:
    """Return the boxes around all that is in each drawing.

    Parameters
    ----------
    bundle : Bundle

    Returns
    -------
    low, high : (d, 2) float, mm
        Corners.
    """
    number, bulges = np.arange(len(bundle.stems)), bundle.bulges.copy()
    after = pieces_after(bulges, bundle.n_points, bundle.is_closed)
    bent = np.flatnonzero(bulges)
    tips, of_tip = tips_of(bundle.points[bent], bundle.points[after[bent]], bulges[bent])
    letters = np.array([len(text) for text in bundle.texts], dtype=np.int64)
    low, high = text_boxes(bundle.at, bundle.heights, letters, bundle.is_centred)
    of_point = np.repeat(np.repeat(number, bundle.n_paths), bundle.n_points)
    of_label = np.repeat(number, bundle.n_labels)
    corners = np.concatenate((bundle.points, tips, low, high))
    of = np.concatenate((of_point, of_point[bent[of_tip]], of_label, of_label))
    order, starts = np.argsort(of, kind="stable"), ends(np.bincount(of))[:-1]
    corners = corners[order]
    return np.minimum.reduceat(corners, starts), np.maximum.reduceat(corners, starts)
