"""Which drawings a build makes, and where in its folder each one goes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial, wraps
from typing import Final, TypedDict

import numpy as np

from plugs.drafting.arcs import arcs_within
from plugs.drafting.builder import drawn_together
from plugs.drafting.drawing import Array, Drawing
from plugs.drafting.glue import joining_of
from plugs.drafting.layer import LayerJob, drawn_layers
from plugs.drafting.sheet import board_builders, sheet_builders
from plugs.drafting.trims import PARTING, Trims
from plugs.files.drawing_run import PaperJob
from plugs.files.names import file_stems, wire_stems
from plugs.ground.errors import promise
from plugs.ground.paper import paper_of
from plugs.ground.records import record
from plugs.sanding.pocket_pattern import later_in
from plugs.stages.shape import measured_lines
from plugs.stages.worked import Worked

_Draw = Callable[[Worked], dict[str, Drawing]]


class _Words(TypedDict):
    """What every drawing is told."""

    plug_name: str
    display_unit: str


SANDING_MAP = "templates/sanding-map"
"""Where the sanding map goes, without its ending."""

_GROUPS = {
    "layers/": "layers",
    "templates/base-plan": "base",
    "templates/radius-block-": "blocks",
    "templates/pocket-": "pockets",
    "templates/form-": "pockets",
    "templates/opening-": "pockets",
    "templates/hard-point-": "pockets",
    "templates/board-": "sheets",
    "templates/flange-sheet-": "sheets",
    SANDING_MAP: "",
    "templates/": "templates",
    "wire/": "templates",
    "cloth/": "cloth",
    "sheets/": "sheets",
}
"""The group of full-size paper to which drawings belong, by how their paths begin, the first that fits."""


@record(frozen=True, slots=True, kw_only=True)
class ClothStems:
    """The names of the files of cloth, without ending, no two alike on any file system.

    Attributes
    ----------
    patterns : tuple of str
        Of each pattern that is drawn.
    rolls, nets : tuple of str
    pieces : mapping of str to str
        The name of the pattern by which each piece is cut, but for those that need none.
    """

    patterns: tuple[str, ...]
    rolls: tuple[str, ...]
    nets: tuple[str, ...]
    pieces: Mapping[str, str]


def _by_its_chord(draw: _Draw) -> _Draw:
    """Return a function of a work with which arcs are as near to the outlines as the plug asks."""

    @wraps(draw)
    def drawn(work: Worked) -> dict[str, Drawing]:
        with arcs_within(work.plug.chord_tolerance):
            return draw(work)

    return drawn


def layer_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the drawing of each layer, with its pieces, glue and pins.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    return _by_path(drawn_layers(layer_jobs(work)))


def layer_jobs(work: Worked) -> list[LayerJob]:
    """Return what is drawn of each layer: the same makes the same drawing.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    list of LayerJob
    """
    whole, chord = work.pieces, work.plug.chord_tolerance
    job = partial(LayerJob, **_words(work), stations=_stations(work), trims=_trims(work), chord=chord)
    with arcs_within(chord):
        joining = joining_of(whole.pieces, whole.joints, whole.voids, work.pins.joints)
    return [
        job(layer=one, joining=joining.of(one.name), later=later_in(work.kits, one.name))
        for one in work.layers
    ]


@_by_its_chord
def template_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the drawings of templates, base plan, radius blocks, pocket patterns, hard points and forms.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    from plugs.subjects.base import base_drawing
    from plugs.subjects.block import block_drawing
    from plugs.subjects.form import form_drawing
    from plugs.subjects.recess import hard_point_drawing, recess_drawing
    from plugs.subjects.template import template_drawing

    words, sanding = _words(work), work.sanding
    drawings = [
        template_drawing(one, **words, stations=_stations(work), trims=_trims(work)) for one in work.templates
    ]
    drawings.append(base_drawing(work.base, **words))
    drawings += [block_drawing(block, sanding.words, **words) for block in sanding.blocks]
    drawings += [
        recess_drawing(kit, path=f"templates/pocket-{i:02d}", **words)
        for i, kit in enumerate(work.kits, start=1)
    ]
    drawings += [
        hard_point_drawing(one, path=f"templates/hard-point-{i:02d}", **words)
        for i, one in enumerate(work.hard_points, start=1)
    ]
    forms = zip(work.form_templates, file_stems_of_forms(work), strict=True)
    drawings += [form_drawing(one, path=stem, **words) for one, stem in forms]
    if work.opening_templates:
        from plugs.openings.drawing import opening_drawing

        drawings += [
            opening_drawing(one, path=f"templates/opening-{i:02d}", **words)
            for i, one in enumerate(work.opening_templates, start=1)
        ]
    if work.flanges:
        from plugs.mould.drawing import flange_drawing

        drawings += [flange_drawing(one, **words) for one in work.flanges]
    return _by_path(drawings)


def file_stems_of_forms(work: Worked) -> list[str]:
    """Return where the drawing of each template of a form goes, by the form and the station's number.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    list of str
        Without ending.
    """
    order = {form.name: i for i, form in enumerate(work.plug.forms, start=1)}
    return [f"templates/form-{order[one.form]:02d}-{one.number:02d}" for one in work.form_templates]


@_by_its_chord
def cloth_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the drawings of cloth patterns, at full size.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending; none without a schedule.
    """
    if work.cloth is None:
        return {}
    from plugs.cloth.seams import zone_letters
    from plugs.subjects.cloth import pattern_drawing

    words, letters = _words(work), zone_letters(work.cloth.surface.patches)
    named = zip(work.drawn_patterns, cloth_stems(work).patterns, strict=True)
    return _by_path([pattern_drawing(one, letters, path=f"cloth/{stem}", **words) for one, stem in named])


def cloth_stems(work: Worked) -> ClothStems:
    """Return the names of the files of cloth.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    ClothStems
    """
    laid = () if work.cloth is None else work.cloth.rolls
    nets = () if work.drape is None else work.drape.laid
    drawn = work.drawn_patterns
    patterns, rolls = [one.pattern.name for one in drawn], [f"roll {roll.cloth}" for roll in laid]
    stems = file_stems(["map", *patterns, *rolls, *(f"shear {net.name}" for net in nets)])[1:]
    first, last = len(patterns), len(patterns) + len(rolls)
    by_name = {
        piece.name: stem
        for one, stem in zip(drawn, stems, strict=False)
        for piece in (*one.pieces, *one.turned)
    }
    pieces = {
        one.pattern.name: stem
        for roll in laid
        for one in roll.laid
        if (stem := by_name.get(one.pattern.name) or by_name.get(one.pattern.whole_name))
    }
    return ClothStems(patterns=stems[:first], rolls=stems[first:last], nets=stems[last:], pieces=pieces)


def _by_path(drawings: Sequence[Drawing]) -> dict[str, Drawing]:
    """Return drawings by their paths in the build's folder, without ending."""
    found = {drawing.path: drawing for drawing in drawings}
    promise(len(found) == len(drawings), f"two drawings have one path: {[one.path for one in drawings]}")
    return found


def is_pictured(stem: str) -> bool:
    """Return whether a drawing is made into a picture too: the sanding map and the cloth's shear.

    Parameters
    ----------
    stem : str
        Its path in the folder, without ending.

    Returns
    -------
    bool
    """
    return stem == SANDING_MAP or stem.startswith("cloth/shear-")


def bow_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the pairs of templates for a wire in a bow, at full size.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending; none without a bow.
    """
    if work.by_hand is None:
        return {}
    from plugs.subjects.wire_template import wire_template_drawings

    stems = wire_stems([hand.cut.name for hand in work.by_hand.cuts])
    pairs = zip(work.by_hand.cuts, stems, strict=True)
    return _by_path(
        [one for hand, path in pairs for one in wire_template_drawings(hand, path=path, **_words(work))]
    )


def slot_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the sheets of slot tests, at full size: of the machine, and of the bow.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending; none where nothing is cut by wire.
    """
    if work.plug.wire is None:
        return {}
    from plugs.subjects.slot_sheet import hand_slot_drawing, slot_drawing
    from plugs.wire.program import hand_slots

    found = list[Drawing]()
    if work.wire is not None:
        found.append(slot_drawing(work.wire.slots, work.wire.machine, path="wire/slot-test", **_words(work)))
    if work.by_hand is not None:
        bow = work.by_hand.cuts[0].bow
        found.append(hand_slot_drawing(hand_slots(bow), bow, path="wire/bow-slot-test", **_words(work)))
    return _by_path(found)


@_by_its_chord
def sheet_drawings(work: Worked) -> dict[str, Drawing]:
    """Return what is looked at, not printed to size: sheets of foam, sanding map, measured lines.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    from plugs.subjects.sanding_map import sanding_map

    words, nesting = _words(work), work.sheets.nesting
    found = [sanding_map(work.sanding, path=SANDING_MAP, **words)]
    if nesting is not None:
        found += drawn_together(sheet_builders(nesting, **words))
    kinds = (work.boards, "template"), (work.bow_boards, "wire template"), (work.flange_sheets, "flange")
    for boards, of in kinds:
        if boards is not None and (laid := boards.nesting) is not None:
            found += drawn_together(board_builders(laid, **words, of=of))
    return _by_path(found) | fairing_drawings(work) | operator_sheets(work) | router_sheets(work)


@_by_its_chord
def laid_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the map of cloth, its rolls, and its shear where that is warned of or asked for.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending; none without a schedule.
    """
    if work.cloth is None or work.drape is None:
        return {}
    from plugs.pack.cloth import MAP
    from plugs.stages.cloth import asked_for
    from plugs.subjects.cloth import roll_drawing
    from plugs.subjects.cloth_map import cloth_map
    from plugs.subjects.drape import drape_drawing

    words, laid = _words(work), work.cloth.rolls
    stems, asked = cloth_stems(work), asked_for(work.plug, work.cloth)
    zones, whole = work.cloth.surface.zones, work.cloth.patterns.whole
    drawn = [cloth_map(work.cloth.surface, whole, path=MAP, **words)] if whole else []
    pairs = zip(laid, stems.rolls, strict=True)
    rolls = [roll_drawing(roll, path=f"cloth/{stem}", **words) for roll, stem in pairs]
    nets = [
        drape_drawing(net.surface, net.drape, zone=net.name, path=f"cloth/{stem}", darts=net.darts, **words)
        for net, stem in zip(work.drape.laid, stems.nets, strict=True)
        if net.drape.largest_shear_deg > net.drape.warn_deg or zones[net.patch.zone].name in asked
    ]
    return _by_path([*drawn, *rolls, *nets])


def operator_sheets(work: Worked) -> dict[str, Drawing]:
    """Return the sheets that go to a wire cutter, one to a program."""
    if work.wire is None:
        return {}
    from plugs.subjects.wire_sheet import operator_sheet

    programs, machine = work.wire.programs, work.wire.machine
    sheets = zip(programs, wire_stems([one.name for one in programs]), strict=True)
    found = [operator_sheet(one, machine, path=f"{stem}-sheet", **_words(work)) for one, stem in sheets]
    return _by_path(found)


def router_sheets(work: Worked) -> dict[str, Drawing]:
    """Return the sheets that go to a router, one to a program."""
    if work.routed is None:
        return {}
    from plugs.subjects.router_sheet import router_sheet

    words, router = _words(work), work.routed.router
    sheets = [(one, f"router/{one.board.stem}-sheet") for one in work.routed.programs]
    return _by_path([router_sheet(one, router, path=path, **words) for one, path in sheets])


def fairing_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the drawings of measured lines: one for each station and contour that has faired curves."""
    from plugs.subjects.fairing import fairing_drawing

    lines = measured_lines(work.plug)
    return _by_path(
        [
            fairing_drawing([line for line in lines if line.drawing == name], **_words(work))
            for name in dict.fromkeys(line.drawing for line in lines)
        ]
    )


def _words(work: Worked) -> _Words:
    """Return what every drawing is told."""
    return {"plug_name": work.plug.name, "display_unit": work.plug.display_unit}


def _trims(work: Worked) -> Trims:
    """Return the lines of edges and openings on the foam by their names, and the parting of a mould."""
    found: dict[str, list[Array]] = {}
    for trim in (trim for trim in work.trims if not trim.strip.is_turned):
        found.setdefault(trim.strip.edge.name, []).extend(trim.lines)
    for one in work.scribed:
        found.setdefault(one.scribe.name, []).append(np.vstack([one.line, one.line[:1]]))
    if work.taken is not None:
        found[PARTING] = list(work.taken.parted.lines)
    return found


def _stations(work: Worked) -> tuple[float, ...]:
    """Return where stations are, along x; none of a plug along a curve, which they stand square to."""
    return () if work.plug.along else tuple(station.x for station in work.plug.stations)


@_by_its_chord
def edge_drawings(work: Worked) -> dict[str, Drawing]:
    """Return the drawing of each mating face's edge, and of each edge of the part with its trim line.

    Parameters
    ----------
    work : Worked

    Returns
    -------
    dict of str to Drawing
        By path in the folder, without ending.
    """
    if not (work.body.faces or work.trims):
        return {}
    from plugs.subjects.mating import edge_drawing, trim_drawing

    faces, trims = enumerate(work.body.faces, start=1), enumerate(work.trims, start=1)
    words = _words(work)
    return _by_path(
        [
            *(edge_drawing(f, path=f"templates/mating-{i}-edge", **words) for i, f in faces),
            *(trim_drawing(trim, path=f"templates/edge-{i:02d}", **words) for i, trim in trims),
        ]
    )


def paper_jobs(work: Worked, groups: Sequence[str], drawings: Mapping[str, Drawing]) -> list[PaperJob]:
    """Return what is printed at full size, a file a group.

    Parameters
    ----------
    work : Worked
    groups : sequence of str
        That are asked for.
    drawings : mapping of str to Drawing
        By path in the folder, without ending.

    Returns
    -------
    list of PaperJob
        Of groups that have drawings.
    """
    plug, stems = work.plug, dict[str, list[str]]()
    for stem in drawings:
        group = next((group for head, group in _GROUPS.items() if stem.startswith(head)), "")
        stems.setdefault(group, []).append(stem)
    return [
        PaperJob(
            path=f"paper/{group}.pdf",
            stems=tuple(stems[group]),
            paper=paper_of(plug.paper, margin=plug.paper_margin, overlap=plug.paper_overlap),
            title=f"{plug.name}, {group}",
            unit=plug.display_unit,
            has_halves=plug.paper_halves,
        )
        for group in groups
        if group in stems
    ]


OF_CLOTH: Final = {make.__name__: make for make in (cloth_drawings, laid_drawings)}
"""What is drawn of cloth: together with it, by whoever makes it."""
