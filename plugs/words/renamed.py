"""Words of recipes that were called otherwise before: an error refuses them, and says what is right now."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

WORDS: Final = MappingProxyType(
    {
        ("Plug", "aft"): "rear",
        ("Plug", "turns"): "rotation_allowed",
        ("Plug", "pocket_work"): "pocket_cutting",
        ("Templates", "buttocks"): "lengthwise",
        ("Skin", "bare"): "no_laminate",
        ("Recess", "is_through"): 'depth="right through"',
        ("Stack", "surplus"): "spare_thickness",
        ("Sanding", "daylight"): "gap_allowed",
        ("Laps", "stagger"): "ply_offset",
        ("Cloth", "uptake_kg_m2"): "resin_uptake_kg_m2",
    }
)
"""Words of a record, by the record and the old word; and what it holds where a flag became a value."""

NAMES: Final = MappingProxyType({"by_sheet": "from_data_sheet", "PocketWork": "PocketCutting"})
"""Names that a recipe takes from `plugs`."""

_SIDES: Final = MappingProxyType({"port": "left", "starboard": "right"})  # "side port" is "left side"
_AFT: Final = ("panel", "panels", "no_laminate", "by_panel", "zone", "cuts", "stands")

VALUES: Final = MappingProxyType(
    {
        **{(word, "aft"): "rear" for word in _AFT},
        ("stands", "forward"): "front",
        **{("side", old): new for old, new in _SIDES.items()},
        ("rotation_allowed", "free"): "any",
    }
)
"""What a word may hold, by the word and the old value."""


def now_called(word: str, value: object) -> str:
    """Return how what a word holds is called now; empty where it has always been called so.

    Parameters
    ----------
    word : str
        Of a recipe, with or without its path: "panel", "recesses[0].panel", "skin.no_laminate[1]".
    value : object
        As given.

    Returns
    -------
    str
    """
    last = word.rpartition(".")[2].partition("[")[0]
    if not isinstance(value, str):
        return ""
    first, _, rest = value.partition(" ")
    panel, _, last_word = value.rpartition(" ")
    if rest and first in _SIDES:
        return f"{_SIDES[first]} {rest}"
    if panel and last_word in _SIDES:
        return f"{_SIDES[last_word]} {panel}"
    return VALUES.get((last, value), "")
