"""Drafts, windows, tolerances and diagnoses as plain text for a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from weldcalc.goals import GOALS
from weldcalc.quantities import show
from weldcalc.texts.estimates import WIDTH, table_text
from weldcalc.tolerances.result import UNITLESS
from weldcalc.tolerances.scatter import CAUSES

if TYPE_CHECKING:
    from weldcalc.diagnosis import Diagnosis
    from weldcalc.drafting import Draft, DraftedSchedule
    from weldcalc.tolerances.result import Chance, PassTolerance, Tolerance
    from weldcalc.tolerances.surrogate import SectionSurrogate
    from weldcalc.window import Window

_NOT_QUALIFIED = "Computed, not qualified: weld coupons, cut sections, follow the governing code."


def draft_text(made: Draft) -> str:
    """Return a draft as text: what each schedule asks, gives and costs, and what binds.

    Parameters
    ----------
    made : Draft
        From `weldcalc.drafting.draft`.
    """
    heads = ["", *(f"{number}" for number in range(1, len(made.drafted) + 1))]
    columns = [draft_column(one) for one in made.drafted]
    rows = [[name, *(column[name] for column in columns)] for name in columns[0]]
    words = (
        f"Ranked {made.wish}, from {made.looked_at} combinations; chance asked "
        f"{made.chance:.1%}. Chances are of direct engine runs over the shop's scatter, cold at "
        "the start of the seam and warm at its end; the last line counts the model's own spread "
        "too, which coupons narrow."
    )
    return "\n\n".join([textwrap.fill(words, WIDTH), table_text(heads, rows), _NOT_QUALIFIED])


def draft_column(one: DraftedSchedule) -> dict[str, str]:
    """Return what a drafted schedule asks, gives and costs, and what binds, as words by name.

    Parameters
    ----------
    one : DraftedSchedule
        From `weldcalc.drafting.draft`.
    """
    found: dict[str, str] = {}
    for item in one.schedule.passes:
        for key in ("peak_power", "pulse_duration", "repetition_rate", "travel_speed"):
            found[f"{item.name} {key.replace('_', ' ')}"] = show(getattr(item, key), key)
        found[f"{item.name} spot diameter"] = show(item.spot_diameter, "spot_diameter")
    found |= {
        "pause between passes": show(one.schedule.passes[-1].pause_before, "pause_before"),
        "cycle time": show(one.cycle_time, "weld_time"),
        "heat input, both passes": show(one.heat_input, "heat_input"),
        "root power may drift by": f"{one.room:.1%}",
    }
    for made in one.estimate.passes:
        found[f"{made.name} penetration"] = show(made.penetration, "penetration")
        found[f"{made.name} heat-affected width"] = show(made.haz_width, "haz_width")
    hottest = max(item.peak_part_temperature for item in one.estimate.passes)
    found["part temperature"] = show(hottest, "peak_part_temperature")
    for name, held in one.binding:
        found[f"{name} held by"] = held
    found["chance, root and cover"] = " and ".join(f"{c:.1%}" for c in one.proof.chances)
    found["with the model's spread"] = f"{one.proof.with_model:.0%}"
    return found


def window_text(made: Window) -> str:
    """Return what a window says about its schedule.

    Parameters
    ----------
    made : Window
        From `weldcalc.window.window`.
    """
    keys = (made.x_key, made.y_key)
    point = ", ".join(
        f"{key.replace('_', ' ')} {show(value, key)}"
        for key, value in zip(keys, made.point, strict=True)
    )
    rows = []
    for edge in made.edges:
        towards = "lower" if edge.side < 0 else "higher"
        sigmas = "-" if edge.sigmas is None else f"{edge.sigmas:.1f}"
        then = edge.region or "end of the map, still sound"
        rows.append(
            [f"{towards} {edge.key.replace('_', ' ')}", show(edge.value, edge.key), sigmas, then]
        )
    parts = [
        f"Pass {made.pass_name}: {point}",
        table_text(["Changed alone", "sound up to", "scatters away", "then"], rows),
    ]
    if made.nearest:
        told = "; ".join(f"{name}: {distance:.1f}" for name, distance in made.nearest.items())
        parts.append(f"Both together, in multiples of their scatter, to {told}")
    return "\n\n".join([*parts, _NOT_QUALIFIED])


def tolerance_text(made: Tolerance) -> str:
    """Return a tolerance as text: chances, intervals, ranked causes, allowed drifts.

    Parameters
    ----------
    made : Tolerance
        From `weldcalc.tolerance.tolerance`.
    """
    parts = [_pass_text(one) for one in made.passes]
    return "\n\n".join([*parts, textwrap.fill(f"Computed by {made.computed_by}.", WIDTH)])


def _pass_text(one: PassTolerance) -> str:
    results = [[key.replace("_", " "), show(one.interval(key), key)] for key in one.values]
    shares = one.shares[one.ranked_result]
    causes = [
        [
            CAUSES[cause],
            _sigma(one, cause),
            *(f"{values[one.causes.index(cause)]:.0%}" for values in (shares.first, shares.total)),
        ]
        for cause in one.ranking()
    ]
    ranked = one.ranked_result.replace("_", " ")
    stand_in = [] if one.surrogate is None else [_surrogate_text(one.surrogate)]
    return "\n\n".join(
        [
            f"Pass {one.name}: {one.samples} sampled welds, {one.runs} engine runs",
            table_text(["Goal", "chance", "95 % interval of the chance"], goal_rows(one)),
            table_text(["Result", "90 % interval"], results),
            table_text([f"Cause of scatter in {ranked}", "one sigma", "alone", "in total"], causes),
            _drift_text(one),
            *stand_in,
        ]
    )


def _surrogate_text(made: SectionSurrogate) -> str:
    rows = [
        [name.replace("_", " "), f"{made.median[name]:.1%}", f"{error:.1%}"]
        for name, error in made.error.items()
    ]
    head = f"Stand-in for the section engine ({made.runs} of its runs)"
    return table_text([head, "median error", "stated error"], rows)


def goal_rows(one: PassTolerance) -> list[list[str]]:
    """Return every goal of a pass with its chance and the interval of it.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    goals = [[GOALS[name], *_chance_cells(chance)] for name, chance in one.goals.items()]
    goals.append(["every goal", *_chance_cells(one.every_goal)])
    goals.append(["every goal, the model taken at its word", *_chance_cells(one.shop_alone)])
    return goals


def _chance_cells(one: Chance) -> list[str]:
    return [f"{one.chance:.1%}", f"{one.interval[0]:.1%} to {one.interval[1]:.1%}"]


def _sigma(one: PassTolerance, cause: str) -> str:
    return "-" if cause in UNITLESS else show(one.sigma[cause], f"scatter.{cause}")


def _drift_text(one: PassTolerance) -> str:
    if not one.drifts:
        return (
            f"No input may drift: the chance of every goal is below {one.least_chance:.0%} already."
        )
    model = "the model scatters too" if one.drifts_with_model else "the model taken at its word"
    head = f"May drift alone, chance of every goal kept at {one.least_chance:.0%} ({model})"
    return table_text([head, "down", "up"], drift_rows(one))


def drift_rows(one: PassTolerance) -> list[list[str]]:
    """Return every input of a pass with how far it may drift down and up.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    rows: dict[str, list[str]] = {}
    for drift in one.drifts:
        text = show(drift.allowed, f"scatter.{drift.cause}") + (" or more" if drift.is_open else "")
        rows.setdefault(CAUSES[drift.cause], []).append(text)
    return [[name, *cells] for name, cells in rows.items()]


def diagnosis_text(made: Diagnosis, *, most: int = 6) -> str:
    """Return a diagnosis as text, the likeliest causes first.

    Parameters
    ----------
    made : Diagnosis
        From `weldcalc.diagnosis.explain`.
    most : int, optional
        How many causes to list.
    """
    sizes = [
        [
            key.replace("_", " "),
            *(
                show(values[key], key)
                for values in (made.measured, made.expected, made.usual_sigma)
            ),
        ]
        for key in made.measured
    ]
    suspects = [
        [
            f"{one.plausibility:.0%}",
            textwrap.fill(one.words, 38),
            show(one.shift, f"scatter.{one.cause}") if one.cause else "",
            textwrap.fill(one.check, 36),
        ]
        for one in made.suspects[:most]
    ]
    words = (
        "One cause at a time, all equally likely beforehand. The expected section is computed: if "
        "no coupon has confirmed it yet, the model may be what is off."
    )
    return "\n\n".join(
        [
            table_text(
                [f"Section of pass {made.pass_name}", "measured", "expected", "one sigma"], sizes
            ),
            table_text(["Plausible", "cause", "by about", "check"], suspects),
            textwrap.fill(words, WIDTH),
        ]
    )
