"""One pass on a joint whose members or beam are not symmetric: the 3-D engine's settings and runs.

A butt joint with the beam upright on its line is symmetric about the beam: the axisymmetric engine
computes it. A tube in or on a plate, an offset or a tilted beam need the section itself. Fit-up is
nominal, closed and level: gap and mismatch are tolerances, looked at in a run of their own.
"""

from __future__ import annotations

from math import cos
from typing import Any

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.errors import InputError
from weldcalc.findings import Finding
from weldcalc.heatflow.pulse_result import History, Mode
from weldcalc.heatflow.section_along import joint_along
from weldcalc.heatflow.section_case import CONTACT_GAP, FLATTEST_FILLET, SectionCase, section_case
from weldcalc.heatflow.section_measure import section_result
from weldcalc.heatflow.section_result import SectionResult
from weldcalc.heatflow.section_solve import cold_state, set_up
from weldcalc.heatflow.section_solve import run_pulse as run_on_bench
from weldcalc.materials import Material
from weldcalc.passes.pulse import (
    PulseSettings,
    cooling_followed,
    flat_absorptance,
    joint_material,
    plate_material,
    pulse_settings,
    surface_ratio,
)
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.section_shape import Section, joint_section

Floats = NDArray[np.float64]

# travel during a pulse, over the spot diameter, below which the beam counts as still: it moves
# depth and widths by less than 0.5 % there and doubles the cells
STANDS_STILL = 0.02
COARSE = 0.1  # of the spot diameter: cells of runs that only compare


def needs_section(schedule: Schedule, weld_pass: WeldPass) -> bool:
    """Tell whether a pass has to be computed on the section of the joint.

    Parameters
    ----------
    schedule : Schedule
        Gives the joint.
    weld_pass : WeldPass
        One of its passes.
    """
    aside = weld_pass.beam_offset != 0.0 or weld_pass.beam_angle != 0.0
    return schedule.joint.type != "butt" or aside


@frozen(eq=False)
class JointPulse:
    """What one pulse does to a joint: sizes along the joint line and energies (SI).

    Parameters
    ----------
    penetration : float
        Length of the joint line, from the irradiated face, along which both members are fused [m].
    fusion_width, root_width, haz_width : float
        Across the joint on the irradiated face and on the far face; heat-affected on the wider
        side [m].
    full_penetration : bool
        Whether the whole joint line is fused.
    penetration_margin : float
        As of `PulseResult`, against the thickness of the thinner member [-].
    absorptance : float
        Absorbed over incident energy [-].
    absorbed_energy, lost_energy : float
        [J]
    mode : {"conduction", "transition", "keyhole"}
        How the pool forms.
    time_to_keyhole : float or None
        Until the depression opens [s].
    """

    penetration: float
    fusion_width: float
    root_width: float
    haz_width: float
    full_penetration: bool
    penetration_margin: float
    absorptance: float
    absorbed_energy: float
    lost_energy: float
    mode: Mode
    time_to_keyhole: float | None


@frozen(eq=False)
class SectionPulse(JointPulse):
    """A pulse that the 3-D engine itself computed.

    Parameters
    ----------
    section : SectionResult
        All that the engine gave.
    seam_outline : ndarray, shape (k, 2)
        Fused joint in the plane of seam and beam: distance along the seam, depth [m], top first.
    beam_place : float
        Beam axis across the joint in the frame of the engine's field [m].
    """

    section: SectionResult = field(repr=False)
    seam_outline: Floats = field(repr=False)
    beam_place: float

    @property
    def fusion_outline(self) -> Floats:
        """Fused zone across the joint, both sides: points (y, z) [m]."""
        return self.section.fusion_outline

    @property
    def haz_outline(self) -> Floats:
        """Heat-affected zone across the joint, both sides: points (y, z) [m]."""
        return self.section.haz_outline

    @property
    def haz_temperature(self) -> float:
        """Isotherm that bounds the heat-affected zone [K]."""
        return self.section.haz_temperature

    @property
    def haz_isotherm_name(self) -> str:
        """Name of that isotherm."""
        return self.section.haz_isotherm_name

    @property
    def cooling_rate(self) -> float | None:
        """Mean rate over 200 K below the solidus [K/s]."""
        return self.section.cooling_rate

    @property
    def solidification_time(self) -> float | None:
        """From the end of the pulse until all metal is solid [s]."""
        return self.section.solidification_time

    @property
    def history(self) -> History:
        """How the pulse went."""
        return self.section.history

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """What the engine warns of."""
        return self.section.warnings


@frozen(eq=False)
class JointSetup:
    """Everything that the 3-D engine needs for the pulses of one pass.

    Parameters
    ----------
    shape : Section
        Nominal members, closed and level.
    worst_fit : Section or None
        The same with the largest gap and mismatch; None where both are not given or nothing.
    metals : tuple of two Material
        By member.
    settings : mapping
        Keywords of `section_pulse`, without preheat.
    sheet : PulseSettings
        The same pulse for the axisymmetric engine, on a sheet as thick as the metal below the beam.
    wall : float
        Thickness that penetration is held against [m].
    cooling : float
        Longest time that is followed after a pulse [s].
    """

    shape: Section
    worst_fit: Section | None
    metals: tuple[Material, Material]
    settings: dict[str, Any]
    sheet: PulseSettings
    wall: float
    cooling: float

    def run(
        self,
        preheat: float,
        factor: float = 1.0,
        *,
        worst_fit: bool = False,
        grid: float | None = None,
    ) -> SectionPulse:
        """Compute a pulse at a preheat [K] and a power factor [-].

        Parameters
        ----------
        preheat : float
            Temperature of the part before the pulse [K].
        factor : float, optional
            On the peak power [-].
        worst_fit : bool, optional
            With the largest gap and mismatch in place of the nominal fit.
        grid : float, optional
            Edge of the cells under the spot [m]; None takes the engine's own.
        """
        shape = self.worst_fit if worst_fit and self.worst_fit else self.shape
        power = self.settings["peak_power"] * factor
        changed = self.settings | {"peak_power": power, "preheat": preheat, "grid": grid}
        return _computed(evolve(section_case(shape, **changed), cooling=self.cooling))

    def compare_fits(self, preheat: float) -> tuple[SectionPulse, SectionPulse] | None:
        """Return a pulse on nominal and on worst fit, on like coarse cells; None without one."""
        if self.worst_fit is None:
            return None
        cell = COARSE * self.settings["spot_diameter"]
        return (
            self.run(preheat, grid=cell),
            self.run(preheat, worst_fit=True, grid=cell),
        )


def _computed(case: SectionCase) -> SectionPulse:
    bench = set_up(case)
    solution = run_on_bench(bench, cold_state(bench))
    made = section_result(solution)
    return SectionPulse(
        penetration=made.joint_penetration,
        fusion_width=made.fusion_width,
        root_width=made.root_width,
        haz_width=made.haz_width,
        full_penetration=made.full_penetration,
        penetration_margin=made.penetration_margin,
        absorptance=made.absorptance,
        absorbed_energy=made.absorbed_energy,
        lost_energy=made.lost_energy,
        mode=made.mode,
        time_to_keyhole=made.time_to_keyhole,
        section=made,
        seam_outline=joint_along(solution),
        beam_place=case.beam_place,
    )


def joint_setup(
    schedule: Schedule, weld_pass: WeldPass, *, calibration: Calibration | None = None
) -> JointSetup:
    """Return what the 3-D engine needs for a pass.

    Parameters
    ----------
    schedule : Schedule
        Gives joint and surface.
    weld_pass : WeldPass
        Gives pulse and beam.
    calibration : Calibration, optional
        In place of the shipped constants, for members of its family of metals.

    Raises
    ------
    InputError
        When a grade is unknown, the calibration does not belong to the tube's metal, or the beam
        cannot reach the joint.
    """
    _refuse_upright_fillet(schedule, weld_pass)
    metals = joint_material(schedule), plate_material(schedule)
    if schedule.joint.type == "butt":
        metals = metals[0], metals[0]
    shape = joint_section(evolve(schedule.joint, gap=None, mismatch=None))
    sheet = pulse_settings(schedule, weld_pass, metals[0], calibration=calibration)
    models = tuple(_model(metal, calibration, metals[0]) for metal in metals)
    return JointSetup(
        shape=shape,
        worst_fit=_worst_fit(schedule),
        metals=metals,
        settings=_settings(schedule, weld_pass, metals, models),
        sheet={**sheet, "thickness": metal_below(shape, weld_pass.beam_angle)},
        wall=schedule.joint.wall_thickness,
        cooling=cooling_followed(weld_pass),
    )


def _settings(
    schedule: Schedule,
    item: WeldPass,
    metals: tuple[Material, Material],
    models: tuple[Calibration, ...],
) -> dict[str, Any]:
    surface, absorptivity = schedule.preparation.surface, []
    for metal, model in zip(metals, models, strict=True):
        ratio, _ = surface_ratio(metal, surface, fitted_to=model.surface)
        absorptivity.append(flat_absorptance(model.mean, ratio))
    travel = item.travel_speed * item.pulse_duration
    moves = travel >= STANDS_STILL * item.spot_diameter
    plain = ("peak_power", "pulse_duration", "spot_diameter", "profile", "pulse_shape")
    return {key: getattr(item, key) for key in (*plain, "beam_offset", "beam_angle")} | {
        "material": metals,
        "absorptivity": tuple(absorptivity),
        "constants": tuple(model.mean for model in models),
        "travel_speed": item.travel_speed if moves else 0.0,
    }


def _model(metal: Material, calibration: Calibration | None, first: Material) -> Calibration:
    """Return the constants of a member: the user's own only for the family they were fitted to."""
    own = calibration if metal.family == first.family else None
    return calibration_for(metal, own)


def _worst_fit(schedule: Schedule) -> Section | None:
    joint = schedule.joint
    if (joint.gap or 0.0) <= CONTACT_GAP and not joint.mismatch:
        return None
    return joint_section(joint)


def _refuse_upright_fillet(schedule: Schedule, item: WeldPass) -> None:
    if schedule.joint.form == "fillet" and item.beam_angle < FLATTEST_FILLET:
        raise InputError.of(
            f"pass[{schedule.pass_index(item.name)}].beam_angle",
            "has to be at least 10 degrees: upright, the tube is in the way of the corner; "
            'give for example "45 deg"',
            f"{np.degrees(item.beam_angle):g} deg",
        )


def metal_below(shape: Section, beam_angle: float) -> float:
    """Return how much metal the beam meets along its axis at the joint line [m].

    Parameters
    ----------
    shape : Section
        The joint.
    beam_angle : float
        Tilt from upright [rad].
    """
    if shape.kind != "fillet":
        return shape.joint_length / cos(beam_angle)
    plate = max(z for _, z in shape.members[1].outline)
    return plate / cos(beam_angle)
