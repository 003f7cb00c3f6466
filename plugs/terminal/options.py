"""The words of a command line: what commands and options there are, and how they are read."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn

from plugs import __version__
from plugs.files.kinds import KINDS
from plugs.ground.errors import PlugError
from plugs.ground.paper import GROUPS
from plugs.terminal.comparing import add_changes, add_options


class _UsageError(ValueError):
    """A command line that cannot be read."""


class _AskedForHelp(Exception):  # noqa: N818 - no fault
    """A command line that asks for help, or for the version."""


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are three lines like any other; its help is told as anything else is."""

    def error(self, message: str) -> NoReturn:
        """Raise instead of printing the usage."""
        raise _UsageError(message, self.prog)

    def _print_message(self, message: str, file: Any = None) -> None:
        """Give the help to whoever asked, to be said as anything else is said."""
        raise _AskedForHelp(message.rstrip("\n"))


def read_options(words: Sequence[str]) -> argparse.Namespace | str:
    """Return a command line, read; without a word it asks for help.

    Parameters
    ----------
    words : sequence of str

    Returns
    -------
    argparse.Namespace or str
        Help or version, to be told, where these are asked for.

    Raises
    ------
    PlugError
        It cannot be read.
    """
    try:
        return _parser().parse_args(words or ["--help"])
    except _AskedForHelp as asked:
        return str(asked)
    except _UsageError as fault:
        message, prog = fault.args
        raise PlugError(
            param="command line", value=" ".join(words), reason=message, remedy=f"see {prog} --help"
        ) from fault


def _parser() -> _Parser:
    """Return the parser of the command line."""
    parser = _Parser(prog="plugs", description="From a recipe to foam that can be cut.", allow_abbrev=False)
    parser.add_argument("--version", action="version", version=f"plugs {__version__}")
    commands = parser.add_subparsers(
        dest="command",
        required=True,
        metavar="build|check|watch|cut|changed|compare|new|words",
        parser_class=_Parser,
    )
    for name, words in (
        ("build", "build a recipe and write its folder"),
        ("check", "print findings, write nothing"),
        ("watch", "build, and build again whenever the recipe or a file that it reads is saved"),
    ):
        command = commands.add_parser(name, help=words, description=words, allow_abbrev=False)
        command.add_argument("recipe", type=Path, help="the recipe file, such as recipes/sidecar_tail.py")
        add_changes(command)
        command.add_argument("--notes", action="store_true", help="tell the notes too, not only their number")
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
                "--strict", action="store_true", help="exit 3 when a finding is more than a note"
            )
        if name != "check":
            command.add_argument("--out", type=Path, help="folder to write, instead of exports/NAME")
            _add_kinds(command)
        if name == "build":
            _add_build(command)
    _add_afterwards(commands)
    words = "write a starter recipe, or a machine's record"
    command = commands.add_parser("new", help=words, description=words, allow_abbrev=False)
    command.add_argument("name", help="its name, such as tank_cover")
    command.add_argument("--machine", action="store_true", help="write a wire cutter's record instead")
    words = "tell all words that a recipe may write, as a page, or one of them"
    command = commands.add_parser("words", help=words, description=words, allow_abbrev=False)
    command.add_argument("name", nargs="?", help="one name alone, such as Recess")
    return parser


def _add_build(command: argparse.ArgumentParser) -> None:
    """Let a build be a first look, or one with better sheets."""
    command.add_argument(
        "--layers", action="store_true", help="write foam and layers alone, as STL, DXF and SVG"
    )
    command.add_argument(
        "--search",
        type=float,
        metavar="SECONDS",
        help="search so long for fewer sheets, and keep what is found beside the recipe",
    )


def _add_afterwards(commands: Any) -> None:
    """Add the commands for when foam has been cut."""
    words = "mark a build as the one that foam was cut from: later ones tell what changed against it"
    command = commands.add_parser("cut", help=words, description=words, allow_abbrev=False)
    command.add_argument("recipe", type=Path, help="the recipe file")
    command.add_argument("--out", type=Path, help="folder of that build, instead of exports/NAME")
    command.add_argument("--undo", action="store_true", help="go back to what was marked before, or to none")
    words = "tell what changed from one build to another"
    command = commands.add_parser("changed", help=words, description=words, allow_abbrev=False)
    command.add_argument("old", type=Path, help="folder of the build that foam was cut from")
    command.add_argument("new", type=Path, help="folder of the other")
    command.add_argument("--csv", action="store_true", help="tell it as the table that a build writes")
    words = "compare what was measured on the real thing with the plug"
    command = commands.add_parser("compare", help=words, description=words, allow_abbrev=False)
    add_options(command)


def _add_kinds(command: argparse.ArgumentParser) -> None:
    """Let a command be told which kinds of file to write, and what to print at full size."""
    command.add_argument(
        "--paper",
        nargs="*",
        metavar="GROUP",
        help=f"print these at full size: {', '.join(GROUPS)}; without one none",
    )
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
