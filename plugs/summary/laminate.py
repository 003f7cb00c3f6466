"""What summary.json says of everything that is laid up: schedule, cloth, resin, shopping, cost, part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from plugs.cloth.roll import Roll
from plugs.drawings import cloth_stems
from plugs.ground.figures import rounded
from plugs.stages.cloth import LaidPatch
from plugs.stages.worked import Worked
from plugs.summary.figures import cost_figures, layup_figures, part_figures, resin_figures, shopping_figures


def schedule(work: Worked, _: object) -> dict[str, Any] | None:
    """Return the plies over every place; None without a schedule."""
    if work.layup is None or work.edges is None:
        return None
    return layup_figures(work.layup, work.edges.verdicts) | {
        "filler_mm": rounded(work.skin.filler),
        "foam_stays": work.plug.foam_stays,
    }


def resin(work: Worked, _: object) -> dict[str, Any] | None:
    """Return what to mix; None without a schedule."""
    return None if work.layup is None or work.resin is None else resin_figures(work.layup, work.resin)


def part(work: Worked, _: object) -> dict[str, Any] | None:
    """Return the part's mass; None without a schedule."""
    return None if work.part is None else part_figures(work.part, work.sags)


def shopping(work: Worked, _: object) -> list[dict[str, Any]] | None:
    """Return what to buy; None without a schedule."""
    return None if work.shopping is None else shopping_figures(work.shopping)


def cost(work: Worked, _: object) -> dict[str, Any] | None:
    """Return what that costs; None without a schedule."""
    return None if work.shopping is None else cost_figures(work.shopping)


def cloth(work: Worked, files: Mapping[str, bytes]) -> dict[str, Any] | None:
    """Return zones, pieces, seams, rolls and nets; None without a schedule."""
    made, nets = work.cloth, work.drape
    if made is None or nets is None:
        return None
    stems = cloth_stems(work)
    cut = iter(stems.patterns)
    areas: dict[str, float] = {}
    for patch in made.surface.patches:
        zone = made.surface.zones[patch.zone].name
        areas[zone] = areas.get(zone, 0.0) + patch.area_mm2
    return {
        "zones": [
            {"name": zone.name, "places": list(zone.panels), "area_m2": rounded(1e-6 * areas[zone.name])}
            for zone in made.surface.zones
            if zone.name in areas
        ],
        "seams": [
            {
                "name": seam.name,
                "between": [seam.first, seam.second],
                "length_mm": rounded(seam.length),
                "notches": len(seam.notches),
            }
            for seam in made.patterns.seams
        ],
        "rolls": [_roll(roll, files, stem, cut) for roll, stem in zip(made.rolls, stems.rolls, strict=True)],
        "nets": [_net(net, files, stem) for net, stem in zip(nets.laid, stems.nets, strict=True)],
        "trim_mm": rounded(work.plug.laps.trim),
    }


def _roll(roll: Roll, files: Mapping[str, bytes], stem: str, cut: Iterator[str]) -> dict[str, Any]:
    """Return a roll with the pieces that are cut from it."""
    return {
        "cloth": roll.cloth,
        "width_mm": rounded(roll.roll_width),
        "length_m": rounded(roll.length_to_buy_m),
        "yield_ratio": rounded(roll.yield_ratio),
        "files": _files(files, stem),
        "pieces": [
            {
                "name": one.pattern.name,
                "ply": one.pattern.ply,
                "zone": one.pattern.zone,
                "area_m2": rounded(1e-6 * one.pattern.area_mm2),
                "bias_deg": rounded(one.pattern.bias_deg),
                "is_exact": one.pattern.is_exact,
                "stretch_min": rounded(one.pattern.stretch_min),
                "stretch_max": rounded(one.pattern.stretch_max),
                "files": _files(files, next(cut)),
            }
            for one in roll.laid
        ],
    }


def _net(net: LaidPatch, files: Mapping[str, bytes], stem: str) -> dict[str, Any]:
    """Return how a cloth shears on a patch, and what would help where it locks."""
    draped, remedies = net.drape, net.remedies
    restart = None if remedies is None else remedies.restart
    split = None if remedies is None else remedies.split
    return {
        "patch": net.patch.name,
        "plies": list(net.plies),
        "bias_deg": rounded(net.bias_deg),
        "cell_mm": rounded(draped.cell),
        "start_mm": [rounded(v) for v in draped.start],
        "warp": [rounded(v) for v in draped.warp],
        "largest_shear_deg": rounded(draped.largest_shear_deg),
        "largest_at_mm": [rounded(v) for v in draped.largest_at],
        "warn_deg": rounded(draped.warn_deg),
        "lock_deg": rounded(draped.lock_deg),
        "warned_ratio": rounded(draped.warned_ratio),
        "locked_ratio": rounded(draped.locked_ratio),
        "reached_ratio": rounded(draped.reached_ratio),
        "better_start_mm": None if restart is None else [rounded(v) for v in restart.start],
        "better_shear_deg": None if restart is None else rounded(restart.largest_shear_deg),
        "darts": [
            [[rounded(v) for v in dart.line[0]], [rounded(v) for v in dart.line[-1]]] for dart in net.darts
        ],
        "darted_shear_deg": None if remedies is None else rounded(remedies.darted_deg),
        "split_at_mm": None if split is None else [rounded(v) for v in split.at],
        "split_shear_deg": None if split is None else rounded(split.largest_shear_deg),
        "files": _files(files, stem),
    }


def _files(files: Mapping[str, bytes], stem: str) -> list[str]:
    """Return the drawings of a name."""
    return sorted(name for name in files if Path(name).stem == stem and name.startswith("cloth/"))
