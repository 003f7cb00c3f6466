"""Pixels, words and drawings as PNG: the same bytes every time, and no time in them."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from plugs.drafting.drawing import Array, Drawing, Label, drawing_bounds
from plugs.drafting.flat import flat_points
from plugs.drafting.styles import line_styles
from plugs.ground.records import record

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

Pixels = NDArray[np.uint8]

LONG_SIDE_PX: Final = 1600
"""Of a drawing's picture, unless its smallest words want more."""

LONGEST_SIDE_PX: Final = 3200  # a picture of more is not shown well by phones
LETTER_PX: Final = 9.0
"""Height of a capital that is read without effort on a screen (common practice, no source)."""

_MARGIN_PX: Final = 24  # white all round
_LINE_PX: Final = 1.5  # seen when the picture is made half as large
_SAMPLES: Final = 2  # each way to a pixel, for smooth edges
_INK: Final = "#202020"
_CHORD_PX: Final = 0.1  # under what a pixel shows


@record(frozen=True, slots=True, kw_only=True)
class Word:
    """Words on a picture.

    Attributes
    ----------
    at : tuple of 2 float, dimensionless
        In pixels to the right and down.
    height : float, dimensionless
        Of a capital, in pixels.
    align : str
        What lies at that place: "left", "centre" or "right" end of the words, at half their height.
    """

    text: str
    at: tuple[float, float]
    height: float = LETTER_PX
    align: str = "left"


@record(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A straight line on a picture.

    Attributes
    ----------
    begin, finish : tuple of 2 float, dimensionless
        In pixels to the right and down.
    width : int
        In pixels.
    """

    begin: tuple[float, float]
    finish: tuple[float, float]
    width: int = 1


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """A patch of one colour on a picture.

    Attributes
    ----------
    points : (k, 2) float, dimensionless
        In pixels to the right and down.
    colour : str
        ``"#rrggbb"``.
    """

    points: Array
    colour: str


def load_library() -> None:
    """Load the library that writes pictures, which later calls then need not wait for.

    Raises
    ------
    ImportError
        It is not there.
    """
    import PIL.Image
    import PIL.ImageDraw
    import PIL.ImageFont  # noqa: F401


def png_bytes(
    pixels: Pixels,
    words: Sequence[Word] = (),
    strokes: Sequence[Stroke] = (),
    patches: Sequence[Patch] = (),
) -> bytes:
    """Return a picture as a PNG file.

    Parameters
    ----------
    pixels : (height, width, 3) int
        Red, green and blue, 0 to 255.
    words : sequence of Word
        Written over it.
    strokes : sequence of Stroke
        Drawn over it.
    patches : sequence of Patch
        Laid under both, the first lowest.

    Raises
    ------
    ImportError
        The library that writes pictures is not there.
    """
    from PIL import Image, ImageDraw

    image = Image.fromarray(pixels)
    pen = ImageDraw.Draw(image)
    for patch in patches:
        pen.polygon([(float(x), float(y)) for x, y in patch.points], fill=patch.colour)
    for stroke in strokes:
        pen.line([stroke.begin, stroke.finish], fill=_INK, width=stroke.width)
    for word in words:
        _write(
            pen, word.text, word.at, word.height, {"left": "lm", "centre": "mm", "right": "rm"}[word.align]
        )
    return _encoded(image)


def word_width(word: Word) -> float:
    """Return how wide words are on a picture.

    Returns
    -------
    float, dimensionless
        In pixels.
    """
    return float(_font(word.height).getlength(word.text))


def drawing_png(drawing: Drawing) -> bytes:
    """Return a drawing as a PNG file, large enough to read its smallest words.

    Raises
    ------
    ImportError
        The library that writes pictures is not there.
    """
    from PIL import Image, ImageDraw

    left, bottom, right, top = drawing_bounds(drawing)
    longest = max(right - left, top - bottom, 1e-6)
    smallest = min((label.height for label in drawing.labels), default=np.inf)
    scale = min(
        max((LONG_SIDE_PX - 2 * _MARGIN_PX) / longest, LETTER_PX / smallest), LONGEST_SIDE_PX / longest
    )
    size = [int(np.ceil(span * scale)) + 2 * _MARGIN_PX for span in (right - left, top - bottom)]
    image = Image.new("RGB", (size[0] * _SAMPLES, size[1] * _SAMPLES), "#ffffff")
    pen = ImageDraw.Draw(image)
    fine = scale * _SAMPLES

    def placed(points: Array) -> Array:
        return np.asarray((points - (left, top)) * (fine, -fine) + _MARGIN_PX * _SAMPLES)

    styles = line_styles(drawing)
    for path in drawing.paths:
        style = styles[path.dxf_layer]
        points = placed(flat_points(path, tolerance=_CHORD_PX / fine))
        for run in _dashes(points, [part * fine for part in style.dash]):
            pen.line(run.ravel().tolist(), fill=style.colour, width=round(_LINE_PX * _SAMPLES), joint="curve")
    for label in drawing.labels:
        at = placed(np.array(label.at))
        _write(
            pen,
            label.text,
            (float(at[0]), float(at[1])),
            label.height * fine,
            _anchor(label),
            styles[label.dxf_layer].colour,
        )
    return _encoded(image.reduce(_SAMPLES))


def _anchor(label: Label) -> str:
    """Return what of a label lies at its place: the left end of its base line, or its middle."""
    return "mm" if label.align == "centre" else "ls"


def _dashes(points: Array, dash: Sequence[float]) -> list[Array]:
    """Return the strokes of a line."""
    length = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    total, period = float(length[-1]), float(sum(dash))
    if not dash or period <= 1.0 or total <= dash[0]:
        return [points]
    starts, ends = np.cumsum([0.0, *dash])[:-1:2], np.cumsum(dash)[::2]
    turns = np.arange(int(total / period) + 1)[:, None] * period
    begins = (turns + starts).ravel()
    finishes = np.minimum((turns + ends).ravel(), total)
    runs = []
    for begin, finish in zip(begins[begins < total], finishes[begins < total], strict=True):
        between = points[(length > begin) & (length < finish)]
        tips = [[np.interp(at, length, points[:, k]) for k in (0, 1)] for at in (begin, finish)]
        runs.append(np.vstack((tips[:1], between, tips[1:])))
    return runs


def _write(
    pen: Any, text: str, at: tuple[float, float], height: float, anchor: str, colour: str = _INK
) -> None:
    """Write a line of words."""
    pen.text(at, text, fill=colour, font=_font(height), anchor=anchor)


@cache
def _font(height: float) -> FreeTypeFont | ImageFont:
    """Return the face that comes with the library, its capitals of a height."""
    from PIL import ImageFont

    return ImageFont.load_default(size=max(height / _capital_ratio(), 1.0))


@cache
def _capital_ratio() -> float:
    """Return the height of a capital over the size of the face."""
    from PIL import ImageFont

    _, top, _, bottom = ImageFont.load_default(size=200.0).getbbox("H", anchor="ls")
    return (bottom - top) / 200.0


def _encoded(image: Any) -> bytes:
    """Return an image as PNG, rows as they are: lines and surfaces of few shades pack no better by a filter.

    Source: ISO/IEC 15948, signature, chunks and filter type 0 (from memory; read back in the tests).
    """
    pixels = np.asarray(image)
    high, wide, parts = pixels.shape
    rows = np.zeros((high, 1 + wide * parts), dtype=np.uint8)  # the first byte of each is its filter
    rows[:, 1:] = pixels.reshape(high, -1)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows.data, 6)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        for kind, content in chunks
    )
