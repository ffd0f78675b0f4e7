"""The two demo schedules: invented, marked so, usable, and of one assembly."""

from __future__ import annotations

from pathlib import Path

import pytest

from weldcalc.passes.setup_findings import setup_findings
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, load_schedule

FOLDER = data_folder() / "demo"
FILES = sorted(FOLDER.glob("level_gauge_*.toml"))


@pytest.fixture(params=FILES, ids=lambda path: path.stem)
def path(request: pytest.FixtureRequest) -> Path:
    return Path(request.param)


@pytest.fixture
def demo(path: Path) -> Schedule:
    return load_schedule(path)


def test_there_are_two() -> None:
    assert [path.stem for path in FILES] == ["level_gauge_flange", "level_gauge_stem"]


def test_file_and_title_say_that_it_is_invented(path: Path, demo: Schedule) -> None:
    assert path.read_text(encoding="utf-8").startswith("# INVENTED DEMONSTRATION DATA")
    assert "invented" in demo.title.lower()
    assert demo.number.startswith("DEMO-")


def test_laser_can_do_it_and_the_fit_up_allows_it(demo: Schedule) -> None:
    assert [f for f in setup_findings(demo) if f.weight != "note"] == []


def test_written_again_it_is_equal(demo: Schedule, tmp_path: Path) -> None:
    copy = tmp_path / "copy.toml"
    copy.write_text(demo.to_toml(), encoding="utf-8")
    assert load_schedule(copy) == demo


def test_both_weld_the_same_tube() -> None:
    flange, stem = (load_schedule(path) for path in FILES)
    for key in ("material", "wall_thickness", "outside_diameter"):
        assert getattr(flange.joint, key) == getattr(stem.joint, key)
    assert (stem.joint.type, flange.joint.type) == ("butt", "tube-to-plate")
    assert [one.name for one in stem.passes] == ["root", "cover"]
    assert flange.laser.spot_diameter == pytest.approx(stem.laser.spot_diameter)
