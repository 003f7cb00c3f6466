"""The house keeps its order: who may import what, which words and sizes are allowed, what a docstring holds.

The files are read with `ast`, never imported; what a command loads is asked of a process of its own.
The rules themselves are the house's, no outside source.
"""

from __future__ import annotations

import ast
import gc
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path
from types import MappingProxyType

import pytest

ROOT = Path(__file__).resolve().parents[1]

ROOMS = (
    "words", "ground", "tables", "lines", "mesh", "skin", "recesses", "edges", "kernel", "body", "measure",
    "foam", "nesting", "templates", "wire", "routing", "sanding", "laminate", "hard_points", "drape", "cloth",
    "drafting", "subjects", "openings", "mould", "paper", "pack", "pictures", "files", "recipe", "stages",
    "changes", "terminal", "summary", "comparing", "book",
)  # fmt: skip
"""The rooms in order: a module imports from its own room and from those before it."""

BESIDE = (
    "plugs.findings", "plugs.drawings", "plugs.scene", "plugs.writing", "plugs.work", "plugs.build",
    "plugs.first_look", "plugs.serving", "plugs.watching", "plugs.cli", "plugs.__main__",
)  # fmt: skip
"""The files beside the rooms, in order: each after the room that `AFTER` names, the others after them all."""

AFTER = MappingProxyType(dict.fromkeys(("plugs.findings", "plugs.drawings"), "stages"))
"""The room that a file beside the rooms stands after."""

LARGEST_ROOM = 15
MOST_BESIDE = 12

DOORS = MappingProxyType(
    {
        "cadquery": ("plugs.kernel.kernel",),
        "OCP": ("plugs.kernel.kernel",),
        "manifold3d": ("plugs.mesh.mesh",),
        "trimesh": ("plugs.mesh.mesh",),
        "ezdxf": ("plugs.files.dxf", "plugs.measure.dxf_in"),  # one writes, one reads
        "reportlab": ("plugs.paper.pdf",),
        "PIL": ("plugs.pictures.canvas",),
    }
)
"""The one module that may import each big library."""

LATE = ("cadquery", "OCP", "ezdxf", "reportlab", "PIL")
"""Libraries imported inside functions only."""

LIGHT = (
    "plugs", "plugs.cli", "plugs.files.folder", "plugs.files.kinds", "plugs.files.names",
    "plugs.files.written", "plugs.ground.checking", "plugs.ground.errors", "plugs.ground.limits",
    "plugs.ground.paper",
    "plugs.ground.records", "plugs.ground.streams", "plugs.ground.tolerances", "plugs.ground.twins",
    "plugs.ground.units", "plugs.ground.workers", "plugs.lines.offsets", "plugs.lines.section",
    "plugs.recipe.machine_starter", "plugs.recipe.reading", "plugs.recipe.starter", "plugs.tables.csv_in",
    "plugs.tables.numbers", "plugs.tables.rows", "plugs.terminal.comparing", "plugs.terminal.options",
    "plugs.words.renamed", "plugs.words.ways",
)  # fmt: skip
"""Modules that load only Python's own library, so that `--help`, `new` and a wrong recipe are quick."""

CATCH_ALL = ("plugs.ground.workers._serve", "plugs.recipe.reading.run_user_code")
"""Places that may catch everything: one passes it on to who called, one runs the user's own program."""

LONGEST_FILE = 500
LONGEST_FUNCTION = 60
LONG_FUNCTIONS: MappingProxyType[str, str] = MappingProxyType({})
"""Functions that may be longer, each with its reason."""

TOLD_BY_HAND = MappingProxyType(
    {"summary": 0, "files": 2, "sanding": 2, "drafting": 5, "subjects": 35, "book": 5}
)
"""So many numbers in a room are told with digits written there, not by their quantity; it may only fall."""

WORDS = frozenset(["util", "helper", "manager", "data", "info", "process", "handle", "slice"])
"""Words that say nothing, or something else, and so name nothing here."""

UNITS = re.compile(
    r"\b(mm[23]?|deg|degrees?|rad|dimensionless|inch(es)?|s|seconds?|units?|kg|m[23]?|minutes?|percent|N|MPa)\b"
    r"|_(mm[23]?|deg|rad|ratio|s|kg(_m[23])?)\b"
)
"""What tells the unit of a number in a docstring, or in its name."""


def module_name(path: Path) -> str:
    """Return the name under which a file is imported."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def nodes(tree: ast.AST) -> tuple[ast.AST, ...]:
    """Return all that stands in a part of a file, itself too."""
    return tuple(ast.walk(tree))


@cache
def sources() -> dict[str, tuple[Path, ast.Module]]:
    """Return every module of the package, read: no search for garbage goes through them, now or later."""
    paths = sorted((ROOT / "plugs").rglob("*.py"))
    gc.disable()
    found = {module_name(p): (p, ast.parse(p.read_text(encoding="utf-8"))) for p in paths}
    gc.freeze()
    gc.enable()
    return found


@cache
def imports(tree: ast.AST) -> tuple[tuple[str, ast.stmt], ...]:
    """Return what a module imports, as dotted names, by statement or by call, wherever it stands."""
    return tuple(_imports(tree))


def _imports(tree: ast.AST) -> Iterator[tuple[str, ast.stmt]]:
    """Yield the imports of a module one by one."""
    for node in nodes(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            base = node.module or ""
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield (full if full in sources() else base), node
        elif isinstance(node, ast.Expr | ast.Assign | ast.Return):
            for call in (n for n in nodes(node) if isinstance(n, ast.Call)):
                if annotation(call.func).rpartition(".")[2] in ("import_module", "__import__"):
                    name = call.args[0].values[0] if isinstance(call.args[0], ast.JoinedStr) else call.args[0]
                    if isinstance(name, ast.Constant):
                        yield str(name.value), node


@cache
def only_for_types(tree: ast.Module) -> set[ast.stmt]:
    """Return the statements under ``if TYPE_CHECKING``, which nothing runs."""
    found: set[ast.stmt] = set()
    for node in nodes(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            found.update(n for s in node.body for n in ast.walk(s) if isinstance(n, ast.stmt))
    return found


@cache
def within_functions(tree: ast.Module) -> set[ast.stmt]:
    """Return the statements inside functions."""
    return {
        statement
        for node in nodes(tree)
        if isinstance(node, ast.FunctionDef)
        for statement in nodes(node)
        if isinstance(statement, ast.stmt) and statement is not node
    }


def functions(tree: ast.Module) -> Iterator[tuple[str, ast.FunctionDef, ast.ClassDef | None]]:
    """Yield every function and method of a module with its dotted name and its class."""

    def walk(body: list[ast.stmt], before: str, owner: ast.ClassDef | None) -> Iterator[tuple[str, ast.FunctionDef, ast.ClassDef | None]]:  # fmt: skip  # noqa: E501
        for node in body:
            if isinstance(node, ast.FunctionDef):
                yield before + node.name, node, owner
                yield from walk(node.body, f"{before}{node.name}.", None)
            elif isinstance(node, ast.ClassDef):
                yield from walk(node.body, f"{before}{node.name}.", node)

    yield from walk(tree.body, "", None)


@cache
def everywhere() -> list[tuple[str, ast.FunctionDef, ast.ClassDef | None, str]]:
    """Return every function of the package: its full name, itself, its class, its module."""
    return [
        (f"{module}.{name}", node, owner, module)
        for module, (_, tree) in sources().items()
        for name, node, owner in functions(tree)
    ]


def is_public(full: str, module: str) -> bool:
    """Return whether a name is reached without an underscore."""
    return not any(part.startswith("_") for part in full.removeprefix(module).split(".") if part)


def sections(docstring: str) -> dict[str, list[tuple[str, str]]]:
    """Return the sections of a NumPy docstring: entries of (head, description) by title."""
    lines = ast_clean(docstring).splitlines()
    found: dict[str, list[tuple[str, str]]] = {}
    title = ""
    for i, line in enumerate(lines):
        follows = lines[i + 1] if i + 1 < len(lines) else ""
        if line and follows == "-" * len(line):
            title = line
            found[title] = []
        elif title and line and not line.startswith(" ") and set(line) != {"-"}:
            found[title].append((line, ""))
        elif title and line and found[title]:
            head, words = found[title][-1]
            found[title][-1] = (head, f"{words} {line.strip()}".strip())
    return found


def ast_clean(docstring: str) -> str:
    """Return a docstring without its indent."""
    first, _, rest = docstring.partition("\n")
    lines = rest.splitlines()
    margin = min((len(li) - len(li.lstrip()) for li in lines if li.strip()), default=0)
    return "\n".join([first.strip(), *(li[margin:].rstrip() for li in lines)])


def entry_names(entries: list[tuple[str, str]]) -> list[str]:
    """Return the names that the heads of a section list: ``a, b : float`` gives two."""
    return [name.strip().lstrip("*") for head, _ in entries for name in head.partition(" : ")[0].split(",")]


@cache
def annotation(node: ast.expr | None) -> str:
    """Return an annotation, or what is called, as text."""
    return "" if node is None else node.id if isinstance(node, ast.Name) else ast.unparse(node)


def parameters(node: ast.FunctionDef, owner: ast.ClassDef | None) -> dict[str, str]:
    """Return a function's parameters and their annotations, without self."""
    given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    given += [a for a in (node.args.vararg, node.args.kwarg) if a is not None]
    is_bound = owner is not None and not any(annotation(d) == "staticmethod" for d in node.decorator_list)
    return {a.arg: annotation(a.annotation) for a in (given[1:] if is_bound else given)}


def fields(node: ast.ClassDef) -> dict[str, str]:
    """Return the fields of a record and their annotations."""
    kinds = {
        s.target.id: annotation(s.annotation)
        for s in node.body
        if isinstance(s, ast.AnnAssign) and isinstance(s.target, ast.Name)
    }
    return {name: kind for name, kind in kinds.items() if not kind.startswith("ClassVar")}


def unit_faults(entries: list[tuple[str, str]], kinds: dict[str, str]) -> list[str]:
    """Return the entries that tell no kind, a number without unit or an array without shape."""
    faults = []
    for head, words in entries:
        names, _, kind = head.partition(" : ")
        for name in (n.strip().lstrip("*") for n in names.split(",")):
            hint = kinds.get(name, "")
            if not kind:
                if head.strip() and "," not in names:
                    faults.append(f"{name}: no kind")
            elif "float" in hint and not UNITS.search(f"{kind} {words} {name}"):
                faults.append(f"{name}: no unit")
            elif re.search(r"^(Array|Indices|NDArray)\b", hint) and not re.search(r"\(.*\)|mapping", kind):
                faults.append(f"{name}: no shape")
    return faults


@cache
def raised(node: ast.FunctionDef, module: str) -> set[str]:
    """Return the exceptions that a function raises in its own body."""
    returns = {f.name: annotation(f.returns) for _, f, _ in functions(sources()[module][1])}
    names = set()
    for part in nodes(node):
        if not isinstance(part, ast.Raise) or part.exc is None:
            continue
        call = part.exc.func if isinstance(part.exc, ast.Call) else part.exc
        if isinstance(call, ast.Attribute):
            names.add("PlugError" if call.attr == "at" else returns.get(call.attr, call.attr))
        elif isinstance(call, ast.Name) and (call.id[0].isupper() or call.id in returns):
            names.add(returns.get(call.id, call.id))
    return names


@cache
def called(node: ast.FunctionDef) -> set[str]:
    """Return the names that a function calls."""
    calls = [n.func for n in nodes(node) if isinstance(n, ast.Call)]
    return {
        c.id if isinstance(c, ast.Name) else c.attr for c in calls if isinstance(c, ast.Name | ast.Attribute)
    }


def raised_by_parts(node: ast.FunctionDef, module: str) -> set[str]:
    """Return what a function raises itself or in private functions of its module."""
    private = {
        n.rpartition(".")[2]: f for n, f, _ in functions(sources()[module][1]) if f.name.startswith("_")
    }
    names, seen, waiting = set(), set(), [node]
    while waiting:
        part = waiting.pop()
        names |= raised(part, module)
        for name in called(part) & private.keys() - seen:
            seen.add(name)
            waiting.append(private[name])
    return names


def opens_a_door(node: ast.FunctionDef) -> bool:
    """Return whether a function imports one of the big libraries, which may be missing."""
    return any(name.partition(".")[0] in DOORS for name, _ in imports(node))


@cache
def documented() -> dict[str, set[str]]:
    """Return what each public function of the package says that it raises, by its bare name."""
    found: dict[str, set[str]] = {}
    for _, node, _, _ in everywhere():
        told = set(entry_names(sections(ast.get_docstring(node, clean=False) or "").get("Raises", [])))
        found[node.name] = found.get(node.name, set()) | told
    return found


# ---- who imports what


def room_of(module: str) -> str:
    """Return the room that a module stands in, empty for one beside the rooms."""
    parts = module.split(".")
    return parts[1] if len(parts) > 2 or (len(parts) == 2 and parts[1] in ROOMS) else ""


def rank(module: str) -> tuple[int, int]:
    """Return where a module stands in the order of the house."""
    room = room_of(module)
    if room:
        return ROOMS.index(room), 0
    after = AFTER.get(module)
    return (len(ROOMS) if after is None else ROOMS.index(after)), 1 + BESIDE.index(module)


def test_every_module_stands_in_a_room() -> None:
    """Rooms are as many as are ranked, none too large to look over; a handful of files stands beside them."""
    rooms = {room_of(module) for module in sources()} - {""}
    assert rooms == set(ROOMS)
    beside = {module for module in sources() if not room_of(module)} - {"plugs"}
    assert beside == set(BESIDE)
    assert len(beside) + 1 <= MOST_BESIDE
    sizes = {room: sum(m.startswith(f"plugs.{room}.") for m in sources()) for room in ROOMS}
    assert not {room: size for room, size in sizes.items() if size > LARGEST_ROOM}


def test_imports_come_from_below() -> None:
    """A module imports from its own room and from rooms before it: there is no circle of rooms."""
    for module in sorted(set(sources()) - {"plugs"}):
        _, tree = sources()[module]
        skip = only_for_types(tree)
        ours = {n for n, node in imports(tree) if n.partition(".")[0] == "plugs" and node not in skip}
        above = {name for name in ours - {"plugs"} if rank(name) > rank(module)}
        assert not above, f"{module} imports from above: {sorted(above)}"
        if module in {f"plugs.{room}" for room in ROOMS}:
            assert not ours, f"{module} imports something when it is opened"


def test_no_circle_within_a_room() -> None:
    """Modules of a room import each other one way only, when they are imported."""
    waiting = {
        module: {
            name
            for name, node in imports(tree)
            if room_of(name) == room_of(module) != "" and name != module
            and node not in within_functions(tree) and node not in only_for_types(tree)
        }
        for module, (_, tree) in sources().items()
    }  # fmt: skip
    while free := {module for module, needed in waiting.items() if not needed & set(waiting)}:
        waiting = {module: needed for module, needed in waiting.items() if module not in free}
    assert not waiting, f"these go round in a circle: {sorted(waiting)}"


def test_pictures_and_paper_know_no_recipe() -> None:
    """What draws and writes takes records of the rooms before it, never the recipe."""
    for module, (_, tree) in sources().items():
        if room_of(module) in ("drafting", "subjects", "paper", "pictures", "files"):
            strange = [n for n, _ in imports(tree) if room_of(n) in ("recipe", "stages", "summary", "book")]
            assert strange == [], module


@pytest.mark.parametrize("library", sorted(DOORS))
def test_one_door_to_each_library(library: str) -> None:
    """A big library is imported by one module, a late one inside its functions."""
    for module, (_, tree) in sources().items():
        inside = within_functions(tree) | only_for_types(tree)
        for name, node in imports(tree):
            if name.partition(".")[0] == library:
                assert module in DOORS[library], f"{module} imports {library}"
                assert library not in LATE or node in inside, (
                    f"{module} imports {library} when it is imported"
                )


def test_every_library_that_is_imported_is_asked_for() -> None:
    """What is installed with the package is all that it needs: nothing is there only as tests want it."""
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    asked = {re.split("[^a-z0-9-]", words)[0] for words in wanted} | {"plugs"}
    given = packages_distributions()
    for module, (_, tree) in sources().items():
        inside = only_for_types(tree)
        for name, node in imports(tree):
            top = name.partition(".")[0]
            if top not in sys.stdlib_module_names and node not in inside:
                by = {one.lower() for one in given.get(top, [top])}
                by |= {"cadquery"} & asked if top == "OCP" else set()  # the kernel that it is built on
                assert by & asked, f"{module} imports {name}, which pyproject.toml does not ask for"


def test_light_modules_import_only_the_standard_library() -> None:
    """What `--help` and a wrong recipe need costs no heavy import."""
    for module in LIGHT:
        _, tree = sources()[module]
        inside = within_functions(tree) | only_for_types(tree)
        for name, node in imports(tree):
            top = name.partition(".")[0]
            if node not in inside:
                assert top in sys.stdlib_module_names or name in LIGHT, f"{module} imports {name}"


# ---- what is not done


def test_nothing_catches_everything() -> None:
    """Exceptions are caught by name, but in the places that pass everything on."""
    places = []
    for full, node, _, _ in everywhere():
        for part in nodes(node):
            if isinstance(part, ast.ExceptHandler):
                named = (
                    {n.id for n in ast.walk(part.type) if isinstance(n, ast.Name)}
                    if part.type
                    else {"Exception"}
                )
                if named & {"Exception", "BaseException"}:
                    places.append(full)
    assert tuple(places) == CATCH_ALL


def test_only_the_command_line_prints_and_ends_the_program() -> None:
    """No print and no exit in the library."""
    for module, (_, tree) in sources().items():
        for node in nodes(tree):
            if isinstance(node, ast.Call):
                name = annotation(node.func)
                assert (
                    name not in ("print", "sys.stdout.write", "sys.stderr.write") or module == "plugs.cli"
                ), module
                assert name not in ("sys.exit", "exit", "quit", "input", "breakpoint"), module
                assert name != "os._exit" or module == "plugs.ground.twins", module
            if isinstance(node, ast.Raise) and node.exc is not None and "SystemExit" in ast.unparse(node.exc):
                assert module == "plugs.__main__"


def test_no_promise_is_an_assert() -> None:
    """An assert is gone under ``python -O``; what guards the foam raises (`plugs.ground.errors.promise`)."""
    found = [
        f"{module}:{node.lineno}"
        for module, (_, tree) in sources().items()
        for node in nodes(tree)
        if isinstance(node, ast.Assert) or (isinstance(node, ast.Name) and node.id == "__debug__")
    ]
    assert not found, "\n".join(found)


def test_no_clock_and_no_chance() -> None:
    """Nothing that differs from run to run is imported, but clocks of stages, waits and commands."""
    timed = ("plugs.kernel.modelling", "plugs.ground.workers", "plugs.cli")
    for module, (_, tree) in sources().items():
        tops = {name.partition(".")[0] for name, _ in imports(tree)}
        assert not tops & {"random", "secrets", "uuid", "datetime"}, module
        assert "time" not in tops or module in timed, module


def test_records_are_made_by_one_decorator() -> None:
    """A dataclass of the standard library takes some seven times as long to load."""
    made = [
        module
        for module, (_, tree) in sources().items()
        for node in nodes(tree)
        if isinstance(node, ast.ClassDef)
        and any("dataclass" in annotation(decorator) for decorator in node.decorator_list)
    ]
    assert not made, f"write `from plugs.ground.records import record`: {made}"


def test_files_are_short() -> None:
    """A file of this length asks for its seam."""
    long = {
        m: n
        for m, (p, _) in sources().items()
        if (n := len(p.read_text("utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}


def test_functions_are_short() -> None:
    """A function fits on a screen, docstring included."""
    long = {
        full: size
        for full, node, _, _ in everywhere()
        if (size := (node.end_lineno or 0) - node.lineno + 1) > LONGEST_FUNCTION
        and full not in LONG_FUNCTIONS
    }
    assert long == {}


def bound_names(tree: ast.AST) -> Iterator[str]:
    """Yield every name that a file gives to something."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            if isinstance(node.value, ast.Name) and node.value.id == "self":
                yield node.attr
        elif isinstance(node, ast.ExceptHandler) and node.name:
            yield node.name


@cache
def says_nothing(name: str) -> bool:
    """Return whether a name has a part that would fit anything; a test's name is a sentence."""
    spelt = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower()
    parts = spelt.replace("data_sheet", "sheet").split("_")  # which is a thing of the trade
    said = {part.removesuffix("s") for part in parts} | set(parts)
    return bool(WORDS & said) and not name.startswith("test_")


def test_names_say_what_they_mean() -> None:
    """Words that would fit anything name no file, function or variable.

    Only a file that has such a word anywhere is read to see whether it is bound to something.
    """
    found = []
    for path in sorted(p for room in ("plugs", "recipes", "tests") for p in (ROOT / room).rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        poor = {name for name in {path.stem, *re.findall(r"\w+", text)} if says_nothing(name)}
        bound = {path.stem, *bound_names(ast.parse(text))} if poor else ()
        found += [f"{path.relative_to(ROOT)}: {name}" for name in sorted(poor & {*bound})]
    assert not found, "\n".join(found)


# ---- what is said


def test_everything_has_a_docstring() -> None:
    """Modules, classes and functions, private ones too, begin with a line that says what they are."""
    bare = [m for m, (_, tree) in sources().items() if not ast.get_docstring(tree)]
    names = {full for full, _, _, _ in everywhere()}
    for module, (_, tree) in sources().items():
        bare += [
            f"{module}.{n.name}"
            for n in nodes(tree)
            if isinstance(n, ast.ClassDef) and not ast.get_docstring(n)
        ]
    for full, node, _, _ in everywhere():
        is_shape_of_one = any(annotation(d) == "overload" for d in node.decorator_list)
        if not ast.get_docstring(node) and full.rpartition(".")[0] not in names and not is_shape_of_one:
            bare.append(full)
    assert not bare, "\n".join(bare)


def test_first_line_is_one_sentence() -> None:
    """The summary stands alone on its line and ends in a full stop."""
    poor = [
        full
        for full, node, _, _ in everywhere()
        if (words := ast.get_docstring(node)) and not re.fullmatch(r".*[.:]", words.partition("\n")[0])
    ]
    assert not poor, "\n".join(poor)


@cache
def asked_from_outside() -> frozenset[str]:
    """Return the full names that another room imports, or `plugs` itself: functions, classes, modules."""
    found: set[str] = set()
    for module, (_, tree) in sources().items():
        for node in nodes(tree):
            if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("plugs"):
                continue
            for alias in node.names:
                full = f"{node.module}.{alias.name}"
                home = full if full in sources() else str(node.module)
                if room_of(home) != room_of(module) or not room_of(module):
                    found.add(full)
    return frozenset(found)


def is_at_the_border(full: str, module: str) -> bool:
    """Return whether another room can ask a function or method: it, its class or its module is imported."""
    name = full.removeprefix(module + ".").partition(".")[0]
    return module in asked_from_outside() or f"{module}.{name}" in asked_from_outside()


@cache
def documented_functions() -> list[tuple[str, ast.FunctionDef, ast.ClassDef | None, str, dict[str, list[tuple[str, str]]]]]:  # fmt: skip  # noqa: E501
    """Return the functions and methods at the borders of rooms, without properties, with their sections."""
    found, names = [], {full for full, _, _, _ in everywhere()}
    for full, node, owner, module in everywhere():
        decorators = {annotation(d) for d in node.decorator_list}
        is_inner = full.rpartition(".")[0] in names
        is_property = "property" in decorators or any(d.startswith("stage(") for d in decorators)
        if is_public(full, module) and not is_inner and not is_property and is_at_the_border(full, module):
            found.append((full, node, owner, module, sections(ast.get_docstring(node, clean=False) or "")))
    return found


def test_docstrings_list_the_parameters() -> None:
    """The section Parameters names what the signature names, in its order, each with its kind and unit."""
    faults = []
    for full, node, owner, _, found in documented_functions():
        given = parameters(node, owner)
        listed = entry_names(found.get("Parameters", []))
        if listed != list(given):
            faults.append(f"{full}: {listed} for {list(given)}")
        faults += [f"{full}: {f}" for f in unit_faults(found.get("Parameters", []), given)]
    assert not faults, "\n".join(faults)


def test_docstrings_list_the_fields_of_records() -> None:
    """A record's Attributes are its fields; a class with a constructor of its own lists Parameters."""
    faults = []
    for module, (_, tree) in sources().items():
        for node in (n for n in tree.body if isinstance(n, ast.ClassDef)):
            full = f"{module}.{node.name}"
            found = sections(ast.get_docstring(node, clean=False) or "")
            inits = [s for s in node.body if isinstance(s, ast.FunctionDef) and s.name == "__init__"]
            given = parameters(inits[0], node) if inits else fields(node)
            entries = found.get("Parameters" if inits else "Attributes", [])
            listed = entry_names(entries)
            is_whole = is_public(full, module) and is_at_the_border(full, module)
            if set(listed) - set(given) or (is_whole and sorted(listed) != sorted(given)):
                faults.append(f"{full}: {listed} for {list(given)}")
            faults += [f"{full}: {f}" for f in unit_faults(entries, given)]
    assert not faults, "\n".join(faults)


def test_docstrings_inside_rooms_name_what_there_is() -> None:
    """Inside a room a docstring may list fewer parameters than there are, in their order, but no other."""
    whole = {full for full, *_ in documented_functions()}
    faults = []
    for full, node, owner, _ in everywhere():
        entries = sections(ast.get_docstring(node, clean=False) or "").get("Parameters", [])
        given = list(parameters(node, owner))
        listed = entry_names(entries)
        if full not in whole and listed != [name for name in given if name in listed]:
            faults.append(f"{full}: {listed} for {given}")
        faults += [f"{full}: {f}" for f in unit_faults(entries, parameters(node, owner))]
    assert not faults, "\n".join(faults)


def test_docstrings_tell_what_is_returned() -> None:
    """The section Returns is there when something is returned, and only then."""
    faults = [
        full
        for full, node, _, _, found in documented_functions()
        if ("Returns" in found or "Yields" in found) != (annotation(node.returns) not in ("None", "NoReturn"))
    ]
    assert not faults, "\n".join(faults)


def test_docstrings_tell_what_is_raised() -> None:
    """Raises names every exception raised in the body, and none that nothing beneath it raises."""
    faults = []
    for full, node, _, module, found in documented_functions():
        told = set(entry_names(found.get("Raises", [])))
        must = raised(node, module)
        may = raised_by_parts(node, module) | ({"ImportError"} if opens_a_door(node) else set())
        may = may.union(*(documented().get(n, set()) for n in called(node)))
        if must - told or told - must - may:
            faults.append(f"{full}: tells {sorted(told)}, raises {sorted(must)}, beneath it {sorted(may)}")
    assert not faults, "\n".join(faults)


def is_number(node: ast.expr | None) -> bool:
    """Return whether an expression is a number written out, a sum or product of one, or a row of them."""
    if isinstance(node, ast.Constant):
        return isinstance(node.value, int | float) and not isinstance(node.value, bool)
    if isinstance(node, ast.Tuple):
        return any(is_number(item) for item in node.elts)
    if isinstance(node, ast.BinOp):
        return is_number(node.left) or is_number(node.right)
    return isinstance(node, ast.UnaryOp) and is_number(node.operand)


def without_reason() -> list[str]:
    """Return the numbers of modules with no text under them, no comment beside them and none over them."""
    bare = []
    for path, tree in sources().values():
        lines = path.read_text(encoding="utf-8").splitlines()
        for node, after in zip(tree.body, [*tree.body[1:], None], strict=True):
            if not isinstance(node, ast.Assign | ast.AnnAssign) or not is_number(node.value):
                continue
            beside = "\n".join(lines[node.lineno - 1 : node.end_lineno]).replace("# fmt: skip", "")
            has_text = (
                isinstance(after, ast.Expr)
                and isinstance(after.value, ast.Constant)
                and isinstance(after.value.value, str)
            )
            if not has_text and "#" not in beside and not lines[node.lineno - 2].lstrip().startswith("#"):
                bare.append(f"{path.relative_to(ROOT)}:{node.lineno}: {lines[node.lineno - 1]}")
    return bare


def test_numbers_have_their_reason_beside_them() -> None:
    """Text under them, a comment beside them, or one over them."""
    assert not (bare := without_reason()), "\n".join(bare)


def told_by_hand(tree: ast.Module) -> Iterator[str]:
    """Yield where a module rounds a number to a count of digits that it writes itself."""
    for node in nodes(tree):
        if isinstance(node, ast.Call) and annotation(node.func).rpartition(".")[2] == "round":
            digits = node.args[-1:] if len(node.args) == 2 or isinstance(node.func, ast.Attribute) else []
            if any(isinstance(number, ast.Constant) for number in digits):
                yield f"{node.lineno}: {ast.unparse(node)}"
        elif isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            if re.search(r"\.\d+[efg%]", ast.unparse(node.format_spec)):
                yield f"{node.lineno}: {ast.unparse(node)}"
        elif isinstance(node, ast.Constant) and re.search(r"%\.\d+[efg]", str(node.value)):
            yield f"{node.lineno}: {node.value}"


@pytest.mark.parametrize("room", TOLD_BY_HAND)
def test_figures_are_rounded_in_one_place(room: str) -> None:
    """A ratchet: what writes figures asks `ground.figures` how many digits, by their quantity."""
    found = [
        f"{module}:{place}"
        for module, (_, tree) in sources().items()
        if room_of(module) == room
        for place in told_by_hand(tree)
    ]
    assert len(found) <= TOLD_BY_HAND[room], "\n".join(found)


def test_every_input_error_is_whole() -> None:
    """Each `PlugError` names the parameter, shows its value, says why and what to do."""
    whole = {"param", "value", "reason", "remedy"}
    poor = [
        f"{module}:{node.lineno}"
        for module, (_, tree) in sources().items()
        for node in nodes(tree)
        if isinstance(node, ast.Call)
        and annotation(node.func) == "PlugError"
        and not whole <= {k.arg for k in node.keywords}
    ]
    assert not poor, "\n".join(poor)


def test_every_outside_check_is_named_with_its_source() -> None:
    """`SOURCES.md` has a row for each file in `tests/reference`, and for no other."""
    folder = ROOT / "tests" / "reference"
    text = (folder / "SOURCES.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([a-z_0-9]+\.py)`", text))
    there = {file.name for file in folder.glob("*.py")} - {"__init__.py"}
    assert there - named == set()
    assert named - there == set()


# ---- what a command loads


def loaded(program: str, *arguments: str) -> set[str]:
    """Return the libraries, and our modules, in memory at the end of a program run in its own process."""
    ending = (
        "\nimport sys\nprint('\\n' + ' '.join(sorted("
        "{m if m.startswith('plugs.') else m.partition('.')[0] for m in sys.modules})))"
    )
    run = subprocess.run(
        [sys.executable, "-c", program + ending, *arguments],
        cwd=ROOT, capture_output=True, text=True, timeout=600, check=True,
    )  # fmt: skip
    return set(run.stdout.splitlines()[-1].split())


HEAVY = {
    "numpy",
    "shapely",
    "manifold3d",
    "trimesh",
    "scipy",
    "ezdxf",
    "OCP",
    "cadquery",
    "vtkmodules",
    "matplotlib",
}
KERNEL = {"OCP", "cadquery", "vtkmodules", "ezdxf", "trimesh", "scipy", "matplotlib"}
NEVER = {"pydoc", "unittest", "asyncio", "multiprocessing", "xml"}
"""Parts of Python that libraries bring along and no check asks for."""

RUN = "import sys\nfrom plugs.cli import main\ntry:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"


def test_import_of_the_package_is_light() -> None:
    """`import plugs` loads no library."""
    assert not loaded("import plugs") & HEAVY


@pytest.mark.parametrize("arguments", [("--help",), ("build", "--help"), ("unheard-of",)])
def test_help_is_light(arguments: tuple[str, ...]) -> None:
    """Help and a command that there is not load no library."""
    assert not loaded(RUN, *arguments) & HEAVY


def test_check_needs_no_kernel() -> None:
    """`check` works a recipe out without kernel or drawing library; bare foam without what lays cloth."""
    names = loaded(RUN, "check", "recipes/seat_hump.py")
    assert "manifold3d" in names
    assert not names & (KERNEL | NEVER)
    rooms = {room_of(name) for name in names if name.count(".") > 1}
    assert {"mesh", "foam", "nesting"} <= rooms
    assert not rooms & {"drape", "drafting", "subjects", "paper", "pictures", "summary", "book"}
    assert not names & {"plugs.stages.laying", "plugs.stages.cloth", "plugs.cloth.patterns"}


@pytest.mark.parametrize(
    "text", ["def wrong(:\n", "def wrong(a=1.0):\n    return a\n", "import nowhere_at_all\n"]
)
def test_wrong_recipe_needs_no_kernel(text: str, tmp_path: Path) -> None:
    """A recipe that cannot be built is refused before the kernel is asked for."""
    recipe = tmp_path / "wrong.py"
    recipe.write_text(text, encoding="utf-8")
    assert not loaded(RUN, "build", str(recipe), "--out", str(tmp_path / "out")) & KERNEL
    assert not (tmp_path / "out").exists()


def test_no_module_loads_a_late_library_when_imported() -> None:
    """All modules together can be imported without the kernel and the drawing library."""
    names = ", ".join(m for m in sources() if m != "plugs.__main__")
    assert not loaded(f"import {names}") & KERNEL
