"""Cloth made in a process of its own: the same cloth, nothing left running, made here where it fails."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import plugs.stages.cloth
import plugs.subjects.cloth
import plugs.writing
from plugs import scene
from plugs.cli import main
from plugs.drawings import OF_CLOTH, cloth_drawings
from plugs.files.drawing_run import DrawingRun
from plugs.foam.layers import Stack
from plugs.ground import twins
from plugs.ground.workers import Crew
from plugs.kernel.worker import KernelRun
from plugs.stages import beside
from plugs.stages.beside import ClothRun
from plugs.stages.shelf import Shelf, digest_of
from plugs.work import Work, opened, work_out
from plugs.writing import chosen_outputs, write
from tests.unit.test_fit_list import tapered
from tests.unit.test_work import BOX

Started = list[ClothRun]

TWINNED = """import os, sys
os.environ["OPENBLAS_NUM_THREADS"] = "1"
import plugs.stages.cloth as cloth
from plugs.ground import twins
from plugs.stages import beside, laminate, shape
beside.n_cores = lambda: 2
here, made, cut, twin, foam = os.getpid(), [], cloth.cut_cloth, twins.Twin, shape.foam_body
mix = laminate.mix
laminate.mix = lambda *words: made.append("resin") or mix(*words)
shape.foam_body = lambda *words: made.append("foam") or foam(*words)
cloth.cut_cloth = lambda *words: made.append("here") or cut(*words)
twins.Twin = lambda make: made.append("twin") or twin(make)
FAULT
from plugs.cli import main
assert main(["check", sys.argv[1]]) == 0
print(*made, file=sys.stderr)
"""
"""A check in a process of its own with one thread: it tells of twins, foam, cloth and resin made here."""


BUILT = """import os, sys
os.environ["OPENBLAS_NUM_THREADS"] = "1"
import plugs.drawings, plugs.scene as scene
from plugs.stages import beside, shape
beside.n_cores = lambda: int(sys.argv[3])
here, made, finish, glb = os.getpid(), [], shape.finished_body, scene.scene_file
shape.finished_body = lambda *words: made.append("finish") or finish(*words)
FAULT
from plugs.cli import main
kinds = [word for kind in ("dxf", "glb", "stl", "csv") for word in ("--only", kind)]
assert main(["build", sys.argv[1], "--out", sys.argv[2], *kinds]) == 0
print("made:", *made, file=sys.stderr)
"""
"""A build in a process of its own with one thread: it tells whether the finished part was made here."""


@pytest.fixture
def box(tmp_path: Path) -> Path:
    """Return the recipe of a box with cloth."""
    path = tmp_path / "box.py"
    path.write_text(BOX.replace("WORDS", ""), encoding="utf-8")
    return path


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> Started:
    """Return the processes that are started from now on, on a machine of two cores."""
    found: Started = []

    def start(*, is_copy: bool) -> ClothRun:
        found.append(ClothRun(is_copy=is_copy))
        return found[-1]

    monkeypatch.setattr(beside, "ClothRun", start)
    monkeypatch.setattr(twins, "can_be_made", lambda: False)
    monkeypatch.setattr(beside, "n_cores", lambda: 2)
    return found


@pytest.fixture
def made_here(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Return for what plugs cloth is cut in this process."""
    found: list[object] = []
    cut: Callable[..., object] = plugs.stages.cloth.cut_cloth

    def counted(plug: object, *stages: Any) -> object:
        found.append(plug)
        return cut(plug, *stages)

    monkeypatch.setattr(plugs.stages.cloth, "cut_cloth", counted)
    return found


def untimed(words: str) -> str:
    """Return what a check says, but for how long it took."""
    rows = [row for row in words.splitlines() if not row.startswith("took ")]
    assert len(rows) == len(words.splitlines()) - 1
    return "\n".join(rows)


def told(work: Work) -> tuple[object, ...]:
    """Return what a check tells of a work, and a digest of its cloth."""
    assert work.cloth is not None and work.resin is not None
    return [str(finding) for finding in work.findings], digest_of(work.cloth.patterns), work.resin.mixed_kg


def test_cloth_is_cut_elsewhere_and_is_the_same(
    box: Path,
    started: Started,
    made_here: list[object],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By a check on two cores; on one core, the same words from this process alone."""
    alone = told(opened(box, {}))
    assert len(made_here) == 1
    work = opened(box, {}, shelf=Shelf())
    with beside.made_beside(work):
        assert told(work) == alone
    assert len(made_here) == 1 and len(started) == 1
    assert not started[0].is_running
    assert main(["check", str(box)]) == 0
    two = untimed(capsys.readouterr().out)
    assert len(made_here) == 1 and len(started) == 2
    monkeypatch.setattr(beside, "n_cores", lambda: 1)
    assert main(["check", str(box)]) == 0
    assert untimed(capsys.readouterr().out) == two
    assert len(made_here) == 2 and len(started) == 2


@pytest.mark.skipif(sys.platform != "linux", reason="a process has a twin under Linux alone")
@pytest.mark.parametrize(
    ("fault", "made"),
    [
        ("", ["twin", "foam"]),
        (
            "cut = lambda *words, cut=cut: cut(*words) if os.getpid() == here else 1 / 0",
            ["twin", "foam", "here", "resin"],
        ),
    ],
)
def test_a_twin_cuts_the_same_cloth(
    box: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    fault: str,
    made: list[str],
) -> None:
    """What a command tells is the same, whether its twin cuts the cloth, fails, or there is none.

    Cloth follows from what the foam is made of, so the twin need not wait for the foam; resin
    follows from cloth, so the twin makes it too.
    """
    monkeypatch.setattr(beside, "n_cores", lambda: 1)
    assert main(["check", str(box)]) == 0
    alone = untimed(capsys.readouterr().out)
    words = [sys.executable, "-c", TWINNED.replace("FAULT", fault), str(box)]
    run = subprocess.run(words, capture_output=True, text=True, check=True)
    assert (untimed(run.stdout), run.stderr.split()) == (alone, made)


@pytest.mark.skipif(sys.platform != "linux", reason="a process has a twin under Linux alone")
def test_a_twin_makes_what_follows_from_the_finished_part(box: Path, tmp_path: Path) -> None:
    """A build has the same files, whether a twin makes gauges and solids, fails, or there is none."""
    fault = "scene.SOLIDS['glb'] = lambda work, glb=glb: glb(work) if os.getpid() == here else 1 / 0"
    found = []
    for cores, more in ((1, ""), (2, ""), (2, fault)):
        out = tmp_path / f"out-{len(found)}"
        words = [sys.executable, "-c", BUILT.replace("FAULT", more), str(box), str(out), str(cores)]
        run = subprocess.run(words, capture_output=True, text=True, check=True)
        files = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
        found.append((files, run.stderr.partition("made:")[2].split()))
    assert {Path("solid/plug.glb"), Path("templates/gauge-station-01-foam-left.dxf")} <= found[0][0].keys()
    assert [made for _, made in found] == [["finish"], [], ["finish"]]
    assert found[0][0] == found[1][0] == found[2][0]


def test_cloth_is_cut_here_where_the_other_process_fails(
    box: Path, started: Started, made_here: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It raises; it dies; what is sent does not travel."""
    alone = told(opened(box, {}))
    for fault in (json.loads, os._exit):
        monkeypatch.setattr(beside, "make_stages", fault)
        work = opened(box, {}, shelf=Shelf())
        with beside.made_beside(work):
            assert told(work) == alone
    assert len(made_here) == 3

    class OwnStack(Stack):
        """A record that no other process can find."""

    monkeypatch.undo()
    monkeypatch.setattr(beside, "n_cores", lambda: 2)
    monkeypatch.setattr(twins, "can_be_made", lambda: False)
    plug = opened(box, {}).plug
    own = Work(replace(plug, stack=OwnStack(thicknesses=(40.0,), allowance=3.0)), shelf=Shelf())
    with beside.made_beside(own):
        assert told(own) == alone
    assert not any(worker.is_running for worker in started)


def test_a_command_that_is_ended_leaves_no_process(box: Path, started: Started) -> None:
    """Ctrl-C comes up through the wait, and ends the other process first."""
    work = opened(box, {}, shelf=Shelf())
    with pytest.raises(KeyboardInterrupt), beside.made_beside(work):
        raise KeyboardInterrupt
    assert len(started) == 1 and not started[0].is_running
    assert "cloth" not in work.stages and work.cloth is not None


def test_no_process_is_started_for_what_is_known(box: Path, started: Started) -> None:
    """Cloth that lies on the shelf, and plugs without any."""
    shelf = Shelf()
    assert opened(box, {}, shelf=shelf).cloth is not None
    for work in (
        opened(box, {}, shelf=shelf),
        Work(replace(opened(box, {}).plug, schedule=None), shelf=Shelf()),
    ):
        with beside.made_beside(work):
            _ = work.cloth
    assert not started


def test_one_process_makes_the_cloth_of_save_after_save(
    box: Path, started: Started, made_here: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is asked once for what is the same, though two rounds want it, and draws it too."""
    shelf, calls = Shelf(), []
    call = ClothRun.call
    monkeypatch.setattr(
        ClothRun, "call", lambda run, made, *words: (calls.append(made.__name__), call(run, made, *words))[1]
    )
    monkeypatch.setattr(plugs.subjects.cloth, "pattern_drawing", None)
    with Crew() as crew:
        for words in ({}, {"length": 310.0}, {"length": 310.0, "resin": "polyester"}, {"length": 320.0}):
            for _ in range(2):
                work = opened(box, words, shelf=shelf)
                beside.begin_cloth(work, crew, OF_CLOTH)
            drawn = work.again("cloth_drawings", cloth_drawings)
            assert len(drawn) == len(work.drawn_patterns) > 0
        assert calls == 3 * ["make_stages"]
        assert len(started) == 1 and made_here == []
    assert not started[0].is_running


def test_cloth_that_nobody_wants_any_more_is_broken_off(
    box: Path, started: Started, made_here: list[object]
) -> None:
    """A save while it is made has a fresh process at once, breaks off a wait, and may want no cloth."""
    shelf, said = Shelf(), []

    def say(words: str) -> None:
        said.append(words)
        if said.count("cloth") > 1:
            raise KeyboardInterrupt

    with Crew() as crew:
        crew.lend(beside.ClothRun).call(time.sleep, 600.0)
        beside.begin_cloth(opened(box, {}, shelf=shelf, say=say), crew, OF_CLOTH)
        with pytest.raises(KeyboardInterrupt):
            _ = opened(box, {}, shelf=shelf).cloth
        beside.begin_cloth(opened(box, {}, shelf=shelf), crew, OF_CLOTH)
        bare = Work(replace(opened(box, {}).plug, schedule=None), shelf=shelf)
        beside.begin_cloth(bare, crew, OF_CLOTH)
        assert bare.cloth is None
        work = opened(box, {"length": 310.0}, shelf=shelf)
        beside.begin_cloth(work, crew, OF_CLOTH)
        assert [run.is_running for run in started] == [False, True]
        again = told(work)
    assert made_here == []
    assert again == told(opened(box, {"length": 310.0}))


def test_paper_is_printed_while_sheets_are_drawn(
    box: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is asked for as soon as all that stands on it is drawn; on sheets' own paper, when these are."""
    asked: list[str] = []

    def stop(_: Work) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(DrawingRun, "print_out", lambda run, job, drawings: asked.append(job.path))
    monkeypatch.setattr(plugs.writing, "sheet_drawings", stop)
    for paper, found in ((("templates",), ["paper/templates.pdf"]), (("templates", "sheets"), [])):
        asked.clear()
        with pytest.raises(KeyboardInterrupt):
            write(opened(box, {}, shelf=Shelf()), tmp_path / "out", ("pdf",), paper=paper)
        assert asked == found


def test_the_kernel_loads_while_lines_are_made(box: Path, tmp_path: Path) -> None:
    """It is started before anything is asked of the plug, for a second core has nothing else to do then."""
    work, made = opened(box, {}, shelf=Shelf()), []

    def kernel() -> KernelRun:
        made.append(work.stages)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write(work, tmp_path / "out", ("step", "stl"), kernel)
    assert made == [frozenset()]


@pytest.mark.parametrize(("n_layers", "is_beside"), [(10, True), (150, False)])
def test_of_many_layers_nothing_but_cloth_is_made_beside(
    n_layers: int, is_beside: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that holds as much as this one would take too much memory."""
    given: list[object] = []
    monkeypatch.setattr(scene, "made_beside", lambda *words: given.append(words[-1]))
    work = work_out(tapered(stack=Stack(thicknesses=(120.0 / n_layers,))))
    scene.begin_beside(work, chosen_outputs(work.plug, None), None)
    assert bool(given[0]) is is_beside
