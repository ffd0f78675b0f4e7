"""How far a calibration reaches: material, walls, surface, heat-affected widths of coupons."""

from __future__ import annotations

import pytest
from attrs import evolve
from coupon_samples import calibrated, thick_schedule

from weldcalc.calibration import calibrate
from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.materials import material
from weldcalc.passes.pulse import surface_ratio
from weldcalc.prediction import Estimate, estimate
from weldcalc.schedule import Schedule

GRADE_2 = material("Ti Grade 2")


def own() -> Calibration:
    """Return the calibration of six coupons as it is after being written to a file."""
    return evolve(calibrated(1)[2].calibration, sha256="0" * 64)


def beyond(made: Estimate) -> str:
    texts = [one.text for one in made.passes[0].findings if one.code == "beyond-validity"]
    return " ".join(texts)


def codes(made: Estimate) -> set[str]:
    return {one.code for one in made.passes[0].findings}


def other(**joint: object) -> Schedule:
    return thick_schedule().with_values("joint", **joint)


def test_it_knows_its_coupons() -> None:
    made = own()
    assert (made.material, made.walls) == ("Ti Grade 2", (0.8e-3, 0.8e-3))
    assert made.haz_coupons == 6
    assert beyond(estimate(thick_schedule(), calibration=made)) == ""


def test_before_it_is_written_it_is_the_same_calibration() -> None:
    """Its own draws and range, not those of the shipped constants round its best fit."""
    unwritten = calibrated(1)[2].calibration
    assert not unwritten.is_shipped
    assert unwritten.own is unwritten
    assert unwritten.draws(5, 1) == own().draws(5, 1)
    made, again = (estimate(thick_schedule(), calibration=one) for one in (unwritten, own()))
    assert made.passes[0].penetration_interval == again.passes[0].penetration_interval
    assert beyond(made) == ""


def test_another_wall_is_told_and_widens_the_intervals() -> None:
    thicker = other(wall_thickness=0.9e-3)
    made = estimate(thicker, calibration=own())
    assert "wall thickness 0.9 mm is outside the coupons of the calibration" in beyond(made)
    unbound = estimate(thicker, calibration=evolve(own(), walls=None))
    wide, narrow = (
        one.passes[0].penetration_interval[1] - one.passes[0].penetration_interval[0]
        for one in (made, unbound)
    )
    assert wide > narrow


def test_another_grade_of_the_family_is_told() -> None:
    made = estimate(other(material="Ti Grade 5"), calibration=own())
    assert "Ti Grade 5 is another material than that of the coupons" in beyond(made)


def test_shipped_constants_are_bound_to_no_wall() -> None:
    shipped = calibration_for(GRADE_2, None)
    item = thick_schedule().passes[0]
    same = [shipped.outside(item, material="Ti Grade 2", wall=wall) for wall in (0.1e-3, 2e-3)]
    assert same[0] == same[1] == shipped.box.outside(item)


def test_measured_heat_affected_widths_end_the_remark_that_there_are_none() -> None:
    assert "haz-not-validated" in codes(estimate(thick_schedule()))
    assert "haz-not-validated" not in codes(estimate(thick_schedule(), calibration=own()))


def test_without_them_the_remark_stays() -> None:
    coupons = calibrated(1)[1]
    bare = [
        evolve(row, measured={k: v for k, v in row.measured.items() if k != "haz_width"})
        for row in coupons.sections
    ]
    made = calibrate(thick_schedule(), evolve(coupons, sections=tuple(bare))).calibration
    assert made.haz_coupons == 0
    named = evolve(made, sha256="0" * 64)
    assert "haz-not-validated" in codes(estimate(thick_schedule(), calibration=named))


def test_heat_affected_width_has_an_error_of_its_own() -> None:
    wide = evolve(own(), error=evolve(own().error, haz=0.5))
    ends = [estimate(thick_schedule(), calibration=one).passes[0] for one in (own(), wide)]
    haz = [one.haz_width_interval[1] - one.haz_width_interval[0] for one in ends]
    assert haz[1] > 2 * haz[0]
    assert ends[0].fusion_width_interval == pytest.approx(ends[1].fusion_width_interval)


@pytest.mark.parametrize("surface", ["polished", "as machined", "matt", "oxidised"])
def test_coupons_of_the_same_surface_need_no_ratio(surface: str) -> None:
    assert surface_ratio(GRADE_2, surface, fitted_to=surface) == (1.0, 0.0)


def test_published_pulses_on_polished_metal_leave_the_spread_of_the_surface() -> None:
    ratio, spread = surface_ratio(GRADE_2, "polished")
    mean, deviation = GRADE_2.absorptivity("polished")
    assert (ratio, spread) == (1.0, pytest.approx(deviation / mean))
