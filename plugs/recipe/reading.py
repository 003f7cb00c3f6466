"""Recipes: a Python file is read, its one function found, its parameters set, and run.

A recipe is the user's own program. Whatever is wrong with it is a fault of the input, told with
the file and the line, never with a traceback.
"""

from __future__ import annotations

import inspect
import keyword
import math
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path
from types import CodeType, FunctionType, MappingProxyType, ModuleType
from typing import Final, TypeVar

from plugs.ground.errors import PlugError, is_text, shown
from plugs.ground.records import record
from plugs.ground.streams import set_back
from plugs.ground.units import parse_value
from plugs.words.renamed import NAMES, WORDS

_Value = TypeVar("_Value")
_UNEXPECTED: Final = re.compile(r"(\w+)\.__init__\(\) got an unexpected keyword argument '(\w+)'")
_NO_NAME: Final = re.compile(r"(?:cannot import name|module 'plugs' has no attribute) '(\w+)'")
_OURS: Final = f"{Path(__file__).parents[1]}{os.sep}"


@record(frozen=True, slots=True, kw_only=True, eq=False)
class Recipe:
    """A recipe file, read but not yet run.

    Attributes
    ----------
    path : Path
        The file, as it was asked for.
    name : str
        The file's name without its ending; builds are named after it.
    function : callable
        The recipe's one public function.
    parameters : mapping of str to object
        The function's parameters in order, each with its default.
    folder : str
        In which the file left the program when it was read; its function finds itself there again.
    sha256 : str
        Of what was read, in hexadecimal.
    """

    path: Path
    name: str
    function: Callable[..., object]
    parameters: Mapping[str, object]
    folder: str
    sha256: str


@record(frozen=True, slots=True, kw_only=True, eq=False)
class RecipeRun:
    """What a recipe returned, and with which parameters.

    Attributes
    ----------
    result : object
        Whatever the function returned; whether it is a plug is for the caller to check.
    parameters : mapping of str to object
        The value of every parameter, defaults included, in the function's order.
    """

    result: object
    parameters: Mapping[str, object]


def load_recipe(path: Path) -> Recipe:
    """Return the recipe that a Python file holds.

    The file runs under a module name of its own and is not cached; its folder is not put on the
    import path. Its ``__file__`` is set, so that a recipe finds a table lying beside it with
    ``Path(__file__).with_name("offsets.csv")``.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Recipe

    Raises
    ------
    PlugError
        The file is missing, no Python text, raises while it is read, or has no single public function
        whose parameters all have names and defaults.
    """
    raw = _contents(path)
    if not is_text(path.name):
        reason = "its name holds bytes that are no letters in this terminal's encoding"
        raise _file_fault(path, reason, f"rename it, say to plug-1{path.suffix}, or set PYTHONUTF8=1")
    if path.suffix != ".py":
        raise PlugError(
            param="recipe",
            value=str(path),
            reason="a recipe is a Python file, ending in .py",
            remedy=f"name a file such as {path.stem}.py",
        )
    code = _compiled(path, _decoded(path, raw))
    module = ModuleType(f"plugs_recipe_{_as_identifier(path.stem)}")
    module.__file__ = str(path.absolute())
    sys.modules[module.__name__] = module  # dataclasses look their own module up here
    folder = run_user_code(lambda: _executed(code, module), path)
    function = _the_function(module, path)
    _check_plain(function, path)
    return Recipe(
        path=path,
        name=path.stem,
        function=function,
        parameters=_defaults(function, path),
        folder=folder,
        sha256=sha256(raw).hexdigest(),
    )


def run_recipe(recipe: Recipe, overrides: Mapping[str, object]) -> RecipeRun:
    """Return what a recipe makes with some of its parameters set.

    Parameters
    ----------
    recipe : Recipe
        The recipe.
    overrides : mapping of str to object
        Values by parameter; a text is read as the kind of value that the default is
        (`plugs.ground.units.parse_value`).

    Returns
    -------
    RecipeRun

    Raises
    ------
    PlugError
        A parameter is unknown, its value is not one or not finite, or the recipe raises something.
    """
    values = dict(recipe.parameters)
    for name, value in overrides.items():
        if name not in values:
            raise _unknown_parameter(name, value, recipe)
        try:
            values[name] = parse_value(value, values[name], param=name) if isinstance(value, str) else value
        except PlugError as error:
            raise error.at("--set") from error
        if not _is_finite(value):
            raise PlugError(
                param=name,
                value=value,
                reason="a number must be finite",
                remedy=f"give a finite number; the recipe's own is {shown(recipe.parameters[name])}",
                where="--set",
            )

    def work() -> object:
        os.chdir(recipe.folder)
        return recipe.function(**values)

    result = run_user_code(work, recipe.path)
    return RecipeRun(result=result, parameters=MappingProxyType(values))


def split_assignment(text: str) -> tuple[str, str]:
    """Return the name and the value of ``name=value``.

    Parameters
    ----------
    text : str
        What follows ``--set``.

    Returns
    -------
    tuple of str
        Name and value, without spaces round them; the value may be empty.

    Raises
    ------
    PlugError
        There is no equals sign, no name in front of it, or something that is no text.
    """
    name, equals, value = (part.strip() for part in text.partition("="))
    if not is_text(text):
        raise PlugError(
            param="--set",
            value=text,
            reason="it holds bytes that are no letters in this terminal's encoding",
            remedy="write it in UTF-8, and set PYTHONUTF8=1",
        )
    if equals and name:
        return name, value
    raise PlugError(
        param="--set",
        value=text,
        reason="there is no name in front of the equals sign" if equals else "there is no equals sign in it",
        remedy=f"write the name, an equals sign and the value: {name or 'length'}={value or '450'}",
    )


def _contents(path: Path) -> bytes:
    """Return what a recipe file holds."""
    try:
        if path.is_dir():
            inside = ", ".join(_recipes_in(path)) or "there is no .py file yet"
            raise _file_fault(path, "it is a folder, not a recipe", f"name a file in it: {inside}")
        if not path.exists():
            raise _file_fault(path, "there is no such file", _closest_recipes(path))
        if not path.is_file():
            reason = "it is a pipe or a device, not a file"
            raise _file_fault(path, reason, f"save it as a file, such as {path.stem}-1.py")
        return path.read_bytes()
    except OSError as error:
        reason = f"it cannot be read: {error.strerror or error}"
        raise _file_fault(path, reason, "check the name and the rights of the file") from error


def _decoded(path: Path, raw: bytes) -> str:
    """Return the text of a recipe file."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        reason = f"line {line} holds the byte 0x{raw[error.start]:02x}, which is not UTF-8"
        raise _file_fault(path, reason, f"save it as UTF-8, or retype line {line}", line=line) from error
    if "\0" in text:
        line = text[: text.index("\0")].count("\n") + 1
        raise _file_fault(path, "it holds null bytes, so it is no text", "save it as UTF-8", line=line)
    return text


def _compiled(path: Path, source: str) -> CodeType:
    """Return the code of a recipe, its asserts and docstrings kept; or tell the line that is no Python."""
    try:
        return compile(source, str(path), "exec", dont_inherit=True, optimize=0)
    except SyntaxError as error:
        line = error.lineno or 1
        raise PlugError(
            param="recipe",
            value=(error.text or "").strip() or "(end of file)",
            reason=f"it is not Python: {error.msg}",
            remedy=f"correct line {line}, or the bracket or quote left open before it",
            where=f"{path}:{line}",
        ) from error
    except (ValueError, RecursionError, MemoryError, OverflowError) as error:
        remedy = "break its longest expression into parts"
        raise _file_fault(path, f"Python cannot read it: {error}", remedy) from error


def _executed(code: CodeType, module: ModuleType) -> str:
    """Run a recipe's file, and return the folder in which it leaves the program."""
    exec(code, module.__dict__)  # noqa: S102 - running it is the purpose
    return os.getcwd()  # noqa: PTH109 - a Path is not needed


def run_user_code(work: Callable[[], _Value], path: Path) -> _Value:
    """Return what the recipe's own code returns; whatever it raises becomes a `PlugError`.

    What it changes of the program round it is set back.

    Parameters
    ----------
    work : callable
        Runs the code.
    path : Path
        The recipe's file.

    Returns
    -------
    object
        What it returned.

    Raises
    ------
    PlugError
        It raised something, with the recipe's line, or closed a stream that is not its own.
    """
    closed: list[str] = []
    try:
        with set_back(closed):
            result = work()
    except PlugError as error:
        if error.where.startswith(path.name):
            raise  # a stage that the code asked for has told the place
        line = _trace(error, path)[1]
        place = f"{path}:{line}" if line else str(path)
        raise PlugError(
            param=error.param,
            value=error.value,
            reason=error.reason,
            remedy=error.remedy,
            where=f"{place}, {error.where}" if error.where else place,
        ) from error
    except KeyboardInterrupt:
        raise  # somebody wants an end
    # The recipe is the user's program: whatever it raises is a fault of the input. This is the one
    # place in the house where everything is caught.
    except BaseException as error:
        if isinstance(error, AssertionError) and _trace(error, path)[0].startswith(_OURS):
            raise  # a promise of ours that is broken, not the recipe's
        raise _raised(error, path) from error
    if closed:
        reason = f"the recipe closes {closed[0]}, on which the build tells what it does"
        raise _file_fault(path, reason, f"take the close out of {path.name}")
    return result


def _raised(error: BaseException, path: Path) -> PlugError:
    """Return what a recipe's exception is to the user."""
    import linecache

    file, line = _trace(error, path)
    linecache.checkcache(str(path))
    text = linecache.getline(str(path), line).strip()
    fix = f"correct line {line} of {path.name}, or what it uses" if line else f"correct {path.name}"
    if isinstance(error, ModuleNotFoundError) and error.name:
        reason = f"the recipe imports {error.name!r}, and there is no such module here"
        text, fix = error.name, f"python -m pip install {error.name.partition('.')[0]}, or do without it"
        if (path.parent / f"{error.name}.py").exists():
            fix = f"a recipe is one file: copy what it needs from {error.name}.py into {path.name}"
        elif error.name.startswith("plugs."):
            fix = "import the recipe's words from plugs itself: from plugs import Plug, Station, Corner"
    elif isinstance(error, SystemExit):
        reason = f"the recipe ended the program (exit status {error.code})"
        fix = f"take the exit out of line {line}, and return a Plug or raise an error with its reason"
    elif now := _called_now(error):
        text, word, written = now
        reason, fix = f"it is called {word} now", f"write {written} in line {line}"
    elif isinstance(error, RecursionError):
        reason, fix = "its functions call each other without end", f"give the call in line {line} an end"
    else:
        reason = f"it raised {_words(error)}"
        if file and file != str(path) and not file.startswith(_OURS):
            reason += f" (in {Path(file).name})"
    place = f"{path}:{line}" if line else str(path)
    return PlugError(param="recipe", value=text or path.name, reason=reason, remedy=fix, where=place)


def _called_now(error: BaseException) -> tuple[str, str, str] | None:
    """Return a word or name that recipes have no more, what it is called now, and how that is written."""
    told = _words(error)  # its own __str__ may fail
    if isinstance(error, TypeError) and (found := _UNEXPECTED.search(told)):
        now = WORDS.get((found[1], found[2]), "")
        return (f"{found[1]}({found[2]}=...)", now, now if "=" in now else f"{now}=") if now else None
    if isinstance(error, (ImportError, AttributeError)) and (found := _NO_NAME.search(told)):
        now = NAMES.get(found[1], "")
        return (found[1], now, now) if now else None
    return None


def _words(error: BaseException) -> str:
    """Return an exception's type and its own words, on one line."""
    import traceback

    lines = traceback.format_exception_only(error)
    return shown(next((line for line in lines if not line.startswith(" ")), lines[0]))


def _trace(error: BaseException, path: Path) -> tuple[str, int]:
    """Return the file that raised an exception, and the recipe's innermost line on the way (0: none)."""
    file, line, trace = "", 0, error.__traceback__
    while trace is not None:
        file = trace.tb_frame.f_code.co_filename
        if file == str(path):
            line = trace.tb_lineno
        trace = trace.tb_next
    return file, line


def _the_function(module: ModuleType, path: Path) -> FunctionType:
    """Return the one public function that a recipe defines."""
    own = {
        name: value
        for name, value in vars(module).items()
        if isinstance(value, FunctionType) and value.__module__ == module.__name__
    }
    public = {name: value for name, value in own.items() if not name.startswith("_")}
    wanted = _as_identifier(path.stem)
    if wanted in public:
        return public[wanted]
    if len({id(value) for value in public.values()}) == 1:
        return next(iter(public.values()))
    if public:
        raise _file_fault(
            path,
            f"it has {len(public)} public functions ({', '.join(public)}), and none has the file's name",
            f"rename the one that returns the Plug to {wanted}, or start the others with an underscore",
        )
    hidden = next(iter(own), None)
    remedy = f"rename {hidden} to {hidden.lstrip('_') or wanted}" if hidden else (
        f"write def {wanted}(length=400.0): and return a Plug from it"
    )  # fmt: skip
    raise _file_fault(path, "it defines no public function", remedy)


def _check_plain(function: FunctionType, path: Path) -> None:
    """Refuse a function that returns a promise of a plug rather than a plug."""
    kinds = {
        "async": inspect.iscoroutinefunction(function) or inspect.isasyncgenfunction(function),
        "yield": inspect.isgeneratorfunction(function),
    }
    word = next((word for word, is_kind in kinds.items() if is_kind), None)
    if word:
        line = function.__code__.co_firstlineno
        reason = f"with {word} in it, the function returns no Plug when it is called"
        remedy = f"take {word} out of the function in line {line}, and return a Plug from it"
        raise _file_fault(path, reason, remedy, line=line)


def _defaults(function: FunctionType, path: Path) -> Mapping[str, object]:
    """Return a recipe function's parameters, each with its default."""
    defaults: dict[str, object] = {}
    for name, parameter in inspect.signature(function).parameters.items():
        if parameter.kind in (inspect.Parameter.VAR_POSITIONAL, inspect.Parameter.VAR_KEYWORD):
            reason, remedy = (
                "a parameter that takes any number of values cannot be set by name",
                f"take {parameter} out",
            )
        elif parameter.kind is inspect.Parameter.POSITIONAL_ONLY:
            reason, remedy = "it cannot be set by name", "take the slash out of the parameters"
        elif parameter.default is inspect.Parameter.empty:
            reason, remedy = (
                "it has no default, so the recipe cannot be built as it stands",
                f"write {name}=400.0",
            )
        else:
            defaults[name] = parameter.default
            continue
        line = function.__code__.co_firstlineno
        value = f"{function.__name__}({parameter})"
        raise PlugError(param=name, value=value, reason=reason, remedy=remedy, where=f"{path}:{line}")
    return MappingProxyType(defaults)


def _unknown_parameter(name: str, value: object, recipe: Recipe) -> PlugError:
    """Return the error of a parameter that a recipe has not."""
    known = ", ".join(_closest_first(name, recipe.parameters))
    reason = f"the recipe {recipe.path.name} has no parameter {name!r}"
    remedy = f"use one of: {known}" if known else "give the recipe's function parameters with defaults"
    return PlugError(param=name, value=value, reason=reason, remedy=remedy, where="--set")


def _file_fault(path: Path, reason: str, remedy: str, *, line: int = 0) -> PlugError:
    """Return an error about a recipe file as a whole."""
    return PlugError(
        param="recipe", value=str(path), reason=reason, remedy=remedy, where=f"{path}:{line}" if line else ""
    )


def _closest_first(word: str, names: Mapping[str, object] | Sequence[str]) -> list[str]:
    """Return names, the most like a word first."""
    from difflib import SequenceMatcher

    return sorted(names, key=lambda name: -SequenceMatcher(None, word.casefold(), name.casefold()).ratio())


def _recipes_in(folder: Path) -> list[str]:
    """Return the names of the Python files in a folder."""
    return sorted(file.name for file in folder.glob("*.py") if not file.name.startswith("_"))


def _closest_recipes(path: Path) -> str:
    """Return what to name instead of a recipe that is not there."""
    if not path.parent.is_dir():
        return f"check the folder: there is no {path.parent} either"
    names = _closest_first(path.name, _recipes_in(path.parent))[:3]
    return (
        f"closest in {path.parent}: {', '.join(names)}" if names else f"there is no .py file in {path.parent}"
    )


def _is_finite(value: object) -> bool:
    """Return whether no number in a value is infinite or not a number."""
    if isinstance(value, (tuple, list)):
        return all(_is_finite(item) for item in value)
    return not isinstance(value, float) or math.isfinite(value)


def _as_identifier(stem: str) -> str:
    """Return a file's stem as a function would be named."""
    name = re.sub(r"\W", "_", stem)
    return name if name.isidentifier() and not keyword.iskeyword(name) else f"plug_{name}"
