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
from plugs.drafting.styles import _STYLES, CUTS
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


@pytest.mark.parametrize("first", ["CUT_LINE", "PINS_TOP_FACE", "SLOT_CUT"])
def test_company_does_not_matter(first: str) -> None:
    """CUT_LINE is red and PINS_TOP_FACE teal, alone, first, last or among others."""
    alone = looks(first)[first]
    for others in product(("SAW_LINE", "MARK_ONLY"), ("PINS_BOTTOM_FACE", "HOLE", "ZONE_EDGE")):
        assert looks(*others, first)[first] == alone
        assert looks(first, *others)[first] == alone


def test_colours_and_dashes_are_those_of_the_table() -> None:
    """What a DXF says is what paper and screen show: strokes up, gaps down."""
    seen = looks(*_STYLES)
    for group, style in _STYLES.items():
        colour, lengths = seen[group]
        assert colour == style.index
        assert tuple(abs(length) for length in lengths) == style.dash
        assert all(length > 0.0 for length in lengths[::2])
        assert all(length < 0.0 for length in lengths[1::2])


def test_one_number_to_a_colour() -> None:
    """Lines that look alike on paper look alike in a DXF, and no others do."""
    pairs = {(style.colour, style.index) for style in _STYLES.values()}
    assert len({colour for colour, _ in pairs}) == len({index for _, index in pairs}) == len(pairs)


def luminance(rgb: tuple[int, int, int]) -> float:
    """Return the relative luminance of a colour, 0 black to 1 white (WCAG 2.1, its definition)."""
    parts = np.array(rgb) / 255.0
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ (0.2126, 0.7152, 0.0722))


def contrast(first: tuple[int, int, int], second: tuple[int, int, int]) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.1, its definition)."""
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("ground", [(255, 255, 255), (0, 0, 0)])
def test_every_colour_shows_on_white_and_on_black(ground: tuple[int, int, int]) -> None:
    """Every colour, as the DXF library paints its number, stands out 3 to 1 (WCAG 2.1, 1.4.11) from either.

    7 is the one that turns over with the ground. An SVG and a PDF have the same colours on white.
    """
    assert contrast((255, 255, 255), (0, 0, 0)) == pytest.approx(21.0)
    for group, style in _STYLES.items():
        painted = tuple(ezdxf.colors.aci2rgb(style.index))
        if style.index == 7:
            assert style.colour == "#000000"
            continue
        assert style.colour == "#{:02x}{:02x}{:02x}".format(*painted), group
        assert contrast(painted, ground) >= 3.0, group


def test_names_say_what_to_do() -> None:
    """What is sawn or cut is called so, and nothing that is not cut is."""
    saying = {name for name in _STYLES if re.search("CUT|SAW", name)}
    assert saying - CUTS == {"DART_CUT", "FAR_FACE_CUT"}  # darts are cut in cloth, where no words are placed
    assert CUTS - saying == {"SHEET_EDGE", "HOLLOW"}


def test_every_group_is_named_once() -> None:
    """No module has names of groups of its own: they all stand in the one table."""
    rooms = (HOUSE / "drafting", HOUSE / "subjects", HOUSE / "paper", HOUSE / "pack", HOUSE / "book")
    for path in sorted(path for room in rooms for path in room.glob("*.py")):
        texts = {
            node.value
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
        }
        if path.name not in ("styles.py", "drawing.py"):
            assert not texts & set(_STYLES) - {"CENTRELINE"}, path
