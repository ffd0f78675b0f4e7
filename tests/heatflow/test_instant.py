"""Instant answers: published pulses inside their intervals, trends, and refusals."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from weldcalc.errors import InputError
from weldcalc.heatflow import closed_form
from weldcalc.heatflow.instant import Answer, InstantEstimate, instant_estimate
from weldcalc.heatflow.pulse_pictures import Means, PulseOnSheet
from weldcalc.materials import Material, material
from weldcalc.reference import read_csv
from weldcalc.reference_rows import Row

PULSES = [row for row in read_csv("published/laser_pulses.csv") if row["mode"] == "spot"]
TITANIUM = material("Ti Grade 2")
ROOT: dict[str, float] = {
    "peak_power": 390.0,
    "pulse_duration": 5e-3,
    "spot_diameter": 0.4e-3,
    "thickness": 0.4e-3,
}


def grade_of(row: Row) -> Material:
    return material("316L" if "316L" in row["material"] else "Ti-6Al-4V")


def number(row: Row, column: str) -> float:
    found = row.number(column)
    assert found is not None
    return found


def estimate(row: Row) -> InstantEstimate:
    """Instant answer for a published pulse on thick, polished metal."""
    grade = grade_of(row)
    return instant_estimate(
        grade,
        peak_power=number(row, "peak_power_W"),
        pulse_duration=number(row, "pulse_ms") * 1e-3,
        spot_diameter=number(row, "spot_diameter_mm") * 1e-3,
        thickness=3e-3,
        profile=row["profile"],
        absorptivity=grade.absorptivity("polished")[0],
    )


def holds(answer: Answer[float], measured: float) -> bool:
    return answer.low <= measured <= answer.high


def having(column: str) -> list[Row]:
    return [row for row in PULSES if row.number(column) is not None]


# Published pulses


@pytest.mark.parametrize("row", having("depth_mm"), ids=lambda row: row["id"])
def test_interval_holds_the_published_depth(row: Row) -> None:
    """Each row names its source; in-sample: the intervals were set on these rows."""
    answer = estimate(row).penetration
    if "lower bound on melt depth" in row["note"]:
        assert number(row, "depth_mm") * 1e-3 <= answer.high, row.source
    else:
        assert holds(answer, number(row, "depth_mm") * 1e-3), row.source


@pytest.mark.parametrize("row", having("width_mm"), ids=lambda row: row["id"])
def test_interval_holds_the_published_width(row: Row) -> None:
    assert holds(estimate(row).fusion_width, number(row, "width_mm") * 1e-3), row.source


@pytest.mark.parametrize("row", having("absorptance"), ids=lambda row: row["id"])
def test_mode_fits_the_published_absorptance(row: Row) -> None:
    """A flat polished melt absorbs 0.31 (Simonds 2018); 0.45 and more takes a keyhole."""
    mode, absorptance = estimate(row).mode, number(row, "absorptance")
    possible = {mode.low, mode.value, mode.high}
    if absorptance < 0.33:
        assert possible <= {"conduction", "transition"}, row.source
    if absorptance > 0.45:
        assert possible <= {"transition", "keyhole"}, row.source


@pytest.mark.parametrize("row", having("time_to_melt_ms"), ids=lambda row: row["id"])
def test_disc_melts_when_it_was_seen_to_melt(row: Row) -> None:
    """Simonds 2018, table III, with the row's own absorptance: within 25 %."""
    pulse = PulseOnSheet(
        material=grade_of(row),
        power=number(row, "peak_power_W"),
        duration=number(row, "pulse_ms") * 1e-3,
        radius=number(row, "spot_diameter_mm") * 0.5e-3,
        thickness=3e-3,
        gaussian=row["profile"] == "gaussian",
        preheat=293.15,
    )
    seen = number(row, "time_to_melt_ms") * 1e-3
    assert pulse.melting_time(number(row, "absorptance")) == pytest.approx(seen, rel=0.25)
    answer = estimate(row).time_to_melt
    assert answer.low is not None
    assert answer.high is not None
    assert answer.low <= seen <= answer.high


def test_sharp_focus_reaches_through_2_mm_of_titanium() -> None:
    """40 J in 10 ms at the sharpest focus: through 2.0 mm CP titanium (KAKENHI 05771762)."""
    answer = instant_estimate(
        TITANIUM, peak_power=4e3, pulse_duration=10e-3, spot_diameter=0.4e-3, thickness=2e-3
    )
    assert answer.mode.value == "keyhole"
    assert answer.penetration.value == 2e-3


# Trends and limits


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("peak_power", np.geomspace(130.0, 1200.0, 12)),
        ("pulse_duration", np.geomspace(0.6e-3, 9e-3, 8)),
        ("preheat", np.array([293.15, 400.0, 600.0, 900.0])),
        ("absorptivity", np.array([0.2, 0.3, 0.4, 0.6, 0.9])),
    ],
)
def test_more_heat_never_makes_a_smaller_pool(name: str, values: np.ndarray) -> None:
    """Also where the shown picture changes from conduction to keyhole."""
    thick = {**ROOT, "thickness": 3e-3, "spot_diameter": 0.3e-3, "peak_power": 350.0}
    found = [instant_estimate(TITANIUM, **{**thick, name: float(value)}) for value in values]
    assert "widened" not in "".join(one.penetration.validity for one in found)
    for size in ("penetration", "fusion_width", "least_energy"):
        assert np.all(np.diff([getattr(one, size).value for one in found]) >= 0), size


@pytest.mark.parametrize("profile", ["top-hat", "gaussian"])
def test_every_interval_holds_its_value(profile: str) -> None:
    for power in (20.0, 100.0, 390.0, 2000.0):
        answer = instant_estimate(TITANIUM, **{**ROOT, "peak_power": power}, profile=profile)
        for name in ("penetration", "fusion_width", "haz_width", "least_energy"):
            one = getattr(answer, name)
            assert one.low <= one.value <= one.high, name
            assert one.formula
            assert one.validity


def test_weak_pulse_melts_nothing() -> None:
    answer = instant_estimate(TITANIUM, **{**ROOT, "peak_power": 5.0})
    assert answer.mode.value == "conduction"
    assert answer.penetration.high == 0.0
    assert answer.fusion_width.high == 0.0
    assert answer.least_energy.high == 0.0
    assert answer.time_to_melt.value is None


def test_wall_is_the_most_that_can_be_penetrated() -> None:
    answer = instant_estimate(TITANIUM, **{**ROOT, "peak_power": 3000.0})
    assert answer.penetration.value == answer.penetration.high == ROOT["thickness"]


def test_thin_wall_melts_at_less_power_than_thick_metal() -> None:
    """The far face sends heat back, so the same conduction pulse melts more."""
    weak = {**ROOT, "peak_power": 150.0, "pulse_duration": 8e-3}
    thin = instant_estimate(TITANIUM, **{**weak, "thickness": 0.3e-3})
    thick = instant_estimate(TITANIUM, **{**weak, "thickness": 5e-3})
    assert thin.mode.value != "keyhole"
    assert thin.fusion_width.value > thick.fusion_width.value


def test_absorptivity_of_the_surface_widens_the_interval() -> None:
    mean, _ = TITANIUM.absorptivity("as machined")
    given = instant_estimate(TITANIUM, **ROOT, absorptivity=mean)
    guessed = instant_estimate(TITANIUM, **ROOT)
    assert guessed.fusion_width.value == pytest.approx(given.fusion_width.value)
    assert guessed.fusion_width.high > given.fusion_width.high


def test_outside_the_checked_range_says_so_and_widens() -> None:
    inside = instant_estimate(TITANIUM, **{**ROOT, "spot_diameter": 0.31e-3})
    outside = instant_estimate(TITANIUM, **{**ROOT, "spot_diameter": 0.3101e-3})
    assert "spot diameter" not in inside.fusion_width.validity
    assert "spot diameter 0.12 to 0.31 mm" in outside.fusion_width.validity
    ratio = outside.fusion_width.high / inside.fusion_width.high
    assert 1.25 < ratio < 1.4


def test_heat_affected_width_names_its_isotherm_and_its_standing() -> None:
    answer = instant_estimate(TITANIUM, **ROOT).haz_width
    assert TITANIUM.haz_isotherm_name in answer.formula
    assert "not validated" in answer.validity


# Parts of the pictures


def sheet(**changes: Any) -> PulseOnSheet:
    given = {
        "material": TITANIUM,
        "power": 100.0,
        "duration": 5e-3,
        "radius": 0.2e-3,
        "thickness": 0.4e-3,
        "gaussian": False,
        "preheat": 293.15,
    }
    return PulseOnSheet(**{**given, **changes})


def test_means_give_back_enthalpy_and_conductivity_integral() -> None:
    means = Means.over(TITANIUM, 293.15, 3000.0)
    span = 3000.0 - 293.15
    heat = TITANIUM.density_rt * float(TITANIUM.enthalpy(3000.0))
    assert means.volumetric_heat * span == pytest.approx(heat, rel=1e-9)
    temperature = np.linspace(293.15, 3000.0, 100_001)
    integral = np.trapezoid(TITANIUM.thermal_conductivity(temperature), temperature)
    assert means.thermal_conductivity * span == pytest.approx(integral, rel=1e-3)


def slab_rise(depth: float, *, flux: float, time: float, thickness: float, means: Means) -> float:
    """Slab heated on one face, insulated on the other, by its Fourier series.

    Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed., 1959, section 3.8 (from memory).
    """
    from_back, n = thickness - depth, np.arange(1, 400)
    fourier = means.diffusivity * time / thickness**2
    waves = (-1.0) ** n / n**2 * np.exp(-(n**2) * np.pi**2 * fourier)
    waves = waves * np.cos(n * np.pi * from_back / thickness)
    shape = fourier + (3 * from_back**2 - thickness**2) / (6 * thickness**2)
    return flux * thickness / means.thermal_conductivity * (shape - 2 / np.pi**2 * waves.sum())


def test_wide_spot_heats_the_sheet_as_a_slab() -> None:
    """Mirror images against the Fourier series of a slab, at the heated face."""
    wide = sheet(radius=10e-3, power=30e3)
    means = Means.over(TITANIUM, 293.15, TITANIUM.boiling_point)
    flux = 0.4 * 30e3 / (np.pi * 10e-3**2)
    rise = slab_rise(0.0, flux=flux, time=5e-3, thickness=0.4e-3, means=means)
    ratio = rise / (TITANIUM.boiling_point - 293.15)
    assert wide.boiling_ratio(0.4) == pytest.approx(ratio, rel=1e-4)


@pytest.mark.parametrize("gaussian", [False, True])
def test_wide_spot_melts_the_sheet_as_a_slab(gaussian: bool) -> None:
    """Depth of the melting isotherm against the slab, highest over a fine grid of times."""
    flux, radius = 4e8, 20e-3
    power = flux * np.pi * radius**2 / (0.4 * (2 if gaussian else 1))
    wide = sheet(radius=radius, power=power, duration=2e-3, gaussian=gaussian)
    means = Means.over(TITANIUM, 293.15, TITANIUM.liquidus)

    def peak(depth: float) -> float:
        slab = {"flux": flux, "thickness": 0.4e-3, "means": means}
        return max(
            slab_rise(depth, time=time, **slab)
            - (slab_rise(depth, time=time - 2e-3, **slab) if time > 2e-3 else 0.0)
            for time in 2e-3 * np.linspace(1.0, 3.0, 200)
        )

    depth = wide.conduction(0.4).depth
    assert 0 < depth < 0.4e-3
    assert peak(depth) == pytest.approx(wide.melting_temperature - 293.15, rel=0.01)


def test_boiling_ratio_of_thick_metal_is_the_disc_form() -> None:
    means = Means.over(TITANIUM, 293.15, TITANIUM.boiling_point)
    disc = closed_form.disc_axis_rise(
        heat_flux=0.4 * 100.0 / (np.pi * 0.2e-3**2),
        radius=0.2e-3,
        time=5e-3,
        thermal_conductivity=means.thermal_conductivity,
        diffusivity=means.diffusivity,
    )
    expected = disc / (TITANIUM.boiling_point - 293.15)
    assert sheet(thickness=20e-3).boiling_ratio(0.4) == pytest.approx(expected, rel=1e-6)


# Refusals


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"peak_power": 0.0}, "peak_power"),
        ({"pulse_duration": np.nan}, "pulse_duration"),
        ({"preheat": 1950.0}, "solidus"),
        ({"absorptivity": 1.4}, "absorptivity"),
        ({"profile": "ring"}, "profile"),
    ],
)
def test_unphysical_pulse_is_refused_by_name(changes: dict[str, Any], where: str) -> None:
    with pytest.raises(InputError) as refused:
        instant_estimate(TITANIUM, **{**ROOT, **changes})
    assert refused.value.problems[0].where == where
