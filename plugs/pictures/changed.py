"""The picture of a surface that has moved: where to take off and where to add, measured all over it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from plugs.ground.records import record
from plugs.ground.units import format_fine
from plugs.mesh.named import Array, NamedMesh, colour_of
from plugs.mesh.triangles import normals
from plugs.pictures.canvas import Patch, Word, png_bytes, word_width
from plugs.pictures.raster import camera_at, make_model, rendered
from plugs.pictures.tinted import LIT, lit_from
from plugs.pictures.views import FOLDER, Picture, framed
from plugs.words.ways import called

STEM: Final = "changed"

_VIEWS: Final = (camera_at(218.0, 32.0), camera_at(38.0, 32.0))
_WIDTH, _HEIGHT = 760, 400  # px. Of each view
_HEAD: Final = 28  # px. Over each view, for its words
_FOOT: Final = 34  # px. For what the colours mean
_LETTER: Final = 9.0  # px. Height of a capital letter
_AT_ONCE: Final = 128  # places at a time, so that what is worked out of them stays near
_TURNED: Final = 2.0  # distances of points for a turn by 60 degrees: beyond an edge nothing is near
_CLOSE: Final = 4.0  # over the square of the distance of points: the next ones count an eighth

_BOUNDS: Final = (0.2, 1.0, 3.0, 10.0)
"""mm. The same; to be sanded or filled; the most that is filled; what takes a saw or a block."""
_ADD: Final = ("#c9ddf0", "#86b4dc", "#3f7fbf", "#154a86")
_OFF: Final = ("#f6d9c0", "#eda873", "#d76b2a", "#9a3d0a")
_SAME: Final = "#e4e6df"
"""Blue and orange: told apart by those who see no red, and by depth in grey (common practice, no source)."""


@record(frozen=True, slots=True, kw_only=True, eq=False)
class ChangedJob:
    """What the picture is made of.

    Attributes
    ----------
    shown : NamedMesh
        The new surface.
        In small triangles.
    points, facing : (k, 3) float, mm and dimensionless
        On it, and which way it faces there.
    off : (k,) float, mm
        How far each has moved: + foam is missing, - foam is to be taken off.
    apart : float, mm
        How far the points lie from each other.
    display_unit : str
        "mm" or "in".
    """

    shown: NamedMesh
    points: Array
    facing: Array
    off: Array
    apart: float
    display_unit: str


def make_changed_picture(job: ChangedJob) -> tuple[Picture, ...]:
    """Return the picture, seen from two sides.

    Parameters
    ----------
    job : ChangedJob

    Returns
    -------
    tuple of Picture
        One.
    """
    model = make_model([job.shown])
    corners = job.shown.vertices[job.shown.triangles]
    value = _between(job, corners.mean(axis=1), normals(corners)[0])
    band = np.searchsorted(_BOUNDS, np.abs(value)) * np.where(value > 0.0, 1, -1)
    colours = np.array([colour_of(colour) for colour in (*_OFF[::-1], _SAME, *_ADD)], dtype=np.float32)
    model = replace(model, tint=band + len(_OFF), colours=colours)
    strips, words = [], []
    top = 0
    said = called()
    names = (f"{said.from_front} {said.left}, above", f"{said.from_rear} {said.right}, above")
    for name, camera in zip(names, _VIEWS, strict=True):
        frame = framed([job.shown], camera, _WIDTH, _HEIGHT)
        pixels = np.full((_HEAD + frame.height, _WIDTH, 3), 255, dtype=np.uint8)
        left = (_WIDTH - frame.width) // 2
        pixels[_HEAD:, left : left + frame.width] = rendered(lit_from(model, camera), camera, frame)
        strips.append(pixels)
        words.append(Word(text=name, at=(12.0, top + _HEAD / 2.0), height=_LETTER))
        top += len(pixels)
    strips.append(np.full((_FOOT, _WIDTH, 3), 255, dtype=np.uint8))
    patches, told = _legend(top, job.display_unit)
    content = png_bytes(np.vstack(strips), [*words, *told], patches=patches)
    caption = "where the foam is to be changed: orange take off, blue add"
    return (Picture(path=f"{FOLDER}/{STEM}.png", caption=caption, content=content),)


def _between(job: ChangedJob, places: Array, facing: Array) -> Array:
    """Return how far the surface has moved at places between the points: the mean of the near ones."""
    middle = job.points.mean(axis=0)
    known = np.hstack([(job.points - middle) / job.apart, _TURNED * job.facing]).astype(np.float32)
    asked = np.hstack([(places - middle) / job.apart, _TURNED * facing]).astype(np.float32)
    off, half = job.off.astype(np.float32), 0.5 * np.einsum("ij,ij->i", known, known)
    found = []
    for begin in range(0, len(asked), _AT_ONCE):
        near = asked[begin : begin + _AT_ONCE] @ known.T - half
        near -= near.max(axis=1, keepdims=True)
        weight = np.exp(_CLOSE * near)
        found.append(weight @ off / weight.sum(axis=1))
    return np.concatenate(found)


def _legend(top: int, unit: str) -> tuple[list[Patch], list[Word]]:
    """Return what the colours mean, in a row."""
    bounds = [format_fine(bound, unit).removesuffix(f" {unit}") for bound in _BOUNDS]
    names = [f"to {bound}" for bound in bounds[1:]] + [f"over {bounds[-1]} {unit}"]
    rows: Sequence[tuple[str, str]] = (
        ("take off", ""),
        *zip(names[::-1], _OFF[::-1], strict=True),
        ("the same", _SAME),
        *zip(names, _ADD, strict=True),
        ("add", ""),
    )
    y, x, patches, words = top + _FOOT / 2.0, 12.0, [], []
    for text, colour in rows:
        if colour:
            ring = np.array([(x, y - 6.0), (x + 14.0, y - 6.0), (x + 14.0, y + 6.0), (x, y + 6.0)])
            lit = "".join(f"{round(255.0 * LIT * part):02x}" for part in colour_of(colour))
            patches.append(Patch(points=ring, colour=f"#{lit}"))
            x += 18.0
        words.append(Word(text=text, at=(x, y), height=_LETTER))
        x += word_width(words[-1]) + 11.0
    return patches, words
