"""The fitting function of calibrations against certified nonlinear problems.

Values and standard errors were certified by NIST to 11 digits; each file names its source.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from weldcalc.calibrating.fit import fit
from weldcalc.reference import data_folder

Floats = NDArray[np.float64]
FILES = sorted((data_folder() / "nist_strd").glob("*.toml"))
PROBLEMS: list[dict[str, Any]] = [tomllib.loads(p.read_text(encoding="utf-8")) for p in FILES]


def _rise(b: Floats, x: Floats) -> Floats:
    return np.asarray(b[0] * (1 - np.exp(-b[1] * x)))


MODELS: dict[str, Callable[[Floats, Floats], Floats]] = {
    "Misra1a": _rise,
    "BoxBOD": _rise,
    "Chwirut2": lambda b, x: np.exp(-b[0] * x) / (b[1] + b[2] * x),
    "DanWood": lambda b, x: b[0] * x ** b[1],
    "MGH09": lambda b, x: b[0] * (x**2 + b[1] * x) / (x**2 + b[2] * x + b[3]),
    "Thurber": lambda b, x: (
        (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1 + b[4] * x + b[5] * x**2 + b[6] * x**3)
    ),
    "Rat42": lambda b, x: b[0] / (1 + np.exp(b[1] - b[2] * x)),
    "Eckerle4": lambda b, x: (b[0] / b[1]) * np.exp(-0.5 * ((x - b[2]) / b[1]) ** 2),
}


def residuals(problem: dict[str, Any]) -> Callable[[Floats], Floats]:
    x, y = np.array(problem["x"]), np.array(problem["y"])

    def left(b: Floats) -> Floats:
        with np.errstate(over="ignore"):  # far off on a step that the search takes back
            return MODELS[problem["name"]](b, x) - y

    return left


def named(problem: dict[str, Any]) -> str:
    return str(problem["name"])


def test_there_are_easy_and_hard_problems() -> None:
    assert {problem["difficulty"] for problem in PROBLEMS} >= {"lower", "higher"}
    assert {problem["name"] for problem in PROBLEMS} == set(MODELS)


@pytest.mark.parametrize("problem", PROBLEMS, ids=named)
def test_data_are_copied_right(problem: dict[str, Any]) -> None:
    """The certified values give the certified residual sum of squares on these very data."""
    left = residuals(problem)(np.array(problem["certified"]))
    assert left @ left == pytest.approx(problem["residual_sum_of_squares"], rel=1e-9)
    unknowns = len(problem["certified"])
    assert len(problem["y"]) - unknowns == problem["degrees_of_freedom"]
    assert problem["source"]


@pytest.mark.parametrize("start", ["start_1", "start_2"])
@pytest.mark.parametrize("problem", PROBLEMS, ids=named)
def test_certified_values_and_standard_errors(problem: dict[str, Any], start: str) -> None:
    found = fit(residuals(problem), problem[start])
    assert found.values == pytest.approx(problem["certified"], rel=1e-6)
    assert found.standard_errors == pytest.approx(problem["standard_error"], rel=1e-4)


@pytest.mark.parametrize("problem", PROBLEMS, ids=named)
def test_bounds_that_hold_nothing_back_change_nothing(problem: dict[str, Any]) -> None:
    certified = np.array(problem["certified"])
    away = 5 * np.abs(certified)
    found = fit(
        residuals(problem), problem["start_2"], low=certified - away, high=certified + 6 * away
    )
    assert found.values == pytest.approx(certified, rel=1e-6)
    assert found.standard_errors == pytest.approx(problem["standard_error"], rel=1e-4)
    assert found.on_bound == ()
