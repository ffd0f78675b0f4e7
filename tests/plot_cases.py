"""One picture of every kind, from plain invented numbers."""

from __future__ import annotations

from functools import cache
from types import SimpleNamespace

import numpy as np
from matplotlib.text import Text

from weldcalc import plots
from weldcalc.joint import Joint

MM = 1e-3
PASS = SimpleNamespace(
    name="root",
    pulse_energy=1.95,
    peak_power=390.0,
    pulse_duration=5e-3,
    repetition_rate=5.0,
    duty_cycle=0.025,
    average_power=9.75,
    spot_diameter=0.4 * MM,
    travel_speed=0.5 * MM,
    pulse_pitch=0.1 * MM,
    spot_overlap=0.75,
    spot_overlap_with_travel=0.7516,
    melt_overlap=0.792,
    root_overlap=0.56,
    fusion_width=0.48 * MM,
    root_width=0.228 * MM,
)
BUTT = Joint(
    type="butt",
    form="tube",
    material="Ti Grade 2",
    wall_thickness=0.4 * MM,
    outside_diameter=8 * MM,
    gap=0.02 * MM,
    mismatch=0.03 * MM,
)
FLUSH = Joint(
    type="tube-to-plate",
    form="flush",
    material="Ti Grade 2",
    wall_thickness=0.4 * MM,
    outside_diameter=8 * MM,
    gap=0.02 * MM,
    plate_thickness=1.2 * MM,
)
HALF_POOL = MM * np.array([(0.24, 0.0), (0.2, 0.1), (0.13, 0.2), (0.1, 0.4)])
HALF_HEAT = MM * np.array([(0.35, 0.0), (0.3, 0.1), (0.25, 0.2), (0.22, 0.4)])
ROOT_POOL = plots.Pool(
    name="root",
    fused=HALF_POOL,
    heat_affected=HALF_HEAT,
    spot_diameter=0.4 * MM,
    penetration=0.4 * MM,
    fusion_width=0.48 * MM,
    root_width=0.2 * MM,
    haz_width=0.11 * MM,
)
SEAM = plots.SeamPools(
    name="root",
    positions=np.arange(0.0, 25 * MM, 0.1 * MM),
    depths=np.linspace(0.36 * MM, 0.4 * MM, 250),
    outline=HALF_POOL,
    guaranteed_depth=0.351 * MM,
)
POWER = np.linspace(200.0, 700.0, 21)
DURATION = np.linspace(2e-3, 10e-3, 17)
DEPTH = 0.4 * MM * (POWER / 400.0) * (DURATION[:, None] / 5e-3) ** 0.4
REGION = np.where(DEPTH < 0.36 * MM, 0, np.where(DEPTH < 0.55 * MM, 1, 2))
SAMPLES = np.random.default_rng(3).normal(0.41 * MM, 0.02 * MM, 400)
RUN = np.array([390.0, 392.0, 388.0, 391.0, 408.0, 375.0])
MEASURED = MM * np.array([0.15, 0.23, 0.31, 0.47])
MODES = ("conduction", "conduction", "transition", "keyhole")


def window(**changes):
    usual = {
        "x_key": "peak_power",
        "x": POWER,
        "y_key": "pulse_duration",
        "y": DURATION,
        "region": REGION,
        "penetration": DEPTH,
        "goal_depth": 0.4 * MM,
        "chance": np.clip((DEPTH - 0.35 * MM) / (0.1 * MM), 0, 1),
        "point": plots.WindowPoint(x=420.0, y=5e-3, spread_x=9.0, spread_y=0.1e-3),
        "limits": [plots.LimitCurve("pulse energy 5 J", POWER, 5 / POWER)],
    }
    return plots.window_map(**usual | changes)


def focus():
    offset = np.linspace(-3 * MM, 3 * MM, 61)
    return plots.focus_curve(
        focus_offset=offset,
        spot_diameter=0.3 * MM * np.sqrt(1 + (offset / (1.6 * MM)) ** 2),
        rayleigh_length=1.6 * MM,
        tolerance=(-0.5 * MM, 0.5 * MM),
        tolerance_words="spot within 5 %",
        set_offset=0.3 * MM,
    )


def warming():
    return plots.part_temperature(
        time=[0.0, 30.0, 60.0],
        temperature=[293.15, 393.15, 448.15],
        most=523.15,
        pass_starts={"root": 0.0, "cover": 31.0},
    )


def turning():
    angle = np.linspace(0.0, 2 * np.pi, 30)
    return plots.round_the_joint(
        angle=angle,
        preheat=293.15 + 20 * angle,
        level=MM * (0.36 + 0.005 * angle),
        wall_thickness=0.4 * MM,
        tapered_preheat=293.15 + 15 * angle,
        tapered_level=np.full(30, 0.36 * MM),
        goal=0.35 * MM,
        closes_at=2 * np.pi,
    )


def parity():
    depth = plots.Compared(
        key="penetration",
        measured=MEASURED,
        predicted=1.1 * MEASURED,
        modes=MODES,
        low=0.9 * MEASURED,
        high=[0.2 * MM, 0.25 * MM, 0.3 * MM, 0.6 * MM],
    )
    width = plots.Compared("fusion_width", 1.5 * MEASURED, 1.4 * MEASURED, MODES)
    return plots.predicted_against_measured([depth, width], title="published pulses")


def split():
    return plots.heat_split(
        beam_offset=MM * np.array([-0.1, 0.0, 0.1]),
        tube_share=[0.7, 0.5, 0.3],
        plate_share=[0.3, 0.5, 0.7],
        tube_area=[0.06e-6, 0.05e-6, 0.04e-6],
        plate_area=[0.03e-6, 0.05e-6, 0.08e-6],
        set_offset=0.05 * MM,
    )


def control():
    ranges = np.abs(np.diff(RUN))
    return plots.control_charts(
        [
            plots.Chart("single values", RUN, centre=390.0, low=378.0, high=402.0),
            plots.Chart(
                "moving range", ranges, centre=4.5, low=0.0, high=14.7, first=2, is_range=True
            ),
            plots.Chart("weighted mean", RUN, 390.0, low=RUN - 5, high=RUN + 5),
        ],
        key="peak_power",
    )


PICTURES = {
    "section": lambda: plots.joint_section(BUTT, [ROOT_POOL], haz_isotherm="beta transus, 890 °C"),
    "flush": lambda: plots.joint_section(FLUSH, [ROOT_POOL]),
    "plan": lambda: plots.plan_view(PASS, pulses=5),
    "train": lambda: plots.pulse_train(PASS, pulses=3),
    "long": lambda: plots.long_section([SEAM], wall_thickness=0.4 * MM, goal_depth=0.4 * MM),
    "warming": warming,
    "turning": turning,
    "window": window,
    "causes": lambda: plots.cause_ranking(
        ["power", "absorptivity", "gap"], first_order=[0.2, 0.5, 0.1], total=[0.25, 0.6, 0.15]
    ),
    "spread": lambda: plots.result_spread(
        SAMPLES, interval=(0.38 * MM, 0.44 * MM), goal=0.4 * MM, chance=0.685
    ),
    "parity": parity,
    "split": split,
    "control": control,
    "focus": focus,
}


@cache
def drawn_once(name):
    """Return a picture that a test only looks at."""
    return PICTURES[name]()


def drawn(picture, name, panel=0):
    """Return the shown x and y of the line of that legend name."""
    axes = [one for one in picture.figure.axes if one.axison][panel]
    (found,) = [one for one in axes.lines if one.get_label() == name]
    return np.asarray(found.get_xdata()), np.asarray(found.get_ydata())


def words(picture):
    return " | ".join(t.get_text() for t in picture.figure.findobj(Text) if t.get_text())
