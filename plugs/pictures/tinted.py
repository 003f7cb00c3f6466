"""A mesh from two sides, every triangle in a colour of a palette, with the key of the colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from plugs.ground.records import record
from plugs.mesh.named import NamedMesh, colour_of
from plugs.mesh.projection import Projection
from plugs.pictures.canvas import Stroke, Word, png_bytes
from plugs.pictures.raster import Frame, Model, Sight, box_seen, camera_at, coloured, make_model, sight_of

_VIEWS: Final = (camera_at(38.0, 26.0), camera_at(218.0, 26.0))  # from behind right, from front left
_WIDE, _HIGH = 760, 500  # px, of a view
_KEY: Final = 84  # px, for the colours' key
_STEP: Final = 90  # px, of a colour in it
_MARGIN: Final = 20  # px
_LETTER: Final = 10.0  # px
EVEN: Final = 6.0  # parts of light from the eye: no shade makes one colour look like the next
LIT: Final = 0.84  # of a colour that is left on a surface seen squarely: a key has it as it is seen


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Sides:
    """A mesh seen from behind right and from front left, before its triangles have colours.

    Attributes
    ----------
    model : Model
    sights : tuple of Sight
    is_even : bool
        Whether light comes from the eye, so that no shade makes one colour look like the next.
    """

    model: Model
    sights: tuple[Sight, ...]
    is_even: bool


def two_sides(mesh: NamedMesh, *, is_even: bool = False) -> Sides:
    """Return a mesh seen from behind right, and from front left.

    Parameters
    ----------
    mesh : NamedMesh
    is_even : bool

    Returns
    -------
    Sides
    """
    model = make_model([mesh])
    sights = tuple(
        sight_of(lit_from(model, camera) if is_even else model, camera, _frame(mesh, camera))
        for camera in _VIEWS
    )
    return Sides(model=model, sights=sights, is_even=is_even)


def tinted_png(
    sides: Sides, tints: NDArray[np.uint8], palette: Sequence[str], words: tuple[Sequence[str], str, str]
) -> bytes:
    """Return two sides of a mesh in the colours of a palette, with their key.

    Parameters
    ----------
    sides : Sides
    tints : (m,) uint8
        Number of each triangle's colour.
    palette : sequence of str
        ``"#rrggbb"``; the last one stands apart in the key, which has each as it is seen in even light.
    words : tuple of sequence of str, str and str
        At the ends of the colours, one more than there are but for the last; beside the last; under all.

    Returns
    -------
    bytes
        PNG.
    """
    colours = np.array([colour_of(text) for text in palette], dtype=np.float32)
    model = replace(sides.model, colours=colours, tint=tints.astype(np.int64))
    seen = [coloured(model, sight) for sight in sides.sights]
    pixels = np.vstack([np.hstack(seen), np.full((_KEY, 2 * _WIDE, 3), 255, dtype=np.uint8)])
    ends, apart, caption = words
    left, top = 2 * _MARGIN, _HIGH + 8
    last = left + (len(palette) - 1) * _STEP + _MARGIN
    for x, colour in zip((*range(left, last - _MARGIN, _STEP), last), palette, strict=True):
        pixels[top : top + 22, x : x + _STEP] = [
            round(255 * part * (LIT if sides.is_even else 1.0)) for part in colour_of(colour)
        ]
    places = range(left, left + len(ends) * _STEP, _STEP)
    written = [
        Word(text=text, at=(x, top + 40), height=_LETTER, align="centre")
        for x, text in zip(places, ends, strict=True)
    ]
    written.append(Word(text=apart, at=(last + _STEP + 8, top + 11), height=_LETTER))
    written.append(Word(text=caption, at=(left, top + 62), height=_LETTER))
    return png_bytes(pixels, written, [Stroke(begin=(x, top + 22), finish=(x, top + 30)) for x in places])


def lit_from(model: Model, camera: Projection) -> Model:
    """Return a model that is lit nearly from the eye, so that its colours stay as they are."""
    normals = model.normals + EVEN * np.cross(camera.right, camera.up)
    return replace(model, normals=normals / np.linalg.norm(normals, axis=2, keepdims=True))


def _frame(mesh: NamedMesh, camera: Projection) -> Frame:
    """Return the frame that a mesh fills."""
    low, high = box_seen([mesh], camera)
    wide, tall = (float(v) for v in np.maximum(high - low, 1e-6))
    scale = min((_WIDE - 2 * _MARGIN) / wide, (_HIGH - 2 * _MARGIN) / tall)
    x, y = (float(v) for v in (low + high) / 2.0)
    return Frame(width=_WIDE, height=_HIGH, scale=scale, centre=(x, y))
