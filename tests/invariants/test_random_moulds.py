"""Moulds of plugs made by chance: parted whole, with the draft of every face, or refused; nothing else.

The plugs are those of `made_plugs`, wild ones among them; ``PLUGS_CASES`` sets how many (2 by default).
"""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest

from plugs.ground.errors import PlugError
from plugs.mesh.triangles import is_closed
from plugs.mould.parted import OPEN, corner_pairs
from plugs.mould.words import Mould
from plugs.work import work_out
from tests.invariants.made_plugs import random_plug

CASES = int(os.environ.get("PLUGS_CASES", "2"))


def test_a_random_mould_takes_the_whole_surface_or_is_refused() -> None:
    """Areas add up to the body's, the surface stays closed, draft is that of normal and pull."""
    parted = 0
    for seed in range(CASES):
        rng = np.random.default_rng([seed, 7])
        plug = replace(random_plug(seed), chord_tolerance=0.5)  # a mould is looked at in its own triangles
        try:
            loft = work_out(plug).drawn
            middle = float(np.mean(loft.table.corners[..., 1]))
            choices = [None, "centreline", middle, *[*corner_pairs(loft)][:1]]
            choice = choices[int(rng.integers(len(choices)))]
            work = work_out(replace(plug, mould=Mould(parting=choice)))
            taken = work.taken
        except PlugError as error:
            assert error.remedy
            continue
        assert taken is not None
        parted += 1
        surface, part = taken.parted.surface, taken.parted.part
        area = surface.areas_mm2
        assert is_closed(surface.triangles), (seed, choice)
        assert area.sum() == pytest.approx(work.finish.by_mesh.area_mm2, rel=0.02), (seed, choice)
        assert sum(face.area_mm2 for face in taken.drafts.faces) == pytest.approx(area.sum(), rel=1e-3)
        assert not (part == OPEN).any()
        ways = np.array([one.way for one in taken.parted.mould.parts])
        rise = np.sum(surface.normals.mean(axis=1) * ways[part], axis=1)
        draft = taken.drafts.draft_deg
        assert (np.sign(np.round(rise, 9)) * draft >= -1e-6).all(), (seed, choice)
        assert (np.abs(draft) <= 90.0).all()
        assert not (taken.drafts.is_hidden & (draft < -0.06)).any()
        for one in taken.findings:
            assert one.where and one.message and one.remedy, (seed, choice)
    assert parted
