"""Recesses, bosses and forms to the left, the right or both sides of a mirrored plug, as they are placed.

What stands to both sides is given once and placed twice, left and right, mirror images in y = 0: ``across``
and ``y`` count outward from the centreline where a panel crosses it, and a turn on the left is the other way
round. A recess through the skin alone is an opening in the laminate. Where the recipe gives each is kept, so
that an error is told by that.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from plugs.ground.errors import PlugError
from plugs.hard_points.words import HardPoint
from plugs.laminate.plies import Schedule
from plugs.lines.plan import drawn_panels
from plugs.mould.words import Mould
from plugs.recesses.form import Form
from plugs.recesses.opening import Opening, as_opening, check_opening, drawn_outline
from plugs.recesses.recess import BOTH, LEFT, SKIN_ONLY, Boss, Recess
from plugs.skin.skin import ENDS
from plugs.words.ways import called, told_by

if TYPE_CHECKING:
    from plugs.recipe.plug import Plug

Item = Recess | Boss | Form | Opening | HardPoint
Given = Mapping[str, tuple[str, tuple[str, ...], str]]
Names = Mapping[str, tuple[str, str]]

_LISTS: Final = (
    "openings",
    "recesses",
    "bosses",
    "forms",
    "hard_points",
)  # recesses through the skin become openings
_PLACE: Final = re.compile(r"\b(openings|recesses|bosses|forms|hard_points)\[\d+\]")
_AS_IT_IS: Final[tuple[str, tuple[str, ...], str]] = ("", (), "")
_TURNED: Final = ("across", "y", "turn_deg")
_BETWEEN: Final = 1.0  # mm. Foam that is left between the two at least


def on_sides(plug: Plug) -> tuple[Plug, Given]:
    """Return a plug with all that a recipe sets to a side placed there, and what it cuts in the skin alone.

    Parameters
    ----------
    plug : Plug
        Its fields checked.

    Returns
    -------
    tuple of Plug and mapping of str to (str, tuple of str, str)
        Itself where nothing is set so; and where the recipe gives what has another number in the plug, with
        the words that have the other sign there, and what it is called if it is a mirror image.

    Raises
    ------
    PlugError
        A section that is not mirrored, a place on the wrong side of the centreline, two that meet there.
    """
    lists: dict[str, Sequence[Item]] = {word: getattr(plug, word) for word in _LISTS}
    if not any(item.side or _is_skin_only(item) for items in lists.values() for item in items):
        return plug, {}
    placed: dict[str, list[Item]] = {word: [] for word in _LISTS}
    given: dict[str, tuple[str, tuple[str, ...], str]] = {}
    both: dict[str, tuple[str, str]] = {}
    with told_by(plug.sides):
        crossing = _crossing(plug)
        for word, items in lists.items():
            for i, item in enumerate(items):
                twins = _placed(item, crossing, f"{word}[{i}]", is_straight=plug.along is None)
                for k, one in enumerate(twins):
                    there = "openings" if _is_skin_only(one) else word
                    turned = tuple(w for w in _TURNED if getattr(one, w, 0.0) != getattr(item, w, 0.0))
                    given[f"{there}[{len(placed[there])}]"] = (
                        f"{word}[{i}]",
                        turned,
                        f"the {called().left} one" if k == 0 and item.side in (LEFT, BOTH) else "",
                    )
                    placed[there].append(one if there == word else _opening_of(one, f"{word}[{i}]"))
                if len(twins) == 2:
                    both[item.known_as] = (twins[0].known_as, twins[1].known_as)
    plain = {item.known_as for found in placed.values() for item in found}
    made = replace(plug, **{word: tuple(found) for word, found in placed.items()})  # type: ignore[arg-type]
    named = {name: two for name, two in both.items() if name not in plain}
    return _called_both(made, named), {
        there: own for there, own in given.items() if there != own[0] or own[2]
    }


def _is_skin_only(item: Item) -> bool:
    """Return whether a recess is cut through the skin alone."""
    return isinstance(item, Recess) and item.depth == SKIN_ONLY


def _opening_of(recess: Item, param: str) -> Opening:
    """Return the opening in the laminate that a recess through the skin alone is."""
    same = Opening.__dataclass_fields__.keys() & Recess.__dataclass_fields__.keys()
    words = {word: getattr(recess, word) for word in same}
    opening = Opening(**(words | {"corner_radius": words["corner_radius"] or 0.0}))
    check_opening(opening, param)
    return opening


def as_given(error: PlugError, plug: Plug) -> PlugError:
    """Return an error by the places that a recipe gives, where two that it gives as one are counted once.

    Parameters
    ----------
    error : PlugError
    plug : Plug
        As `checked_plug` returns it.

    Returns
    -------
    PlugError
    """
    error = as_opening(error, plug.openings)
    given: Given = getattr(plug, "given_at", {})
    if not given:
        return error

    def told(text: str) -> str:
        return _PLACE.sub(lambda match: given.get(match[0], (match[0],))[0], text)

    def signed(place: str, value: object) -> object:
        base, _, word = place.partition(".")
        is_turned = word in given.get(base, _AS_IT_IS)[1] and isinstance(value, int | float)
        return 0.0 - value if is_turned else value  # type: ignore[operator]

    remedy, (base, _, word) = told(error.remedy), error.param.partition(".")
    _, flipped, which = given.get(base, _AS_IT_IS)
    for turned in flipped:
        of_word = rf"\b({turned} =|use)" if word == turned else rf"\b({turned} =)"
        remedy = re.sub(rf"{of_word} (-?)([\d.]+)", lambda m: f"{m[1]} {'' if m[2] else '-'}{m[3]}", remedy)
    return PlugError(
        param=told(error.param),
        value=signed(error.param, error.value),
        reason=told(error.reason),
        remedy=remedy,
        where=told(error.where) or which,
        would_do=[(told(place), signed(place, value)) for place, value in error.would_do],
    )


def _crossing(plug: Plug) -> set[str] | None:
    """Return the panels and ends that cross the centreline; None where the section is not mirrored."""
    if not plug.mirrored:
        return None
    _, panels, (is_first_on, is_last_on) = drawn_panels(plug.plan())
    return {*panels[: int(not is_first_on)], *panels[len(panels) - int(not is_last_on) :], *ENDS}


def _placed(item: Item, crossing: set[str] | None, param: str, *, is_straight: bool) -> list[Item]:
    """Return what a recipe's recess, boss or form is placed as: one, or left and right."""
    if item.side is None:
        return [item]
    if crossing is None or (isinstance(item, Form) and not (item.mirrored and is_straight)):
        what = "plug" if crossing is None or not is_straight else "form's own section"
        raise PlugError(
            param=f"{param}.side",
            value=item.side,
            reason=f"the {what} is no mirror image of itself: its left is drawn by itself",
            remedy="leave side out, and give 1 for each side",
        )
    if not isinstance(item, Form):
        _check_outward(item, crossing, param)
    said = called()
    sides = ("left", "right") if item.side == BOTH else (item.side,)
    found: list[Item] = []
    for side in sides:
        words: dict[str, Any] = {"side": None}
        if len(sides) == 2:
            words["name"] = f"{said.of(side)} {item.known_as}"
        if side == "left":
            words |= _mirrored_form(item) if isinstance(item, Form) else _mirrored(item, crossing, param)
        found.append(replace(item, **words))
    return found


def _mirrored(item: Recess | Boss | Opening | HardPoint, crossing: set[str], param: str) -> dict[str, Any]:
    """Return the words of a recess, boss, opening or hard point that differ where it is its mirror image."""
    words: dict[str, Any] = {"turn_deg": 0.0 - item.turn_deg}
    if isinstance(item, Opening) and item.outline is not None:
        ring = np.asarray(drawn_outline(item.outline, param).exterior.coords)[:-1]
        words["outline"] = ring * (-1.0, 1.0)
    if isinstance(item, HardPoint):
        words["holes"] = tuple((0.0 - along, up, across) for along, up, across in item.holes)
    if item.panel in ENDS:
        return words | {"y": 0.0 - item.y}
    if item.panel in crossing:
        return words | {"across": 0.0 - item.across}
    return words | {"panel": f"{called().left} {item.panel}"}


def _mirrored_form(form: Form) -> dict[str, Any]:
    """Return the words of a form, whose own section is mirrored, that differ where it is its mirror image."""
    (x, y, z), (about_x, about_y, about_z) = form.move, form.turn_deg
    words: dict[str, Any] = {"move": (x, 0.0 - y, z), "turn_deg": (0.0 - about_x, about_y, 0.0 - about_z)}
    if form.along is not None and form.along.view == "plan":
        points = [(point[0], 0.0 - point[1], *point[2:]) for point in form.along.points]
        words["along"] = replace(form.along, points=points)
    return words


def _check_outward(item: Recess | Boss | Opening | HardPoint, crossing: set[str], param: str) -> None:
    """Refuse a place that lies on the other side of the centreline, and two that would meet on it."""
    if item.panel not in crossing:
        return
    word = "y" if item.panel in ENDS else "across"
    out: float = getattr(item, word)
    if out < 0.0:
        raise PlugError(
            param=f"{param}.{word}",
            value=out,
            reason="with a side given it counts outward from the centreline, and this lies beyond it",
            remedy=f"use {-out:g}",
            would_do=[(f"{param}.{word}", -out)],
        )
    turn = math.radians(item.turn_deg)
    wide, high = item.width or 0.0, item.height or 0.0  # what is not given is made to fit later
    half = 0.5 * (wide * abs(math.cos(turn)) + high * abs(math.sin(turn)))
    if item.side == BOTH and out < half + 0.5 * _BETWEEN:
        least = math.ceil(10.0 * (half + 0.5 * _BETWEEN)) / 10.0
        raise PlugError(
            param=f"{param}.{word}",
            value=out,
            reason=f"so near the centreline the left and the right {item.known_as} meet",
            remedy=f"use {least:g} or more, or leave side out for 1 in the middle",
            would_do=[(f"{param}.{word}", least)],
        )


def _called_both(plug: Plug, both: Names) -> Plug:
    """Return a plug in which a name given to both sides stands for the two, wherever places are named."""
    forms = tuple(name for name in both if any(form.name in both[name] for form in plug.forms))

    def of(word: str) -> tuple[str, ...]:
        base = next((name for name in forms if word.startswith(f"{name} ")), "")
        if base:
            return tuple(two + word[len(base) :] for two in both[base])
        return both.get(word, (word,))

    def every(words: Sequence[str]) -> tuple[str, ...]:
        return tuple(one for word in words for one in of(word))

    skin = replace(
        plug.skin,
        no_laminate=every(plug.skin.no_laminate),
        by_panel={one: value for word, value in plug.skin.by_panel.items() for one in of(word)},
    )
    return replace(
        plug,
        skin=skin,
        schedule=None if plug.schedule is None else _plies_for_both(plug.schedule, every),
        zones=tuple(replace(zone, panels=every(zone.panels)) for zone in plug.zones),
        patterns=every(plug.patterns),
        mould=None if plug.mould is None else _mould_for_both(plug.mould, every),
    )


def _mould_for_both(mould: Mould, every: Any) -> Mould:
    """Return a mould in which a name given to both sides stands for the two."""
    parts = tuple(replace(part, panels=every(part.panels)) for part in mould.parts)
    return replace(mould, parts=parts, no_mould=every(mould.no_mould))


def _plies_for_both(schedule: Schedule, every: Any) -> Schedule:
    """Return a schedule in whose plies a name given to both sides stands for the two."""
    plies = [
        replace(
            ply,
            zone=ply.zone
            if ply.zone == "all"
            else every((ply.zone,) if isinstance(ply.zone, str) else ply.zone),
        )
        for ply in schedule.plies
    ]
    return replace(schedule, plies=tuple(plies))
