"""Section of the build book on the skin: what is laid over the foam, with what resin, from which cloth."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from plugs.book.figures import MIDDLING, SMALL
from plugs.book.html import Html, el, joined, pairs_table, quantities_table, step, steps, table
from plugs.book.source import BookSource


def skin(source: BookSource) -> Html:
    """Return how the skin is laid up; empty without any."""
    whole, schedule = source.summary.get("skin") or {}, source.summary.get("schedule") or {}
    parts: list[object] = [source.findings("skin")]
    if whole.get("over_mm"):
        rows = [(place, source.quantity("over_mm", over)) for place, over in whole["over_mm"].items()]
        parts.append(table("Over the foam, laminate and filler", ("Panel or end", "Thickness"), rows))
    if schedule:
        parts += [_schedule(source, schedule), _places(source, schedule)]
    cloth = joined([_cloth(source, source.summary.get("cloth") or {}), source.seen("skin")])
    parts += [el("h3", "Cloth: all of it is cut before any resin is mixed"), cloth] if cloth else []
    if schedule:
        parts += [el("h3", "Before the first ply"), _before(source, schedule)]
    parts.append(_resin(source, source.summary.get("resin") or {}))
    if schedule:
        parts += [el("h3", "When it is hard"), _after(source, schedule)]
    parts.append(_part(source, source.summary.get("part") or {}))
    return joined(parts)


def _cloth(source: BookSource, cloth: Mapping[str, Any]) -> Html:
    """Return rolls and pieces, seams, and how the cloth shears."""
    drawn = source.of("skin")
    rolls = cloth.get("rolls") or []
    columns = (
        ("cloth", "Cloth"), ("width_mm", "Wide"), ("length_m", "Length to buy"), ("yield_ratio", "Used"),
    )  # fmt: skip
    parts: list[object] = [quantities_table("Rolls", columns, rolls, source.unit)]
    parts += [_roll(source, roll) for roll in rolls]
    parts += [source.drawn(path, one) for path, one in drawn.items() if "/roll-" in path]
    pieces = ("/roll-", "/shear-")
    parts += [
        source.drawn(path, one, height=SMALL)
        for path, one in drawn.items()
        if not any(word in path for word in pieces)
    ]
    seams = (("name", "Seam"), ("between", "Between"), ("length_mm", "Length"), ("notches", "Notches"))
    parts.append(
        quantities_table("Seams: notches of the same name meet", seams, cloth.get("seams") or [], source.unit)
    )
    nets = (
        ("patch", "On"), ("plies", "Plies"), ("bias_deg", "Warp turned"),
        ("start_mm", "Start at x, y, z"), ("largest_shear_deg", "Largest shear"),
        ("largest_at_mm", "There"), ("most_shear_deg", "In the sharpest corner"),
        ("warned_ratio", "Over the warning"), ("locked_ratio", "Locked"),
        ("darts", "Darts"), ("better_start_mm", "Better start"),
    )  # fmt: skip
    told = cloth.get("nets") or []
    angles = [
        f"{word} {told[0][name]:g}°"
        for word, name in (("warned of from", "warn_deg"), ("locks at", "lock_deg"))
        if told and told[0].get(name) is not None
    ]
    caption = "How the cloth shears" + (f" ({', '.join(angles)})" if angles else "")
    parts.append(quantities_table(caption, nets, told, source.unit))
    parts += [source.drawn(path, one, height=MIDDLING) for path, one in drawn.items() if "/shear-" in path]
    return joined(parts)


def _before(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return what is done to the foam before cloth goes over it."""
    done: list[tuple[str, object]] = [("skin-dust", "Foam brushed and free of dust")]
    for k, edge in enumerate(schedule.get("edges") or []):
        if edge["radius_mm"] < edge["least_radius_mm"]:
            radius = source.quantity("radius_mm", edge["least_radius_mm"])
            words = (
                ("filled in to a fillet of ", radius)
                if edge["is_inside"]
                else ("rounded by hand to ", radius)
            )
            done.append((f"skin-edge-{k}", joined([f"{edge['place']}: ", *words])))
    if schedule.get("barrier"):
        done.append(("skin-barrier", f"{schedule['barrier']} over the foam, whole, without a pinhole"))
    return steps(done)


def _after(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return what is done once the laminate is hard, in the order of the work."""
    cloth, plies = source.summary.get("cloth") or {}, schedule.get("plies") or []
    done: list[tuple[str, object]] = [("skin-hard", "Left until it is as hard as the resin's sheet asks")]
    if any(not ply["stays"] for ply in plies):
        done.append(("skin-peel", "Peel ply torn off"))
    if cloth.get("trim_mm"):
        trim = source.quantity("trim_mm", cloth["trim_mm"])
        done.append(("skin-trim", joined(["Free edges trimmed to the foam's line: ", trim, " comes off"])))
    flanges = [place for place, over in (schedule.get("places") or {}).items() if _is_flange(place, over)]
    done += [(f"skin-{place}", f"{place} trimmed to its width") for place in flanges]
    if schedule.get("filler_mm"):
        filler = source.quantity("filler_mm", schedule["filler_mm"])
        words = joined(["Filler spread and sanded to the finished surface: ", filler, ", paint with it"])
        done.append(("skin-filler", words))
    if not schedule.get("foam_stays", True):
        done.append(("skin-foam", "Foam dug out, the inside scraped clean and looked over for dry places"))
    return steps(done)


def _is_flange(place: str, over: Mapping[str, Any]) -> bool:
    """Return whether a place is a flange that cloth lies on."""
    return place.endswith(" flange") and bool(over["plies"])


def _roll(source: BookSource, roll: Mapping[str, Any]) -> Html:
    """Return the pieces of a roll, with boxes to tick."""
    columns = (
        ("name", "Piece"), ("zone", "On"), ("area_m2", "Area"), ("bias_deg", "Bias"),
        ("stretch_min", "Stretch from"), ("stretch_max", "to"),
    )  # fmt: skip
    return quantities_table(
        f"Pieces of {roll['cloth']}", columns, roll.get("pieces") or [], source.unit,
        lambda row: step(f"cloth-{roll['cloth']}-{row['name']}", row["name"]),
    )  # fmt: skip


def _schedule(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return the plies in the order of laying, with boxes to tick."""
    plies = schedule.get("plies") or []
    columns = (
        ("number", "Ply"), ("cloth", "Cloth"), ("weight_g_m2", "Weight"), ("bias_deg", "Bias"),
        ("places", "Over"),
        ("thickness_mm", "Thick"), ("glass_kg_m2", "Glass"), ("resin_kg_m2", "Resin"),
        ("label", "Figures are"),
    )  # fmt: skip
    listed = quantities_table(
        "Plies, in the order of laying", columns, plies, source.unit,
        lambda row: step(f"ply-{row['number']}", f"{row['number']} {row.get('name') or ''}".strip()),
    )  # fmt: skip
    words = ("method", "foam", "barrier", "resin", "hardener")
    pairs: list[tuple[object, object]] = [(w.capitalize(), schedule.get(w)) for w in words]
    pairs += [
        (words, source.quantity(name, schedule[name]))
        for name, words in (("seal_kg_m2", "Seal coat"), ("finish_kg_m2", "Finish coat"))
        if schedule.get(name)
    ]
    return joined([pairs_table("Laid up with", pairs), listed])


def _places(source: BookSource, schedule: Mapping[str, Any]) -> Html:
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
            quantities_table("Over each place", columns, places, source.unit),
            quantities_table("Edges", edges, schedule.get("edges") or [], source.unit),
        ]
    )


def _resin(source: BookSource, resin: Mapping[str, Any]) -> Html:
    """Return the mixing sheet, batch by batch."""
    if not resin:
        return Html("")
    pairs = [
        ("Resin", resin.get("resin")),
        ("Hardener", resin.get("hardener")),
        *(
            (words, source.quantity(name, resin[name]))
            for name, words in (
                ("shop_c", "Shop"), ("dose_percent_by_mass", "Hardener, by weight of resin"),
                ("pot_life_min", "Pot life"), ("working_min", "Working time"), ("mixed_kg", "Mixed in all"),
                ("resin_kg", "Resin in all"), ("hardener_kg", "Hardener in all"),
                ("hardener_ml", "Hardener by volume"),
                ("batches", "Batches"), ("minutes", "Time in all"), ("waste_percent", "Waste allowed for"),
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
                source.quantity("area_m2", mix.get("area_m2")),
                str(count),
                source.quantity("resin_kg", batch.get("resin_kg")),
                source.quantity("hardener_kg", batch.get("hardener_kg")),
                source.quantity("hardener_ml", batch.get("hardener_ml")),
                source.quantity("minutes", batch.get("minutes")),
            )
        )
        done += [(f"mix-{k}-{n}", f"{mix['what']}: batch {n} of {count}") for n in range(1, count + 1)]
    heads = ("For", "Area", "Batches", "Resin each", "Hardener each", "or by volume", "Time to lay each")
    return joined(
        [el("h3", "Resin"), pairs_table("Resin", pairs), table("Batches", heads, rows), steps(done)]
    )  # fmt: skip


def _part(source: BookSource, part: Mapping[str, Any]) -> Html:
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
            quantities_table("Weight of the part", shares, part.get("shares") or [], source.unit),
            quantities_table("Flat panels under a hand", flats, part.get("flat_panels") or [], source.unit),
        ]
    )
