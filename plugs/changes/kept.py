"""The build that foam was cut from: its record kept beside the recipe, where no later build comes."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Final

from plugs.changes.record import FILE, LARGEST_BYTES, Record, packed, unpacked
from plugs.ground.errors import PlugError

_CUT, _BEFORE, _PASSING = ".cut.json", ".cut-before.json", ".cut-passing.json"
_SOURCE: Final = "the build that foam was cut from"


def kept_path(recipe: Path) -> Path:
    """Return where the record of the build that foam was cut from is kept: beside the recipe.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    Path
    """
    return recipe.with_suffix(_CUT)


def kept_record(recipe: Path) -> Record | None:
    """Return the record of the build that foam was cut from.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    Record or None
        None where none is marked.
    """
    path = kept_path(recipe)
    content = _read(path, _SOURCE)
    return None if content is None else unpacked(content, param=_SOURCE, place=str(path))


def record_in(folder: Path, param: str = "FOLDER") -> Record:
    """Return the record of the build in a folder.

    Parameters
    ----------
    folder : Path
    param : str
        Where it was asked for.

    Returns
    -------
    Record
    """
    return unpacked(_content_in(folder, param), param=param, place=str(folder / FILE))


def mark_cut(recipe: Path, folder: Path) -> Record:
    """Mark the build in a folder as the one that foam was cut from, in place of the one before it.

    Parameters
    ----------
    recipe : Path
    folder : Path

    Returns
    -------
    Record
        Of that build.

    Raises
    ------
    PlugError
        There is no build of this recipe in the folder, or nothing can be written beside the recipe.
    """
    content = _content_in(folder, "--out")
    record = unpacked(content, param="--out", place=str(folder / FILE))
    if not recipe.is_file():
        raise PlugError(
            param="RECIPE",
            value=str(recipe),
            reason="there is no such file",
            remedy="name the recipe that the foam was built from, such as recipes/sidecar_tail.py",
        )
    if record.recipe != recipe.stem:
        raise PlugError(
            param="--out",
            value=str(folder),
            reason=f"the build there is of the recipe {record.recipe}, not of {recipe.stem}",
            remedy=f"name the folder of a build of {recipe.name}, such as --out exports/{recipe.stem}",
        )
    path, passing = kept_path(recipe), recipe.with_suffix(f".cut-passing-{os.getpid()}.json")
    from plugs.changes.moved import thinned

    content = packed(thinned(record))
    if _read(path, _SOURCE) == content:
        return record
    try:
        passing.write_bytes(content)
        if path.exists():
            path.replace(recipe.with_suffix(_BEFORE))
        passing.replace(path)
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        with suppress(OSError):
            passing.unlink(missing_ok=True)
    return record


def undo_cut(recipe: Path) -> Record | None:
    """Undo the last marking: the build marked before it is again, or none. Done twice, nothing changes.

    Parameters
    ----------
    recipe : Path

    Returns
    -------
    Record or None
        Of the build that is marked now; None where none is.

    Raises
    ------
    PlugError
        Nothing was ever marked, or nothing can be written beside the recipe.
    """
    path, before, passing = (recipe.with_suffix(end) for end in (_CUT, _BEFORE, _PASSING))
    if not path.exists() and not before.exists():
        raise PlugError(
            param="--undo",
            value=str(recipe),
            reason="no build of this recipe is marked as the one that foam was cut from",
            remedy=f"mark one first: plugs cut {recipe}",
        )
    try:
        for old, new in ((path, passing), (before, path), (passing, before)):
            if old.exists():
                old.replace(new)
    except OSError as error:
        raise _unwritable(path, error) from error
    return kept_record(recipe)


def _content_in(folder: Path, param: str) -> bytes:
    """Return the record of the build in a folder, unread.

    Raises
    ------
    PlugError
        There is no folder, or no record in it.
    """
    content = _read(folder / FILE, param) if folder.is_dir() else None
    if content is None:
        is_there = folder.is_dir()
        raise PlugError(
            param=param,
            value=str(folder),
            reason=f"there is no {FILE} in it: another version built it, or none did"
            if is_there
            else "there is no such folder",
            remedy="build the recipe there first, with the values that it was cut with"
            if is_there
            else "name the folder that a build wrote, such as exports/sidecar_tail",
        )
    return content


def _read(path: Path, param: str) -> bytes | None:
    """Return what a file holds, None where there is none.

    Raises
    ------
    PlugError
        It cannot be read, or is far too large.
    """
    try:
        if not path.is_file():
            return None
        if path.stat().st_size > LARGEST_BYTES:
            raise PlugError(
                param=param,
                value=str(path),
                reason=f"it is larger than {LARGEST_BYTES / 1e6:.0f} MB, as no record of a build is",
                remedy="name the folder that a build wrote",
            )
        return path.read_bytes()
    except OSError as error:
        raise PlugError(
            param=param,
            value=str(path),
            reason=f"it cannot be read: {error.strerror}",
            remedy="let this user read it",
        ) from error


def _unwritable(path: Path, error: OSError) -> PlugError:
    """Return the error of a place beside the recipe where nothing can be written."""
    return PlugError(
        param="RECIPE",
        value=str(path),
        reason=f"the record of the build cannot be kept there: {error.strerror}",
        remedy="copy the recipe to a folder that you may write to, and build it there",
    )
