"""What the shop pack tells of cloth: which piece goes where, its sizes, laps and order, where it is cut."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
import shapely

from plugs.drafting.builder import DrawingBuilder
from plugs.drafting.drawing import Drawing, Label, Path, box_around, path_bounds
from plugs.drafting.flat import flat_points
from plugs.drafting.laying import figure
from plugs.drafting.placing import Beside
from plugs.drafting.signs import Row, Sign
from plugs.drafting.styles import CUT_LINE, ROLL_EDGE
from plugs.ground.amounts import amount
from plugs.pack.scaled import fitting_scale
from plugs.pack.tables import HEAD, LETTER, ROW, table, wrapped

MAP: Final = "cloth/map"
"""Where the map of cloth is among the drawings."""

_ROLL: Final = "cloth/roll-"  # how the paths of rolls begin, in their order
_WIDTH: Final = 190.0  # mm. Of the narrowest page
_PLIES: Final = 4  # in one table: more are told in the next
_ROLL_TALL: Final = 55.0  # mm. Of a roll on the page
_LETTER: Final = 3.5  # mm. Of a piece on a roll


def cloth_pages(
    summary: Mapping[str, Any], drawings: Mapping[str, Drawing], *, path: str
) -> Iterator[Drawing]:
    """Yield what hangs on the wall where cloth is cut and laid.

    Parameters
    ----------
    summary : mapping
        As in summary.json.
    drawings : mapping of str to Drawing
        By path in the folder, without ending: the map of cloth and the rolls.
    path : str
        Of the drawings, before their number.

    Yields
    ------
    Drawing
        In mm on the page, its upper left corner at the origin; none where nothing is cut.
    """
    cloth, unit = summary.get("cloth"), summary["display_unit"]
    if not cloth or MAP not in drawings:
        return
    yield drawings[MAP]
    plies = [one["ply"] for one in cloth["order"] if one["pieces"]]
    order = [f"Lay ply {one['ply']}: {', '.join(_codes(one['pieces']))}" for one in cloth["order"]]
    yield _rows(f"{path}-order", [], ["In this order, each over the edges of those before it:", *order])
    for k in range(0, len(plies), _PLIES):
        some = plies[k : k + _PLIES]
        yield _rows(f"{path}-pieces-{k}", _piece_rows(summary, some, unit), _piece_words(cloth, unit))
        rows = _lap_rows(cloth, some, unit)
        if len(rows) > 1:
            words = (
                f"At each seam: how far each piece goes beyond it, {unit}; less than nothing: it stays short"
            )
            yield _rows(f"{path}-laps-{k}", rows, [words])
    rolls = [drawing for stem, drawing in drawings.items() if stem.startswith(_ROLL)]
    for number, (roll, drawing) in enumerate(zip(cloth["rolls"], rolls, strict=True)):
        yield _roll(roll, drawing, unit, path=f"{path}-roll-{number}")


def _codes(names: Sequence[str]) -> list[str]:
    """Return the letters and plies of pieces: A1."""
    return list(dict.fromkeys(name.partition(" ")[0] for name in names))


def _piece_words(cloth: Mapping[str, Any], unit: str) -> list[str]:
    """Return what is to be known of the sizes."""
    trim = figure(cloth["trim_mm"], unit)
    return [
        f"Sizes along the arrow x across it, {unit}, with laps and {trim} of trim at free edges; "
        "A1: zone A, ply 1. Bias: the warp is turned anti-clockwise from the arrow. "
        "= is a plain rectangle; the others have a pattern."
    ]


def _piece_rows(summary: Mapping[str, Any], plies: Sequence[int], unit: str) -> list[list[str]]:
    """Return the table of pieces: a row a zone, a column a ply."""
    cloth = summary["cloth"]
    known = {one["number"]: one for one in summary["schedule"]["plies"]}
    pieces = [piece for roll in cloth["rolls"] for piece in roll["pieces"]]
    heads = [f"ply {ply}" for ply in plies]
    kinds = [
        known[ply]["cloth"] + (f", bias {known[ply]['bias_deg']:g}" if known[ply]["bias_deg"] else "")
        for ply in plies
    ]
    rows = [["", "zone", "arrow", *heads], ["", "", "", *kinds]]
    for zone in cloth["zones"]:
        mine = [piece for piece in pieces if piece["zone"] == zone["name"]]
        cells = [[_size(piece, unit) for piece in mine if piece["ply"] == ply] for ply in plies]
        for k in range(max(map(len, cells), default=0)):
            first = [zone["letter"], zone["name"], mine[0]["warp"].lower()] if k == 0 else ["", "", ""]
            rows.append([*first, *(cell[k] if k < len(cell) else "" for cell in cells)])
    return rows


def _size(piece: Mapping[str, Any], unit: str) -> str:
    """Return the size of a piece, with the letter of a breadth."""
    breadth = piece["name"].rpartition(" ")[2]
    words = f"{figure(round(piece['length_mm']), unit)} x {figure(round(piece['width_mm']), unit)}"
    return words + (" =" if piece["is_rectangle"] else "") + (f" ({breadth})" if piece["in_breadths"] else "")


def _lap_rows(cloth: Mapping[str, Any], plies: Sequence[int], unit: str) -> list[list[str]]:
    """Return the table of laps: a row a seam, a column a ply."""
    rows = [["seam", "between", *(f"ply {ply}" for ply in plies)]]
    for seam in cloth["seams"]:
        told = {lap["ply"]: lap for lap in seam["laps"]}
        one, other = seam["name"].rstrip("'").split("-")
        cells = []
        for ply in plies:
            lap = told.get(ply, {})
            both = ((one, lap.get("first_mm")), (other, lap.get("second_mm")))
            cells.append(
                ", ".join(f"{letter} {figure(round(far), unit)}" for letter, far in both if far is not None)
            )
        rows.append([seam["name"], " - ".join(seam["between"]), *cells])
    return rows


def _rows(path: str, rows: Sequence[Sequence[str]], words: Sequence[str]) -> Drawing:
    """Return a table with the words over it."""
    builder = DrawingBuilder(path=path, title="Cloth")
    y = 0.0
    for text in (text for one in words for text in wrapped(one, _WIDTH)):
        y -= ROW
        builder.write(Label(text=text, at=(0.0, y), height=LETTER))
    if rows:
        table(builder, rows, y - 1.0, _WIDTH)
    return builder.drawing()


def _roll(roll: Mapping[str, Any], drawing: Drawing, unit: str, *, path: str) -> Drawing:
    """Return a roll to scale with its pieces lettered."""
    length = amount("length_m", roll["length_m"], unit)
    builder = DrawingBuilder(path=path, title=f"Roll of {roll['cloth']}", display_unit=unit)
    own = [one for one in drawing.paths if one.dxf_layer in (ROLL_EDGE, CUT_LINE)]
    box = box_around([path_bounds(one) for one in own])
    scale = fitting_scale(box, (_WIDTH, _ROLL_TALL))
    head = (
        f"Roll of {roll['cloth']}, {figure(roll['width_mm'], unit)} {unit} wide, buy {length}; 1 : {scale:g}"
    )
    builder.write(Label(text=head, at=(0.0, -HEAD), height=HEAD))
    move = np.array((-box[0] / scale, -HEAD - 3.0 - box[3] / scale))
    moved = [
        Path(
            points=one.points / scale + move,
            bulges=one.bulges,
            is_closed=one.is_closed,
            dxf_layer=one.dxf_layer,
        )
        for one in own
    ]
    builder.draw(moved)
    shapes = _shapes([one for one in moved if one.dxf_layer == CUT_LINE])
    for piece, shape in zip(roll["pieces"], shapes, strict=True):
        breadth = piece["name"].rpartition(" ")[2] if piece["in_breadths"] else ""
        code = f"{piece['name'].partition(' ')[0]}{breadth}"
        x, y = shapely.get_coordinates(shape.representative_point())[0].tolist()
        plain = Label(text=code, at=(x, y), height=LETTER, align="centre")
        sign = Sign(rows=(Row(text=code),), least=LETTER, largest=_LETTER)
        builder.sign(shape, sign, over_lines=False, instead=Beside(choices=(plain,), to=(x, y)))
    return builder.drawing()


def _shapes(paths: Sequence[Path]) -> list[shapely.Polygon]:
    """Return the pieces that rings bound, in their order: what lies in the one before is its hole."""
    found: list[shapely.Polygon] = []
    for one in paths:
        ring = shapely.Polygon(flat_points(one, tolerance=0.05)).buffer(0)
        if found and found[-1].contains(ring.representative_point()):
            found[-1] = found[-1].difference(ring)
        else:
            found.append(ring)
    return found
