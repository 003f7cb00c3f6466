"""The findings of a recipe in inches are in inches; those of a recipe in mm are worded as they were.

The inch is 25.4 mm by the international yard and pound agreement of 1959 (definition).
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import plugs
from plugs.ground.errors import Finding, PlugError
from plugs.ground.lengths import as_length, in_unit
from plugs.stages.shelf import Shelf
from tests.doubtful import work_of
from tests.issues.test_sizes_in_inches import mm_of

SIZED = re.compile(r"[\d.]+ mm \([\d.]+ in\)")
CROWDED = {
    "stack": "Stack(thicknesses=(30.0,), allowance=3.0)",
    "stock": "[Stock(width=300.0, height=200.0, thickness=30.0)]",
    "hollow": "Hollow(wall=45.0, bridge=80.0)",
    "pins": "Pins(diameter=9.0)",
    "templates": "Templates(thickness=4.0, stations=(5.0, 150.0), lengthwise=(0.0,))",
    "recesses": "[Recess(panel='deck', x=150.0, width=120.0, height=90.0, depth=80.0, corner_radius=2.0)]",
    "schedule": "Schedule(plies=[Ply(cloth='mat 450')] * 6)",
    "foam": "'pu 40'",
    "mould": "Mould()",
}


def test_crowded_plug_in_inches(tmp_path: Path) -> None:
    """One plug, told in either unit: the same findings at the same places, no mm among the inches."""
    shelf = Shelf()
    metric = work_of(tmp_path, shelf=shelf, **CROWDED).findings
    imperial = work_of(tmp_path, shelf=shelf, **CROWDED, display_unit="'in'").findings
    assert [f.code for f in imperial] == [f.code for f in metric]
    assert len({f.code for f in metric}) >= 8, sorted({f.code for f in metric})
    for one, other in zip(metric, imperial, strict=True):
        text = " / ".join((other.where, other.message, other.remedy))
        assert not re.search(r"\bmm\b", SIZED.sub("", text)), text
        plain = " / ".join((one.where, one.message, one.remedy))
        assert "\x02" not in text + plain
        assert (" mm" in plain) <= bool(re.search(r"\d in\b", text)), (plain, text)
        assert in_unit(one, "in") == other


def test_every_length_of_every_finding_goes_through_one_function() -> None:
    """No finding of the sources says mm by itself, so none can be forgotten."""
    for path in sorted(Path(plugs.__file__).parent.rglob("*.py")):
        text = path.read_text("utf-8")
        for node in ast.walk(ast.parse(text)) if "Finding(" in text else ():
            if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Finding"):
                continue
            parts = [part for word in node.keywords for part in ast.walk(word.value)]
            said = [part.value for part in parts if isinstance(part, ast.Constant)]
            assert not [one for one in said if isinstance(one, str) and re.search(r"\bmm\b", one)], (
                f"{path.name}:{node.lineno}"
            )


def test_words_in_mm_stay() -> None:
    """Marks are not read; a spec and its unit come out as an f-string would have them."""
    text = (
        f"{as_length(12.345, '.1f')} of {as_length(50.0, 'g', 'size')}, x = {as_length(-3.0, '.0f', 'bare')}"
    )
    found = Finding(code="c", severity="note", where="w", message=text, remedy="r")
    assert found.message == "12.3 mm of 50 mm, x = -3"
    assert in_unit(found, "mm") is found
    assert in_unit(found, "in").message == "1/2 in of 50 mm (1.969 in), x = -1/8 in"


@given(st.floats(0.02, 3000.0))
def test_what_would_do_still_does_in_inches(value: float) -> None:
    """The least that does is never told smaller, the most never larger, and neither by over 1/64 in."""
    for kind, sign in (("least", 1.0), ("most", -1.0)):
        text = as_length(value, ".1f", kind)
        found = Finding(code="c", severity="note", where="w", message="m", remedy=text)
        words = in_unit(found, "in").remedy
        decimal = re.fullmatch(r"(\d+\.\d+) in", words)
        read = 25.4 * float(decimal[1]) if decimal else mm_of(words)
        assert -1e-4 <= sign * (read - value) <= 25.4 / 64.0 + 1e-4, words


def test_finding_without_a_place_is_refused() -> None:
    """Nobody finds what is nowhere."""
    with pytest.raises(PlugError, match="say where"):
        Finding(code="c", severity="note", where="", message="m", remedy="r")
