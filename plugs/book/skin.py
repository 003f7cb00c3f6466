"""Section of the build book on the laminate: what is laid over the foam, and how."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from plugs.book.figures import MIDDLING
from plugs.book.html import (
    Html,
    card,
    cards,
    el,
    folded,
    joined,
    listed,
    pairs_list,
    quantities_table,
    step,
    steps,
    table,
)
from plugs.book.openings import cut_out
from plugs.book.source import BookSource
from plugs.edges.words import TURNED
from plugs.ground.amounts import counted

_AREA_DIGITS: Final = 5  # of a square metre: 10 mm2, less than a thread along an edge


def skin(source: BookSource) -> Html:
    """Return how the laminate is laid up, in the order of the work; empty without any."""
    whole, schedule = source.summary.get("skin") or {}, source.summary.get("schedule") or {}
    if not whole.get("over_mm") and not schedule:
        return source.findings("skin")
    cloth, resin = source.summary.get("cloth") or {}, source.summary.get("resin") or {}
    parts: list[object] = [source.findings("skin")]
    cut = _cloth(source, cloth)
    parts += [el("h3", "Cloth: all of it is cut before any resin is mixed"), cut] if cut else []
    parts += [el("h3", "Before the first ply"), _before(source, schedule)]
    parts += [el("h3", "Resin and plies"), _laid(source, schedule, resin)]
    parts += [el("h3", "When it is hard"), _after(source, schedule), cut_out(source)]
    rows = [(place, source.quantity("over_mm", over)) for place, over in (whole.get("over_mm") or {}).items()]
    parts.append(
        folded(
            "What lies where, and what it weighs, in tables",
            table("Over the foam, laminate and filler", ("Panel or end", "Thickness"), rows),
            _schedule(source, schedule) if schedule else None,
            _places(source, schedule) if schedule else None,
            _part(source, source.summary.get("part") or {}),
        )
    )
    return joined(parts)


def _cloth(source: BookSource, cloth: Mapping[str, Any]) -> Html:
    """Return which piece goes where, and the rolls that they are cut from; seams and shear are folded."""
    rolls = cloth.get("rolls") or []
    drawn = source.of("skin")
    paths = [path for path in drawn if "/roll-" in path]
    parts: list[object] = [source.drawn(path, one) for path, one in drawn.items() if path.endswith("/map")]
    for k, roll in enumerate(rolls):
        figure = (
            source.drawn(paths[k], drawn[paths[k]], height=MIDDLING) if len(paths) == len(rolls) else None
        )
        parts += [_roll(source, roll), figure]
    shown = () if len(paths) != len(rolls) else paths
    left = [source.drawn(path, one) for path, one in drawn.items() if "/roll-" in path and path not in shown]
    seams = (("name", "Seam"), ("between", "Between"), ("length_mm", "Length"), ("notches", "Notches"))
    told = quantities_table("Notches of the same name meet", seams, cloth.get("seams") or [], source.unit)
    parts += [
        *left,
        folded("Seams", told),
        folded("How the cloth shears", _shear(source, cloth), on_paper=False),
    ]
    return joined(parts)


def _roll(source: BookSource, roll: Mapping[str, Any]) -> Html:
    """Return the pieces of a roll, with a box to tick for each."""
    wide, long = source.quantity("width_mm", roll["width_mm"]), source.quantity("length_m", roll["length_m"])
    pieces = roll.get("pieces") or []
    angles = {source.quantity("bias_deg", piece.get("bias_deg")) for piece in pieces}
    done = []
    for piece in pieces:
        bias = source.quantity("bias_deg", piece.get("bias_deg"))
        what = [roll["cloth"], piece["zone"], bias, round(piece["area_m2"], _AREA_DIGITS)]
        turned = joined([", warp at ", bias]) if piece.get("bias_deg") and len(angles) > 1 else None
        along, across = (source.quantity(name, piece[name]) for name in ("length_mm", "width_mm"))
        done.append(step("cloth", piece["name"], ", ", along, " x ", across, turned or "", what=what))
    at = joined([", warp at ", *angles]) if len(angles) == 1 else ""
    head = el("h4", f"Pieces of {roll['cloth']}: ", long, " of the roll, ", wide, " wide", at)
    return joined([head, listed(done, are_side_by_side=True)])


def _shear(source: BookSource, cloth: Mapping[str, Any]) -> Html:
    """Return how the cloth shears on each zone."""
    nets = (
        ("patch", "On"), ("plies", "Plies"), ("bias_deg", "Warp turned"),
        ("start_mm", "Start at x, y, z"), ("largest_shear_deg", "Largest shear"),
        ("largest_at_mm", "There"), ("most_shear_deg", "In the sharpest corner"),
        ("tight_ratio", "Tight"), ("wrinkles_ratio", "Wrinkles"),
        ("darts", "Darts"), ("better_start_mm", "Better start"),
    )  # fmt: skip
    told = cloth.get("nets") or []
    angles = [
        f"{word} {told[0][name]:g}°"
        for word, name in (("tight from", "tight_deg"), ("wrinkles from", "wrinkles_deg"))
        if told and told[0].get(name) is not None
    ]
    caption = "How the cloth shears" + (f" ({', '.join(angles)})" if angles else "")
    drawn = [(path, one) for path, one in source.of("skin").items() if "/shear-" in path]
    figures = [source.drawn(path, one, height=MIDDLING) for path, one in drawn]
    return joined([quantities_table(caption, nets, told, source.unit), *(figures or [source.seen("skin")])])


def _before(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return what is done to the foam before cloth goes over it."""
    done: list[tuple[str, object]] = []
    for edge in schedule.get("edges") or []:
        if edge["radius_mm"] < edge["least_radius_mm"]:
            radius = source.quantity("radius_mm", edge["least_radius_mm"])
            words = (
                ("filled in to a fillet of ", radius)
                if edge["is_inside"]
                else ("rounded by hand to ", radius)
            )
            done.append(("skin-edge", joined([f"{edge['place']}: ", *words])))
    done += [("skin-mark", _marked(source, edge)) for edge in source.rows("edges")]
    done.append(("skin-dust", "Foam brushed and free of dust"))
    if schedule.get("barrier"):
        done.append(("skin-barrier", f"{schedule['barrier']} over the foam, whole, without a pinhole"))
    pictures = [source.picture(path) for path in source.of("skin") if path.startswith("templates/edge-")]
    return joined([steps(done, source.whole), *pictures])


def _marked(source: BookSource, edge: Mapping[str, Any]) -> Html:
    """Return how a trim line is marked, on the foam or on the board of a turned edge."""
    least, most = (source.quantity("from_foam_mm", value) for value in edge["from_foam_mm"])
    far = [least] if least == most else [least, " to ", most]
    way, on, board = "in", edge["on"], ""
    if edge["kind"] == TURNED:
        way, on = "out", "it"
        board = f"flange board fixed flush with {edge['on']} by its template, waxed, its corner filled; "
    head = f"{edge['name']}: {board}trim line marked on {on}, "
    return joined([head, *far, f" {way} from the foam's edge, a square held to the face beside it"])


def _trimmed(source: BookSource, edge: Mapping[str, Any]) -> Html:
    """Return how the laminate is cut on its trim line."""
    width = source.quantity("width_mm", edge["width_mm"])
    way, on = ("out", "its board") if edge["kind"] == TURNED else ("in", edge["on"])
    words = "dust caught at the blade, cut edges sanded blunt: they cut like glass"
    head = f"{edge['name']}: laminate on {on} cut on its trim line, "
    return joined([head, width, f" {way} from the finished face; {words}"])


def _laid(source: BookSource, schedule: Mapping[str, Any], resin: Mapping[str, Any]) -> Html:
    """Return how resin is mixed and the plies are laid, batch by batch."""
    orders = (source.summary.get("cloth") or {}).get("order") or []
    pieces = {one["ply"]: [name.partition(" ")[0] for name in one["pieces"]] for one in orders}
    rows = schedule.get("plies") or []
    plies = {ply["number"]: {**ply, "pieces": pieces.get(ply["number"])} for ply in rows}
    if not schedule:
        words = "Laminate laid up as thick as the table below says, by the sheets of its resin and cloth"
        return steps([("laid", words)], source.whole)
    made: list[Html] = []
    mixes, on_foam = resin.get("mixes") or [], _hard_points(source, 0)
    for mix in mixes:
        if mix.get("ply") and on_foam:  # over what seals the foam, under the first ply
            made, on_foam = made + on_foam, []
        made += _batches(source, mix, plies.get(mix.get("ply"), {}))
        made += _hard_points(source, mix["ply"]) if mix.get("ply") else []
    made += on_foam
    mixed = {mix.get("ply") for mix in mixes}
    for number, ply in plies.items():
        if number not in mixed:
            what = [ply[key] for key in ("cloth", "bias_deg", "places")]
            told = joined([_ply(source, ply), ": laid, rolled out, no air under it"])
            made += [card(step("ply", told, what=what)), *_hard_points(source, number)]
    told = el("p", "Pieces go on in the order told, each over the edges of those before it.")
    return joined([_dose(source, schedule, resin), told if orders else None, cards(made), _passes(resin)])


def _hard_points(source: BookSource, number: object) -> list[Html]:
    """Return what is laid of hard points over the ply of a number; 0 is the foam."""
    found = []
    for row in source.rows("hard_points"):
        if (row["after_ply"] or 0) == number and (row["after_ply"] or row["plies"]):
            what = "the piece" if row["after_ply"] else ""
            own = counted(len(row["plies"]), "ply of its own", "plies of its own") if row["plies"] else ""
            words = f", {' and '.join(part for part in (what, own) if part)} laid here, as under Hard points"
            found.append(
                card(step("hard-laid", el("strong", row["name"]), words, what=[row["name"], number]))
            )
    return found


def _batches(source: BookSource, mix: Mapping[str, Any], ply: Mapping[str, Any]) -> list[Html]:
    """Return a card for each batch of a mix."""
    batch, count = mix.get("batch") or {}, int(mix.get("batches") or 1)
    by_volume = source.known(batch, "hardener_ml")
    hardener = joined([source.known(batch, "hardener_kg"), " or " if by_volume else None, by_volume])
    sizes = (
        ("Resin", source.known(batch, "resin_kg")),
        ("Hardener", hardener or None),
        ("To lay", source.known(batch, "minutes")),
    )
    what = [ply.get("cloth"), ply.get("bias_deg"), ply.get("places"), *sizes]
    laid = []
    for n in range(1, count + 1):
        words = f": batch {n} of {count}{' mixed and laid' if n == 1 else ''}"
        head = _ply(source, ply, is_first=n == 1) if ply else el("strong", mix["what"])
        laid.append(card(step("mix", head, words, what=what), sizes=sizes))
    return laid


def _ply(source: BookSource, ply: Mapping[str, Any], *, is_first: bool = True) -> Html:
    """Return what a ply is, with its cloth and its places where it is first told of."""
    number = f"Ply {ply['number']}"
    name = ply.get("name") or ""
    head = el("strong", number if name.casefold() in ("", number.casefold()) else f"{number}, {name}")
    if not is_first:
        return head
    bias = source.quantity("bias_deg", ply.get("bias_deg"))
    where = ", ".join(ply["pieces"]) if ply["pieces"] else f"over {', '.join(ply.get('places') or ())}"
    return joined([head, f" ({ply['cloth']} at ", bias, f": {where})"])


def _dose(source: BookSource, schedule: Mapping[str, Any], resin: Mapping[str, Any]) -> Html:
    """Return what is laid up with, and what is mixed in all."""
    words = ("method", "foam", "barrier")
    pairs: list[tuple[object, object]] = [(w.capitalize(), schedule.get(w)) for w in words]
    pairs += [
        ("Resin", resin.get("resin") or schedule.get("resin")),
        ("Hardener", resin.get("hardener") or schedule.get("hardener")),
        *(
            (told, source.quantity(name, figures[name]))
            for figures, name, told in (
                (resin, "shop_c", "Shop"),
                (resin, "dose_percent_by_mass", "Hardener, by weight of resin"),
                (resin, "pot_life_min", "Pot life"), (resin, "working_min", "Working time"),
                (resin, "mixed_kg", "Mixed in all"), (resin, "resin_kg", "Resin in all"),
                (resin, "hardener_kg", "Hardener in all"), (resin, "hardener_ml", "Hardener by volume"),
                (resin, "minutes", "Time in all"), (resin, "waste_percent", "Waste allowed for"),
                (schedule, "seal_kg_m2", "Seal coat"), (schedule, "finish_kg_m2", "Finish coat"),
            )
            if figures.get(name)
        ),
        ("Dose after", resin.get("dose_source")),
    ]  # fmt: skip
    return pairs_list(pairs, "Laid up with")


def _passes(resin: Mapping[str, Any]) -> Html | None:
    """Return how many plies are laid wet on wet, where not all of them are."""
    passes = resin.get("passes") or []
    if len(passes) < 2:  # all at once
        return None
    told = [" and ".join(str(number) for number in one["plies"]) for one in passes]
    words = f"In passes, plies {'; then '.join(told)}: each sets and cools before the next"
    return el("p", f"{words}, as the resin's data sheet says.")


def _after(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return what is done once the laminate is hard, in the order of the work."""
    cloth, plies = source.summary.get("cloth") or {}, schedule.get("plies") or []
    done: list[tuple[str, object]] = [("skin-hard", "Left until it is as hard as the resin's sheet asks")]
    if any(not ply["stays"] for ply in plies):
        done.append(("skin-peel", "Peel ply torn off"))
    if cloth.get("trim_mm"):
        trim = source.quantity("trim_mm", cloth["trim_mm"])
        done.append(("skin-trim", joined(["Free edges trimmed to the foam's line: ", trim, " comes off"])))
    done += [("skin-trim-line", _trimmed(source, edge)) for edge in source.rows("edges")]
    flanges = [place for place, over in (schedule.get("places") or {}).items() if _is_flange(place, over)]
    done += [("skin-flange", f"{place} trimmed to its width") for place in flanges]
    if schedule.get("filler_mm"):
        filler = source.quantity("filler_mm", schedule["filler_mm"])
        done += [
            (
                "skin-filler",
                joined(
                    [
                        "Filler spread with a long flexible edge, high places left bare: ",
                        filler,
                        " with the paint",
                    ]
                ),
            ),
            (
                "skin-fair",
                "Guide coat, long block, gauges of the finished line; filled again where it is low",
            ),
            ("skin-prime", "Primed, pinholes stopped, guide coat, sanded, primed again"),
        ]
    if schedule and not schedule.get("foam_stays", True):
        done.append(("skin-foam", "Foam dug out, the inside scraped clean and looked over for dry places"))
    return steps(done, [source.whole, [ply["cloth"] for ply in plies]])


def _is_flange(place: str, over: Mapping[str, Any]) -> bool:
    """Return whether a place is a flange that cloth lies on."""
    return place.endswith(" flange") and bool(over["plies"])


def _schedule(source: BookSource, schedule: Mapping[str, Any]) -> Html:
    """Return the plies in the order of laying."""
    columns = (
        ("number", "Ply"), ("cloth", "Cloth"), ("weight_g_m2", "Weight"), ("bias_deg", "Bias"),
        ("thickness_mm", "Thick"), ("glass_kg_m2", "Glass"), ("resin_kg_m2", "Resin"),
        ("label", "Figures are"),
    )  # fmt: skip
    return quantities_table(
        "Plies, in the order of laying", columns, schedule.get("plies") or [], source.unit
    )


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
