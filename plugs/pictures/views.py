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

_VIEWS: Final = {
    "front left": (camera_at(218.0, 26.0), False),
    "rear right": (camera_at(38.0, 26.0), False),
    "left": (FROM_LEFT, True),
    "above": (FROM_ABOVE, True),
    "rear": (FROM_BEHIND, True),
}
"""Whence the plug is seen, and whether lengths are true in that picture."""

_APART: Final = {"x": camera_at(52.0, 16.0), "y": camera_at(28.0, 18.0), "z": camera_at(38.0, 15.0)}
_ALONE: Final = {"x": camera_at(38.0, 22.0), "y": camera_at(58.0, 24.0), "z": camera_at(38.0, 38.0)}

_WIDTH, _HEIGHT = 1600, 1000  # px. As wide as a large screen shows
_TALLEST: Final = 2000  # px. Of layers drawn apart
_LOWEST: Final = 360  # px. A slim plug still has room for its bar and its words
_MARGIN: Final = 48  # px. White all round
_HEAD: Final = 84  # px. For the title and the main dimensions
_FOOT: Final = 56  # px. For the bar
_CELL: Final = (400, 300)  # px. Of one layer
_COLUMNS: Final = 4  # of layers: as wide as the other pictures
_CAPTION: Final = 40  # px. Under a layer
_ROOM_RATIO: Final = 0.02  # of the size of the stack: between one layer and the next, as they are seen
_TITLE, _LETTER = 19.0, 14.0  # px. Height of a capital letter
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
    title : str
        Name of the plug.
    size : tuple of 3 float, mm
        Its length, breadth and height; zeros where they are not told.
    """

    shown: NamedMesh | None = None
    layers: tuple[NamedMesh, ...] = ()
    thicknesses: tuple[float, ...] = ()
    every: int = 1
    axis: str = "z"
    drawings: Mapping[str, Drawing] = field(default_factory=dict)
    captions: Mapping[str, str] = field(default_factory=dict)
    display_unit: str = "mm"
    title: str = ""
    size: tuple[float, float, float] = (0.0, 0.0, 0.0)

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
        model = make_model([job.shown])
        found += [
            _picture(stem_of(view), words_of(view), _view(model, job.shown, view, job)) for view in _VIEWS
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


def words_of(view: str) -> str:
    """Return whence a plug is seen, in the words of its recipe."""
    said = called()
    return {
        "front left": f"{said.from_front} {said.left}, above",
        "rear right": f"{said.from_rear} {said.right}, above",
        "left": f"{said.from_left}: {said.forward} is to the left",
        "above": f"from above: {said.forward} is to the left",
        "rear": said.from_rear,
    }[view]


def stem_of(view: str) -> str:
    """Return the name of a view's file: what is seen."""
    words = words_of(view).partition(",")[0].partition(":")[0]
    return words.replace(" the ", " ").replace(" ", "-")


def view_png(mesh: NamedMesh, view: str = "rear right", display_unit: str = "mm") -> bytes:
    """Return one view of a mesh.

    Parameters
    ----------
    mesh : NamedMesh
    view : str
        "front left", "rear right", "left", "above" or "rear".
    display_unit : str
        "mm" or "in".

    Returns
    -------
    bytes
        PNG.
    """
    return _view(make_model([mesh]), mesh, view, PictureJob(display_unit=display_unit))


def apart_png(job: PictureJob) -> bytes:
    """Return the layers drawn apart along the stack, so far that none covers another, with their names.

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
    camera = _APART[job.axis]
    moved = drawn_apart(job.layers, job.axis, camera)
    room = _MARGIN + max(word_width(Word(text=mesh.name, at=(0.0, 0.0), height=_LETTER)) for mesh in moved)
    frame = framed(moved, camera, _WIDTH, _TALLEST - _HEAD, sideways=2.0 * room)
    words, strokes = _names(moved, camera, frame)
    pixels = rendered(make_model(moved), camera, frame, on_ground=True)
    return _titled(pixels, job, "layers, exploded", words, strokes)


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
    columns, rows = _COLUMNS, -(-len(job.layers) // _COLUMNS)
    sheet = np.full((rows * high, columns * wide, 3), 255, dtype=np.uint8)
    words = []
    for i, (mesh, frame) in enumerate(zip(job.layers, frames, strict=True)):
        top, left = i // columns * high, i % columns * wide
        cell = rendered(make_model([mesh]), camera, replace(frame, scale=scale))
        sheet[top : top + high - _CAPTION, left : left + wide] = cell
        text = f"{mesh.name}, {format_size(job.thicknesses[i], job.display_unit)}"
        at = (left + wide / 2.0, top + high - _CAPTION / 2.0)
        words.append(Word(text=text, at=at, height=_LETTER, align="centre"))
    return _titled(sheet, job, "layers, all to one scale", words, [])


def drawn_apart(layers: Sequence[NamedMesh], axis: str, camera: Projection) -> tuple[NamedMesh, ...]:
    """Return layers moved apart along the stack until none covers another, as a camera sees them.

    Parameters
    ----------
    axis : str
        That they lie square to: not the way the camera looks.
    """
    along = np.eye(3)["xyz".index(axis)]
    up = camera.seen(along)[:2]
    rise = float(np.hypot(*up))  # of a picture's length for one along the stack
    reach = [camera.seen(mesh.vertices)[:, :2] @ up / rise for mesh in layers]
    low, high = box_seen(layers, camera)
    room = _ROOM_RATIO * float(np.hypot(*(high - low)))
    order = np.argsort([float(mesh.vertices[:, "xyz".index(axis)].mean()) for mesh in layers])
    moves, top = np.zeros(len(layers)), -np.inf
    for i, before in zip(order, (None, *order), strict=False):
        if before is not None:
            moves[i] = max(moves[before], (top + room - float(reach[i].min())) / rise)
        top = max(top, float(reach[i].max()) + moves[i] * rise)
    return tuple(
        replace(mesh, vertices=mesh.vertices + move * along) for mesh, move in zip(layers, moves, strict=True)
    )


def _picture(name: str, caption: str, content: bytes) -> Picture:
    """Return a picture with its place in the folder."""
    return Picture(path=f"{FOLDER}/{name}.png", caption=caption, content=content)


def _view(model: Model, mesh: NamedMesh, view: str, job: PictureJob) -> bytes:
    """Return one view, with a bar for the scale where lengths are true, on the ground where they are not."""
    camera, has_bar = _VIEWS[view]
    foot = _FOOT if has_bar else 0
    frame = framed([mesh], camera, _WIDTH, _HEIGHT - _HEAD - foot)
    pixels = rendered(model, camera, frame, on_ground=not has_bar)
    if not has_bar:
        return _titled(pixels, job, words_of(view), [], [])
    pixels = np.vstack((pixels, np.full((foot, frame.width, 3), 255, dtype=np.uint8)))
    return _titled(pixels, job, words_of(view), *_bar(pixels, frame.scale, job.display_unit))


def _titled(
    pixels: Pixels, job: PictureJob, told: str, words: Sequence[Word], strokes: Sequence[Stroke]
) -> bytes:
    """Return a picture under its title: the plug, what is seen, and the main dimensions."""
    whole = np.vstack((np.full((_HEAD, pixels.shape[1], 3), 255, dtype=np.uint8), pixels))
    heads = [Word(text=f"{job.title}, {told}" if job.title else told, at=(_MARGIN, 30.0), height=_TITLE)]
    if any(job.size):
        size = " x ".join(format_length(length, job.display_unit) for length in job.size)
        heads.append(Word(text=f"length x breadth x height {size}", at=(_MARGIN, 62.0), height=_LETTER))
    lower = [replace(word, at=(word.at[0], word.at[1] + _HEAD)) for word in words]
    drawn = [
        replace(
            one,
            begin=(one.begin[0], one.begin[1] + _HEAD),
            finish=(one.finish[0], one.finish[1] + _HEAD),
        )
        for one in strokes
    ]
    return png_bytes(whole, [*heads, *lower], drawn)


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
    """Return the frame that meshes fill, no higher than they need unless told to keep its size."""
    low, high = box_seen(meshes, camera)
    wide, tall = (float(v) for v in np.maximum(high - low, 1e-6))
    scale = min((width - 2 * margin - sideways) / wide, (height - 2 * margin) / tall)
    if not keep:
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
