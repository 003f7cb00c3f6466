"""Recesses, bosses and forms to the left, the right or both sides of a mirrored plug, as they are placed.

What stands to both sides is given once and placed twice, left and right, mirror images in y = 0: ``across``
and ``y`` count outward from the centreline where a panel crosses it, and a turn on the left is the other way
round. The second of the two is of a class of its own, so that an error is told by the recipe's own place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

from plugs.ground.errors import PlugError
from plugs.laminate.plies import Schedule
from plugs.lines.plan import drawn_panels
from plugs.mould.words import Mould
from plugs.recesses.form import Form
from plugs.recesses.opening import as_opening
from plugs.recesses.recess import BOTH, Boss, Recess
from plugs.skin.skin import ENDS
from plugs.words.ways import called, told_by

if TYPE_CHECKING:
    from plugs.recipe.plug import Plug

Item = Recess | Boss | Form
Names = Mapping[str, tuple[str, str]]

_LISTS: Final = ("recesses", "bosses", "forms")
_PLACE: Final = re.compile(r"\b(recesses|bosses|forms)\[(\d+)\]")
_BETWEEN: Final = 1.0  # mm. Foam that is left between the two at least


class _SecondRecess(Recess):
    """The right one of a recess to both sides."""

    __slots__ = ()


class _SecondBoss(Boss):
    """The right one of a boss to both sides."""

    __slots__ = ()


class _SecondForm(Form):
    """The right one of a form to both sides."""

    __slots__ = ()


_SECONDS: Final[Mapping[type, type]] = {Recess: _SecondRecess, Boss: _SecondBoss, Form: _SecondForm}


def on_sides(plug: Plug) -> Plug:
    """Return a plug with all that the recipe sets to a side placed there, and words for both of two as well.

    Parameters
    ----------
    plug : Plug
        Its fields checked.

    Returns
    -------
    Plug
        Itself where the recipe sets nothing to a side.

    Raises
    ------
    PlugError
        A section that is not mirrored, a place on the wrong side of the centreline, two that meet there.
    """
    lists: dict[str, Sequence[Item]] = {word: getattr(plug, word) for word in _LISTS}
    if all(item.side is None for items in lists.values() for item in items):
        return plug
    placed: dict[str, Any] = {}
    both: dict[str, tuple[str, str]] = {}
    with told_by(plug.sides):
        crossing = _crossing(plug)
        for word, items in lists.items():
            found: list[Item] = []
            for i, item in enumerate(items):
                twins = _placed(item, crossing, f"{word}[{i}]", is_straight=plug.along is None)
                found += twins
                if len(twins) == 2:
                    both[item.known_as] = (twins[0].known_as, twins[1].known_as)
            placed[word] = tuple(found)
    plain = {item.known_as for items in placed.values() for item in items}
    return _called_both(
        replace(plug, **placed), {name: two for name, two in both.items() if name not in plain}
    )


def as_given(error: PlugError, plug: Plug) -> PlugError:
    """Return an error by the places that a recipe gives, where two that it gives as one are counted once.

    Parameters
    ----------
    error : PlugError
    plug : Plug
        From `on_sides`.

    Returns
    -------
    PlugError
    """
    error = as_opening(error, plug.openings)
    seconds = {word: [type(one) in _SECONDS.values() for one in getattr(plug, word)] for word in _LISTS}
    if not any(any(is_second) for is_second in seconds.values()):
        return error

    def told(text: str) -> str:
        return _PLACE.sub(lambda m: f"{m[1]}[{int(m[2]) - sum(seconds[m[1]][: int(m[2]) + 1])}]", text)

    return PlugError(
        param=told(error.param),
        value=error.value,
        reason=told(error.reason),
        remedy=told(error.remedy),
        where=told(error.where),
        would_do=[(told(place), value) for place, value in error.would_do],
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
            words |= _mirrored_form(item) if isinstance(item, Form) else _mirrored(item, crossing)
        found.append(replace(item, **words))
    if len(found) == 2:
        second = _SECONDS[type(item)]
        found[1] = second(**{word: getattr(found[1], word) for word in item.__dataclass_fields__})
    return found


def _mirrored(item: Recess | Boss, crossing: set[str]) -> dict[str, Any]:
    """Return the words of a recess or boss that differ where it is its mirror image."""
    words: dict[str, Any] = {"turn_deg": 0.0 - item.turn_deg}
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


def _check_outward(item: Recess | Boss, crossing: set[str], param: str) -> None:
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
