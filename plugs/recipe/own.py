"""Files and findings of a recipe's own functions: whatever is wrong with them is a fault of the input."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from plugs.files.kinds import KINDS
from plugs.files.names import file_stems, path_fault
from plugs.ground.doors import Output, Work
from plugs.ground.errors import Finding, PlugError, is_text
from plugs.recipe.reading import run_user_code

_FILES: Final = 'return the files by their paths, such as {"cut-list.txt": text}'
_FINDINGS: Final = "return a list of Finding(code=..., severity=..., where=..., message=..., remedy=...)"


def check_kinds(outputs: tuple[Output, ...]) -> None:
    """Refuse kinds of file that the house writes already, or that nobody could ask for.

    Parameters
    ----------
    outputs : tuple of Output

    Raises
    ------
    PlugError
        The word for a kind is taken, or no plain word.
    """
    known = set(KINDS)
    for i, output in enumerate(outputs):
        kind, (plain,) = output.kind, file_stems([output.kind])
        if kind in known or kind != plain:
            taken = "another kind of file is asked for by this word"
            letters = "it is asked for by this word, which has small letters, figures and hyphens only"
            free = next(word for word in (plain, f"own-{plain}", f"own-{plain}-{i + 1}") if word not in known)
            raise PlugError(
                param=f"outputs[{i}].kind",
                value=kind,
                reason=taken if kind in known else letters,
                remedy=f'write kind="{free}"',
            )
        known.add(kind)


def own_files(work: Work, number: int, taken: Iterable[str]) -> dict[str, bytes]:
    """Return the files of one of a recipe's own outputs.

    Parameters
    ----------
    work : Work
    number : int, dimensionless
        Of the output in the plug.
    taken : iterable of str
        Paths of the files that are written besides.

    Returns
    -------
    dict of str to bytes
        By path in the folder.

    Raises
    ------
    PlugError
        The function raises something, gives no files by their paths, or a path that cannot be written.
    """
    output, path = work.plug.outputs[number], _path_of(work)

    def refused(value: object, reason: str, remedy: str) -> PlugError:
        return PlugError(
            param=f"outputs[{number}].make", value=value, reason=reason, remedy=remedy, where=path.name
        )

    def made() -> object:
        found = output.make(work)
        return dict(found) if isinstance(found, Mapping) else found

    found = run_user_code(made, path)
    if not isinstance(found, dict):
        raise refused(found, f"the output {output.kind!r} gives no files by their paths", _FILES)
    files: dict[str, bytes] = {}
    for name, content in found.items():
        fault = path_fault(name, [*taken, *files])
        if fault:
            raise refused(name, fault, f'write it to a path such as "{output.kind}/{output.kind}-1.txt"')
        if isinstance(content, str) and is_text(content):
            files[name] = content.encode()
        elif isinstance(content, (bytes, bytearray, memoryview)):
            files[name] = bytes(content)
        else:
            raise refused(content, f"what {name} is to hold is neither text nor bytes", _FILES)
    return files


def own_findings(work: Work, number: int) -> tuple[Finding, ...]:
    """Return what one of a recipe's own checks finds.

    Parameters
    ----------
    work : Work
    number : int, dimensionless
        Of the check in the plug.

    Returns
    -------
    tuple of Finding

    Raises
    ------
    PlugError
        The function raises something, or gives anything but findings.
    """
    check, path = work.plug.checks[number], _path_of(work)

    def made() -> Any:
        found = check.find(work)
        is_list = isinstance(found, Iterable) and not isinstance(found, (str, bytes))
        return tuple(found) if is_list else found

    found = run_user_code(made, path)
    strange = [one for one in found if not _is_finding(one)] if isinstance(found, tuple) else [found]
    if strange:
        raise PlugError(
            param=f"checks[{number}].find",
            value=strange[0],
            reason="the check gives something that is no finding",
            remedy=f"{_FINDINGS}, or [] where all is well",
            where=path.name,
        )
    return tuple(found)


def _is_finding(one: object) -> bool:
    """Return whether this is a finding that can be written down."""
    if not isinstance(one, Finding) or not isinstance(one.code, str):
        return False
    return is_text("".join((one.code, one.where, one.message, one.remedy)))


def _path_of(work: Work) -> Path:
    """Return the recipe's file; the word plug for one in memory."""
    return Path("plug") if work.recipe is None else Path(work.recipe.path)
