"""Sections of coupons as data of a calibration: what each says, how surely, at which settings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Protocol

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from weldcalc.calibration_data import Calibration
from weldcalc.errors import InputError, Problems
from weldcalc.materials import Material
from weldcalc.passes.pulse import PulseSettings, cooling_followed, plate_material, pulse_settings
from weldcalc.passes.response import pulse_runner
from weldcalc.passes.seam import HeatSoFar, pass_seam
from weldcalc.passes.seam_history import seam_body, seam_plan
from weldcalc.schedule import Schedule

Floats = NDArray[np.float64]

SIZES = ("penetration", "fusion_width", "haz_width")
"""What the constants are fitted to, by its logarithm. Of a weld through the wall, "penetration" is
the depth that the pool would have on thicker metal, see `depth_by_widths`."""

READING = 0.01e-3
"""Standard uncertainty of a section where none is stated [m]: a reading under the microscope
(common practice, no source)."""

_PASS_KEYS = (
    "peak_power",
    "pulse_energy",
    "pulse_duration",
    "repetition_rate",
    "travel_speed",
    "rotation",
    "spot_diameter",
    "preheat",
)
_JOINT_KEYS = ("wall_thickness", "gap", "mismatch")
_NOT_COMPUTED = ("beam_offset", "beam_angle")
_TOLD = 8  # lines of rows without a pass that are told one by one
_THROUGH = 0.98  # of the wall, less twice the uncertainty: a depth that is the wall


class Section(Protocol):
    """One measured section, as a row of a coupon list."""

    @property
    def coupon(self) -> str:
        """Name of the coupon."""

    @property
    def weld_pass(self) -> str:
        """Name of the pass that it shows; empty for the finished weld."""

    @property
    def measured(self) -> Mapping[str, float]:
        """Sizes [SI]."""

    @property
    def uncertainty(self) -> Mapping[str, float]:
        """Standard uncertainty of sizes [SI]."""

    @property
    def settings(self) -> Mapping[str, float]:
        """What ran differently from the schedule [SI]."""

    @property
    def line(self) -> int:
        """Line in the file; 0 where it was read from none."""


class CouponList(Protocol):
    """A coupon list as read from its file."""

    @property
    def name(self) -> str:
        """File name."""

    @property
    def sha256(self) -> str:
        """Digest of the file."""

    @property
    def sections(self) -> Sequence[Section]:
        """Rows."""


@frozen(eq=False)
class CouponCase:
    """What the sections of one coupon at one setting say.

    Parameters
    ----------
    coupon, weld_pass : str
        Names.
    pulse : PulseSettings
        Settings of its pulse [SI], with the mean preheat along its seam.
    preheat_sd : float
        Spread of the preheat along the seam, one standard deviation [K]: where on the seam a
        section was cut is not known. 0 where the preheat was typed.
    value, sd : ndarray, shape (3,)
        Mean logarithm of each of `SIZES`, and its standard deviation by measurement; NaN where
        there is none.
    at_least : bool
        True when the coupon tells of the depth only that it reached the wall.
    sections : int
        Rows behind it.
    """

    coupon: str
    weld_pass: str
    pulse: PulseSettings = field(repr=False)
    preheat_sd: float
    value: Floats
    sd: Floats
    at_least: bool
    sections: int

    @property
    def known(self) -> NDArray[np.bool_]:
        """Return which sizes are known, shape (3,)."""
        return np.isfinite(self.value)

    @property
    def irradiance(self) -> float:
        """Return peak power over spot area [W/m2]."""
        return self.pulse["peak_power"] / (0.25 * np.pi * self.pulse["spot_diameter"] ** 2)


def coupon_cases(
    schedule: Schedule, coupons: CouponList, metal: Material, calibration: Calibration
) -> tuple[CouponCase, ...]:
    """Return the data of a calibration.

    Parameters
    ----------
    schedule : Schedule
        What the coupons were welded to, apart from the settings in their rows.
    coupons : CouponList
        Measured sections.
    metal : Material
        Grade of the wall.
    calibration : Calibration
        Constants for the preheat along each seam.

    Returns
    -------
    tuple of CouponCase
        One for each coupon and setting; sections of one coupon are not independent and count as
        one.

    Raises
    ------
    InputError
        When a row names no pass of the schedule, or was run in a way that is not computed here.
    """
    problems = Problems()
    groups = _groups(schedule, coupons, problems)
    problems.raise_if_any()
    seams: dict[tuple[object, ...], tuple[PulseSettings, float]] = {}
    cases = []
    for (coupon, name, settings), rows in groups.items():
        key = (name, settings)
        if key not in seams:
            seams[key] = _pulse(schedule, name, dict(settings), metal, calibration, coupon)
        case = _case(coupon, name, rows, *seams[key])
        if case.known.any() or case.at_least:
            cases.append(case)
    return tuple(cases)


_Key = tuple[str, str, tuple[tuple[str, float], ...]]


def _groups(
    schedule: Schedule, coupons: CouponList, problems: Problems
) -> dict[_Key, list[Section]]:
    names = [item.name for item in schedule.passes]
    groups: dict[_Key, list[Section]] = {}
    measured = [
        row
        for row in coupons.sections
        if any(key in row.measured for key in (*SIZES, "root_width"))
    ]
    if len(names) != 1:
        _note_blank([row for row in measured if not row.weld_pass], coupons.name, names, problems)
    for row in measured:
        name = row.weld_pass or (names[0] if len(names) == 1 else "")
        where = f"{coupons.name}, " + (f"line {row.line}" if row.line else f"coupon {row.coupon}")
        if name and name not in names:
            problems.add(f"{where}, column pass", f"use one of {', '.join(names)}", row.weld_pass)
        for key in _NOT_COMPUTED:
            if row.settings.get(key):
                problems.add(f"{where}, column {key}", "a calibration takes an upright beam only")
        groups.setdefault((row.coupon, name, tuple(sorted(row.settings.items()))), []).append(row)
    return groups


def _note_blank(
    rows: Sequence[Section], name: str, passes: Sequence[str], problems: Problems
) -> None:
    """Note all rows without a pass at once: they are left blank down a whole list."""
    if not rows:
        return
    lines = ", ".join(str(row.line) for row in rows[:_TOLD])
    more = f" and {len(rows) - _TOLD} more" if len(rows) > _TOLD else ""
    place = f"line {lines}" if len(rows) == 1 else f"{len(rows)} rows (lines {lines}{more})"
    why = (
        f"is blank in {place}; name the pass that each section shows, {' or '.join(passes)}: a "
        "finished weld of several passes shows them on top of each other and cannot be told apart"
    )
    problems.add(f"{name}, column pass", why)


def _pulse(
    schedule: Schedule,
    name: str,
    settings: dict[str, float],
    metal: Material,
    calibration: Calibration,
    coupon: str,
) -> tuple[PulseSettings, float]:
    """Return the pulse of a coupon at the mean preheat of its seam, and the spread of that.

    A preheat typed with a coupon is what the pulse found where the section was cut: single spots
    on cold metal, or measured.
    """
    try:
        run = _as_run(schedule, name, settings)
    except InputError as error:
        raise InputError(
            evolve(problem, where=f"coupon {coupon}: {problem.where}") for problem in error.problems
        ) from None
    pulse = pulse_settings(run, run.passes[0], metal, calibration=calibration)
    if "preheat" in settings:
        return pulse, 0.0
    plan = seam_plan(run, seam_body(run.joint, metal, plate_material(run)))
    seam, _ = pass_seam(
        run,
        0,
        plan=plan,
        run=pulse_runner(metal, pulse, cooling=cooling_followed(run.passes[0])),
        metal=metal,
        before=HeatSoFar(),
    )
    preheat = seam.history.preheat
    pulse["preheat"] = float(preheat.mean())
    return pulse, float(np.ptp(preheat)) / np.sqrt(12.0)


def _as_run(schedule: Schedule, name: str, settings: dict[str, float]) -> Schedule:
    """Return the schedule with one pass only, as the coupon was run."""
    number = schedule.pass_index(name)
    changed = schedule.with_pass(
        number, **{key: settings[key] for key in _PASS_KEYS if key in settings}
    )
    joint = {key: settings[key] for key in _JOINT_KEYS if key in settings}
    if joint:
        changed = changed.with_values("joint", **joint)
    if "focus_offset" in settings:
        changed = changed.with_values("laser", focus_offset=settings["focus_offset"])
    return evolve(changed, passes=(changed.passes[number],))


def _case(
    coupon: str, name: str, rows: Sequence[Section], pulse: PulseSettings, preheat_sd: float
) -> CouponCase:
    wall = pulse["thickness"]
    value, sd = np.full(3, np.nan), np.full(3, np.nan)
    for number, key in enumerate(SIZES):
        made = [size for row in rows for size in _sizes(row, key, wall)]
        if made:
            logs, spreads = np.array(made).T
            value[number] = logs.mean()
            sd[number] = np.sqrt(np.mean(spreads**2) / len(made))
    return CouponCase(
        coupon=coupon,
        weld_pass=name,
        pulse=pulse,
        preheat_sd=preheat_sd,
        value=value,
        sd=sd,
        at_least=bool(np.isnan(value[0]) and any(_is_through(row, wall) for row in rows)),
        sections=len(rows),
    )


def _sizes(row: Section, key: str, wall: float) -> Iterator[tuple[float, float]]:
    """Yield the logarithm of a size and its standard deviation, where the section tells it."""
    if key == "penetration" and _is_through(row, wall):
        yield from _depth_by_root(row, wall)
        return
    size = row.measured.get(key)
    if size:
        yield float(np.log(size)), _unsure(row, key) / size


def _is_through(row: Section, wall: float) -> bool:
    depth = row.measured.get("penetration", 0.0)
    near = _THROUGH * wall - 2 * _unsure(row, "penetration")
    return row.measured.get("root_width", 0.0) > 0 or depth >= near


def _depth_by_root(row: Section, wall: float) -> Iterator[tuple[float, float]]:
    """Yield the depth on thicker metal, from the widths on both sides; nothing without them."""
    top, root = row.measured.get("fusion_width", 0.0), row.measured.get("root_width", 0.0)
    if not (root > 0 and top > 0):
        return
    depth = float(depth_by_widths(np.array(top), np.array(root), np.array(wall)))
    unsure = np.hypot(_unsure(row, "root_width") / root, _unsure(row, "fusion_width") / top)
    yield float(np.log(depth)), float(min(root / top, 1.0) ** 2 * unsure)


def depth_by_widths(top: Floats, root: Floats, wall: Floats) -> Floats:
    """Return how deep a pool through the wall would be on thicker metal.

    Parameters
    ----------
    top, root, wall : ndarray, shape (n,)
        Fused width on the face and on the far side, and wall [m].

    Returns
    -------
    ndarray, shape (n,)
        [m]

    Notes
    -----
    Half an ellipsoid through both widths is wall (1 - s2)^(-1/2) deep with s = root / top; this is
    wall exp(s2 / 2), the same to first order in s2. It stays finite where the pool is as wide on
    the far side as on the face, where widths say nothing more about depth.
    """
    share = np.minimum(root / np.where(top > 0, top, 1.0), 1.0)
    return np.asarray(wall * np.exp(share**2 / 2))


def _unsure(row: Section, key: str) -> float:
    return row.uncertainty.get(key) or READING


def unstated(coupons: CouponList) -> tuple[str, ...]:
    """Return the sizes for which a section states no uncertainty."""
    keys = (*SIZES, "root_width")
    return tuple(
        key
        for key in keys
        if any(key in row.measured and not row.uncertainty.get(key) for row in coupons.sections)
    )
