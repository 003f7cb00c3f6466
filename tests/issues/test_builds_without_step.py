"""Fixed: a kernel that was too slow, or could not make the body, ended a build done but for its file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from plugs.kernel.job import KernelFault, KernelSilence
from plugs.kernel.spline_strips import StripFault
from plugs.stages import proving
from tests.cli.conftest import Plugs

pytestmark = pytest.mark.kernel
WORDS = ("build", "part.py", "--only", "csv", "--only", "step")


def summary_of(shop: Path) -> Any:
    """Return the summary of the part's build."""
    return json.loads((shop / "exports" / "part" / "summary.json").read_bytes())


@pytest.mark.parametrize(("seconds", "severity"), [(0.0, "note"), (300.0, "mind")])
def test_a_build_is_whole_without_the_kernels_file(
    shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch, seconds: float, severity: str
) -> None:
    """No answer in time, or no strips near the sections: a finding, no STEP, all else there."""
    monkeypatch.setattr(proving, "_KERNEL_SECONDS", seconds)

    def rough(_: object) -> None:
        raise StripFault("no smooth surface after 3 mm")

    if severity == "mind":
        monkeypatch.setattr(proving, "fit_strips", rough)
    run = plugs(*WORDS, "--notes")
    assert (run.status, run.err) == (0, "")
    assert f"{severity}: STEP: there is no STEP file" in run.out
    summary = summary_of(shop)
    assert [f["severity"] for f in summary["findings"] if f["code"] == "no-step"] == [severity]
    assert summary["solid"]["volume_by_kernel_m3"] is None
    assert [f["path"] for f in summary["files"] if "step" in f["path"]] == []


def test_a_kernel_that_disagrees_still_stops_the_build(
    shop: Path, plugs: Plugs, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another volume is no want of a file: nothing is written."""
    monkeypatch.setattr(proving, "KERNEL_VOLUME_RATIO", -1.0)
    with pytest.raises(AssertionError, match="disagree on the volume"):
        plugs(*WORDS)
    assert not (shop / "exports").exists()


def test_the_severity_follows_the_fault() -> None:
    """A note where there was no answer; a warning where the kernel could not."""
    assert proving.no_step(KernelSilence("step", "no answer within 300 s")).severity == "note"
    assert proving.no_step(KernelFault("cut tool 1", "the body is not sound")).severity == "mind"
