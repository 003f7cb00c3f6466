"""What a build or a check says on the terminal at its end: what the plug is, its findings, what to open."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from plugs.foam.pins import glue_kg
from plugs.ground.amounts import amount, counted
from plugs.ground.errors import SEVERITIES, Finding
from plugs.ground.paper import ROLL_NAME
from plugs.ground.units import format_length, format_size
from plugs.stages.worked import Worked

Paint = Callable[[str, str], str]

_COLOUR: Final = {"stop": "red", "mind": "yellow", "note": "faint"}
_HEAD: Final = 10  # columns before what a row tells
_MINUTE: Final = 60.0  # s
_TEN: Final = 10.0  # s: below that tenths are told


def size_rows(work: Worked, stages: Collection[str]) -> list[str]:
    """Return the rows that say what the plug is, as far as its stages were asked for.

    Parameters
    ----------
    work : Worked
    stages : collection of str

    Returns
    -------
    list of str
    """
    whole, unit = work.body.by_mesh, work.plug.display_unit
    long, wide, high = (format_length(float(v), unit) for v in whole.upper - whole.lower)
    rows = [
        ("plug", work.plug.name),
        ("size", f"{long} long, {wide} wide, {high} high"),
        (
            "volume",
            f"{amount('volume_m3', 1e-9 * whole.volume_mm3, unit)}, "
            f"surface {amount('area_m2', 1e-6 * whole.area_mm2, unit)}",
        ),
    ]
    if "layers" in stages:
        rows += _foam_rows(work)
    if "pieces" in stages:
        pins = sum(len(joint.pins) for joint in work.pins.joints)
        glue = amount("glue_kg", glue_kg(work.plug.glue, work.pins.joints, work.pieces.joints), unit)
        rows.append(("pieces", f"{len(work.pieces.pieces)}, {counted(pins, 'pin')}, {glue} of glue"))
    if "sheets" in stages:
        rows += _sheet_rows(work)
    return [told(*row) for row in [*rows, *_laid_rows(work, stages), *_cut_rows(work, stages)]]


def told(head: str, words: str) -> str:
    """Return a row of the closing table.

    Parameters
    ----------
    head : str
        What it tells of.
    words : str

    Returns
    -------
    str
    """
    return f"{head:<{_HEAD - 1}} {words}"


def finding_rows(findings: Sequence[Finding], again: str, paint: Paint, *, with_notes: bool) -> list[str]:
    """Return the findings: how many of each level, what to do about them; notes in full only if asked for.

    Parameters
    ----------
    findings : sequence of Finding
        The worst first.
    again : str
        The command that tells the notes.
    paint : callable
        Gives words in a colour.
    with_notes : bool

    Returns
    -------
    list of str
    """
    if not findings:
        return [told("findings", "none")]
    counts = {level: sum(f.severity == level for f in findings) for level in SEVERITIES}
    words = {"stop": f"{counts['stop']} to stop at", "mind": f"{counts['mind']} to mind"}
    words["note"] = counted(counts["note"], "note")
    is_folded = bool(counts["note"]) and not with_notes
    if is_folded:
        words["note"] += f" ({again})"
    rows = [told("findings", ", ".join(words[level] for level in SEVERITIES if counts[level]))]
    for f in findings:
        if f.severity != "note" or with_notes:
            level = paint(f"{f.severity}:", _COLOUR[f.severity])
            rows += [f"  {level} {f.where}: {f.message}", f"        {f.remedy}"]
    return rows


def time_row(seconds: float) -> str:
    """Return the row that says how long it took.

    Parameters
    ----------
    seconds : float, s

    Returns
    -------
    str
    """
    if seconds < _MINUTE - 0.5:
        return told("took", f"{round(seconds, 1 if seconds < _TEN else None)} s")
    minutes, rest = divmod(round(seconds), round(_MINUTE))
    return told("took", f"{minutes} min {rest} s")


def paper_rows(summary: Mapping[str, Any], unit: str) -> list[str]:
    """Return the rows that count the pages of the shop pack and at full size, and what these take of a roll.

    Parameters
    ----------
    summary : mapping
        As in summary.json.
    unit : str
        ``"mm"`` or ``"in"``.

    Returns
    -------
    list of str
        None where nothing was printed.
    """
    paper, pack = summary["paper"], summary.get("shop_pack")  # foam and layers alone have none
    packed = (
        []
        if pack is None
        else [told("shop pack", f"{counted(pack['pages'], 'page')} to hang over the bench")]
    )
    if paper is None:
        return packed
    each = ", ".join(f"{Path(one['file']).stem} {one['pages']}" for one in paper["files"])
    length = amount("length_m", 1e-3 * paper["roll_length_mm"], unit)
    roll = f"or about {length} of a roll {ROLL_NAME[unit]} wide"
    return [*packed, told("paper", f"{counted(paper['pages'], 'page')} of {paper['name']} ({each}), {roll}")]


def open_row(folder: Path, files: Sequence[str], book: str, paint: Paint) -> str:
    """Return the row that says what to open.

    Parameters
    ----------
    folder : Path
        That was written.
    files : sequence of str
        Their paths in it, the summary left out.
    book : str
        The path of the build book.
    paint : callable
        Gives words in a colour.

    Returns
    -------
    str
        The book; without one the only file, or the folder.
    """
    read = [file for file in files if not file.endswith(".json")]  # these are for programs
    only = read[0] if len(read) == 1 else ""
    return told("open", paint(str(folder / (book if book in files else only)), "bold"))


def _foam_rows(work: Worked) -> list[tuple[str, str]]:
    """Return the rows that say what the plug is stacked from."""
    sheets: dict[float, int] = {}
    for layer in work.layers:
        sheets[layer.thickness] = sheets.get(layer.thickness, 0) + 1
    unit = work.plug.display_unit
    foam = ", ".join(f"{count} of {format_size(thick, unit)}" for thick, count in sorted(sheets.items()))
    return [("layers", f"{len(work.layers)} square to {work.plug.stack.axis}"), ("foam", foam)]


def _sheet_rows(work: Worked) -> list[tuple[str, str]]:
    """Return the rows that say which sheets it is cut from."""
    nesting, unit = work.sheets.nesting, work.plug.display_unit
    if nesting is None:
        return []
    rows = []
    for used in nesting.by_stock:
        width, height, thickness = (
            format_size(side, unit) for side in (used.stock.width, used.stock.height, used.stock.thickness)
        )
        share = amount("yield_ratio", used.yield_ratio, unit)
        rows.append(("sheets", f"{used.count} of {width} x {height}, {thickness} thick, {share} used"))
    return rows


def _laid_rows(work: Worked, stages: Collection[str]) -> list[tuple[str, str]]:
    """Return the rows that say what is laid up."""
    rows, unit = [], work.plug.display_unit
    if "cloth" in stages and work.cloth is not None:
        rolls = (
            f"{amount('length_m', roll.length_to_buy_m, unit)} of {roll.cloth}" for roll in work.cloth.rolls
        )
        rows.append(("cloth", ", ".join(rolls)))
    if "resin" in stages and work.resin is not None:
        mixed = amount("mixed_kg", work.resin.mixed_kg, unit)
        rows.append(
            ("resin", f"{mixed} with its hardener, in {counted(work.resin.n_batches, 'batch', 'batches')}")
        )
    if "part" in stages and work.part is not None:
        part = work.part
        most, least = (amount("mass_kg", kg, unit) for kg in (part.most_kg, part.least_kg))
        rows.append(("part", f"{amount('mass_kg', part.mass_kg, unit)}, from {least} to {most}"))
    return rows


def _cut_rows(work: Worked, stages: Collection[str]) -> list[tuple[str, str]]:
    """Return the rows that say what is cut by wire, and what is cut beside the foam."""
    rows = []
    if "wire" in stages and work.wire is not None:
        minutes = round(sum(one.seconds for one in work.wire.programs) / _MINUTE)
        rows.append(("wire", f"{counted(len(work.wire.programs), 'program')}, {counted(minutes, 'minute')}"))
    if "templates" in stages and work.templates:
        what = "gauges" if work.templates[0].is_gauge else "templates"
        blocks = counted(len(work.sanding.blocks), "radius block")
        rows.append((what, f"{len(work.templates)}, and {blocks}"))
    return rows
