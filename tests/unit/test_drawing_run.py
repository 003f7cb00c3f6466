"""Drawings rendered in a second process are those that would be rendered here, batch by batch."""

from __future__ import annotations

import io
import os
import threading
import time
from hashlib import sha256
from pathlib import Path as FilePath

import numpy as np
import pypdf
import pytest

from plugs.drafting.drawing import Drawing, Path
from plugs.files.drawing_run import DrawingRun, PaperJob, render_files, render_paper
from plugs.files.written import Written
from plugs.ground.paper import paper_of
from plugs.ground.twins import begun, helped

A4 = paper_of("A4")


def square(name: str, side: float) -> Drawing:
    """Return the drawing of a square."""
    points = np.array([(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)])
    path = Path(points=points, bulges=np.zeros(4), is_closed=True, dxf_layer="SAW_LINE")
    return Drawing(path=name, title=name, paths=(path,), labels=())


SMALL = {"layers/small": square("small", 60.0)}
LARGE = {"templates/large": square("large", 500.0)}
JOB = PaperJob(path="paper.pdf", stems=("layers/small", "templates/large"), paper=A4, title="two squares")


def test_files_are_those_rendered_here() -> None:
    """DXF, SVG and PDF byte for byte, of batches sent one after the other."""
    with DrawingRun("dxf", "svg", "pdf") as run:
        run.submit(SMALL)
        run.submit(LARGE)
        run.print_out(JOB, SMALL | LARGE)
        made = run.rendered()
    pdf, printed = render_paper(SMALL | LARGE, JOB)
    assert dict(made.files) == render_files(SMALL | LARGE, ("dxf", "svg")) | {"paper.pdf": pdf}
    assert made.papers == (printed,)
    assert sorted(made.files) == [
        "layers/small.dxf",
        "layers/small.svg",
        "paper.pdf",
        "templates/large.dxf",
        "templates/large.svg",
    ]


def test_pages_are_counted_as_a_reader_counts_them() -> None:
    """The 500 mm square wants more than one page of A4, the 60 mm square one."""
    pdf, printed = render_paper(SMALL | LARGE, JOB)
    assert len(pypdf.PdfReader(io.BytesIO(pdf)).pages) == printed.n_pages
    by_stem = {one.stem: one.pages for one in printed.drawings}
    assert by_stem["layers/small"] == 1
    assert by_stem["templates/large"] >= 6  # 194 x 264 mm of a page, less the overlap
    assert printed.n_pages > sum(by_stem.values())  # the page map
    # on a roll 914 mm wide both lie side by side: as long as the large one with foot and margins
    assert printed.roll == pytest.approx(500.0 + 14.0 + 2.0 * 8.0)


def test_nothing_is_printed_unless_asked() -> None:
    """Without a job there is no PDF and no count."""
    with DrawingRun("svg") as run:
        run.submit(SMALL)
        made = run.rendered()
    assert (list(made.files), made.papers) == (["layers/small.svg"], ())


def test_a_run_that_is_left_early_ends() -> None:
    """A fault while the process draws leaves no process behind."""
    with pytest.raises(KeyError), DrawingRun("dxf") as run:
        run.submit(SMALL)
        raise KeyError("elsewhere")
    assert not run.is_running


def test_a_process_that_fails_is_told() -> None:
    """What it complained of is in the error."""
    empty = Drawing(path="empty", title="", paths=(), labels=())
    with DrawingRun("svg") as run:
        run.submit({"layers/empty": empty})
        with pytest.raises(AssertionError, match="has no lines"):
            run.rendered()


def test_what_was_rendered_for_the_build_before_is_not_rendered_again() -> None:
    """Counted in calls that the process was sent: the square that is as it was wants none."""
    with DrawingRun("svg", "pdf") as run:
        sent = []
        honest, run._sent = run._sent, lambda packed: sent.append(packed) or honest(packed)  # type: ignore
        first = render(run, SMALL | LARGE)
        assert len(sent) == 3
        assert render(run, SMALL | LARGE) == first
        assert len(sent) == 3
        larger = LARGE | {"layers/small": square("small", 61.0)}
        changed = render(run, larger)
        assert len(sent) == 5
        assert changed["templates/large.svg"] is first["templates/large.svg"]
        assert changed == render_files(larger, ("svg",)) | {"paper.pdf": render_paper(larger, JOB)[0]}
        render(run, SMALL | LARGE)
        assert len(sent) == 7, "what the last build did not want is forgotten"


def render(run: DrawingRun, drawings: dict[str, Drawing]) -> dict[str, bytes]:
    """Return what a process makes of drawings in a build of its own."""
    run.begin().submit(drawings)
    run.print_out(JOB, drawings)
    return dict(run.rendered().files)


def test_files_go_where_they_belong_and_are_told_by_size_and_digest(tmp_path: FilePath) -> None:
    """Nothing of their content comes back, by which a thousand layers would fill a quarter of a gigabyte."""
    with DrawingRun("svg", "pdf") as run:
        run.begin(tmp_path).submit(SMALL)
        run.print_out(JOB, SMALL | LARGE)
        found = run.rendered().files
    pdf, _ = render_paper(SMALL | LARGE, JOB)
    wanted = render_files(SMALL, ("svg",)) | {"paper.pdf": pdf}
    assert {path: (tmp_path / path).read_bytes() for path in found} == wanted
    assert found == {
        path: Written(size=len(content), sha256=sha256(content).hexdigest())
        for path, content in wanted.items()
    }


def test_it_makes_other_things_meanwhile() -> None:
    """From the second time on, when it knows them; not while it is busy, nor what cannot travel."""
    with DrawingRun("svg") as run:
        assert run.begun(os.getpid)() == os.getpid()
        run.submit(LARGE)
        run.rendered()
        assert run.begun(os.getpid)() == run.pid
        for _ in range(2):
            with pytest.raises(ZeroDivisionError):
                run.begun(divmod, 1, 0)()
        lock = threading.Lock()
        assert run.begun(id, lock)() == id(lock)
        slow = run.call(time.sleep, 0.5)
        assert run.begun(os.getpid)() == os.getpid()
        run.waited(slow, 60.0)


def test_what_is_begun_without_help_is_made_when_it_is_asked_for() -> None:
    """And with help of whoever begins it."""
    made = list[int]()
    later = begun(made.append, 1)
    assert made == []
    later()
    with helped(lambda function, *arguments: lambda: (function, arguments)):
        assert begun(abs, -2)() == (abs, (-2,))
    assert made == [1]
    assert begun(abs, -2)() == 2
