"""Pictures of a plug: from several sides, its layers drawn apart, each layer by itself, and drawings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Final

import numpy as np

from plugs.drafting.drawing import Drawing
from plugs.ground.records import record
from plugs.ground.units import format_length, format_size
from plugs.mesh.named import Array, NamedMesh
from plugs.mesh.projection import FROM_ABOVE, FROM_BEHIND, FROM_LEFT, Projection
from plugs.pictures.canvas import Pixels, Stroke, Word, drawing_png, png_bytes, word_width
from plugs.pictures.raster import Frame, Model, box_seen, camera_at, make_model, rendered
from plugs.words.ways import called

FOLDER: Final = "pictures"

_VIEWS: Final = (
    ("ahead", camera_at(218.0, 26.0), False),
    ("astern", camera_at(38.0, 26.0), False),
    ("side", FROM_LEFT, True),
    ("plan", FROM_ABOVE, True),
    ("end", FROM_BEHIND, True),
)
_APART: Final = {"x": camera_at(52.0, 22.0), "y": camera_at(28.0, 24.0), "z": camera_at(38.0, 24.0)}
_ALONE: Final = {"x": camera_at(38.0, 22.0), "y": camera_at(58.0, 24.0), "z": camera_at(38.0, 38.0)}

_WIDTH, _HEIGHT = 900, 600  # px. About as wide as a page of the book
_LOWEST, _NARROWEST = 240, 480  # px. A slim plug still has room for its bar and its words
_MARGIN: Final = 30  # px. White all round
_FOOT: Final = 34  # px. For the bar
_CELL: Final = (300, 220)  # px. Of one layer
_COLUMNS: Final = 4  # of layers: as wide as a screen
_CAPTION: Final = 30  # px. Under a layer
_APART_RATIO: Final = 0.8  # of a layer's thickness between it and the next
_LETTER: Final = 10.0  # px. Height of a capital letter
_MM_PER_INCH: Final = 25.4  # exactly: agreement of 1959 (from memory)
_BARS_MM: Final = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)
"""Round lengths, of which the bar is the longest that fits."""
_BARS_IN: Final = (0.5, 1.0, 2.0, 4.0, 6.0, 12.0, 24.0, 48.0, 96.0, 192.0)  # likewise


@record(frozen=True, slots=True, kw_only=True, eq=False)
class PictureJob:
    """What pictures are made of.

    Attributes
    ----------
    shown : NamedMesh or None
        The plug as it will be seen: its finished surface, or its foam; None for no views of it.
    layers : tuple of NamedMesh
        Where they lie in the plug; without any, none of their pictures is made.
    thicknesses : tuple of float, mm
        Of the layers' sheets.
    every : int, dimensionless
        Which layers of the plug those are: all, every second, and so on.
    axis : str
        That the layers lie square to.
    drawings : mapping of str to Drawing
        To be pictured as they are, by the stems of their pictures, such as "sanding-map".
    captions : mapping of str to str
        What those show, likewise.
    display_unit : str
        "mm" or "in".
    """

    shown: NamedMesh | None = None
    layers: tuple[NamedMesh, ...] = ()
    thicknesses: tuple[float, ...] = ()
    every: int = 1
    axis: str = "z"
    drawings: Mapping[str, Drawing] = field(default_factory=dict)
    captions: Mapping[str, str] = field(default_factory=dict)
    display_unit: str = "mm"

    @property
    def parts(self) -> tuple[PictureJob, ...]:
        """The job shared out, in the order of its pictures: views, layers, and each drawing by itself."""
        bare = replace(self, shown=None, layers=(), thicknesses=(), drawings={}, captions={})
        shares = [] if self.shown is None else [replace(bare, shown=self.shown)]
        shares += [replace(bare, layers=self.layers, thicknesses=self.thicknesses)] if self.layers else []
        shares += [
            replace(bare, drawings={stem: drawing}, captions={stem: self.captions.get(stem, drawing.title)})
            for stem, drawing in self.drawings.items()
        ]
        return tuple(shares)


@record(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture as a file.

    Attributes
    ----------
    path : str
        In the folder.
    caption : str
        What it shows, for those who read and those who hear it.
    content : bytes
        PNG.
    """

    path: str
    caption: str
    content: bytes


def make_pictures(job: PictureJob) -> tuple[Picture, ...]:
    """Return all pictures of a plug, the first one the one to show first.

    Raises
    ------
    ImportError
        The library that writes pictures is not there.
    """
    found: list[Picture] = []
    if job.shown is not None:
        model, said = make_model([job.shown]), called()
        words = {
            "ahead": f"{said.from_front} {said.left}, above",
            "astern": f"{said.from_rear} {said.right}, above",
            "side": f"{said.from_left}: {said.forward} is to the left",
            "plan": f"from above: {said.forward} is to the left",
            "end": said.from_rear,
        }
        found += [
            _picture(
                name, words[name], _view(model, job.shown, camera, job.display_unit if has_bar else None)
            )
            for name, camera, has_bar in _VIEWS
        ]
    if job.layers:
        named = "" if job.every == 1 else f", one in {job.every} of all"
        found.append(_picture("exploded", f"the {len(job.layers)} layers{named}, exploded", apart_png(job)))
        found.append(_picture("layers", f"each layer{named}, all to one scale", layers_png(job)))
    found += [
        _picture(stem, job.captions.get(stem, drawing.title), drawing_png(drawing))
        for stem, drawing in job.drawings.items()
    ]
    return tuple(found)


def view_png(mesh: NamedMesh, view: str = "astern", display_unit: str = "mm") -> bytes:
    """Return one view of a mesh.

    Parameters
    ----------
    mesh : NamedMesh
    view : str
        "ahead", "astern", "side", "plan" or "end".
    display_unit : str
        "mm" or "in".

    Returns
    -------
    bytes
        PNG.
    """
    _, camera, has_bar = next(row for row in _VIEWS if row[0] == view)
    return _view(make_model([mesh]), mesh, camera, display_unit if has_bar else None)


def apart_png(job: PictureJob) -> bytes:
    """Return the layers drawn apart along the stack, with their names.

    Parameters
    ----------
    job : PictureJob
        With layers.

    Returns
    -------
    bytes
        PNG.

    Raises
    ------
    ImportError
        The library that writes pictures is not there.
    """
    camera, moved = _APART[job.axis], drawn_apart(job.layers, job.axis)
    room = _MARGIN + max(word_width(Word(text=mesh.name, at=(0.0, 0.0), height=_LETTER)) for mesh in moved)
    frame = framed(moved, camera, _WIDTH, _HEIGHT * 4 // 3, sideways=2.0 * room)
    words, strokes = _names(moved, camera, frame)
    return png_bytes(rendered(make_model(moved), camera, frame), words, strokes)


def layers_png(job: PictureJob) -> bytes:
    """Return every layer by itself, all to one scale, with name and thickness.

    Parameters
    ----------
    job : PictureJob
        With layers.

    Returns
    -------
    bytes
        PNG.

    Raises
    ------
    ImportError
        The library that writes pictures is not there.
    """
    camera = _ALONE[job.axis]
    wide, high = _CELL
    frames = [framed([mesh], camera, wide, high - _CAPTION, margin=12, keep=True) for mesh in job.layers]
    scale = min(frame.scale for frame in frames)
    columns = min(_COLUMNS, len(job.layers))
    rows = -(-len(job.layers) // columns)
    sheet = np.full((rows * high, columns * wide, 3), 255, dtype=np.uint8)
    words = []
    for i, (mesh, frame) in enumerate(zip(job.layers, frames, strict=True)):
        top, left = i // columns * high, i % columns * wide
        cell = rendered(make_model([mesh]), camera, replace(frame, scale=scale))
        sheet[top : top + high - _CAPTION, left : left + wide] = cell
        text = f"{mesh.name}, {format_size(job.thicknesses[i], job.display_unit)}"
        at = (left + wide / 2.0, top + high - _CAPTION / 2.0)
        words.append(Word(text=text, at=at, height=_LETTER, align="centre"))
    return png_bytes(sheet, words)


def drawn_apart(layers: Sequence[NamedMesh], axis: str, ratio: float = _APART_RATIO) -> tuple[NamedMesh, ...]:
    """Return layers moved apart along the stack.

    Parameters
    ----------
    ratio : float, dimensionless
        Of all gaps together to the larger side of the layers.
    """
    column = "xyz".index(axis)
    points = np.concatenate([mesh.vertices for mesh in layers])
    size = np.delete(points.max(axis=0) - points.min(axis=0), column)
    gap = ratio * float(size.max()) / max(len(layers) - 1, 1)
    place = np.argsort(np.argsort([float(mesh.vertices[:, column].mean()) for mesh in layers]))
    moves = np.outer(place * gap, np.eye(3)[column])
    return tuple(
        replace(mesh, vertices=mesh.vertices + move) for mesh, move in zip(layers, moves, strict=True)
    )


def _picture(name: str, caption: str, content: bytes) -> Picture:
    """Return a picture with its place in the folder."""
    return Picture(path=f"{FOLDER}/{name}.png", caption=caption, content=content)


def _view(model: Model, mesh: NamedMesh, camera: Projection, unit: str | None) -> bytes:
    """Return one view, with a bar for the scale in a unit; without one where lengths are not true."""
    foot = 0 if unit is None else _FOOT
    frame = framed([mesh], camera, _WIDTH, _HEIGHT - foot)
    pixels = rendered(model, camera, frame)
    if unit is None:
        return png_bytes(pixels)
    pixels = np.vstack((pixels, np.full((foot, frame.width, 3), 255, dtype=np.uint8)))
    return png_bytes(pixels, *_bar(pixels, frame.scale, unit))


def framed(
    meshes: Sequence[NamedMesh],
    camera: Projection,
    width: int,
    height: int,
    *,
    margin: int = _MARGIN,
    sideways: float = 0.0,
    keep: bool = False,
) -> Frame:
    """Return the frame that meshes fill, no larger than they need unless told to keep its size."""
    low, high = box_seen(meshes, camera)
    wide, tall = (float(v) for v in np.maximum(high - low, 1e-6))
    scale = min((width - 2 * margin - sideways) / wide, (height - 2 * margin) / tall)
    if not keep:
        width = min(width, max(_NARROWEST, int(np.ceil(wide * scale + sideways)) + 2 * margin))
        height = min(height, max(_LOWEST, int(np.ceil(tall * scale)) + 2 * margin))
    x, y = (float(v) for v in (low + high) / 2.0)
    return Frame(width=width, height=height, scale=scale, centre=(x, y))


def _bar(pixels: Pixels, scale: float, unit: str) -> tuple[list[Word], list[Stroke]]:
    """Return a bar of a round length near a fifth of the width, and its words."""
    height, width = pixels.shape[:2]
    lengths = [n * _MM_PER_INCH for n in _BARS_IN] if unit == "in" else list(_BARS_MM)
    length = min(lengths, key=lambda n: abs(np.log(n * scale / (width / 5.0))))
    left, y = float(_MARGIN), height - _FOOT / 2.0
    right = left + length * scale
    strokes = [Stroke(begin=(left, y), finish=(right, y), width=2)]
    strokes += [Stroke(begin=(x, y - 6.0), finish=(x, y + 6.0), width=2) for x in (left, right)]
    return [Word(text=format_length(length, unit), at=(right + 12.0, y), height=_LETTER)], strokes


def _names(meshes: Sequence[NamedMesh], camera: Projection, frame: Frame) -> tuple[list[Word], list[Stroke]]:
    """Return the names of meshes in a column beside them, as many as have room, each with its line."""
    ends = [_rightmost(camera.seen(mesh.vertices)[:, :2], frame) for mesh in meshes]
    column = max(x for x, _ in ends) + 24.0
    row = 1.8 * _LETTER
    every = -(-len(meshes) * row // (frame.height - 2.0 * row))
    order = sorted(range(0, len(meshes), int(every)), key=lambda i: ends[i][1])
    places: list[float] = []
    for i in order:
        places.append(max(ends[i][1], places[-1] + row if places else row))
    for k in range(len(places) - 1, -1, -1):
        below = places[k + 1] - row if k + 1 < len(places) else frame.height - row
        places[k] = min(places[k], below)
    words = [
        Word(text=meshes[i].name, at=(column + 4.0, place), height=_LETTER)
        for i, place in zip(order, places, strict=True)
    ]
    strokes = [
        Stroke(begin=(ends[i][0] + 4.0, ends[i][1]), finish=(column, place))
        for i, place in zip(order, places, strict=True)
    ]
    return words, strokes


def _rightmost(seen: Array, frame: Frame) -> tuple[float, float]:
    """Return the pixel of the point farthest to the right."""
    x, y = seen[int(np.argmax(seen[:, 0]))]
    return (
        float((x - frame.centre[0]) * frame.scale + frame.width / 2.0),
        float((frame.centre[1] - y) * frame.scale + frame.height / 2.0),
    )
