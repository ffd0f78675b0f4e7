"""Findings along the seam and between passes: each fires and clears at its limit."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pytest
from attrs import evolve
from schedules import first_pass

from weldcalc.findings import Finding
from weldcalc.materials import material
from weldcalc.passes.pair import CoverOnRoot
from weldcalc.passes.seam_findings import NOTICED, WORST_ERROR, pair_findings, seam_findings
from weldcalc.passes.seam_history import seam_body
from weldcalc.prediction import Estimate, PassEstimate, estimate
from weldcalc.schedule import schedule_from_mapping


@pytest.fixture(scope="module")
def made() -> Estimate:
    return estimate(schedule_from_mapping(first_pass(peak_power="600 W")))


def codes(found: Iterable[Finding]) -> set[str]:
    return {finding.code for finding in found}


def along(made: Estimate, one: PassEstimate) -> set[str]:
    metal = material("Ti Grade 2")
    body = seam_body(made.schedule.joint, metal, metal)
    return codes(seam_findings(made.schedule, 0, one, body))


@pytest.mark.parametrize(("growth", "fires"), [(1.01, True), (0.99, False)])
def test_growth_is_told_from_a_few_percent(made: Estimate, growth: float, fires: bool) -> None:
    one = made.passes[0]
    width = np.linspace(1.0, 1.0 + growth * NOTICED, len(one.history.place)) * 5e-4
    seam = evolve(one.seam, history=evolve(one.history, root_width=width))
    assert ("seam-grows" in along(made, evolve(one, seam=seam))) is fires


@pytest.mark.parametrize(("share", "fires"), [(1.01, True), (-1.01, True), (0.99, False)])
def test_a_poor_interpolation_is_told(made: Estimate, share: float, fires: bool) -> None:
    one = made.passes[0]
    error = dict.fromkeys(one.seam.error, 0.0) | {"haz_width": share * WORST_ERROR}
    found = along(made, evolve(one, seam=evolve(one.seam, error=error)))
    assert ("seam-interpolation" in found) is fires


def test_a_seam_near_melting_is_told_only_then(made: Estimate) -> None:
    one = made.passes[0]
    assert "seam-near-melting" not in along(made, one)
    hot = evolve(one, seam=evolve(one.seam, too_hot=True))
    assert "seam-near-melting" in along(made, hot)


def cover(**changes: Any) -> CoverOnRoot:
    plain = CoverOnRoot(
        name="cover",
        root="root",
        remelt_depth=(1e-4, 2e-4),
        cover_margin=1e-4,
        wanted_margin=1e-4,
        melts_through=False,
    )
    return evolve(plain, **changes)


def test_cover_findings_fire_and_clear() -> None:
    assert codes(pair_findings(cover())) == set()
    assert codes(pair_findings(cover(cover_margin=0.99e-4))) == {"root-not-covered"}
    assert codes(pair_findings(cover(melts_through=True))) == {"cover-melts-through"}
