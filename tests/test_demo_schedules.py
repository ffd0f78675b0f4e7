"""The invented demo schedules: sound as they are shipped."""

from __future__ import annotations

from weldcalc import page
from weldcalc.prediction import Estimate, estimate
from weldcalc.records.split import heat_splits
from weldcalc.reference import data_folder
from weldcalc.schedule import load_schedule


def demo(name: str) -> Estimate:
    return estimate(load_schedule(data_folder() / "demo" / f"level_gauge_{name}.toml"))


def test_demo_stem_is_sound() -> None:
    made = demo("stem")
    root, cover = made.passes
    assert not [one for one in made.all_findings() if one.weight == "stop"]
    assert root.least_root_width is not None
    assert root.least_root_width >= 0.2e-3
    assert made.covers[0].covers
    assert not made.covers[0].melts_through
    assert 0.25 < cover.penetration_fraction < 0.75
    assert cover.mean_irradiance < 0.5 * root.mean_irradiance


def test_demo_flange_is_sound() -> None:
    made = demo("flange")
    (seal,) = made.passes
    assert not [one for one in made.all_findings() if one.weight == "stop"]
    assert seal.engine == "section"
    assert seal.guaranteed_penetration >= 0.4e-3
    assert seal.fused_area is not None
    assert min(seal.fused_area.values()) > 0.25 * sum(seal.fused_area.values())


def test_a_butt_joint_shares_nothing() -> None:
    assert heat_splits(demo("stem")) == []
    assert page.heat_split({"computed": {"heat_split": []}}).html == ""
