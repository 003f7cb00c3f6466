"""The command line: build, check, watch, cut, changed, compare, new, words."""

from __future__ import annotations

import argparse
import gc
import os
import shlex
import sys
import time
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from plugs.files.folder import BOOK, SUMMARY, drop_build, recover_all
from plugs.files.kinds import DRAWN, KINDS, QUICK
from plugs.ground import streams
from plugs.ground.errors import Finding, PlugError
from plugs.terminal.options import read_options

if TYPE_CHECKING:
    from plugs.stages.worked import Worked
    from plugs.summary.summary import Built
    from plugs.watching import Outcome

_BUILT, _INPUT_FAULT, _FINDINGS = 0, 2, 3  # as the README says; 1 is a fault of our own, as Python ends then
_STOPPED, _INTERRUPT = 128, 2  # a shell's code for a signal, and SIGINT (POSIX shells, from memory)
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Variables that say how many threads multiply matrices: by how many, the last digits of a product go."""
_STAGE_WIDTH = 30
"""Columns that the words of a stage take at most; spaces clear them on consoles that know nothing else."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command.

    Parameters
    ----------
    arguments : sequence of str or None
        Without the program's name; None takes them from the command line.

    Returns
    -------
    int
        0 done, 2 a fault of the input, 3 findings under ``--strict``. A fault of ours is an
        exception, which Python turns into 1; 128 and the signal's number for a command that was ended.
    """
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))  # the same bytes on any number of cores
    streams.settle()
    if arguments is not None:
        return _told(arguments)
    streams.sweep_seldom()
    status = _told(sys.argv[1:])
    gc.freeze()  # the program ends, and all goes with it: none of it need be looked through
    streams.silence(sys.stderr)  # the mesh library counts what is left then, after the last word
    return status


def _told(words: Sequence[str]) -> int:
    """Run a command, tell what goes wrong with it, and return its exit status."""
    with streams.ended_by_signals():
        try:
            return _run(words)
        except PlugError as error:
            _complain(str(error))
            return _INPUT_FAULT
        except KeyboardInterrupt as stop:
            _complain("stopped; the last good build is untouched")
            return _STOPPED + (stop.number if isinstance(stop, streams.Stopped) else _INTERRUPT)


def _run(words: Sequence[str]) -> int:
    """Run a command, after putting back what one that was killed left aside."""
    options = read_options(words)
    if isinstance(options, str):
        _tell(options)
        return _BUILT
    out = getattr(options, "out", None)
    for parent in dict.fromkeys((Path("exports"), Path("exports") if out is None else out.parent)):
        recover_all(parent)
    return _COMMANDS[options.command](options)


def _tell(text: str) -> None:
    """Say something on standard output; whoever has stopped listening is told nothing more."""
    try:
        print(text, flush=True)
    except (OSError, ValueError) as error:
        streams.silence(sys.stdout)
        if streams.is_gone(error):
            return
        words = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise PlugError(
            param="standard output",
            value=getattr(sys.stdout, "name", "closed"),
            reason=f"what was found cannot be told: {words}",
            remedy="the command itself is done; send its words where there is room, such as > words.txt",
        ) from error


def _complain(text: str) -> None:
    """Say something on standard error, if anybody can hear it."""
    try:
        print(text, file=sys.stderr, flush=True)
    except (OSError, ValueError):
        streams.silence(sys.stderr)


def _changes(options: argparse.Namespace) -> dict[str, object]:
    """Return the parameters set on the command line."""
    from plugs.recipe.reading import split_assignment

    return dict(split_assignment(text) for text in options.changes)


def _known_kinds(options: argparse.Namespace, changes: Mapping[str, object]) -> list[str]:
    """Return the kinds of file that are asked for; where one is not the house's, the recipe must have it."""
    kinds = [kind for kind in options.only or KINDS if kind not in options.without]
    if not {*kinds, *options.without} <= {*KINDS}:
        from plugs.work import opened
        from plugs.writing import chosen_outputs

        chosen_outputs(opened(options.recipe, changes).plug, options.only, options.without)
    return kinds


def _say(text: str) -> None:
    """Show progress on a terminal, nothing elsewhere."""
    if streams.is_terminal(sys.stderr):
        words = f"{text} ..." if text else ""
        try:
            print(f"\r{'':{_STAGE_WIDTH}}\r{words}", end="", file=sys.stderr, flush=True)
        except (OSError, ValueError):  # the terminal is gone, or full
            streams.silence(sys.stderr)


def _build(options: argparse.Namespace) -> int:
    """Build a recipe."""
    began, changes = time.perf_counter(), _changes(options)
    try:
        built = (_layers if options.layers else _whole)(options, changes)
    finally:
        _say("")
    _tell_built(built, options, time.perf_counter() - began)
    return _verdict(built.findings, options.strict)


def _whole(options: argparse.Namespace, changes: Mapping[str, object]) -> Built:
    """Build all that is asked for: what others draw by is loaded there while the rest is loaded here."""
    from contextlib import ExitStack

    from plugs.ground.twins import n_cores
    from plugs.ground.workers import Crew

    asked = {*(options.only or KINDS)} - {*options.without}
    with ExitStack() as after:
        crew, kernel = after.enter_context(Crew(of_copies=True)), None
        if "step" in asked and n_cores() > 1:
            from plugs.kernel.worker import start_kernel

            with suppress(PlugError):  # that there is none is told after what is wrong with the recipe
                kernel = after.enter_context(start_kernel(is_copy=True))
        elif (drawn := [kind for kind in DRAWN if kind in asked]) and n_cores() > 1:
            from plugs.files.drawing_run import DrawingRun

            crew.lend(DrawingRun, *drawn)
        from plugs.build import build

        return build(
            options.recipe,
            changes,
            out=options.out,
            kinds=options.only,
            without=options.without,
            search=options.search,
            say=_say,
            open_kernel=None if kernel is None else lambda: kernel,
            crew=crew,
            paper=options.paper,
        )


def _layers(options: argparse.Namespace, changes: Mapping[str, object]) -> Built:
    """Build foam and layers alone: nothing else is worked out."""
    from contextlib import ExitStack

    from plugs.files.drawing_run import DrawingRun
    from plugs.ground.twins import n_cores

    kinds = [kind for kind in options.only or QUICK if kind not in options.without]
    if not kinds or not {*kinds} <= {*QUICK} or options.search is not None:
        raise PlugError(
            param="--layers",
            value=", ".join(kinds) or "nothing",
            reason=f"foam and layers alone are written as {', '.join(QUICK)}, and on no sheets",
            remedy="use --only dxf for their outlines, or leave --layers out",
        )
    out = options.out if options.out is not None else Path("exports") / options.recipe.stem
    drawn = [kind for kind in kinds if kind != "stl"]
    with ExitStack() as after:
        pen = after.enter_context(DrawingRun(*drawn)) if drawn and n_cores() > 1 else None
        from plugs.first_look import first_look  # while the other process loads what it draws by

        return first_look(options.recipe, changes, out=out, kinds=kinds, say=_say, pen=pen)


def _watch(options: argparse.Namespace) -> int:
    """Build a recipe after every save, until Ctrl-C."""
    changes = _changes(options)
    kinds = _known_kinds(options, changes)
    import threading
    from contextlib import ExitStack

    from plugs.build import build
    from plugs.first_look import first_look, pen_of
    from plugs.ground.workers import Crew
    from plugs.nesting.stored import stored_path
    from plugs.serving import FolderServer
    from plugs.stages.shelf import Shelf
    from plugs.watching import SLOW, is_looked_at, look_beside, watch

    out = options.out if options.out is not None else Path("exports") / options.recipe.stem
    look, shelf, began = look_beside(out), Shelf(), 0.0

    def make(path: Path, overrides: Mapping[str, object], **words: Any) -> object:
        nonlocal began
        began = time.perf_counter()
        is_last = len(words["kinds"]) == len(kinds)
        if not is_last and is_looked_at(words["kinds"]):
            pen = pen_of(crew, kinds)
            return first_look(path, overrides, **words | {"out": look}, shelf=shelf, crew=crew, pen=pen)
        # what the recipe writes of its own may have changed since the watch began
        less = {} if is_last else {"out": look, "without": [*options.without, SLOW]}
        asked = {"kinds": options.only, "without": options.without, "paper": options.paper, **less}
        return build(path, overrides, **words | asked, shelf=shelf, crew=crew)

    with ExitStack() as after, Crew() as crew:
        after.callback(drop_build, look)
        server = None if options.serve is None else after.enter_context(FolderServer(out, options.serve))
        if server is not None:
            _tell(f"open {server.url} in a browser on this machine; Ctrl-C ends it")

        def told(outcome: Outcome) -> None:
            _tell_round(outcome, out, look, options, time.perf_counter() - began)
            is_shown = "html" in outcome.kinds and not outcome.is_over
            if server is not None:
                server.show(look if is_shown else out)
                if is_shown or outcome.is_over:
                    server.announce("" if outcome.fault is None else str(outcome.fault))
            if outcome.is_over:
                drop_build(look)

        watch(
            options.recipe,
            changes,
            make=make,
            out=out,
            kinds=kinds,
            say=_say,
            told=told,
            stop=threading.Event(),
            beside=(stored_path(options.recipe),),
        )
    return _BUILT


def _tell_round(outcome: Outcome, out: Path, look: Path, options: argparse.Namespace, seconds: float) -> None:
    """Tell how a round of a watch went."""
    from plugs.watching import is_looked_at, is_quick

    _say("")
    if outcome.fault is not None:
        is_there = (out / SUMMARY).is_file()
        stays = f"the last good build stays in {out}" if is_there else "there is no build yet"
        _complain(f"{outcome.fault}\n{stays}")
    elif outcome.is_last:
        _tell_built(cast("Built", outcome.built), options, seconds)
    else:
        seen = "foam and layers are" if is_quick(outcome.kinds) else "the book is"
        what = seen if is_looked_at(outcome.kinds) else "all but STEP is"
        _tell(f"{what} in {look}; the rest follows")


def _check(options: argparse.Namespace) -> int:
    """Work a recipe out and print its findings."""
    began, changes = time.perf_counter(), _changes(options)
    from dataclasses import replace

    from plugs.ground.doors import STAGES
    from plugs.stages.beside import CLOTH, made_beside
    from plugs.stages.shelf import Shelf
    from plugs.work import opened

    try:
        work = opened(options.recipe, changes, say=_say, shelf=Shelf())
        laid = replace(CLOTH, stages=(*CLOTH.stages, "resin", "sanding", "sags"))
        with made_beside(work, cloth=laid):
            found = work.findings
            rows = _closing(work, STAGES, found, options, time.perf_counter() - began)
    finally:
        _say("")
    _tell("\n".join(rows))
    return _verdict(found, options.strict)


def _verdict(findings: Sequence[Finding], strict: bool) -> int:
    """Return the exit status."""
    return _FINDINGS if strict and any(f.severity != "note" for f in findings) else _BUILT


def _closing(
    work: Worked,
    stages: Collection[str],
    findings: Sequence[Finding],
    options: argparse.Namespace,
    seconds: float,
) -> list[str]:
    """Return what a command says at its end of what it worked out."""
    from plugs.terminal.closing import finding_rows, size_rows, time_row

    sets = [word for change in options.changes for word in ("--set", change)]
    again = shlex.join(["python", "-m", "plugs", "check", str(options.recipe), *sets, "--notes"])
    found = finding_rows(findings, again, _painted, with_notes=options.notes)
    return [*size_rows(work, stages), *found, time_row(seconds)]


def _tell_built(built: Built, options: argparse.Namespace, seconds: float) -> None:
    """Say what a build wrote, and last what to open."""
    from plugs.terminal.closing import open_row, paper_rows, told

    files = [file["path"] for file in built.summary["files"]]
    size = sum(file["bytes"] for file in built.summary["files"]) / 1e6
    rows = _closing(built.work, built.stages, built.findings, options, seconds)
    if built.changes is not None:
        from plugs.summary.changes import change_rows

        rows += change_rows(built.changes)
    rows += paper_rows(built.summary, built.work.plug.display_unit)
    rows.append(told("files", f"{len(files) + 1} in {built.folder}, {size:.2f} MB"))
    _tell("\n".join([*rows, open_row(built.folder, files, BOOK, _painted)]))


def _painted(words: str, colour: str) -> str:
    """Return words in a colour, for standard output."""
    return streams.painted(words, colour, sys.stdout)


def _new(options: argparse.Namespace) -> int:
    """Write a starter recipe, or a starter for a machine's record."""
    from plugs.recipe.starter import write_starter

    path = write_starter(options.name, is_machine=options.machine)
    if options.machine:
        _tell(f"wrote {path}; measure the machine, change the numbers, and read it with read_machine")
    else:
        _tell(f"wrote {path}; build it with: python -m plugs build {path}")
    return _BUILT


def _cut(options: argparse.Namespace) -> int:
    """Mark a build as the one that foam was cut from, or undo that."""
    from plugs.changes.kept import kept_path, mark_cut, undo_cut
    from plugs.changes.terminal import record_rows

    recipe, out = options.recipe, options.out or Path("exports") / options.recipe.stem
    record = undo_cut(recipe) if options.undo else mark_cut(recipe, out)
    _tell("\n".join([f"kept      {kept_path(recipe)}", *record_rows(record)]))
    return _BUILT


def _changed(options: argparse.Namespace) -> int:
    """Tell what changed from one build to another."""
    from plugs.changes.changes import between
    from plugs.changes.kept import record_in
    from plugs.summary.changes import all_rows, changes_csv
    from plugs.words.ways import told_by

    old, new = record_in(options.old, "OLD"), record_in(options.new, "NEW")
    with told_by(new.sides):
        found = between(old, new)
        _tell(changes_csv(found).rstrip("\n") if options.csv else "\n".join(all_rows(found)))
    return _BUILT


def _compare(options: argparse.Namespace) -> int:
    """Compare what was measured on the real thing with the plug."""
    changes = _changes(options)
    from plugs.book.compared import told_and_written
    from plugs.words.ways import told_by
    from plugs.work import opened

    try:
        work = opened(options.recipe, changes, say=_say)
        with told_by(work.plug.sides):
            rows = told_and_written(work, options)
    finally:
        _say("")
    _tell("\n".join(rows))
    return _BUILT


def _words(options: argparse.Namespace) -> int:
    """Tell the words of a recipe."""
    from plugs.terminal.reference import page, told_of

    _tell((told_of(options.name) if options.name else page()).rstrip("\n"))
    return _BUILT


_COMMANDS: Final = {
    "new": _new, "check": _check, "build": _build, "watch": _watch, "cut": _cut, "changed": _changed,
    "compare": _compare,
    "words": _words,
}  # fmt: skip
