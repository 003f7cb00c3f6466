"""A group of lines looks the same in every file: one colour and one kind of line, in whatever company."""

from __future__ import annotations

import ast
import io
import re
from itertools import product
from pathlib import Path as FilePath

import ezdxf
import numpy as np
import pytest

import plugs
from plugs.drafting.drawing import Drawing, Path
from plugs.drafting.styles import _STYLES
from plugs.files.dxf import render_dxf

HOUSE = FilePath(plugs.__file__).parent


def drawn(*groups: str) -> Drawing:
    """Return a drawing with one line of each group."""
    lines = [
        Path(points=np.eye(2) + k, bulges=np.zeros(2), is_closed=False, dxf_layer=group)
        for k, group in enumerate(groups)
    ]
    return Drawing(path="a", title="a", paths=tuple(lines), labels=())


def looks(*groups: str) -> dict[str, tuple[int, tuple[float, ...]]]:
    """Return colour and pattern of each group in a DXF, read back."""
    document = ezdxf.read(io.StringIO(render_dxf(drawn(*groups))))
    found = {}
    for group in groups:
        layer = document.layers.get(group)
        pattern = document.linetypes.get(layer.dxf.linetype).pattern_tags.tags
        lengths = tuple(round(tag.value, 6) for tag in pattern if tag.code == 49)
        found[group] = (layer.color, lengths)
    return found


@pytest.mark.parametrize("first", ["CUT", "PINS_UPPER", "SLOT"])
def test_company_does_not_matter(first: str) -> None:
    """CUT is red and PINS_UPPER teal, alone, first, last or among others."""
    alone = looks(first)[first]
    for others in product(("ROUGH", "MARK"), ("PINS_LOWER", "HOLE", "EDGE")):
        assert looks(*others, first)[first] == alone
        assert looks(first, *others)[first] == alone


def test_colours_and_dashes_are_those_of_the_table() -> None:
    """What a DXF says is what paper and screen show: strokes up, gaps down."""
    for group, style in _STYLES.items():
        colour, lengths = looks(group)[group]
        assert colour == style.index
        assert tuple(abs(length) for length in lengths) == style.dash
        assert all(length > 0.0 for length in lengths[::2])
        assert all(length < 0.0 for length in lengths[1::2])


def test_one_number_to_a_colour() -> None:
    """Lines that look alike on paper look alike in a DXF, and no others do."""
    pairs = {(style.colour, style.index) for style in _STYLES.values()}
    assert len({colour for colour, _ in pairs}) == len({index for _, index in pairs}) == len(pairs)


def test_every_group_is_in_the_table() -> None:
    """No drawing of the house uses a group whose look is left to chance."""
    named = set()
    rooms = (HOUSE / "drafting", HOUSE / "subjects")
    for path in sorted(path for room in rooms for path in room.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.AnnAssign) and isinstance(node.value, ast.Constant):
                value = node.value.value
                if isinstance(value, str) and re.fullmatch(r"[A-Z]+(_[A-Z]+)*", value):
                    named.add(value)
    assert {"CUT", "FACE", "FOOTPRINT", "PINS_LOWER"} <= named
    assert named <= set(_STYLES), sorted(named - set(_STYLES))
