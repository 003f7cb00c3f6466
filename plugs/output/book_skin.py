"""Section of the build book on the skin: what is laid over the foam, with what resin, from which cloth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from plugs.output.book_figures import MIDDLING, SMALL
from plugs.output.book_sheaf import Sheaf
from plugs.output.book_words import Html, el, figures_table, joined, pairs_table, step, steps, table


def skin(sheaf: Sheaf) -> Html:
    """Return how the skin is laid up; empty without any.

    Parameters
    ----------
    sheaf : Sheaf

    Returns
    -------
    Html
    """
    whole, schedule = sheaf.summary.get("skin") or {}, sheaf.summary.get("schedule") or {}
    parts: list[object] = [sheaf.findings("skin")]
    if whole.get("over_mm"):
        rows = [(place, sheaf.told("over_mm", over)) for place, over in whole["over_mm"].items()]
        parts.append(table("Over the foam, laminate and filler", ("Panel or end", "Thickness"), rows))
    if schedule:
        parts += [_schedule(sheaf, schedule), _places(sheaf, schedule)]
    parts.append(_resin(sheaf, sheaf.summary.get("resin") or {}))
    cloth = joined([_cloth(sheaf, sheaf.summary.get("cloth") or {}), sheaf.seen("skin")])
    parts += [el("h3", "Cloth"), cloth] if cloth else []
    parts.append(_part(sheaf, sheaf.summary.get("part") or {}))
    return joined(parts)


def _cloth(sheaf: Sheaf, cloth: Mapping[str, Any]) -> Html:
    """Return rolls and pieces, seams, and how the cloth shears."""
    drawn = sheaf.of("skin")
    rolls = cloth.get("rolls") or []
    columns = (
        ("cloth", "Cloth"), ("width_mm", "Wide"), ("length_m", "Length to buy"), ("yield_ratio", "Used"),
    )  # fmt: skip
    parts: list[object] = [figures_table("Rolls", columns, rolls, sheaf.unit)]
    parts += [_roll(sheaf, roll) for roll in rolls]
    parts += [sheaf.drawn(path, one) for path, one in drawn.items() if "/roll-" in path]
    pieces = ("/roll-", "/shear-")
    parts += [
        sheaf.drawn(path, one, height=SMALL)
        for path, one in drawn.items()
        if not any(word in path for word in pieces)
    ]
    seams = (("name", "Seam"), ("between", "Between"), ("length_mm", "Length"), ("notches", "Notches"))
    parts.append(
        figures_table("Seams: notches of the same name meet", seams, cloth.get("seams") or [], sheaf.unit)
    )
    nets = (
        ("patch", "On"), ("plies", "Plies"), ("bias_deg", "Warp turned"),
        ("start_mm", "Start at x, y, z"), ("largest_shear_deg", "Largest shear"),
        ("largest_at_mm", "There"), ("warned_ratio", "Over the warning"), ("locked_ratio", "Locked"),
        ("darts", "Darts"), ("better_start_mm", "Better start"),
    )  # fmt: skip
    told = cloth.get("nets") or []
    angles = [
        f"{word} {told[0][name]:g}°"
        for word, name in (("warned of from", "warn_deg"), ("locks at", "lock_deg"))
        if told and told[0].get(name) is not None
    ]
    caption = "How the cloth shears" + (f" ({', '.join(angles)})" if angles else "")
    parts.append(figures_table(caption, nets, told, sheaf.unit))
    parts += [sheaf.drawn(path, one, height=MIDDLING) for path, one in drawn.items() if "/shear-" in path]
    return joined(parts)


def _roll(sheaf: Sheaf, roll: Mapping[str, Any]) -> Html:
    """Return the pieces of a roll, with boxes to tick."""
    columns = (
        ("name", "Piece"), ("zone", "On"), ("area_m2", "Area"), ("bias_deg", "Bias"),
        ("stretch_min", "Stretch from"), ("stretch_max", "to"),
    )  # fmt: skip
    return figures_table(
        f"Pieces of {roll['cloth']}", columns, roll.get("pieces") or [], sheaf.unit,
        lambda row: step(f"cloth-{roll['cloth']}-{row['name']}", row["name"]),
    )  # fmt: skip


def _schedule(sheaf: Sheaf, schedule: Mapping[str, Any]) -> Html:
    """Return the plies in the order of laying, with boxes to tick."""
    plies = schedule.get("plies") or []
    columns = (
        ("number", "Ply"), ("cloth", "Cloth"), ("weight_g_m2", "Weight"), ("bias_deg", "Bias"),
        ("places", "Over"),
        ("thickness_mm", "Thick"), ("glass_kg_m2", "Glass"), ("resin_kg_m2", "Resin"),
        ("label", "Figures are"),
    )  # fmt: skip
    listed = figures_table(
        "Plies, in the order of laying", columns, plies, sheaf.unit,
        lambda row: step(f"ply-{row['number']}", f"{row['number']} {row.get('name') or ''}".strip()),
    )  # fmt: skip
    words = ("method", "foam", "barrier", "resin", "hardener")
    pairs: list[tuple[object, object]] = [(w.capitalize(), schedule.get(w)) for w in words]
    pairs += [
        (words, sheaf.told(name, schedule[name]))
        for name, words in (("seal_kg_m2", "Seal coat"), ("finish_kg_m2", "Finish coat"))
        if schedule.get(name)
    ]
    return joined([pairs_table("Laid up with", pairs), listed])


def _places(sheaf: Sheaf, schedule: Mapping[str, Any]) -> Html:
    """Return what lies over each place, and the edges."""
    places = [{"place": place} | dict(over) for place, over in (schedule.get("places") or {}).items()]
    columns = (
        ("place", "Place"), ("plies", "Plies"), ("thickness_mm", "Thick"), ("thickness_spread_mm", "± Thick"),
        ("glass_kg_m2", "Glass"), ("resin_kg_m2", "Resin"), ("mass_kg_m2", "Weight"),
    )  # fmt: skip
    edges = (
        ("place", "Edge"), ("radius_mm", "Radius"), ("least_radius_mm", "Cloth asks"),
        ("is_inside", "Inside"),
        ("length_mm", "Length"), ("cloth", "Cloth"),
    )  # fmt: skip
    return joined(
        [
            figures_table("Over each place", columns, places, sheaf.unit),
            figures_table("Edges", edges, schedule.get("edges") or [], sheaf.unit),
        ]
    )


def _resin(sheaf: Sheaf, resin: Mapping[str, Any]) -> Html:
    """Return the mixing sheet, batch by batch."""
    if not resin:
        return Html("")
    pairs = [
        ("Resin", resin.get("resin")),
        ("Hardener", resin.get("hardener")),
        *(
            (words, sheaf.told(name, resin[name]))
            for name, words in (
                ("shop_c", "Shop"), ("dose_percent_by_mass", "Hardener, by weight of resin"),
                ("pot_life_min", "Pot life"), ("working_min", "Working time"), ("mixed_kg", "Mixed in all"),
                ("resin_kg", "Resin in all"), ("hardener_kg", "Hardener in all"),
                ("hardener_ml", "Hardener by volume"),
                ("batches", "Batches"), ("minutes", "Minutes in all"), ("waste_percent", "Waste allowed for"),
            )
            if resin.get(name) is not None
        ),
        ("Dose after", resin.get("dose_source")),
    ]  # fmt: skip
    rows: list[tuple[object, ...]] = []
    done: list[tuple[str, object]] = []
    for k, mix in enumerate(resin.get("mixes") or []):
        batch, count = mix.get("batch") or {}, int(mix.get("batches") or 1)
        rows.append(
            (
                mix["what"],
                sheaf.told("area_m2", mix.get("area_m2")),
                str(count),
                sheaf.told("resin_kg", batch.get("resin_kg")),
                sheaf.told("hardener_kg", batch.get("hardener_kg")),
                sheaf.told("hardener_ml", batch.get("hardener_ml")),
                sheaf.told("minutes_min", batch.get("minutes")),
            )
        )
        done += [(f"mix-{k}-{n}", f"{mix['what']}: batch {n} of {count}") for n in range(1, count + 1)]
    heads = ("For", "Area", "Batches", "Resin each", "Hardener each", "or by volume", "Time to lay each")
    return joined(
        [el("h3", "Resin"), pairs_table("Resin", pairs), table("Batches", heads, rows), steps(done)]
    )  # fmt: skip


def _part(sheaf: Sheaf, part: Mapping[str, Any]) -> Html:
    """Return what the part weighs, share by share, and how its flat panels stand up to a hand."""
    shares = (
        ("name", "Share"), ("mass_kg", "Weight"), ("spread_kg", "±"), ("area_m2", "Area"),
    )  # fmt: skip
    flats = (
        ("place", "Flat panel"), ("length_mm", "Long"), ("width_mm", "Wide"), ("load_n", "Load"),
        ("estimated_sag_mm", "Sag, estimated"), ("thickness_mm", "Thick"), ("least_thickness_mm", "Better"),
    )  # fmt: skip
    return joined(
        [
            figures_table("Weight of the part", shares, part.get("shares") or [], sheaf.unit),
            figures_table("Flat panels under a hand", flats, part.get("flat_panels") or [], sheaf.unit),
        ]
    )
