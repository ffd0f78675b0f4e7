"""What varies in the shop and in the model, as pulses to run: shared by all that asks "how sure".

Every cause is a standard normal number times its own one sigma, added to the middle value. The
model's constants are one cause: a whole row of their posterior, so that they stay correlated.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.calibration_data import Calibration, calibration_for
from weldcalc.heatflow.constants import NAMES, ModelConstants
from weldcalc.heatflow.spot_sizes import SIZES
from weldcalc.materials import Material
from weldcalc.passes.focus import spot_growth
from weldcalc.passes.joint import metal_below, needs_section
from weldcalc.passes.pulse import (
    PulseSettings,
    flat_absorptance,
    joint_material,
    pulse_settings,
    surface_ratio,
)
from weldcalc.passes.spread import scatter_of
from weldcalc.quantities import json_key
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.section_shape import joint_section

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CAUSES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "power": "power",
        "duration": "pulse duration",
        "spot_diameter": "spot diameter",
        "focus": "focus position",
        "wall_thickness": "wall thickness",
        "absorptivity": "light taken up by the surface",
        "travel_speed": "travel speed",
        "gap": "gap",
        "beam_offset": "beam offset",
        "model": "constants of the model",
        "model_depth": "error of the model in depth",
        "model_width": "error of the model in width",
        "surrogate": "error of the stand-in",
    }
)
"""Causes of scatter and their words."""

GEOMETRIC: Final = frozenset({"travel_speed", "gap", "beam_offset"})
"""Causes that move the pools against each other and the joint, and change no pool."""

MODEL_ERRORS: Final = ("model_depth", "model_width")
"""Causes that stretch a computed pool: what the best constants leave unexplained."""

WITHOUT_RUNS: Final = GEOMETRIC | {*MODEL_ERRORS, "surrogate"}
"""Causes whose draws need no run of their own."""

FURTHEST = 3.0  # sigmas: what lies beyond, a shop would notice
LEAST_ABSORPTANCE = 0.05
_SCALED: Final = {
    "power": "peak_power",
    "duration": "pulse_duration",
    "spot_diameter": "spot_diameter",
    "wall_thickness": "thickness",
}


@frozen(eq=False)
class Pulses:
    """Pulses to run, with what each is held against.

    Parameters
    ----------
    cases : list of dict, length n
        For `weldcalc.heatflow.spot_sizes.spot_sizes`.
    distance : ndarray, shape (n,)
        From the beam axis to the far edge of the joint, midway between two pulses [m].
    half_pitch : ndarray, shape (n,)
        Half the distance of two pulses [m].
    """

    cases: list[dict[str, Any]] = field(repr=False)
    distance: Floats
    half_pitch: Floats


@frozen(eq=False)
class PassScatter:
    """One pass, and one standard deviation of everything that moves its result.

    Parameters
    ----------
    schedule : Schedule
        Gives joint, goals and scatter.
    weld_pass : WeldPass
        The pass.
    metal : Material
        Grade of the wall.
    calibration : Calibration
        Gives the model constants.
    sigma : mapping of str to float
        By cause: shares of the value [1] or lengths [m]; 1 for "model"; of the logarithm of the
        size for `MODEL_ERRORS`.
    settings : PulseSettings
        Of the pulse in the middle of the scatter.
    ratio : float
        Light that the surface takes up over that of the surface the model was fitted to [1].

    Notes
    -----
    On a joint that is not symmetric about the beam the axisymmetric engine is given as much metal
    as the beam meets along its axis; the depth asked for stays a share of the tube's wall.
    """

    schedule: Schedule
    weld_pass: WeldPass
    metal: Material = field(repr=False)
    calibration: Calibration = field(repr=False)
    sigma: Mapping[str, float]
    settings: PulseSettings = field(repr=False)
    ratio: float

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the causes that scatter, in a fixed order."""
        return tuple(self.sigma)

    @property
    def goal_depth_share(self) -> float:
        """Return the depth asked for as a share of the wall; the whole wall if none is asked."""
        return self.schedule.goal.penetration or 1.0

    @property
    def needs_section(self) -> bool:
        """Tell whether the pass has to be computed on the joint's section, as in an estimate."""
        return needs_section(self.schedule, self.weld_pass)

    def moved_to(self, weld_pass: WeldPass) -> PassScatter:
        """Return the same scatter about another setting of the pass."""
        settings = pulse_settings(
            self.schedule, weld_pass, self.metal, calibration=self.calibration
        )
        return evolve(self, weld_pass=weld_pass, settings=settings)

    def pulses(
        self,
        normals: Floats,
        *,
        shifts: Mapping[str, float] | None = None,
        preheat: float | None = None,
        grid: float | None = None,
    ) -> Pulses:
        """Return the pulses of draws.

        Parameters
        ----------
        normals : ndarray, shape (n, k)
            Standard normal numbers, a column for each of `causes`.
        shifts : mapping of str to float, optional
            Added to the middle of a cause: shares of the value [1] or lengths [m].
        preheat : float, optional
            Temperature that the pulse finds [K]; None takes that of the pass.
        grid : float, optional
            Edge of the cells under the spot [m].
        """
        moved = self.moves(normals, shifts or {})
        columns = self._columns(moved, len(normals))
        cases = [
            self._case(columns, row, preheat=preheat, grid=grid) for row in range(len(normals))
        ]
        return Pulses(cases, *self._geometry(moved, len(normals)))

    def centre(self, *, preheat: float | None = None, grid: float | None = None) -> Pulses:
        """Return the one pulse in the middle of the scatter, with the best-fit constants."""
        made = self.pulses(np.zeros((1, len(self.causes))), preheat=preheat, grid=grid)
        made.cases[0] |= {
            "constants": self.calibration.mean,
            "absorptivity": self.settings["absorptivity"],
        }
        return made

    def moves(self, normals: Floats, shifts: Mapping[str, float]) -> dict[str, Floats]:
        """Return how far draws move each cause from its middle, shape (n,) [1 or m]."""
        moved = {
            name: self.sigma[name] * normals[:, number] for number, name in enumerate(self.causes)
        }
        for name, shift in shifts.items():
            moved[name] = moved.get(name, np.zeros(len(normals))) + shift
        return moved

    def _columns(self, moved: Mapping[str, Floats], count: int) -> dict[str, Any]:
        none = np.zeros(count)
        columns: dict[str, Any] = {
            key: np.maximum(_number(self.settings, key) * (1.0 + moved.get(name, none)), 1e-9)
            for name, key in _SCALED.items()
        }
        if "focus" in moved:
            grown = spot_growth(self.schedule.laser, self.weld_pass.spot_diameter, moved["focus"])
            columns["spot_diameter"] = columns["spot_diameter"] * grown
        constants = self._constants(moved.get("model"), count)
        factor = self.ratio * (1.0 + moved.get("absorptivity", none))
        columns["wall"] = columns["thickness"]
        if self.needs_section:
            columns["thickness"] = self._below(columns["wall"])
        columns["constants"] = constants
        columns["absorptivity"] = [
            max(flat_absorptance(one, float(share)), LEAST_ABSORPTANCE)
            for one, share in zip(constants, factor, strict=True)
        ]
        return columns

    def _case(
        self, columns: Mapping[str, Any], row: int, *, preheat: float | None, grid: float | None
    ) -> dict[str, Any]:
        case: dict[str, Any] = {"material": self.metal, **self.settings, "grid": grid}
        case |= {key: float(values[row]) for key, values in columns.items() if key != "constants"}
        case["constants"] = columns["constants"][row]
        case["depth"] = self.goal_depth_share * case.pop("wall")
        case["preheat"] = self.settings["preheat"] if preheat is None else preheat
        return case

    def _below(self, walls: Floats) -> Floats:
        """Return how much metal the beam meets along its axis [m]; a plate's does not scatter."""
        joint = self.schedule.joint
        shape = joint_section(evolve(joint, gap=None, mismatch=None))
        below = metal_below(shape, self.weld_pass.beam_angle)
        if joint.type == "butt":
            return np.asarray(below * walls / joint.wall_thickness, dtype=np.float64)
        # a tube may be thicker than its plate
        return np.asarray(np.maximum(below, walls), dtype=np.float64)

    def _constants(self, moved: Floats | None, count: int) -> list[ModelConstants]:
        if moved is None:
            return [self.calibration.mean] * count
        from scipy.special import ndtr

        # in the order of one constant, so that the numbers mean something to a sensitivity
        sample = self.calibration.sample
        ordered = sample[np.argsort(sample[:, NAMES.index("absorptance")], kind="stable")]
        places = np.minimum((ndtr(moved) * len(ordered)).astype(int), len(ordered) - 1)
        return [ModelConstants(*(float(value) for value in ordered[place])) for place in places]

    def held_against(self, normals: Floats) -> tuple[Floats, Floats]:
        """Return distance and half pitch of draws without their pulses, shapes (n,) [m]."""
        return self._geometry(self.moves(normals, {}), len(normals))

    def _geometry(self, moved: Mapping[str, Floats], count: int) -> tuple[Floats, Floats]:
        none = np.zeros(count)
        one = self.weld_pass
        pitch = one.travel_speed / one.repetition_rate * (1.0 + moved.get("travel_speed", none))
        gap = np.maximum((self.schedule.joint.gap or 0.0) + moved.get("gap", none), 0.0)
        offset = np.abs(one.beam_offset + moved.get("beam_offset", none))
        return np.hypot(offset + 0.5 * gap, 0.5 * pitch), 0.5 * pitch


def _number(settings: PulseSettings, key: str) -> float:
    values: Mapping[str, Any] = dict(settings)
    return float(values[key])


def pass_scatter(
    schedule: Schedule,
    weld_pass: WeldPass,
    *,
    calibration: Calibration | None = None,
    with_model: bool = True,
) -> PassScatter:
    """Return what scatters in a pass: the shop's own figures, or the defaults.

    Parameters
    ----------
    schedule : Schedule
        Its ``[scatter]`` table goes first.
    weld_pass : WeldPass
        The pass; may differ from the schedule's own.
    calibration : Calibration, optional
        In place of the shipped constants.
    with_model : bool, optional
        Whether the model's constants, what they leave unexplained, and the light that an unknown
        surface takes up, count as scatter; False leaves what the shop itself can hold steady.

    Raises
    ------
    InputError
        When the material is unknown or the calibration belongs to another.
    """
    metal = joint_material(schedule)
    model = calibration_for(metal, calibration)
    ratio, surface_spread = surface_ratio(
        metal, schedule.preparation.surface, fitted_to=model.surface
    )
    sigma = scatter_of(schedule)
    own = schedule.scatter.absorptivity
    sigma["absorptivity"] = own if own is not None else surface_spread if with_model else 0.0
    sigma["model"] = 1.0 if with_model and len(model.sample) > 1 else 0.0
    error = model.error if with_model else None
    sigma["model_depth"] = error.depth if error else 0.0
    sigma["model_width"] = error.width if error else 0.0
    if schedule.laser.rayleigh_length is None:
        sigma["focus"] = 0.0
    return PassScatter(
        schedule=schedule,
        weld_pass=weld_pass,
        metal=metal,
        calibration=model,
        sigma=MappingProxyType({key: sigma[key] for key in CAUSES if sigma.get(key, 0.0) > 0.0}),
        settings=pulse_settings(schedule, weld_pass, metal, calibration=model),
        ratio=ratio,
    )


def normal_points(count: int, columns: int, seed: int) -> Floats:
    """Return quasi-random standard normal numbers, scrambled, cut at three sigma.

    Parameters
    ----------
    count, columns : int
        How many points, and of how many numbers.
    seed : int
        Of the scrambling.

    Returns
    -------
    ndarray, shape (count, columns)
    """
    from scipy.special import ndtri
    from scipy.stats import qmc

    if columns == 0:
        return np.zeros((count, 0))
    sample = qmc.Sobol(columns, scramble=True, rng=np.random.default_rng(seed))
    uniform = sample.random_base2(int(np.ceil(np.log2(max(count, 2)))))[:count]
    normal: Floats = np.clip(np.asarray(ndtri(uniform)), -FURTHEST, FURTHEST)
    return normal


def shift_key(name: str, cause: str) -> str:
    """Return the JSON key of a shift of a cause, with its unit: "shift_mm", or "shift" for shares.

    Parameters
    ----------
    name : str
        First word of the key.
    cause : str
        Key of `CAUSES`, not "model".
    """
    return json_key(f"scatter.{cause}").replace(f"scatter_{cause}", name)


def column(sizes: Floats, name: str) -> Floats:
    """Return one size of many pulses, by its name in `SIZES`.

    Parameters
    ----------
    sizes : ndarray, shape (n, 10)
        Rows from `weldcalc.heatflow.spot_sizes.spot_sizes`.
    name : str
        One of `SIZES`.
    """
    return np.asarray(sizes[..., SIZES.index(name)])
