"""Full-size paper comes by group: what is asked for, one file each, and symmetrical outlines as halves."""

from __future__ import annotations

import io
from pathlib import Path as FilePath

import numpy as np
import pypdf
import pytest
import shapely

from plugs.build import build
from plugs.drafting.drawing import Drawing, Label, Path, path_bounds
from plugs.drafting.flat import flat_points
from plugs.drawings import layer_drawings, paper_jobs, template_drawings
from plugs.ground.errors import PlugError
from plugs.ground.paper import GROUPS, USUAL_GROUPS
from plugs.paper.halves import half_of
from tests.demos import RECIPES, at_defaults, defaults_of, drawn
from tests.reference.pdf_walk import full_size_pdf, strokes
from tests.reference.pdf_walk import opened as read


def test_each_group_is_a_file_and_its_pages_are_counted(tmp_path: FilePath) -> None:
    """The usual groups unless others are asked for; pages as a reader counts them; nothing empty."""
    shelf = defaults_of("bonnet_scoop")
    made = build(RECIPES / "bonnet_scoop.py", {}, out=tmp_path / "a", kinds=("pdf",), shelf=shelf)
    found = {one["file"]: one["pages"] for one in made.summary["paper"]["files"]}
    assert set(found) == {"paper/templates.pdf", "paper/blocks.pdf"}, "it has no pockets"
    for name, pages in found.items():
        content = (tmp_path / "a" / name).read_bytes()
        assert len(pypdf.PdfReader(io.BytesIO(content)).pages) == pages
    assert made.summary["paper"]["pages"] == sum(found.values())
    other = build(
        RECIPES / "bonnet_scoop.py", {}, out=tmp_path / "b", kinds=("pdf",), paper=("base",), shelf=shelf
    )
    assert [one["file"] for one in other.summary["paper"]["files"]] == ["paper/base.pdf"]
    with pytest.raises(PlugError, match="--paper") as caught:
        build(RECIPES / "bonnet_scoop.py", {}, out=tmp_path / "c", paper=("hats",))
    assert all(group in caught.value.remedy for group in GROUPS)


def test_every_drawing_that_can_be_printed_belongs_to_one_group() -> None:
    """Layers and templates of the main demo: all are in the jobs of all groups, each once."""
    work = at_defaults("sidecar_tail")
    drawings = drawn(work, layer_drawings, template_drawings)
    jobs = paper_jobs(work, tuple(GROUPS), drawings)
    stems = [stem for job in jobs for stem in job.stems]
    assert sorted(stems) == sorted(drawings)
    assert {job.path for job in jobs} == {
        f"paper/{g}.pdf" for g in ("templates", "blocks", "pockets", "base", "layers")
    }
    assert work.plug.paper_groups == USUAL_GROUPS


def egg(up: float) -> Drawing:
    """Return an outline of lines and arcs, its lower half of some height, a hole and words on both sides."""
    points = [(0.0, 100.0), (0.0, -up), (300.0, -up), (300.0, 100.0)]
    rim = Path(
        points=points,
        bulges=[0.0, 0.0, 50.0 / (0.5 * (100.0 + up)), 0.0],
        is_closed=True,
        dxf_layer="CUT_LINE",
    )
    holes = [
        Path(points=[(50.0, y), (60.0, y)], bulges=np.ones(2), is_closed=True, dxf_layer="CUT_LINE")
        for y in (50.0, -50.0)
    ]
    words = {"ABOVE": (150.0, 50.0), "BELOW": (150.0, -50.0), "TITLE": (0.0, -up - 40.0)}
    labels = tuple(Label(text=text, at=at, height=5.0) for text, at in words.items())
    return Drawing(path="egg", title="egg", paths=(rim, *holes), labels=labels)


def test_a_half_is_half_and_no_word_is_lost() -> None:
    """Every point of it is one of the whole, to 0.05 mm on paper, none of the lower half; all words stay."""
    whole = egg(100.0)
    half = half_of(whole)
    assert min(path_bounds(path)[1] for path in half.paths) >= 0.0
    line = shapely.union_all([shapely.linestrings(flat_points(p, tolerance=0.001)) for p in whole.paths])
    upper = shapely.intersection(line, shapely.box(-1.0, 0.0, 400.0, 200.0))
    cut = [
        shapely.linestrings(flat_points(p, tolerance=0.001)) for p in half.paths if p.dxf_layer == "CUT_LINE"
    ]
    assert shapely.union_all(cut).length == pytest.approx(upper.length, rel=1e-4)
    (centre,) = [path for path in half.paths if path.dxf_layer == "CENTRELINE"]
    assert centre.points.tolist() == [[0.0, 0.0], [350.0, 0.0]]
    told = " ".join(label.text for label in half.labels)
    assert all(word in told for word in ("ABOVE", "BELOW", "TITLE", "flip it over"))
    reader = read(full_size_pdf([half], paper="A3", title="t"))
    (page,) = [page for page in reader.pages if "page map" not in page.extract_text()]
    (drawn,) = [s for s in strokes(reader, page) if s.form and len(s.points) > 20]
    across = np.ptp(drawn.points, axis=0)
    assert sorted(across) == pytest.approx([100.0, 350.0], abs=0.05)


def test_what_differs_from_side_to_side_is_printed_whole() -> None:
    """A tenth of a millimetre is a difference."""
    whole = egg(100.2)
    assert half_of(whole) is whole
