"""The command line: build, check, watch, new."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, cast

from plugs.files.folder import SUMMARY, drop_build, recover_all
from plugs.files.kinds import KINDS
from plugs.ground import streams
from plugs.ground.errors import Finding, PlugError

if TYPE_CHECKING:
    from plugs.stages.worked import Worked
    from plugs.watching import Outcome
    from plugs.writing import Built

_BUILT, _INPUT_FAULT, _FINDINGS = 0, 2, 3  # as the README says; 1 is a fault of our own, as Python ends then
_STOPPED, _INTERRUPT = 128, 2  # a shell's code for a signal, and SIGINT (POSIX shells, from memory)
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Variables that say how many threads multiply matrices: by how many, the last digits of a product go."""
_STAGE_WIDTH = 30
"""Columns that the words of a stage take at most; spaces clear them on consoles that know nothing else."""


class _UsageError(ValueError):
    """A command line that cannot be read."""


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are three lines like any other."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage."""
        raise _UsageError(message, self.prog)

    def _print_message(self, message: str, file: Any = None) -> None:
        """Say the help as anything else is said."""
        _tell(message.rstrip("\n"))


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
    with streams.ended_by_signals():
        try:
            return _run(sys.argv[1:] if arguments is None else arguments)
        except PlugError as error:
            _complain(str(error))
            return _INPUT_FAULT
        except KeyboardInterrupt as stop:
            _complain("stopped; the last good build is untouched")
            return _STOPPED + (stop.number if isinstance(stop, streams.Stopped) else _INTERRUPT)


def _run(words: Sequence[str]) -> int:
    """Run a command, after putting back what one that was killed left aside."""
    options = _options(words)
    out = getattr(options, "out", None)
    for parent in dict.fromkeys((Path("exports"), Path("exports") if out is None else out.parent)):
        recover_all(parent)
    return {"new": _new, "check": _check, "build": _build, "watch": _watch}[options.command](options)


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


def _options(words: Sequence[str]) -> argparse.Namespace:
    """Return the command line, read."""
    try:
        return _parser().parse_args(words)
    except _UsageError as fault:
        message, prog = fault.args
        raise PlugError(
            param="command line", value=" ".join(words), reason=message, remedy=f"see {prog} --help"
        ) from fault


def _parser() -> _Parser:
    """Return the parser of the command line."""
    parser = _Parser(prog="plugs", description="From a recipe to foam that can be cut.", allow_abbrev=False)
    commands = parser.add_subparsers(
        dest="command", required=True, metavar="build|check|watch|new", parser_class=_Parser
    )
    for name, words in (
        ("build", "build a recipe and write its folder"),
        ("check", "print findings, write nothing"),
        ("watch", "build, and build again whenever the recipe or a file that it reads is saved"),
    ):
        command = commands.add_parser(name, help=words, description=words, allow_abbrev=False)
        command.add_argument("recipe", type=Path, help="the recipe file, such as recipes/sidecar_tail.py")
        command.add_argument(
            "--set",
            action="append",
            default=[],
            metavar="NAME=VALUE",
            dest="changes",
            help='change a parameter: width=450, "width=3/4 in"; may be repeated',
        )
        if name == "watch":
            command.add_argument(
                "--serve",
                type=int,
                nargs="?",
                const=0,
                metavar="PORT",
                help="also show the folder to a browser on this machine, and refresh it after each build",
            )
        else:
            command.add_argument(
                "--strict", action="store_true", help="exit 3 when a finding is a warning or an error"
            )
        if name != "check":
            command.add_argument("--out", type=Path, help="folder to write, instead of exports/NAME")
            _add_kinds(command)
        if name == "build":
            command.add_argument(
                "--layers", action="store_true", help="write foam and layers alone, as STL, DXF and SVG"
            )
            command.add_argument(
                "--search",
                type=float,
                metavar="SECONDS",
                help="search so long for fewer sheets, and keep what is found beside the recipe",
            )
    words = "write a starter recipe, or a machine's record"
    command = commands.add_parser("new", help=words, description=words, allow_abbrev=False)
    command.add_argument("name", help="its name, such as tank_cover")
    command.add_argument("--machine", action="store_true", help="write a wire cutter's record instead")
    return parser


def _add_kinds(command: argparse.ArgumentParser) -> None:
    """Let a command be told which kinds of file to write."""
    command.add_argument(
        "--only",
        action="append",
        metavar="KIND",
        help=f"write only this kind of file: {', '.join(KINDS)}, or the recipe's; may be repeated",
    )
    command.add_argument(
        "--without",
        action="append",
        default=[],
        metavar="KIND",
        help="leave this kind of file out; may be repeated",
    )


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
        print(f"\r{'':{_STAGE_WIDTH}}\r{words}", end="", file=sys.stderr, flush=True)


def _build(options: argparse.Namespace) -> int:
    """Build a recipe."""
    changes = _changes(options)
    try:
        if options.layers:
            built = _layers(options, changes)
        else:
            from plugs.build import build

            built = build(
                options.recipe,
                changes,
                out=options.out,
                kinds=options.only,
                without=options.without,
                search=options.search,
                say=_say,
            )
    finally:
        _say("")
    _tell(_closing_table(built))
    return _verdict(built.findings, options.strict)


def _layers(options: argparse.Namespace, changes: Mapping[str, object]) -> Built:
    """Build foam and layers alone: nothing else is worked out."""
    from plugs.first_look import first_look
    from plugs.watching import QUICK, is_quick
    from plugs.writing import kernel_started

    kinds = [kind for kind in options.only or QUICK if kind not in options.without]
    if not kinds or not is_quick(kinds) or options.search is not None:
        raise PlugError(
            param="--layers",
            value=", ".join(kinds) or "nothing",
            reason=f"foam and layers alone are written as {', '.join(QUICK)}, and on no sheets",
            remedy="use --only dxf for their outlines, or leave --layers out",
        )
    out = options.out if options.out is not None else Path("exports") / options.recipe.stem
    return first_look(options.recipe, changes, out=out, kinds=kinds, say=_say, open_kernel=kernel_started)


def _watch(options: argparse.Namespace) -> int:
    """Build a recipe after every save, until Ctrl-C."""
    changes = _changes(options)
    kinds = _known_kinds(options, changes)
    import threading
    from contextlib import ExitStack

    from plugs.build import build
    from plugs.first_look import first_look
    from plugs.ground.workers import Crew
    from plugs.nesting.stored import stored_path
    from plugs.serving import FolderServer
    from plugs.stages.shelf import Shelf
    from plugs.watching import SLOW, is_quick, look_beside, watch

    out = options.out if options.out is not None else Path("exports") / options.recipe.stem
    look, shelf = look_beside(out), Shelf()

    def make(path: Path, overrides: Mapping[str, object], **words: Any) -> object:
        is_last = len(words["kinds"]) == len(kinds)
        if not is_last and is_quick(words["kinds"]):
            return first_look(path, overrides, **words | {"out": look}, shelf=shelf)
        # what the recipe writes of its own may have changed since the watch began
        less = {} if is_last else {"out": look, "without": [*options.without, SLOW]}
        asked = {"kinds": options.only, "without": options.without, **less}
        return build(path, overrides, **words | asked, shelf=shelf, crew=crew)

    with ExitStack() as after, Crew() as crew:
        after.callback(drop_build, look)
        server = None if options.serve is None else after.enter_context(FolderServer(out, options.serve))
        if server is not None:
            _tell(f"open {server.url} in a browser on this machine; Ctrl-C ends it")

        def told(outcome: Outcome) -> None:
            _tell_round(outcome, out, look)
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


def _tell_round(outcome: Outcome, out: Path, look: Path) -> None:
    """Tell how a round of a watch went."""
    from plugs.watching import is_quick

    _say("")
    if outcome.fault is not None:
        is_there = (out / SUMMARY).is_file()
        stays = f"the last good build stays in {out}" if is_there else "there is no build yet"
        _complain(f"{outcome.fault}\n{stays}")
    elif outcome.is_last:
        _tell(_closing_table(cast("Built", outcome.built)))
    else:
        what = "foam and layers are" if is_quick(outcome.kinds) else "all but STEP is"
        _tell(f"{what} in {look}; the rest follows")


def _check(options: argparse.Namespace) -> int:
    """Work a recipe out and print its findings."""
    changes = _changes(options)
    from plugs.ground.doors import STAGES
    from plugs.stages.beside import cloth_beside
    from plugs.stages.shelf import Shelf
    from plugs.work import opened

    try:
        work = opened(options.recipe, changes, say=_say, shelf=Shelf())
        with cloth_beside(work):
            found, rows = work.findings, _size_rows(work, STAGES)
    finally:
        _say("")
    _tell("\n".join([*rows, _findings_table(found)]))
    return _verdict(found, options.strict)


def _verdict(findings: Sequence[Finding], strict: bool) -> int:
    """Return the exit status."""
    return _FINDINGS if strict and any(f.severity != "note" for f in findings) else _BUILT


def _size_rows(work: Worked, stages: Collection[str]) -> list[str]:
    """Return the rows that say what the plug is, as far as its stages were asked for."""
    from plugs.foam.pins import glue_kg
    from plugs.ground.units import format_length

    whole, unit = work.body.by_mesh, work.plug.display_unit
    long, wide, high = (format_length(float(v), unit) for v in whole.upper - whole.lower)
    rows = [
        f"plug      {work.plug.name}",
        f"size      {long} long, {wide} wide, {high} high",
        f"volume    {whole.volume_mm3 / 1e6:.2f} litres, surface {whole.area_mm2 / 1e6:.3f} m2",
    ]
    if "layers" in stages:
        rows += _foam_rows(work)
    if "pieces" in stages:
        pins = sum(len(joint.pins) for joint in work.pins.joints)
        glue = 1e3 * glue_kg(work.plug.glue, work.pins.joints, work.pieces.joints)
        rows.append(f"pieces    {len(work.pieces.pieces)}, {pins} pins, {glue:.0f} g of glue")
    if "sheets" in stages:
        rows += _sheet_rows(work)
    if "cloth" in stages and work.cloth is not None:
        rolls = ", ".join(f"{roll.length_to_buy_m:.1f} m of {roll.cloth}" for roll in work.cloth.rolls)
        rows.append(f"cloth     {rolls}")
    if "resin" in stages and work.resin is not None:
        resin = work.resin
        rows.append(f"resin     {resin.mixed_kg:.2f} kg with its hardener, in {resin.n_batches} batches")
    if "part" in stages and work.part is not None:
        part = work.part
        rows.append(f"part      {part.mass_kg:.1f} kg, from {part.least_kg:.1f} to {part.most_kg:.1f}")
    if "wire" in stages and work.wire is not None:
        minutes = sum(one.seconds for one in work.wire.programs) / 60.0
        rows.append(f"wire      {len(work.wire.programs)} programs, {minutes:.0f} minutes")
    if "templates" in stages and work.templates:
        what = "gauges   " if work.templates[0].is_gauge else "templates"
        rows.append(f"{what} {len(work.templates)}, and {len(work.sanding.blocks)} radius blocks")
    return rows


def _foam_rows(work: Worked) -> list[str]:
    """Return the rows that say what the plug is stacked from."""
    from plugs.ground.units import format_size

    sheets: dict[float, int] = {}
    for layer in work.layers:
        sheets[layer.thickness] = sheets.get(layer.thickness, 0) + 1
    foam = ", ".join(
        f"{count} of {format_size(thickness, work.plug.display_unit)}"
        for thickness, count in sorted(sheets.items())
    )
    return [f"layers    {len(work.layers)} square to {work.plug.stack.axis}", f"foam      {foam}"]


def _sheet_rows(work: Worked) -> list[str]:
    """Return the rows that say which sheets it is cut from."""
    nesting = work.sheets.nesting
    if nesting is None:
        return []
    from plugs.ground.units import format_size

    unit = work.plug.display_unit
    return [
        f"sheets    {used.count} of {format_size(used.stock.width, unit)} x "
        f"{format_size(used.stock.height, unit)}, {format_size(used.stock.thickness, unit)} thick, "
        f"{100.0 * used.yield_ratio:.0f} % used"
        for used in nesting.by_stock
    ]


def _closing_table(built: Built) -> str:
    """Return what a build says at its end."""
    files = built.summary["files"]
    rows = _size_rows(built.work, built.stages)
    rows.append(
        f"files     {len(files) + 1} in {built.folder}, {sum(f['bytes'] for f in files) / 1e6:.2f} MB"
    )
    return "\n".join([*rows, _findings_table(built.findings)])


def _findings_table(findings: Sequence[Finding]) -> str:
    """Return the findings as rows."""
    if not findings:
        return "findings  none"
    rows = [f"findings  {len(findings)}"]
    for f in findings:
        rows += [f"  {f.severity}: {f.where}: {f.message}", f"      {f.remedy}"]
    return "\n".join(rows)


def _new(options: argparse.Namespace) -> int:
    """Write a starter recipe, or a starter for a machine's record."""
    from plugs.recipe.starter import starter_machine, starter_recipe

    path = Path(options.name)
    if path.suffix != ".py":
        path = Path(f"{options.name}.py")
    starter = starter_machine if options.machine else starter_recipe
    text = starter(options.name if path.stem == ".py" else path.stem)
    try:
        if path.parent == Path() and Path("recipes").is_dir():
            path = Path("recipes") / path
        if path.exists():
            raise PlugError(
                param="NAME",
                value=str(path),
                reason="the file is there already",
                remedy=f"use another name, such as {path.stem}_2",
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise PlugError(
            param="NAME",
            value=str(path),
            reason=f"the file cannot be written: {error.strerror}",
            remedy="name a folder that you may write to, such as ~/plugs/cover_1",
        ) from error
    if options.machine:
        _tell(f"wrote {path}; measure the machine, change the numbers, and read it with read_machine")
    else:
        _tell(f"wrote {path}; build it with: python -m plugs build {path}")
    return _BUILT
