"""Watching: every save is answered by the right build, a broken recipe keeps the last, nothing is left over.

A maker of a few lines stands in for the build where only the order of things matters; the real build is
watched through many saves, and in a program of its own that is stopped as a terminal stops it.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from plugs import watching
from plugs.files.folder import FreshFolder
from plugs.files.kinds import KINDS
from plugs.ground.errors import PlugError
from plugs.kernel.worker import KeptKernel, start_kernel
from plugs.mesh.triangles import edge_loops
from plugs.recipe.reading import load_recipe, run_recipe
from plugs.recipe.starter import starter_recipe
from plugs.watching import Outcome, rounds_of, watch

PERIOD = 0.02
PATIENCE_S = 120.0
"""Longest wait for what should come soon: it matters only where it does not come."""

ROOT = Path(__file__).resolve().parents[2]


class Told:
    """Keeps what it is told, and waits for it."""

    def __init__(self) -> None:
        self.outcomes: list[Outcome] = []
        self._news = threading.Condition()

    def __call__(self, outcome: Outcome) -> None:
        """Take an outcome."""
        with self._news:
            self.outcomes.append(outcome)
            self._news.notify_all()

    def wait(self, wanted: Callable[[Outcome], bool], seconds: float = PATIENCE_S) -> Outcome:
        """Wait until the last outcome is the one that is wanted."""
        with self._news:
            found = self._news.wait_for(lambda: self.outcomes and wanted(self.outcomes[-1]), seconds)
            assert found, self.outcomes[-1:]
            return self.outcomes[-1]


def run_only(path: Path, overrides: object, *, out: Path, kinds: object, say: Callable[[str], None], open_kernel: object) -> object:  # fmt: skip  # noqa: E501
    """Run the recipe, and return what it returns: the least that a maker does."""
    say("recipe")
    made = run_recipe(load_recipe(path), {})
    say("files")
    return made.result


@contextmanager
def watched(recipe: Path, make: object = run_only, **words: object) -> Iterator[Told]:
    """Watch a recipe in a thread of its own while the caller saves files."""
    told, stop, faults = Told(), threading.Event(), []
    given = {"out": recipe.parent / "out", "kinds": ("csv",), "say": lambda _: None, "period": PERIOD} | words

    def run() -> None:
        try:
            watch(recipe, {}, make=make, told=told, stop=stop, **given)  # type: ignore[arg-type]
        except BaseException as error:
            faults.append(error)
            raise

    thread = threading.Thread(target=run)
    thread.start()
    try:
        yield told
    finally:
        stop.set()
        thread.join(PATIENCE_S)
        assert not thread.is_alive()
    assert not faults


def recipe_of(path: Path, body: str) -> None:
    """Save a recipe whose function has a body."""
    path.write_text(f"from pathlib import Path\n\ndef it():\n    {body}\n", encoding="utf-8")


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    """Return a recipe that returns 1."""
    path = tmp_path / "it.py"
    recipe_of(path, "return 1")
    return path


# ---- the order of things


def test_quick_kinds_are_a_round_of_their_own() -> None:
    """Outlines and STL first, then the book, STEP last; one round where there is nothing to put apart."""
    quick, shown = ("stl", "dxf", "svg"), ("stl", "dxf", "svg", "html")
    most = tuple(kind for kind in KINDS if kind != "step")
    assert rounds_of(KINDS) == (quick, shown, most, tuple(KINDS))
    assert rounds_of(most) == (quick, shown, most)
    assert rounds_of(shown) == (quick, shown)
    assert rounds_of(("html", "step")) == (("html",), ("html", "step"))
    assert rounds_of(("csv", "step")) == (("csv",), ("csv", "step"))
    assert rounds_of(("stl", "svg")) == (("stl", "svg"),)
    assert rounds_of(("step",)) == (("step",),)


def test_a_save_is_answered(recipe: Path) -> None:
    """Built at once, and again when the file is saved, and not otherwise."""
    with watched(recipe) as told:
        told.wait(lambda o: o.built == 1)
        recipe_of(recipe, "return 2")
        assert told.wait(lambda o: o.built == 2).is_last
        time.sleep(10 * PERIOD)
        assert len(told.outcomes) == 2
        assert told.outcomes[-1].files == (recipe.resolve(),)


def test_rounds_come_in_order_and_the_last_is_marked(recipe: Path) -> None:
    """As `rounds_of` tells."""
    with watched(recipe, kinds=("stl", "step")) as told:
        told.wait(lambda o: o.is_last)
        assert [(o.kinds, o.is_last) for o in told.outcomes] == [(("stl",), False), (("stl", "step"), True)]


def test_files_that_the_recipe_reads_are_watched(recipe: Path) -> None:
    """A table beside it, one elsewhere, one that is not there yet; what is written is not."""
    (recipe.parent / "far").mkdir()
    table, late = recipe.parent / "far" / "table.csv", recipe.parent / "late.txt"
    table.write_text("3", encoding="utf-8")
    body = f"""here = Path(__file__).parent
    (here / 'log.txt').write_text('built')
    try:
        more = int((here / 'late.txt').read_text())
    except FileNotFoundError:
        more = 0
    return int(Path({str(table)!r}).read_text()) + more"""
    recipe_of(recipe, body)
    with watched(recipe) as told:
        found = told.wait(lambda o: o.built == 3)
        assert set(found.files) == {recipe.resolve(), table.resolve(), late.resolve()}
        table.write_text("4", encoding="utf-8")
        told.wait(lambda o: o.built == 4)
        late.write_text("10", encoding="utf-8")
        told.wait(lambda o: o.built == 14)
        late.unlink()
        told.wait(lambda o: o.built == 4)


def test_modules_of_the_recipe_are_read_anew(recipe: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also when they are saved twice within a second with the same size, and nothing compiled is left."""
    monkeypatch.syspath_prepend(str(recipe.parent))
    module = recipe.parent / "local_lines_for_watching.py"
    module.write_text("width = 10\n", encoding="utf-8")
    recipe_of(recipe, "import local_lines_for_watching as m; return m.width")
    with watched(recipe) as told:
        for width in (10, 11, 12, 13):
            module.write_text(f"width = {width}\n", encoding="utf-8")
            found = told.wait(lambda o, width=width: o.built == width)
            assert module.resolve() in found.files
    assert not (recipe.parent / "__pycache__").exists()
    sys.modules.pop("local_lines_for_watching")


def test_packages_of_another_folder_are_not_read_anew(
    recipe: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A user's own, or shared ones: many cannot be loaded twice, and none is the recipe's."""
    packages = tmp_path / "elsewhere" / "site-packages"
    packages.mkdir(parents=True)
    monkeypatch.syspath_prepend(str(packages))
    (packages / "shared_for_watching.py").write_text("first = object()\n", encoding="utf-8")
    body = "import shared_for_watching as m; return (m.first, {})"
    recipe_of(recipe, body.format(1))
    watching._installed.cache_clear()
    try:
        with watched(recipe) as told:
            first = told.wait(lambda o: o.built is not None)
            assert first.files == (recipe.resolve(),)
            recipe_of(recipe, body.format(2))
            again = told.wait(lambda o: o.built is not None and o.built[1] == 2)  # type: ignore[index]
            assert again.built[0] is first.built[0]  # type: ignore[index]
    finally:
        watching._installed.cache_clear()
        sys.modules.pop("shared_for_watching")


def test_a_broken_recipe_is_told_and_mended(recipe: Path) -> None:
    """What is wrong, as the build itself would say; then the right result."""
    with watched(recipe) as told:
        told.wait(lambda o: o.built == 1)
        recipe.write_text("def it(:\n", encoding="utf-8")
        fault = told.wait(lambda o: o.fault is not None).fault
        assert isinstance(fault, PlugError)
        assert "not Python" in fault.reason
        recipe_of(recipe, "raise ValueError('too thin')")
        told.wait(lambda o: o.fault is not None and "too thin" in str(o.fault))
        recipe_of(recipe, "return 5")
        told.wait(lambda o: o.built == 5)


def test_a_recipe_that_is_gone_is_waited_for(recipe: Path) -> None:
    """An editor that removes and writes anew; a file that is away for longer is told."""
    with watched(recipe) as told:
        told.wait(lambda o: o.built == 1)
        recipe.unlink()
        told.wait(lambda o: o.fault is not None and "no such file" in o.fault.reason)
        recipe_of(recipe, "return 6")
        told.wait(lambda o: o.built == 6)
        swap = recipe.with_suffix(".tmp")
        recipe_of(swap, "return 7")
        swap.replace(recipe)
        told.wait(lambda o: o.built == 7)


def test_a_save_breaks_off_what_is_under_way(recipe: Path) -> None:
    """A build that would take long is left at its next stage, and nobody is told of it."""
    stages: list[int] = []

    def slowly(path: Path, overrides: object, **words: object) -> object:
        result = run_only(path, overrides, **words)  # type: ignore[arg-type]
        for _ in range(200 if result == 1 else 1):
            words["say"]("slow")  # type: ignore[operator]
            stages.append(result)  # type: ignore[arg-type]
            if stages == [1, 1, 1]:
                time.sleep(0.1)  # more than a tick of the file system's clock after the first save
                recipe_of(recipe, "return 2")
        return result

    with watched(recipe, slowly) as told:
        told.wait(lambda o: o.built == 2)
        assert [o.built for o in told.outcomes] == [2]
    assert stages == [1, 1, 1, 2]


@pytest.mark.skipif(sys.platform == "win32", reason="no signal tells of time there")
def test_a_save_breaks_off_what_says_nothing(recipe: Path) -> None:
    """Where it computes, in the thread that hears of signals; what else it does comes to its end."""
    begun, stop, put_away = threading.Event(), threading.Event(), []
    outcomes: list[Outcome] = []

    def make(path: Path, overrides: object, **words: object) -> object:
        made = run_recipe(load_recipe(path), {}).result
        if made == 1:
            until = time.monotonic() + PATIENCE_S
            with put_away_slowly(put_away):
                begun.set()
                idle(0.3)  # several looks at the files
                put_away.append("not computed")
                while time.monotonic() < until:
                    edge_loops(np.arange(3000).reshape(-1, 3))
        return made

    def save() -> None:
        assert begun.wait(PATIENCE_S)
        recipe_of(recipe, "return 2")

    def told(outcome: Outcome) -> None:
        outcomes.append(outcome)
        stop.set()

    saver = threading.Thread(target=save)
    saver.start()
    before = signal.getsignal(signal.SIGALRM)
    watch(recipe, {}, make=make, out=recipe.parent / "out", kinds=("csv",), say=lambda _: None, told=told,
          stop=stop, period=PERIOD)  # fmt: skip
    saver.join()
    assert [one.built for one in outcomes] == [2]
    assert put_away == ["not computed", "wholly"]
    assert signal.getsignal(signal.SIGALRM) == before
    assert signal.getitimer(signal.ITIMER_REAL) == (0.0, 0.0)


@pytest.mark.skipif(sys.platform == "win32", reason="no signal tells of time there")
def test_who_is_called_back_is_not_broken_off(recipe: Path) -> None:
    """Nobody would hear of it, and the build would go on to its end: it is broken off afterwards."""
    stop, back, outcomes = threading.Event(), list[str](), list[Outcome]()

    def called_back(phase: str, _: object) -> None:
        if phase == "stop" and not back:
            back.append("begun")
            idle(0.3)  # several looks at the files
            back.append("at its end")

    def make(path: Path, overrides: object, **words: object) -> object:
        made = run_recipe(load_recipe(path), {}).result
        if made == 1:
            recipe_of(recipe, "return 2")
            gc.callbacks.append(called_back)
            gc.set_threshold(1)
            until = time.monotonic() + PATIENCE_S
            while time.monotonic() < until:
                edge_loops(np.arange(3000).reshape(-1, 3))
        return made

    def told(outcome: Outcome) -> None:
        outcomes.append(outcome)
        stop.set()

    often = gc.get_threshold()
    try:
        watch(recipe, {}, make=make, out=recipe.parent / "out", kinds=("csv",), say=lambda _: None, told=told,
              stop=stop, period=PERIOD)  # fmt: skip
    finally:
        gc.set_threshold(*often)
        gc.callbacks.remove(called_back)
    assert back == ["begun", "at its end"]
    assert [one.built for one in outcomes] == [2]


def test_rooms_that_compute_are_there() -> None:
    """A room that is called otherwise one day would not be broken off any more."""
    assert all((ROOT / "plugs" / room / "__init__.py").is_file() for room in watching._COMPUTING)


class put_away_slowly:  # noqa: N801 - a context
    """Takes several looks at the files to leave."""

    def __init__(self, done: list[str]) -> None:
        self._done = done

    def __enter__(self) -> None:
        """Do nothing."""

    def __exit__(self, *_: object) -> None:
        """Note that the end was reached."""
        edge_loops(np.arange(90000).reshape(-1, 3))
        self._done.append("wholly")


def idle(seconds: float) -> None:
    """Do nothing of the house's for a while."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        pass


def test_what_a_build_reads_of_its_own_files_is_not_watched(recipe: Path) -> None:
    """In its folder, in the one of the first look, and in those under passing names that these replace."""
    out = recipe.parent / "out"

    def writes(path: Path, overrides: object, **words: object) -> object:
        result = run_only(path, overrides, **words)  # type: ignore[arg-type]
        for folder in (out, watching.look_beside(out)):
            with FreshFolder(folder) as fresh:
                (fresh.fresh / "a.txt").write_text(str(result), encoding="utf-8")
                assert (fresh.fresh / "a.txt").read_text(encoding="utf-8") == str(result)
                fresh.write({"summary.json": b'{"files": [{"path": "a.txt", "sha256": ""}]}'})
                fresh.swap_in()
            assert (folder / "a.txt").read_text(encoding="utf-8") == str(result)
        return result

    with watched(recipe, writes) as told:
        told.wait(lambda o: o.built == 1)
        recipe_of(recipe, "return 2")
        assert told.wait(lambda o: o.built == 2).files == (recipe.resolve(),)


def test_other_files_that_matter(recipe: Path) -> None:
    """A file named beside the recipe is watched though nothing opens it."""
    beside = recipe.with_suffix(".sheets.json")
    with watched(recipe, beside=(beside,)) as told:
        told.wait(lambda o: o.built == 1)
        beside.write_text("{}", encoding="utf-8")
        while len(told.outcomes) < 2:
            time.sleep(0.01)


def test_a_fault_of_ours_ends_the_watch(recipe: Path) -> None:
    """It is raised, and nobody goes on listening to what is opened."""

    def broken(*_: object, **__: object) -> object:
        raise AssertionError("a promise of ours")

    with pytest.raises(AssertionError, match="promise"):
        watch(
            recipe, {}, make=broken, out=recipe.parent / "out", kinds=("csv",), say=lambda _: None,
            told=lambda _: None, stop=threading.Event(),
        )  # fmt: skip
    assert watching._HEARING == []
    assert sys.dont_write_bytecode is (os.environ.get("PYTHONDONTWRITEBYTECODE", "") != "")


# ---- the real build


def built(path: Path, overrides: dict[str, object], *, out: Path, kinds: object, say: Callable[[str], None], open_kernel: object) -> object:  # fmt: skip  # noqa: E501
    """Build as the program does, without the kernel."""
    from plugs.build import build

    return build(path, overrides, out=out, kinds=kinds, say=say)  # type: ignore[arg-type]


def saved(path: Path, length: float) -> None:
    """Save the starter recipe with another length."""
    path.write_text(starter_recipe(path.stem).replace("length=400.0", f"length={length}"), encoding="utf-8")


def test_many_saves_end_with_the_right_result(tmp_path: Path) -> None:
    """Broken ones among them; the folder is that of the last save, and no thread, file or process is left."""
    recipe, out = tmp_path / "hump.py", tmp_path / "out"
    saved(recipe, 400.0)
    threads = threading.active_count()
    open_files = len(list(Path("/proc/self/fd").iterdir())) if Path("/proc/self/fd").is_dir() else None
    with watched(recipe, built, kinds=("stl", "svg")) as told:
        told.wait(lambda o: o.is_last)
        for i in range(24):
            if i % 7 == 3:
                recipe.write_text("def hump(:", encoding="utf-8")
            elif i % 7 == 5:
                recipe.write_text("", encoding="utf-8")
            else:
                saved(recipe, 400.0 + i)
            time.sleep(0.02 if i % 3 else 0.15)
            if out.exists():
                assert json.loads((out / "summary.json").read_bytes())["parameters"]["length"] >= 400.0
        last = told.wait(lambda o: o.is_last and o.built is not None and _length(out) == 423.0)
        assert last.fault is None
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hump.py", "out"]
    assert threading.active_count() == threads
    if open_files is not None:
        assert len(list(Path("/proc/self/fd").iterdir())) <= open_files
    if Path("/proc/self/task").is_dir():
        children = Path(f"/proc/self/task/{os.getpid()}/children")
        assert not children.exists() or children.read_text(encoding="utf-8").split() == []


def _length(out: Path) -> float:
    """Return the length that a folder was built with."""
    try:
        return float(json.loads((out / "summary.json").read_bytes())["parameters"]["length"])
    except OSError:
        return 0.0  # the folder is just being replaced


def test_the_last_good_folder_stays_while_the_recipe_is_broken(tmp_path: Path) -> None:
    """File by file."""
    recipe, out = tmp_path / "hump.py", tmp_path / "out"
    saved(recipe, 410.0)
    with watched(recipe, built, kinds=("stl",)) as told:
        told.wait(lambda o: o.is_last)
        before = {path: path.read_bytes() for path in out.rglob("*") if path.is_file()}
        saved(recipe, -5.0)
        told.wait(lambda o: o.fault is not None)
        assert {path: path.read_bytes() for path in out.rglob("*") if path.is_file()} == before


PROGRAM = """
import sys, threading
from contextlib import suppress
from pathlib import Path
from plugs.build import build
from plugs.watching import watch

def make(path, overrides, *, out, kinds, say, open_kernel):
    with open_kernel() if "step" in kinds else suppress():
        return build(path, overrides, out=out, kinds=[k for k in kinds if k != "step"], say=say)

recipe = Path(sys.argv[1])
with suppress(KeyboardInterrupt):
    watch(recipe, {}, make=make, out=recipe.parent / "out", kinds=sys.argv[2:],
          say=lambda stage: print(stage, flush=True), told=lambda o: print("told", o.is_last, flush=True),
          stop=threading.Event())
"""


@pytest.mark.skipif(os.name != "posix", reason="signals and groups of processes are those of POSIX")
@pytest.mark.parametrize(
    ("moment", "number"),
    [("drawings", signal.SIGINT), ("told True", signal.SIGINT), ("drawings", signal.SIGTERM)],
)
@pytest.mark.parametrize("kinds", [("svg",), pytest.param(("svg", "step"), marks=pytest.mark.kernel)])
def test_no_process_is_left_when_it_is_stopped(
    tmp_path: Path, moment: str, number: int, kinds: tuple[str, ...]
) -> None:
    """In the middle of a build, and at rest; Ctrl-C goes to all processes of the terminal at once."""
    recipe = tmp_path / "hump.py"
    saved(recipe, 400.0)
    program = subprocess.Popen(
        [sys.executable, "-c", PROGRAM, str(recipe), *kinds],
        cwd=ROOT, stdout=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert program.stdout is not None
    for line in program.stdout:
        if line.strip() == moment:
            break
    if number == signal.SIGINT:
        os.killpg(program.pid, number)
    else:
        program.send_signal(number)
    program.stdout.close()
    assert program.wait(PATIENCE_S) == (0 if number == signal.SIGINT else -number)
    for _ in range(2400):
        try:
            os.killpg(program.pid, 0)
        except (
            ProcessLookupError,
            PermissionError,
        ):  # the second from macOS (from memory)
            break
        time.sleep(0.05)
    else:
        raise AssertionError("a process is left")
    if number == signal.SIGINT:
        assert {path.name for path in tmp_path.iterdir()} <= {"hump.py", "out"}


# ---- the kernel


@pytest.mark.kernel
def test_the_kernel_is_kept_and_its_late_answers_are_passed_over() -> None:
    """One process for all; a wait that is broken off costs the next job nothing but time."""
    from plugs.kernel.job import KernelJob
    from plugs.kernel.spline_strips import fit_strips
    from plugs.lines.checks import checked_loft
    from plugs.lines.stations import Loft
    from tests.shapes import box_plan

    def job(width: float) -> KernelJob:
        loft: Loft = checked_loft(box_plan(200.0, width, 50.0))
        return KernelJob(name="box", body=fit_strips(loft))

    class EnoughError(Exception):
        """No more waiting."""

    patience = [True]

    def attend() -> None:
        if not patience[0]:
            raise EnoughError

    with KeptKernel(attend, start_kernel) as kept:
        with kept.lend() as run:
            first = run.pid
            run.submit(job(100.0))
            assert run.result(120.0).volume_mm3 == pytest.approx(200.0 * 100.0 * 50.0, rel=1e-6)
            patience[0] = False
            run.call(time.sleep, 0.5)
            run.submit(job(60.0))
            run.submit(job(70.0))
            with pytest.raises(EnoughError):
                run.result(120.0)
        patience[0] = True
        with kept.lend() as run:
            assert run.pid == first
            run.submit(job(80.0))
            assert run.result(120.0).volume_mm3 == pytest.approx(200.0 * 80.0 * 50.0, rel=1e-6)
            run.close()
        with kept.lend() as run:
            assert run.pid != first
            second = run.pid
    with pytest.raises(ProcessLookupError):
        os.kill(second, 0)
