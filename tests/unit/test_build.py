"""The stages run in order, their opinions are compared, and the summary says what was found."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import plugs.stages.proving
from plugs.body.body import Shape
from plugs.build import build
from plugs.changes import recording
from plugs.files.kinds import KINDS
from plugs.files.written import FileList
from plugs.ground.doors import STAGES
from plugs.ground.errors import PlugError
from plugs.ground.figures import told
from plugs.kernel.job import KernelProof, OwnShape, SolidTool
from plugs.summary.summary import Made, summarise
from plugs.work import Work, opened
from tests.cli.conftest import PART

NOT_STEP = tuple(kind for kind in KINDS if kind != "step")
WITHOUT_PICTURES = tuple(kind for kind in NOT_STEP if kind != "png")


def quiet(_: str) -> None:
    """Be told what is being done, and say nothing."""


@pytest.fixture
def recipe(tmp_path: Path) -> Path:
    """Return the small part as a file."""
    path = tmp_path / "part.py"
    path.write_text(PART, encoding="utf-8")
    return path


def proof_of(work: Work, **changes: Any) -> KernelProof:
    """Return what a kernel says that agrees with the other two opinions, but for some fields."""
    solid = work.body
    proof = KernelProof(
        plain_volume_mm3=solid.by_sections.volume_mm3,
        plain_area_mm2=solid.by_sections.area_mm2,
        plain_centroid=solid.by_sections.centroid,
        volume_mm3=solid.by_mesh.volume_mm3,
        area_mm2=solid.by_mesh.area_mm2,
        centroid=solid.by_mesh.centroid,
        n_solids=1,
        n_free_edges=0,
        step=b"ISO-10303-21;",
        sections=(),
        seconds=(),
    )
    return dataclasses.replace(proof, **changes)


def with_shapes(work: Work, shapes: tuple[Shape, ...]) -> Any:
    """Return a work as the kernel is told of it, with other shapes of the recipe's own."""
    cutters = dataclasses.replace(work.cutters, shapes=shapes)
    return SimpleNamespace(plug=work.plug, lines=work.lines, cutters=cutters)


def kernel_saying(proof: KernelProof) -> Any:
    """Return a kernel that answers at once."""
    return SimpleNamespace(result=lambda seconds: proof)


def test_design_holds_what_the_recipe_decided(recipe: Path) -> None:
    """The parameters, one tool for the recess, no shape of its own, and no body yet."""
    work = opened(recipe, {"width": "310", "depth": 6.0})
    assert dict(work.parameters) == {
        "length": 400.0, "width": 310.0, "height": 120.0, "radius": 20.0, "crown": 5.0,
        "sheet": 50.0, "depth": 6.0,
    }  # fmt: skip
    assert work.plug.name == "Part"
    assert [tool.kind for tool in work.lines.tools] == ["cut"]
    assert work.cutters.shapes == ()
    assert "body" not in work.stages


def test_every_fault_bears_the_recipes_name(recipe: Path) -> None:
    """Faults of the shape are told with the file before their own place, in both stages."""
    with pytest.raises(PlugError) as early:
        _ = opened(recipe, {"radius": 3000.0}).lines
    assert early.value.where.startswith("part.py, station 0")
    with pytest.raises(PlugError) as late:
        _ = opened(recipe, {"depth": 200.0}).body
    assert late.value.where.startswith("part.py")


def test_progress_is_told_in_order(recipe: Path, tmp_path: Path) -> None:
    """Each stage is named as it begins; what is asked for later is named later."""
    told: list[str] = []
    build(recipe, {}, out=tmp_path / "out", kinds=WITHOUT_PICTURES, say=told.append)
    assert [*dict.fromkeys(told)] == [
        "recipe", "body", "layers", "parts", "drawings", "sheets", "solid", "files",
    ]  # fmt: skip


def test_files_are_those_of_the_summary(recipe: Path, tmp_path: Path) -> None:
    """Sizes and digests in summary.json are those of the files, read from disk."""
    kinds = tuple(kind for kind in NOT_STEP if kind != "png")
    built = build(recipe, {}, out=tmp_path / "out", kinds=kinds)
    summary = json.loads((built.folder / "summary.json").read_bytes())
    assert summary == built.summary
    for entry in summary["files"]:
        content = (built.folder / entry["path"]).read_bytes()
        assert entry["bytes"] == len(content)
        assert entry["sha256"] == hashlib.sha256(content).hexdigest()
    assert summary["recipe"]["sha256"] == hashlib.sha256(recipe.read_bytes()).hexdigest()
    for layer in summary["layers"]:
        assert layer["files"] == [f"layers/layer-{layer['name'][1:]}.{kind}" for kind in ("dxf", "svg")]


def test_summary_is_in_the_units_of_its_names(recipe: Path) -> None:
    """m3, m2 and mm, from the solid's mm3 and mm2: factors by definition."""
    work = opened(recipe, {})
    summary = work.summary
    solid, whole = summary["solid"], work.body.by_mesh
    assert solid["volume_m3"] == pytest.approx(whole.volume_mm3 / 1000.0**3, rel=1e-8)
    assert solid["area_m2"] == pytest.approx(whole.area_mm2 / 1000.0**2, rel=1e-8)
    assert solid["bounds_mm"]["to"] == pytest.approx(whole.upper, abs=1e-6)
    assert solid["volume_by_kernel_m3"] is None
    assert sum(layer["volume_m3"] for layer in summary["layers"]) == pytest.approx(
        solid["volume_m3"], rel=1e-7
    )
    first = summary["layers"][0]
    assert first["finish_area_bottom_m2"] == pytest.approx(work.layers[0].lower.area / 1e6, rel=1e-8)
    assert (first["from_mm"], first["to_mm"], first["sheet_mm"]) == (0.0, 50.0, 50.0)


def test_summary_has_no_figure_that_is_not_one(recipe: Path) -> None:
    """JSON knows no NaN; the summary is plain JSON of nothing else."""
    summary = opened(recipe, {}).summary
    assert json.loads(json.dumps(summary, allow_nan=False)) == summary


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_figure_that_is_not_finite_is_a_fault_of_ours(value: float) -> None:
    """It stops the build."""
    with pytest.raises(AssertionError, match="not finite"):
        told(value)


@pytest.mark.parametrize(
    ("value", "plain"),
    [(1.5, 1.5), (np.float64(1.5), 1.5), (np.int64(3), 3), (True, True), (None, None), ("a", "a"),
     ((1, (2.0, "b")), [1, [2.0, "b"]]), (Path("x"), "x")],
)  # fmt: skip
def test_parameters_as_json_can_hold_them(value: object, plain: object) -> None:
    """Numbers stay numbers, sequences become lists, all else text."""
    assert recording.plain(value) == plain
    assert json.loads(json.dumps(recording.plain(value))) == plain


def test_kernel_that_agrees_is_believed(recipe: Path) -> None:
    """The third opinion, when it is the same, stands in the summary."""
    work = opened(recipe, {})
    proof = proof_of(work)
    assert plugs.stages.proving.proved(work, kernel_saying(proof)) is proof
    summary = summarise(work, Made(files=FileList(), stages=frozenset(STAGES), findings=(), proof=proof))
    assert summary["solid"]["volume_by_kernel_m3"] == summary["solid"]["volume_m3"]
    assert summary["solid"]["plain"]["area_m2_by_kernel"] == summary["solid"]["plain"]["area_m2_by_sections"]


@pytest.mark.parametrize(
    ("field", "factor", "words"),
    [("plain_volume_mm3", 1.0 + 2e-5, "kernel and sections"),
     ("plain_volume_mm3", 1.0 - 2e-5, "kernel and sections"),
     ("volume_mm3", 1.01, "kernel and mesh"), ("volume_mm3", 0.99, "kernel and mesh")],
)  # fmt: skip
def test_kernel_that_disagrees_stops_the_build(recipe: Path, field: str, factor: float, words: str) -> None:
    """More than 1e-5 from the sections, or more than the chord tolerance from the mesh."""
    work = opened(recipe, {})
    proof = proof_of(work)
    with pytest.raises(AssertionError, match=words):
        plugs.stages.proving.proved(
            work, kernel_saying(dataclasses.replace(proof, **{field: factor * getattr(proof, field)}))
        )


def test_open_kernel_solid_stops_the_build(recipe: Path) -> None:
    """It is never exported; a faulty one is no answer at all, the kernel refuses it itself."""
    work = opened(recipe, {})
    with pytest.raises(AssertionError, match="not sound"):
        plugs.stages.proving.proved(work, kernel_saying(proof_of(work, n_free_edges=2)))


def test_sections_that_disagree_with_the_mesh_stop_the_build(
    recipe: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A body one part in a hundred too large is never cut."""
    import plugs.body.body as room

    honest = room.integrate

    def swollen(*arguments: Any) -> Any:
        found = honest(*arguments)
        return dataclasses.replace(found, volume_mm3=1.01 * found.volume_mm3)

    monkeypatch.setattr(room, "integrate", swollen)
    with pytest.raises(AssertionError, match="disagree"):
        _ = opened(recipe, {}).body


def test_kernel_job_works_in_the_order_of_the_mesh(tmp_path: Path) -> None:
    """All that is added comes before all that is cut, tools before the recipe's own shapes."""
    path = tmp_path / "part.py"
    path.write_text(
        PART.replace(
            "rear=End",
            'bosses=(Boss(panel="deck", x=80.0, across=0.0, width=40.0, height=40.0, rise=6.0),), rear=End',
        ),
        encoding="utf-8",
    )
    work = opened(path, {})
    own = tuple(
        Shape(param=f"{kind}[0]", kind=kind, brep=kind.encode(), body=SimpleNamespace())  # type: ignore[arg-type]
        for kind in ("add", "cut")
    )
    job = plugs.stages.proving.kernel_job(with_shapes(work, own))
    assert job.name == "Part"
    assert [(type(tool), tool.kind) for tool in job.tools] == [
        (SolidTool, "add"), (OwnShape, "add"), (SolidTool, "cut"), (OwnShape, "cut"),
    ]  # fmt: skip


def test_the_present_folder_gets_the_build_by_default(
    recipe: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without an --out the folder is exports/NAME."""
    monkeypatch.chdir(tmp_path)
    built = build(recipe, {}, kinds=("csv",))
    assert built.folder == Path("exports") / "part"
    assert sorted(p.name for p in built.folder.rglob("*") if p.is_file()) == [
        "fit-list.csv", "outlines.csv", "pieces.csv", "pins.csv", "record.json", "summary.json",
    ]  # fmt: skip
