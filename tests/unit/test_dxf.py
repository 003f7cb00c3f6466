"""DXF: the same bytes every time, and nothing left changed in the library behind it."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path as FilePath

import numpy as np
import pytest

from plugs.drafting.drawing import Drawing, Label, Path
from plugs.drafting.styles import CENTRELINE, FLOOR, STATION_LINES, WEAVE, line_styles, style_of
from plugs.files import dxf
from plugs.files.dxf import render_dxf

ROOT = FilePath(__file__).resolve().parents[2]


def disc_and_text(title="Höcker ü"):
    """Return a drawing with a disc of three arcs, an open line and two texts."""
    angle = np.radians([0.0, 120.0, 240.0])
    disc = Path(
        points=50.0 * np.column_stack((np.cos(angle), np.sin(angle))),
        bulges=np.full(3, np.tan(np.radians(30.0))),
        is_closed=True,
        dxf_layer="SAW_LINE",
    )
    line = Path(points=[[0.0, 0.0], [10.0, -0.0]], bulges=[0.0, 0.0], is_closed=False, dxf_layer="KEEL")
    labels = (
        Label(text=title, at=(-20.0, -70.0), height=5.0),
        Label(text="L03", at=(0.0, 0.0), height=12.0, align="centre"),
    )
    return Drawing(path="layer-03", title=title, paths=(disc, line), labels=labels)


def test_two_writes_in_different_processes_have_equal_bytes(tmp_path):
    """Neither clock nor hash seed shows in the file."""
    program = (
        "import sys, pathlib\n"
        f"sys.path[:0] = [{str(ROOT)!r}, {str(FilePath(__file__).parent)!r}]\n"
        "from test_dxf import disc_and_text\n"
        "from plugs.files.dxf import render_dxf\n"
        "pathlib.Path(sys.argv[1]).write_bytes(render_dxf(disc_and_text()).encode())\n"
    )
    digests = set()
    for seed in ("0", "1", "4"):
        target = tmp_path / f"{seed}.dxf"
        env = {**os.environ, "PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", program, str(target)], check=True, env=env, timeout=600)
        digests.add(hashlib.sha256(target.read_bytes()).hexdigest())
    digests.add(hashlib.sha256(render_dxf(disc_and_text()).encode()).hexdigest())
    assert len(digests) == 1


def test_writing_twice_in_one_process_gives_equal_bytes():
    """No counter runs on from one drawing to the next."""
    first = render_dxf(disc_and_text())
    render_dxf(disc_and_text("other"))
    assert render_dxf(disc_and_text()) == first


@pytest.mark.parametrize("before", [False, True])
def test_library_option_is_put_back(before):
    """The option that keeps the clock out is ours only while we write, also when writing fails."""
    import ezdxf

    ezdxf.options.write_fixed_meta_data_for_testing = before
    try:
        render_dxf(disc_and_text())
        assert ezdxf.options.write_fixed_meta_data_for_testing is before
        with pytest.raises(AttributeError):
            render_dxf(Drawing(path="a", title="a", paths=(None,), labels=()))
        assert ezdxf.options.write_fixed_meta_data_for_testing is before
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = False


def test_importing_the_writer_does_not_load_the_library():
    """The library takes a fifth of a second to load; only a build that writes DXF pays for it."""
    program = "import plugs.files.dxf, sys; sys.exit('ezdxf' in sys.modules)"
    subprocess.run([sys.executable, "-c", program], check=True, cwd=ROOT, timeout=600)


def test_drawing_without_lines_is_refused():
    """An empty file would be valid, and cut nothing."""
    with pytest.raises(AssertionError, match="no lines"):
        render_dxf(Drawing(path="a", title="a", paths=(), labels=()))


def test_negative_zero_and_last_bits_do_not_reach_the_file():
    """-0.0 and 0.0, 0.1 + 0.2 and 0.3 are the same place."""
    lines = render_dxf(disc_and_text()).splitlines()
    assert "-0.0" not in lines
    assert not any("0000000000" in line.partition(".")[2] for line in lines if line.strip().startswith("50."))


def written_by_the_library(drawing):
    """Return what the library writes of a drawing when it is given every line and text."""
    import io

    import ezdxf
    from ezdxf.enums import TextEntityAlignment

    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document = ezdxf.new("R2010", units=4)
        document.header["$MEASUREMENT"] = 1
        document.header.custom_vars.append("Title", drawing.title)
        for name, style in line_styles(drawing).items():
            kind = "DASH_" + "_".join(f"{part:g}" for part in style.dash) if style.dash else "Continuous"
            if kind not in document.linetypes:
                signs = (1.0, -1.0) * (len(style.dash) // 2)
                document.linetypes.add(kind, [sum(style.dash), *np.multiply(signs, style.dash).tolist()])
            document.layers.add(name, color=style.index, linetype=kind)
        space = document.modelspace()
        for path in drawing.paths:
            rows = np.column_stack((np.round(path.points, 6), np.round(path.bulges, 12))) + 0.0
            space.add_lwpolyline(
                rows.tolist(), format="xyb", close=path.is_closed, dxfattribs={"layer": path.dxf_layer}
            )
        for label in drawing.labels:
            align = TextEntityAlignment.MIDDLE_CENTER if label.align == "centre" else TextEntityAlignment.LEFT
            text = space.add_text(label.text, height=label.height, dxfattribs={"layer": label.dxf_layer})
            text.set_placement(tuple(np.round(label.at, 6) + 0.0), align=align)
        assert document.audit().errors == []
        for kind in sorted(document.entitydb.dxf_types_in_use()):  # else in the order of a set
            document.classes.add_class(kind)
        text = io.StringIO()
        document.write(text)
        return text.getvalue()
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = False


def test_lines_and_texts_are_written_as_the_library_writes_them():
    """Its document is made once for all drawings, and groups, lines and texts are put in."""
    drawing = disc_and_text("Höcker ü, 3 % ^^")
    label = Label(text="cut\rhere^^", at=(1.0 / 3.0, -1e-9), height=2.5, dxf_layer="SAW_LINE")
    drawing = replace(drawing, labels=(*drawing.labels, label))
    assert render_dxf(drawing) == written_by_the_library(drawing)
    # broken lines of two and four parts, two groups with the same, and one between them
    dashed = [replace(drawing.paths[0], dxf_layer=name) for name in (FLOOR, CENTRELINE, WEAVE, STATION_LINES)]
    assert {len(style_of(one.dxf_layer).dash) for one in dashed} == {0, 2, 4}
    drawing = replace(drawing, paths=(*dashed, *drawing.paths))
    assert render_dxf(drawing) == written_by_the_library(drawing)


def test_the_library_makes_one_document_for_all_drawings(monkeypatch):
    """Counted: a new document costs more than all lines in it."""
    monkeypatch.setattr(dxf, "_FRAMES", [])
    from ezdxf import filemanagement

    made = []
    new = filemanagement.new
    monkeypatch.setattr(filemanagement, "new", lambda *a, **k: made.append(a) or new(*a, **k))
    for title in "abc":
        group = Path(points=[[0.0, 0.0], [9.0, 0.0]], bulges=[0.0, 0.0], is_closed=False, dxf_layer=title)
        render_dxf(Drawing(path=title, title=title, paths=(group,), labels=()))
    assert len(made) == 1
