"""A joint's pulse at many settings, from few runs of the 3-D engine: the ratio method.

1. The same pulse on a sheet, as thick as the metal below the beam, takes the fast axisymmetric
   engine two milliseconds. Its pool is laid over the joint line where the beam points.
2. At the lowest and at the highest preheat of a pass the 3-D engine computes the joint itself. Each
   size of the joint over that of the laid pool is a ratio (for the far-side width, which may be
   below zero, a difference); between the two preheats it runs straight.
3. At any other setting the joint's size is the laid pool's size times the ratio; depth ends at the
   joint line's end.
4. One more run of the 3-D engine at nine tenths of the power says how far this is off. That error,
   or the usual one for the kind of joint where it is more, goes into the interval and is stated.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import cos, log
from typing import Final

import numpy as np
from attrs import field, frozen
from numpy.typing import NDArray

from weldcalc.heatflow.pulse_result import PulseResult
from weldcalc.heatflow.section_grid import turned_point
from weldcalc.passes.joint import JointPulse, JointSetup, SectionPulse
from weldcalc.passes.pulse import PulseSettings, run_pulse
from weldcalc.passes.seam_shape import ellipsoid_depth
from weldcalc.section_shape import Section

Floats = NDArray[np.float64]

SCALED: Final = ("depth", "fusion_width", "haz_width", "absorbed_energy", "lost_energy")
CHECK_POWER = 0.9  # of the nominal power, where the method is checked
# Error of the method, root mean square of the logarithm, against the 3-D engine on a dozen draws
# of constants, settings and beam place for titanium joints with walls of 0.4 and 0.8 mm: at most
# 0.035, 0.044 and 0.25; on a fillet, whose corner is little like a sheet, 0.31, 0.11 and 0.34.
# Measured by tests/benchmarks/ratio_of_joints.py, rounded up.
USUAL_ERROR: Final = {"depth": 0.04, "fusion_width": 0.05, "haz_width": 0.25}
FILLET_ERROR: Final = {"depth": 0.35, "fusion_width": 0.15, "haz_width": 0.35}
_LONGER = 6.0  # joint lines looked along, so that depth goes on where the pool goes through
_POINTS = 961


def depth_on_joint(
    pulse: PulseResult, shape: Section, sheet: float, place: float, angle: float
) -> float:
    """Return how far a sheet's pool, laid over a joint, reaches along the joint line.

    Parameters
    ----------
    pulse : PulseResult
        Of the sheet.
    shape : Section
        The joint.
    sheet : float
        Thickness of the sheet [m].
    place : float
        Beam axis from the joint line, square to the beam [m].
    angle : float
        Tilt of the beam [rad].

    Returns
    -------
    float
        [m]; 0 where the pool misses the line's start. A pool that goes through goes on as half an
        ellipsoid, so that the depth has no end.
    """
    outline = pulse.fusion_outline
    if not len(outline):
        return 0.0
    share = np.linspace(0.0, _LONGER, _POINTS)
    (y0, z0), (y1, z1) = shape.joint_line
    y, z = turned_points(y0 + share * (y1 - y0), z0 + share * (z1 - z0), angle)
    inside = _radius(pulse, sheet, z) - np.abs(y - place)
    if inside[0] <= 0.0:
        return 0.0
    out = int(np.argmax(inside < 0.0)) or _POINTS - 1
    before, after = inside[out - 1], inside[out]
    part = 1.0 if after >= 0.0 else before / (before - after)
    return float(shape.joint_length * (share[out - 1] + part * (share[out] - share[out - 1])))


def turned_points(y: Floats, z: Floats, angle: float) -> tuple[Floats, Floats]:
    """Return points across and along a beam that comes tilted from the positive side [m].

    Parameters
    ----------
    y, z : ndarray, shape (n,)
        Across the joint and below the face [m].
    angle : float
        Tilt of the beam [rad].
    """
    first, second = turned_point((1.0, 0.0), angle), turned_point((0.0, 1.0), angle)
    return first[0] * y + second[0] * z, first[1] * y + second[1] * z


def _radius(pulse: PulseResult, sheet: float, depth: Floats) -> Floats:
    """Return the pool's radius over depth [m]; below zero past its end, as far as it is past."""
    outline = pulse.fusion_outline
    known = np.interp(depth, outline[:, 1], outline[:, 0])
    top, root = (np.array([width]) for width in (pulse.fusion_width, pulse.root_width))
    whole = float(ellipsoid_depth(np.array([pulse.penetration]), top, root, np.array([sheet]))[0])
    left = 1.0 - (depth / max(whole, 1e-12)) ** 2
    below = 0.5 * float(top[0]) * np.sign(left) * np.sqrt(np.abs(left))
    return np.asarray(np.where(depth <= outline[-1, 1], known, below), dtype=float)


@frozen(eq=False)
class JointRatio:
    """Ratios of the joint to the sheet at one or two preheats.

    Parameters
    ----------
    setup : JointSetup
        The pass.
    preheat : ndarray, shape (k,)
        Where the 3-D engine ran [K], rising.
    pulses : tuple of SectionPulse, length k
        What it gave.
    ratio : mapping of str to ndarray, shape (k,)
        Joint over sheet for each of `SCALED` [-].
    root_shift : ndarray, shape (k,)
        Signed far-side width of the joint less that of the sheet [m].
    error : mapping of str to float
        Logarithm of the method's size over the 3-D engine's, in the run that checks it [-].
    """

    setup: JointSetup
    preheat: Floats
    pulses: tuple[SectionPulse, ...] = field(repr=False)
    ratio: Mapping[str, Floats]
    root_shift: Floats
    error: Mapping[str, float]

    @property
    def limit(self) -> float:
        """Length of the joint line, where depth ends [m]."""
        return self.setup.shape.joint_length

    def spread(self, name: str) -> float:
        """Return one standard deviation of the method in a size, as a logarithm [-].

        Parameters
        ----------
        name : {"depth", "fusion_width", "haz_width"}
            Size.
        """
        usual = FILLET_ERROR if self.setup.shape.kind == "fillet" else USUAL_ERROR
        return max(abs(self.error.get(name, 0.0)), usual[name])

    def run(self, preheat: float, factor: float) -> JointPulse:
        """Return the joint's pulse at a preheat [K] and power factor [-] by the ratio method."""
        return self.joint_pulse(sheet_pulse(self.setup, preheat, factor), preheat)

    def sizes(
        self, sheet: PulseResult, preheat: float, *, aside: float = 0.0, thicker: float = 1.0
    ) -> dict[str, float]:
        """Return the joint's sizes from a sheet's pulse, depth without its end.

        Parameters
        ----------
        sheet : PulseResult
            Of the axisymmetric engine.
        preheat : float
            That it was run at [K].
        aside : float, optional
            How far the beam axis lies off its set place across the joint [m].
        thicker : float, optional
            Thickness of all members over the nominal one [-].

        Returns
        -------
        dict
            `SCALED` and "root" (signed) [m], [J].
        """
        found = laid_sizes(self.setup, sheet, aside=aside, thicker=thicker)
        made = {
            name: found[name] * float(np.interp(preheat, self.preheat, self.ratio[name]))
            for name in SCALED
        }
        shift = float(np.interp(preheat, self.preheat, self.root_shift))
        return made | {"root": found["root"] + shift}

    def joint_pulse(self, sheet: PulseResult, preheat: float) -> JointPulse:
        """Return the joint's pulse from a sheet's pulse at a preheat [K]."""
        made = self.sizes(sheet, preheat)
        return JointPulse(
            penetration=min(made["depth"], self.limit),
            fusion_width=made["fusion_width"],
            root_width=max(made["root"], 0.0),
            haz_width=made["haz_width"],
            full_penetration=made["depth"] >= self.limit,
            penetration_margin=made["root"] / self.setup.shape.thinnest,
            absorptance=min(made["absorbed_energy"] / sheet.incident_energy, 1.0),
            absorbed_energy=made["absorbed_energy"],
            lost_energy=made["lost_energy"],
            mode=sheet.mode,
            time_to_keyhole=sheet.time_to_keyhole,
        )


def sheet_pulse(setup: JointSetup, preheat: float, factor: float = 1.0) -> PulseResult:
    """Run the axisymmetric engine on the sheet that stands for a joint.

    Parameters
    ----------
    setup : JointSetup
        The pass.
    preheat : float
        [K]
    factor : float, optional
        On the peak power [-].
    """
    power = setup.sheet["peak_power"] * factor
    changed: PulseSettings = {**setup.sheet, "preheat": preheat, "peak_power": power}
    return run_pulse(setup.metals[0], changed, cooling=setup.cooling)


def laid_sizes(
    setup: JointSetup, pulse: PulseResult, *, aside: float = 0.0, thicker: float = 1.0
) -> dict[str, float]:
    """Return a sheet's sizes as the joint has them, its pool laid over the joint line.

    Parameters
    ----------
    setup : JointSetup
        The pass.
    pulse : PulseResult
        Of the sheet.
    aside : float, optional
        How far the beam axis lies off its set place across the joint [m].
    thicker : float, optional
        Thickness of all members over the nominal one [-].

    Returns
    -------
    dict
        `SCALED` and "root" (signed) [m], [J].
    """
    angle = setup.settings["beam_angle"]
    place = (setup.settings["beam_offset"] + aside) * cos(angle)
    sheet = thicker * setup.sheet["thickness"]
    return {
        "depth": depth_on_joint(pulse, setup.shape, sheet, place, angle),
        "fusion_width": pulse.fusion_width,
        "haz_width": pulse.haz_width,
        "absorbed_energy": pulse.absorbed_energy,
        "lost_energy": pulse.lost_energy,
        "root": pulse.penetration_margin * sheet,
    }


def computed_sizes(setup: JointSetup, pulse: SectionPulse) -> dict[str, float]:
    """Return the sizes of a joint that the 3-D engine computed, depth without its end.

    Parameters
    ----------
    setup : JointSetup
        The pass.
    pulse : SectionPulse
        On it.
    """
    limit, thin = setup.shape.joint_length, setup.shape.thinnest
    depth = pulse.penetration
    if pulse.full_penetration and pulse.fusion_width > 0.0:
        top, root = np.array([pulse.fusion_width]), np.array([pulse.root_width])
        wall = np.array([limit])
        depth = float(ellipsoid_depth(wall, top, root, wall)[0])
        aside = min(abs(2.0 * pulse.beam_place) / pulse.fusion_width, 1.0)
        depth = max(limit, depth * (1.0 - aside**2) ** 0.5)
    return {
        "depth": depth,
        "fusion_width": pulse.fusion_width,
        "haz_width": pulse.haz_width,
        "absorbed_energy": pulse.absorbed_energy,
        "lost_energy": pulse.lost_energy,
        "root": pulse.penetration_margin * thin,
    }


def joint_ratio(setup: JointSetup, first: SectionPulse, low: float, high: float) -> JointRatio:
    """Run the 3-D engine at the ends of a range of preheats and return the ratios.

    Parameters
    ----------
    setup : JointSetup
        The pass.
    first : SectionPulse
        At the lower end.
    low, high : float
        Ends of the range [K].
    """
    preheats, pulses = [low], [first]
    if high > low + 1.0:
        preheats.append(high)
        pulses.append(setup.run(high))
    laid = [laid_sizes(setup, sheet_pulse(setup, preheat)) for preheat in preheats]
    found = [computed_sizes(setup, pulse) for pulse in pulses]
    ratio = {
        name: np.array([_ratio(a[name], b[name]) for a, b in zip(found, laid, strict=True)])
        for name in SCALED
    }
    shift = np.array([a["root"] - b["root"] for a, b in zip(found, laid, strict=True)])
    bare = JointRatio(setup, np.array(preheats), tuple(pulses), ratio, shift, {})
    return JointRatio(setup, bare.preheat, bare.pulses, ratio, shift, _check(bare, low))


def _ratio(joint: float, sheet: float) -> float:
    return joint / sheet if sheet > 0.0 else 1.0


def _check(method: JointRatio, preheat: float) -> dict[str, float]:
    """Return how far the method is off at less power than it was made at."""
    setup = method.setup
    said = method.sizes(sheet_pulse(setup, preheat, CHECK_POWER), preheat)
    true = computed_sizes(setup, setup.run(preheat, CHECK_POWER))
    names = ("depth", "fusion_width", "haz_width")
    return {
        name: log(said[name] / true[name]) if said[name] > 0.0 and true[name] > 0.0 else 0.0
        for name in names
    }
