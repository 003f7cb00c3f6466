"""Findings are few: four pockets of one kind are one line, by their names."""

from __future__ import annotations

from pathlib import Path

from tests.doubtful import work_of

POCKETS = (
    "[Recess(panel='deck', x=x, width=40.0, height=60.0, depth=96.0, draft_deg=2.0, name=name) "
    "for x, name in ((40.0, 'lamp'), (110.0, ''), (180.0, ''), (250.0, 'cap'))]"
)


def test_four_pockets_of_one_kind_are_one_line(tmp_path: Path) -> None:
    """A box 100 mm high, pockets of 96 mm: each leaves 4 mm of foam; those without a name are told apart."""
    work = work_of(tmp_path, recesses=POCKETS, foam="'xps 35'", schedule="Schedule()")
    (floor,) = [one for one in work.found(["resin"]) if one.code == "thin-floor"]
    assert floor.where == "floor of 'cap', 'lamp', 'recess on deck' and 'recess on deck 2'"
    assert floor.message.startswith("4.0 mm of xps 35 is left behind it")
