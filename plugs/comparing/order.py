"""The order to compare: what was measured is read, compared and written beside the builds of its plug."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from plugs.comparing.comparison import FINISHED, FOAM, Ask, Begun, Comparison, begun
from plugs.comparing.laying import BEST, DATUMS, PROBED, locks_of
from plugs.comparing.reading import SCAN, Expected, read_datums, read_measured
from plugs.comparing.scans import is_scan, scan_points
from plugs.files.folder import SUMMARY, FreshFolder
from plugs.ground.errors import PlugError
from plugs.ground.figures import told
from plugs.ground.records import record
from plugs.ground.twins import meanwhile
from plugs.mesh.mesh import keep_to_one_thread
from plugs.stages.worked import Worked
from plugs.summary.summary import file_rows
from plugs.tables.rows import csv_text

_HISTORY: Final = (
    "number", "measured", "against", "laid", "points_on_plug", "mean_mm", "rms_mm", "lowest_mm", "highest_mm",
    "within_ratio", "tolerance_mm", "to_fill_l", "to_take_off_l",
)  # fmt: skip
"""Figures by which comparisons are set side by side."""


@record(frozen=True, slots=True, kw_only=True)
class Words:
    """What the command was told.

    Attributes
    ----------
    against : str
        "foam" or "finished".
    by : str or None
        "probed", "datums" or "best"; None for what its kind asks for.
    datums : Path or None
    lock : tuple of str
    unit : str or None
    tolerance : float, mm
    """

    against: str
    by: str | None
    datums: Path | None
    lock: tuple[str, ...]
    unit: str | None
    tolerance: float


@contextmanager
def begun_by(work: Worked, path: Path, words: Words) -> Iterator[Begun]:
    """Begin to compare what was measured with a plug, where there can be one in a process beside this one.

    Parameters
    ----------
    work : Worked
    path : Path
        What was measured.
    words : Words

    Returns
    -------
    context manager of Begun

    Raises
    ------
    PlugError
        The file cannot be read, or what is in it cannot be laid on the plug.
    """
    locked = locks_of(words.lock)
    if words.against not in (FOAM, FINISHED):
        raise PlugError(
            param="--against",
            value=words.against,
            reason="a plug has no such surface",
            remedy=f"use {FOAM} or {FINISHED}",
        )
    keep_to_one_thread()
    with meanwhile(partial(scan_points, path)) if is_scan(path) else nullcontext() as scanned:
        solid = work.body if words.against == FOAM else work.finish
        expected = Expected(
            plug_name=work.plug.name,
            against=words.against,
            body=solid.body,
            rows=() if is_scan(path) else work.fit_list,
            templates=lambda: work.templates,
            course=solid.loft.table.course,
        )
        measured = read_measured(path, words.unit, expected, scanned)
    datums = None if words.datums is None else read_datums(words.datums)
    by = words.by or (DATUMS if datums is not None else BEST if measured.kind == SCAN else PROBED)
    if by not in (PROBED, DATUMS, BEST) or (locked and by != BEST):
        raise PlugError(
            param="--by" if by not in (PROBED, DATUMS, BEST) else "--lock",
            value=by,
            reason="only a best fit moves freely enough to be locked"
            if locked
            else "it is laid in no such way",
            remedy=f"use --by {BEST}" if locked else f"use {PROBED}, {DATUMS} or {BEST}",
        )
    ask = Ask(against=words.against, how=by, locked=locked, tolerance=words.tolerance)
    with begun(work, measured, ask, datums) as one:
        yield one


def written(found: Comparison, home: Path, stem: str, shown: Mapping[str, bytes]) -> Path:
    """Write a comparison into a folder of its own, and all of a plug into one table; none is written over.

    Parameters
    ----------
    found : Comparison
    home : Path
        Where all comparisons of a plug lie.
    stem : str
        Name of the new folder, after its number.
    shown : mapping of str to bytes
        Picture and page, by their names.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    PlugError
        It cannot be written.
    """
    earlier = _earlier(home)
    number = 1 + max((row.get("number", 0) for row in earlier), default=0)
    folder = home / f"{number:02d}-{stem}-{found.ask.against}"
    figures = {"number": number, **told(found.figures())}
    files = {**shown, "places.csv": csv_text(_place_rows(found)).encode()}
    if found.measured.labels:
        files["points.csv"] = csv_text(_point_rows(found)).encode()
    with FreshFolder(folder) as fresh:
        fresh.files.add(files)
        summary = {**figures, "files": file_rows(fresh.files)}
        fresh.write({SUMMARY: json.dumps(summary, indent=2, ensure_ascii=False) + "\n"})
        fresh.swap_in()
    rows = [*earlier, figures]
    table = [list(_HISTORY), *([_cell(row.get(key)) for key in _HISTORY] for row in rows)]
    try:
        (home / "comparisons.csv").write_text(csv_text(table), encoding="utf-8", newline="\n")
    except OSError as error:
        raise PlugError(
            param="--out",
            value=str(home),
            reason=f"the table of comparisons cannot be written: {error.strerror}",
            remedy="close the program that has comparisons.csv open, or name another folder with --out",
        ) from error
    return folder


def side_by_side(home: Path) -> list[str]:
    """Return what comparisons of a plug came to, one a row, when there are two or more.

    Parameters
    ----------
    home : Path

    Returns
    -------
    list of str
    """
    rows = [row for row in _earlier(home) if row.get("rms_mm") is not None]
    if len(rows) < 2:
        return []
    return [
        f"before    {row['number']:2d} {row['measured']}, {row['against']}: rms {row['rms_mm']:.2f} mm, "
        f"{100.0 * row['within_ratio']:.0f} % within {row['tolerance_mm']:g} mm, "
        f"{row['to_fill_l']:.3f} l to fill"
        for row in rows[:-1]
    ]


def _earlier(home: Path) -> list[dict[str, Any]]:
    """Return the figures of comparisons that lie there, oldest first; what is broken is passed over."""
    found = []
    for path in sorted(home.glob(f"*/{SUMMARY}")) if home.is_dir() else ():
        try:
            held = json.loads(path.read_bytes())
        except (OSError, ValueError):
            continue
        if isinstance(held, dict) and isinstance(held.get("number"), int) and "against" in held:
            found.append(held)
    return sorted(found, key=lambda row: row["number"])


def _cell(value: object) -> str:
    """Return a figure as a cell."""
    return "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)


def _place_rows(found: Comparison) -> list[list[str]]:
    """Return the places that are out of tolerance, as a table."""
    heads = ["place", "off mm", "x mm", "y mm", "z mm", "area m2", "volume l", "what to do"]
    rows = [
        [
            one.place, f"{one.patch.peak:.2f}", *(f"{v:.1f}" for v in one.patch.at.tolist()),
            f"{1e-6 * one.patch.area_mm2:.6f}", f"{1e-6 * one.patch.volume_mm3:.4f}", one.advice,
        ]
        for one in found.worst
    ]  # fmt: skip
    return [heads, *rows]


def _point_rows(found: Comparison) -> list[list[str]]:
    """Return each place that was measured with its deviation."""
    offs = found.near.off.copy()
    offs[[one.number for one in found.edges]] = [one.off for one in found.edges]
    rows = [
        [label, f"{off:.2f}" if np.isfinite(off) else "far off"]
        for label, off in zip(found.measured.labels, offs.tolist(), strict=True)
    ]
    return [["place", "off mm"], *rows]
