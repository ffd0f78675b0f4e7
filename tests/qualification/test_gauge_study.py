"""Gauge study: split of scatter, against an independent least-squares fit, and its file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.qualification.gauge import gauge_study
from weldcalc.qualification.gauge_file import read_gauge_readings

HEAD = "appraiser,part,trial,penetration [mm]\n"


def readings(seed: int = 3, shape: tuple[int, int, int] = (3, 4, 6)) -> np.ndarray:
    rng = np.random.default_rng(seed)
    people = 0.4 * rng.standard_normal((shape[0], 1, 1))
    parts = 2.0 * rng.standard_normal((1, 1, shape[2]))
    return people + parts + 0.3 * rng.standard_normal(shape)


def test_repeatability_is_the_residual_of_a_fit_with_dummies() -> None:
    array = readings()
    people, _, parts = np.indices(array.shape).reshape(3, -1)
    dummies = np.hstack([np.eye(3)[people], np.eye(6)[parts][:, 1:]])
    left = np.linalg.lstsq(dummies, array.ravel(), rcond=None)[1][0]
    expected = np.sqrt(left / (array.size - 3 - 5))
    assert gauge_study(array, "anova").repeatability == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("method", ["anova", "average-range"])
def test_parts_add_up_and_scale(method: str) -> None:
    array = readings(shape=(3, 3, 8))
    found, larger = gauge_study(array, method), gauge_study(1000 * array + 5, method)
    assert found.gauge == pytest.approx(np.hypot(found.repeatability, found.reproducibility))
    assert found.total == pytest.approx(np.hypot(found.gauge, found.part))
    assert found.gauge_share == pytest.approx(found.gauge / found.total)
    assert larger.part == pytest.approx(1000 * found.part)
    assert larger.categories == found.categories


@pytest.mark.parametrize("method", ["anova", "average-range"])
def test_planted_scatter_is_found_again(method: str) -> None:
    found = gauge_study(readings(seed=11, shape=(3, 5, 10)), method)
    assert found.repeatability == pytest.approx(0.3, rel=0.2)
    assert found.part == pytest.approx(2.0, rel=0.5)


def test_same_appraisers_differ_by_nothing() -> None:
    array = readings(seed=2)
    array -= array.mean(axis=(1, 2), keepdims=True)
    found = gauge_study(array, "anova")
    assert found.reproducibility == 0.0
    assert any("No difference between appraisers" in text for text in found.statements)


@pytest.mark.parametrize(
    ("array", "method", "match"),
    [
        (np.zeros((3, 3)), "anova", "shape"),
        (np.zeros((1, 3, 5)), "anova", "at least 2 appraisers"),
        (np.full((2, 2, 2), np.nan), "anova", "every appraiser"),
        (np.ones((2, 2, 2)), "anova", "too coarse"),
        (np.zeros((2, 2, 11)), "average-range", "end at 10 parts"),
        (np.zeros((2, 2, 2)), "guess", "average-range"),
    ],
)
def test_refusals(array: np.ndarray, method: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        gauge_study(array, method)


def test_file_is_read_in_any_order_of_rows(tmp_path: Path) -> None:
    file = tmp_path / "study.csv"
    lines = [f"{a},{p},{t},{0.1 * p + t / 100:.2f}\n" for p in (1, 2) for t in (1, 2) for a in "AB"]
    file.write_text(HEAD + "".join(lines))
    found = read_gauge_readings(file)
    assert found.readings.shape == (2, 2, 2)
    assert found.readings[1, 0] == pytest.approx([0.11e-3, 0.21e-3])
    assert (found.feature, found.appraisers, found.parts) == ("penetration", ("A", "B"), ("1", "2"))


def test_every_gap_and_repeat_of_a_file_is_reported(tmp_path: Path) -> None:
    file = tmp_path / "study.csv"
    file.write_text(HEAD + "A,1,1,0.2\nA,1,1,0.2\nA,2,1,0.3\nB,1,1,0.2\n")
    with pytest.raises(InputError) as caught:
        read_gauge_readings(file)
    text = str(caught.value)
    assert "line 3: this reading stands twice" in text
    assert "appraiser B, trial 1, part 2: no reading" in text


def test_file_needs_one_measured_column(tmp_path: Path) -> None:
    file = tmp_path / "study.csv"
    file.write_text("appraiser,part,trial\nA,1,1\n")
    with pytest.raises(InputError, match="exactly one measured column"):
        read_gauge_readings(file)
