"""Fixed: a watch put its first look in the place of the last build, book and templates gone.

And a file that the recipe reads was not noticed when it came back after it was gone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from plugs import watching
from plugs.ground.errors import PlugError
from plugs.watching import Outcome
from tests.cli.conftest import FROM_TABLE, TABLE, Plugs, snapshot
from tests.unit.test_watching import recipe_of, run_only, watched


def no_kernel() -> Any:
    """Refuse to start the kernel."""
    raise AssertionError("the kernel was wanted")


def outcome(*, fault: PlugError | None = None, built: object = None, is_last: bool = False) -> Outcome:
    """Return how a round went."""
    return Outcome(built=built, fault=fault, kinds=("stl",), is_last=is_last, files=())


def test_a_first_look_never_stands_in_for_the_last_build(
    shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It goes beside it, whole, and goes away with the round: broken, built, or ended."""
    kinds = ("--only", "stl", "--only", "csv")
    fault = PlugError(param="radius", value=1.0, reason="too small", remedy="use 2.0")
    out, look = shop / "exports" / "part", shop / "exports" / "part-first-look"

    def fake(recipe: Path, changes: Any, *, make: Any, told: Callable[[Outcome], None], **_: Any) -> None:
        words = {"out": Path("exports/part"), "say": lambda _: None, "open_kernel": no_kernel}
        told(outcome(fault=fault))
        told(outcome(is_last=True, built=make(recipe, {}, kinds=("stl", "csv"), **words)))
        good = snapshot(out)
        assert "layers/outlines.csv" in good
        for ending in (outcome(fault=fault), None):
            make(recipe, {"height": 130.0}, kinds=("stl",), **words)
            told(outcome())
            assert sorted(p.name for p in look.iterdir()) == ["solid", "summary.json"]
            assert snapshot(out) == good
            if ending is not None:
                told(ending)
                assert not look.exists()
                assert snapshot(out) == good

    monkeypatch.setattr(watching, "watch", fake)
    run = plugs("watch", "part.py", *kinds)
    assert run.status == 0
    assert run.out.count("foam and layers are in exports/part-first-look; the rest follows") == 2
    assert run.err.count("there is no build yet") == 1
    assert run.err.count("the last good build stays in exports/part") == 1
    assert [p.name for p in (shop / "exports").iterdir()] == ["part"]


def test_what_waits_for_step_lies_beside_the_last_build(
    shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All but STEP is built without the kernel; should the kernel refuse, the last build is as it was."""
    out, look = shop / "exports" / "part", shop / "exports" / "part-first-look"
    fault = PlugError(param="radius", value=1.0, reason="three volumes differ", remedy="use 2.0")
    words = {"out": Path("exports/part"), "say": lambda _: None, "open_kernel": no_kernel}

    def fake(recipe: Path, changes: Any, *, make: Any, told: Callable[[Outcome], None], **_: Any) -> None:
        make(recipe, {"height": 130.0}, kinds=("stl", "csv"), **words)
        assert {p.name for p in look.iterdir()} >= {"layers", "solid", "summary.json"}
        told(replace(outcome(), kinds=("stl", "csv")))
        assert look.exists()
        told(outcome(fault=fault))
        assert not look.exists()
        assert not out.exists()

    monkeypatch.setattr(watching, "watch", fake)
    run = plugs("watch", "part.py", "--only", "stl", "--only", "csv", "--only", "step")
    assert run.status == 0
    assert "all but STEP is in exports/part-first-look; the rest follows" in run.out
    assert "three volumes differ" in run.err


def test_what_a_build_writes_starts_no_round(shop: Path) -> None:
    """Neither in its folder nor in the one beside it, whose last state the next round reads."""
    folders = [shop / "out", shop / "out-first-look"]
    rounds = []

    def make(path: Path, _: object, **words: Any) -> int:
        run_only(path, {}, **words)
        rounds.append(words["kinds"])
        for folder in folders:
            folder.mkdir(exist_ok=True)
            summary = folder / "summary.json"
            before = summary.read_text(encoding="utf-8") if summary.exists() else ""
            summary.write_text(f"{before} again", encoding="utf-8")
        return len(rounds)

    recipe_of(shop / "it.py", "return 1")
    with watched(shop / "it.py", make=make, kinds=("stl", "csv", "step")) as told:
        told.wait(lambda o: o.is_last)
        recipe_of(shop / "it.py", "return 2")
        told.wait(lambda o: o.is_last and o.built == 6)
    assert rounds == [("stl",), ("stl", "csv"), ("stl", "csv", "step")] * 2


def test_a_table_that_comes_back_is_noticed(shop: Path) -> None:
    """Gone, told, back, built; and one that was never there, asked for by a reader of ours."""
    (shop / "tabled.py").write_text(FROM_TABLE, encoding="utf-8")
    table = shop / "table.csv"
    with watched(shop / "tabled.py") as told:
        told.wait(lambda o: o.fault is None)
        for _ in range(2):
            table.unlink()
            told.wait(lambda o: o.fault is not None and "no such file" in o.fault.reason)
            table.write_text(TABLE, encoding="utf-8")
            told.wait(lambda o: o.fault is None)
    table.unlink()
    with watched(shop / "tabled.py") as told:
        told.wait(lambda o: o.fault is not None and "no such file" in o.fault.reason)
        table.write_text(TABLE, encoding="utf-8")
        told.wait(lambda o: o.fault is None)


def test_a_file_that_is_asked_for_before_it_is_opened_is_noticed_again(shop: Path) -> None:
    """The recipe looks whether it is there, as a careful person writes it."""
    part, table = shop / "it.py", shop / "width.txt"
    table.write_text("3", encoding="utf-8")
    recipe_of(part, "p = Path(__file__).with_name('width.txt'); return p.exists() and int(p.read_text())")
    with watched(part, make=run_only) as told:
        told.wait(lambda o: o.built == 3)
        table.unlink()
        told.wait(lambda o: o.built is False)
        table.write_text("4", encoding="utf-8")
        told.wait(lambda o: o.built == 4)
