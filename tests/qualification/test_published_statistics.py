"""Statistics of qualification against handbook and textbook numbers; each names its source."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import numpy as np
import pytest
from scipy import integrate, stats

from weldcalc.qualification import control_charts, gauge, statistics
from weldcalc.reference import data_folder

PUBLISHED: dict[str, Any] = tomllib.loads(
    (data_folder() / "statistics" / "published.toml").read_text(encoding="utf-8")
)


def rows(table: str) -> list[Any]:
    found = PUBLISHED[table]
    mark = "" if found["standing"] == "published" else f" [{found['standing']}]"
    return [pytest.param(*row, id=f"{table} {row}{mark}") for row in found["rows"]]


@pytest.mark.parametrize("table", PUBLISHED, ids=str)
def test_every_table_names_its_source(table: str) -> None:
    found = PUBLISHED[table]
    assert found["source"]
    assert found["standing"] in ("published", "from memory", "derived")
    assert "known_issues" in found


@pytest.mark.parametrize(("n", "coverage", "confidence", "k"), rows("one_sided_tolerance"))
def test_one_sided_tolerance(n: int, coverage: float, confidence: float, k: float) -> None:
    allowed = PUBLISHED["one_sided_tolerance"]["absolute"]
    assert statistics.tolerance_factor(n, coverage, confidence) == pytest.approx(k, abs=allowed)


@pytest.mark.parametrize(("n", "coverage", "confidence", "k"), rows("two_sided_tolerance"))
def test_two_sided_tolerance(n: int, coverage: float, confidence: float, k: float) -> None:
    allowed = PUBLISHED["two_sided_tolerance"]["absolute"]
    found = statistics.tolerance_factor(n, coverage, confidence, sides=2)
    assert found == pytest.approx(k, abs=allowed)


@pytest.mark.parametrize(("reliability", "confidence", "failures", "n"), rows("coupons"))
def test_coupons_needed(reliability: float, confidence: float, failures: int, n: int) -> None:
    assert statistics.coupons_needed(reliability, confidence, failures) == n


def test_capability_interval() -> None:
    told = PUBLISHED["capability"]
    keys = ("n", "mean", "sd", "low", "high", "confidence")
    found = statistics.capability_from_summary(**{key: told[key] for key in keys})
    assert found.cp == pytest.approx(told["cp"], abs=told["absolute"])
    wanted = (told["cp_low"], told["cp_high"])
    assert found.cp_interval == pytest.approx(wanted, abs=told["absolute"])
    assert found.cpk == found.cp  # the mean lies in the middle


def test_normality() -> None:
    told = PUBLISHED["normality"]
    found = statistics.normality(told["values"])
    assert found.statistic == pytest.approx(told["statistic"], abs=told["absolute"])
    assert found.p_value is not None
    assert found.p_value < told["p_below"]
    assert found.doubtful


def test_one_outlier() -> None:
    told = PUBLISHED["grubbs"]
    found = statistics.outliers(told["values"], significance=told["significance"], most=1)
    assert found.statistics[0] == pytest.approx(told["statistic"], abs=told["absolute"])
    assert found.critical[0] == pytest.approx(told["critical"], abs=told["absolute"])
    assert found.positions == (told["outlier"],)


def test_several_outliers() -> None:
    told = PUBLISHED["rosner"]
    found = statistics.outliers(told["values"], significance=told["significance"], most=10)
    assert found.statistics == pytest.approx(told["statistics"], abs=told["absolute"])
    assert found.critical == pytest.approx(told["critical"], abs=told["absolute"])
    assert found.positions == (53, 52, 51)
    assert len(found.names) == told["outliers"]


def test_individuals_chart() -> None:
    told = PUBLISHED["individuals"]
    chart = control_charts.individuals(told["values"])
    for key in ("centre", "high", "low"):
        assert getattr(chart, key) == pytest.approx(told[key], abs=told["absolute"])
    assert chart.ranges.mean() == pytest.approx(told["mean_range"], abs=told["absolute"])


def test_weighted_average_chart() -> None:
    told = PUBLISHED["weighted_average"]
    found = control_charts.weighted_average(
        told["values"], centre=told["centre"], sigma=told["sigma"], weight=told["weight"]
    )
    wanted = np.array(told["average"])
    seen = np.isfinite(wanted)
    assert seen.sum() == 18
    assert found.average[seen] == pytest.approx(wanted[seen], abs=told["absolute"])
    # the page gives the limits of a long series; the last of 20 has reached them
    for key in ("high", "low"):
        assert getattr(found, key)[-1] == pytest.approx(told[key], abs=told["limit_absolute"])


def mean_range(n: int) -> float:
    """d2 by quadrature: expected range of n standard normal values."""

    def inside(x: float) -> float:
        return 1 - stats.norm.cdf(x) ** n - stats.norm.sf(x) ** n

    return integrate.quad(inside, -9, 9, epsabs=1e-10)[0]


def square_range(n: int) -> float:
    """Expected square of the range, from its distribution function, by quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    r, x = 6 * (nodes[:, None] + 1), 9 * nodes[None, :]
    share = stats.norm.cdf(x + r) - stats.norm.cdf(x)
    within = n * (9 * weights) @ (stats.norm.pdf(x) * share ** (n - 1)).T
    return float((6 * weights) @ (2 * r[:, 0] * (1 - within)))


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_repeat_constants_are_the_inverse_of_the_mean_range(n: int) -> None:
    told = PUBLISHED["ranges"]["d2"][str(n)]
    assert mean_range(n) == pytest.approx(told, abs=5.1e-4)
    assert gauge.REPEAT[n] == pytest.approx(1 / mean_range(n), abs=1e-4)


@pytest.mark.parametrize("n", range(2, 11))
def test_single_range_constants_are_the_inverse_of_its_root_mean_square(n: int) -> None:
    assert gauge.SINGLE[n] == pytest.approx(1 / math.sqrt(square_range(n)), abs=1e-4)


def test_chart_constants() -> None:
    told = PUBLISHED["ranges"]
    mean = mean_range(2)
    spread = math.sqrt(square_range(2) - mean**2)
    d4, e2 = control_charts.D4_OF_TWO, 3 / control_charts.D2_OF_TWO
    assert d4 == told["d4_of_two"]
    assert d4 == pytest.approx(1 + 3 * spread / mean, abs=5e-4)
    assert e2 == pytest.approx(told["e2_of_two"], abs=5e-4)
