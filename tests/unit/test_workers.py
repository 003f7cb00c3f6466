"""Calls to a process of our own: answers in order, faults passed on, death and silence told, nothing left."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path

import pytest

from plugs.ground import workers
from plugs.ground.checking import number
from plugs.ground.errors import promise
from plugs.ground.twins import Copy, can_be_made
from plugs.ground.workers import Worker, WorkerSilence, tell
from plugs.kernel.job import KernelFault


@pytest.fixture(params=[False, True], ids=["fresh", "copy"])
def worker(request: pytest.FixtureRequest) -> Iterator[Worker]:
    """Return a fresh process, and a copy of this one where there can be any."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workers, "_SET_BY_OTHERS", set())
        with Worker(is_copy=request.param) as worker:
            assert isinstance(worker._child, Copy) == (request.param and can_be_made())
            yield worker


def fault_of(worker: Worker, function: Callable[..., object], *arguments: object) -> BaseException:
    """Return what a call raises there."""
    fault = worker.waited(worker.call(function, *arguments), 60.0).exception()
    assert fault is not None
    return fault


def test_calls_are_answered_in_order_and_faults_passed_on(worker: Worker) -> None:
    """One after another by the same process, which goes on after a fault."""
    first, second = worker.call(os.getpid), worker.call(pow, 2, 10_000)
    assert worker.waited(second, 60.0).result() == 2**10_000
    assert first.done()
    assert first.result() == worker.pid != os.getpid()
    fault = fault_of(worker, promise, False, "a word")
    assert (type(fault), str(fault)) == (AssertionError, "a word")
    assert "in promise" in fault.__notes__[0]
    assert isinstance(fault_of(worker, KernelFault, "stage"), TypeError)
    odd = fault_of(worker, number, "depth", "deep")  # an error that cannot travel: its words do
    assert isinstance(odd, AssertionError)
    assert "this is not a number" in str(odd)
    assert worker.waited(worker.call(abs, -3), 60.0).result() == 3
    worker.close()
    assert not worker.is_running


def test_what_is_loaded_first_takes_no_thread_here() -> None:
    """Until more is asked, or the answer is waited for; a process that has ended by then is told as ever."""
    before = threading.active_count()
    with Worker() as worker, Worker() as lost:
        answer, none = worker.load(os.getpid), lost.load(os._exit, 3)
        assert threading.active_count() == before
        assert worker.waited(answer, 60.0).result() == worker.pid
        assert "exit status 3" in str(lost.waited(none, 60.0).exception())
    assert threading.active_count() == before


def test_a_large_call_and_answer_pass(worker: Worker) -> None:
    """More than a pipe holds, both ways, while the process is still starting."""
    content = bytes(range(256)) * 4096
    answers = [worker.call(bytes.upper, content) for _ in range(4)]
    assert all(worker.waited(answer, 60.0).result() == content.upper() for answer in answers)


def test_silence_is_told_and_ends_the_process(worker: Worker) -> None:
    """Whoever calls later is told the same; closing it again does no harm."""
    worker.waited(worker.call(tell, "first"), 60.0)
    assert worker.told == "start"  # that call is over
    silent = worker.waited(worker.call(time.sleep, 600.0), 0.3)
    assert str(silent.exception()) == "no answer within 0.3 s"
    assert not worker.is_running
    assert isinstance(worker.call(abs, 1).exception(), WorkerSilence)
    worker.close()


def test_what_was_not_sent_is_taken_back() -> None:
    """Of five calls behind a long one, each larger than a pipe holds, and what is called then is answered."""
    content = bytes(1 << 20)
    with Worker() as worker:
        long = worker.call(time.sleep, 0.2)
        behind = [worker.call(bytes.upper, content) for _ in range(5)]
        worker.drop()
        assert isinstance(behind[-1].exception(), WorkerSilence)
        assert worker.waited(worker.call(abs, -2), 60.0).result() == 2
        assert long.done() and all(one.exception() or one.result() == content for one in behind)


def test_last_words_are_told(worker: Worker) -> None:
    """A process that ends in the middle of a call."""
    assert str(fault_of(worker, os._exit, 3)).startswith("its process ended: exit status 3;")
    assert not worker.is_running


@pytest.mark.parametrize("is_copy", [False, True])
def test_nothing_in_the_present_folder_is_imported(
    is_copy: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What lies there may be named like a library."""
    for name in ("pickle", "this"):
        (tmp_path / f"{name}.py").write_text("raise ImportError('mine')\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(workers, "_SET_BY_OTHERS", set())
    monkeypatch.syspath_prepend("")
    with Worker(is_copy=is_copy) as worker:
        found = worker.waited(worker.call(find_spec, "this"), 60.0).result()
    assert found is not None and found.origin != str(tmp_path / "this.py")


def test_a_wait_that_is_broken_off_costs_nothing() -> None:
    """The answer is passed over when it comes, and the next is its own."""

    def attend() -> None:
        raise KeyboardInterrupt

    with Worker() as worker:
        left = worker.call(time.sleep, 0.5)
        with pytest.raises(KeyboardInterrupt):
            worker.waited(left, 60.0, attend)
        assert worker.waited(worker.call(abs, -2), 60.0).result() == 2
        assert left.done()


def test_equal_calls_have_one_answer() -> None:
    """Whether their words are one object or two: a recipe that is run again makes its words anew."""
    one, other = ("".join(["two ", "words"]) for _ in range(2))
    assert one is not other
    with Worker() as worker:
        first = worker.answered(sorted, [one, one])
        assert worker.answered(sorted, [one, other]) is first
        assert worker.answered(sorted, [one, other + "!"]) is not first
        worker.forget()
        worker.answered(sorted, [one, one])
        worker.forget()
        assert worker.answered(sorted, [one, other]) is first
        worker.forget()
        worker.forget()
        assert worker.answered(sorted, [one, other]) is not first


def test_variables_that_libraries_heed_do_not_reach_it(
    worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They change what is written."""
    names = ("RL_rl_exec", "EZDXF_CONFIG_FILE", "SOURCE_DATE_EPOCH")
    for name in names:
        monkeypatch.setenv(name, "1")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workers, "_SET_BY_OTHERS", set())
        with Worker(is_copy=isinstance(worker._child, Copy)) as other:
            found = [other.waited(other.call(os.getenv, name), 60.0).result() for name in names]
    assert found == [None, None, None]


@pytest.mark.parametrize("name", ["ezdxf", "reportlab", "OCP"])
def test_no_copy_is_made_with_a_library_that_a_recipe_may_have_set(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fresh process loads it as it comes."""
    monkeypatch.setitem(sys.modules, name, sys)
    with Worker(is_copy=True) as worker:
        assert not isinstance(worker._child, Copy)
