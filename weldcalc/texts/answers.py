"""Drafts, windows, tolerances and diagnoses as plain text for a terminal."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from attrs import evolve

from weldcalc.fields import percent, plain_name
from weldcalc.goals import GOALS
from weldcalc.passes.pulse import joint_material
from weldcalc.quantities import show
from weldcalc.texts.diagnosis import further_text, trust_text
from weldcalc.texts.estimates import WIDTH, assumed_scatter_lines, findings_text, table_text
from weldcalc.tolerances.result import UNITLESS
from weldcalc.tolerances.scatter import CAUSES, MODEL_ERRORS

if TYPE_CHECKING:
    from weldcalc.diagnosis import Diagnosis, Suspect
    from weldcalc.drafting import Draft, DraftedSchedule
    from weldcalc.schedule import WeldPass
    from weldcalc.tolerances.result import Chance, PassTolerance, Tolerance
    from weldcalc.tolerances.surrogate import SectionSurrogate
    from weldcalc.window import Window

_NARROW = 50  # letters of a first column, so that a table fits a terminal
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
        f"{percent(made.chance, 1)}. Chances are of every goal of a pass in direct engine runs, "
        "cold at the start of the seam and warm at its end. "
        f"{_solved_for(made.drafted[0])} {_doubt(made.drafted[0])}"
    )
    assumed = assumed_scatter_lines(made.drafted[0].schedule)
    told = textwrap.fill(words, WIDTH)
    return "\n\n".join([told, table_text(heads, rows), *assumed, _NOT_QUALIFIED])


def _doubt(one: DraftedSchedule) -> str:
    if one.estimate.calibration.is_shipped:
        return (
            "The model's own doubt is in the last line: without coupons it is wide. Weld coupons "
            "and calibrate before you trust the first figure."
        )
    return (
        "The model's own doubt is in the last line, as your coupons left it; outside their range "
        "nothing measured backs a figure."
    )


def _solved_for(one: DraftedSchedule) -> str:
    if one.proof.counts_model:
        return "The power is solved for the chance with the model's own doubt counted."
    return "The power is solved for the chance under the shop's scatter alone."


def draft_column(one: DraftedSchedule) -> dict[str, str]:
    """Return what a drafted schedule asks, gives and costs, and what binds, as words by name.

    Parameters
    ----------
    one : DraftedSchedule
        From `weldcalc.drafting.draft`.
    """
    found: dict[str, str] = {}
    passes = one.schedule.passes
    for item in passes:
        for key in ("peak_power", "pulse_duration", "repetition_rate", "travel_speed"):
            found[f"{item.name} {key.replace('_', ' ')}"] = show(getattr(item, key), key)
        found[f"{item.name} spot diameter"] = show(item.spot_diameter, "spot_diameter")
    found |= {
        "pause between passes": show(passes[-1].pause_before, "pause_before"),
        "cycle time": show(one.cycle_time, "weld_time"),
        "heat input, both passes": show(one.heat_input, "heat_input"),
        "root power may drift by": percent(one.room, 1),
    }
    for made in one.estimate.passes:
        found[f"{made.name} penetration"] = show(made.penetration, "penetration")
        found[f"{made.name} heat-affected width"] = show(made.haz_width, "haz_width")
    hottest = max(item.peak_part_temperature for item in one.estimate.passes)
    found["part temperature"] = show(hottest, "peak_part_temperature")
    for name, held in one.binding:
        found[f"{name} held by"] = held
    if not one.estimate.calibration.is_shipped:
        found |= {f"{item.name} in range of coupons": _in_range(one, item) for item in passes}
    mark = (" (solved for)", "")
    model = one.proof.counts_model
    for name, chance in zip(("root", "cover"), one.proof.chances, strict=True):
        found[f"chance of the {name}"] = percent(chance, 1)
    found[f"least, shop's scatter alone{mark[model]}"] = percent(one.proof.shop_alone, 1)
    found[f"least, with the model's doubt{mark[not model]}"] = percent(one.proof.with_model)
    return found


def _in_range(one: DraftedSchedule, item: WeldPass) -> str:
    outside = one.estimate.calibration.outside(
        item,
        material=joint_material(one.schedule).name,
        wall=one.schedule.joint.wall_thickness,
    )
    return "no" if outside else "yes"


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
    if made.limits:
        told = "; ".join(one.words for one in made.limits)
        parts.append(textwrap.fill(f"Limits of the laser on the map: {told}", WIDTH))
    spread = "scatter and the model's own spread" if made.counts_model else "scatter alone"
    told = (
        "Regions and edges are of pulses without scatter, on metal that no earlier pulse has "
        "warmed; the chance in map and table is of every goal of the pass, over the shop's "
        f"{spread}."
    )
    parts.append(textwrap.fill(told, WIDTH))
    if made.surrogate is not None:
        parts.append(_surrogate_text(made.surrogate))
    return "\n\n".join([*parts, _NOT_QUALIFIED])


def tolerance_text(made: Tolerance) -> str:
    """Return a tolerance as text: chances, intervals, ranked causes, allowed drifts.

    Parameters
    ----------
    made : Tolerance
        From `weldcalc.tolerance.tolerance`.
    """
    parts = [_pass_text(one) for one in made.passes]
    assumed = assumed_scatter_lines(made.schedule)
    left_out = [findings_text(made.findings)] if made.findings else []
    return "\n\n".join([*parts, *left_out, *assumed, *_computed_by(made)])


def _computed_by(made: Tolerance) -> list[str]:
    """Return what computed the passes: once where it is the same, else of each."""
    if len({one.computed_by for one in made.passes}) == 1:
        told = [f"Computed by {made.passes[0].computed_by}."]
    else:
        told = [f"Pass {one.name} computed by {one.computed_by}." for one in made.passes]
    return [textwrap.fill(words, WIDTH) for words in told]


def _pass_text(one: PassTolerance) -> str:
    # a far side that never melts has no width to tell
    results = [
        [plain_name(key), show(one.interval(key), key)]
        for key, values in one.values.items()
        if values.any()
    ]
    goals = [[textwrap.fill(name, _NARROW), *cells] for name, *cells in goal_rows(one)]
    stand_in = [] if one.surrogate is None else [_surrogate_text(one.surrogate)]
    return "\n\n".join(
        [
            f"Pass {one.name}: {one.samples} sampled welds, {one.runs} engine runs",
            table_text(["Goal", "chance", "95 % interval of the chance"], goals),
            textwrap.fill(_counted(one), WIDTH),
            table_text(["Result", "90 % interval"], results),
            _causes_text(one),
            _drift_text(one),
            *stand_in,
        ]
    )


def _counted(one: PassTolerance) -> str:
    words = (
        "These chances are of a pulse on metal that no earlier pulse has warmed, over the shop's"
    )
    if not {"model", *MODEL_ERRORS} & set(one.causes):
        return f"{words} scatter alone."
    return (
        f"{words} scatter and the model's own spread; that of the last line is without the latter."
    )


def _causes_text(one: PassTolerance) -> str:
    shares = one.shares[one.ranked_result]
    rows = [
        [
            CAUSES[cause],
            _sigma(one, cause),
            *(
                # sampling may leave a share a hair below none
                percent(max(float(values[one.causes.index(cause)]), 0.0))
                for values in (shares.first, shares.total)
            ),
        ]
        for cause in one.ranking()
    ]
    ranked = plain_name(one.ranked_result)
    table = table_text([f"Cause of scatter in {ranked}", "one sigma", "alone", "in total"], rows)
    if not set(MODEL_ERRORS) & set(one.causes):
        return table
    told = (
        "The model's own causes are not in the shop: sections of your own coupons narrow them "
        "(weldcalc calibrate, then --calibration)."
    )
    return f"{table}\n\n{textwrap.fill(told, WIDTH)}"


def _surrogate_text(made: SectionSurrogate) -> str:
    rows = [
        [plain_name(name), percent(made.median[name], 1), percent(error, 1)]
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
    low, high = one.interval
    return [percent(one.chance, 1), f"{100 * low:.1f} to {percent(high, 1)}"]


def _sigma(one: PassTolerance, cause: str) -> str:
    if cause in MODEL_ERRORS:
        return percent(one.sigma[cause])
    return "-" if cause in UNITLESS else show(one.sigma[cause], f"scatter.{cause}")


def _drift_text(one: PassTolerance) -> str:
    if not one.drifts:
        return (
            "No input may drift: the chance of every goal is below "
            f"{percent(one.least_chance)} already."
        )
    model = "the model scatters too" if one.drifts_with_model else "the model taken at its word"
    head = f"While the chance of every goal stays at {percent(one.least_chance)} ({model}):"
    return f"{head}\n\n{table_text(['May drift alone', 'down', 'up'], drift_rows(one))}"


def drift_rows(one: PassTolerance) -> list[list[str]]:
    """Return every input of a pass with how far it may drift down and up.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    rows: dict[str, list[str]] = {}
    for drift in one.drifts:
        text = show(drift.allowed, f"scatter.{drift.cause}")
        text += " or more" if drift.is_open else ", closed" if drift.is_closed_gap else ""
        rows.setdefault(CAUSES[drift.cause], []).append(text)
    return [[name, *cells] for name, cells in rows.items()]


def _plausible(share: float) -> str:
    return "over 99 %" if share > 0.99 else "under 1 %" if share < 0.01 else percent(share)


def _verdict(made: Diagnosis) -> str:
    """Return what the ranking says where the section does not tell causes apart."""
    if made.is_usual:
        return (
            "Usual scatter and reading make such a section as well as any cause does: nothing has "
            "to be wrong. "
        )
    if not made.is_explained:
        return (
            "No single cause makes such a section well: think of two at once, of a section cut "
            "beside the middle of a pulse, or of a model that does not fit. "
        )
    group = made.groups[0]
    if len(group) < 2:
        return ""
    if any(not one.cause for one in group):
        return "No cause stands out. "
    names = "; ".join(one.words for one in group)
    share = sum(one.plausibility for one in group)
    return (
        f"Likeliest, {_plausible(share)} together: {names}. These look the same in this section: "
        "do every check named beside them before changing anything. "
    )


def _suspect_cells(one: Suspect) -> list[str]:
    by = show(one.shift, f"scatter.{one.cause}") if one.cause else ""
    more = " or more" if one.is_open else ""
    check = textwrap.fill(one.check, 34)
    return [_plausible(one.plausibility), textwrap.fill(one.words, 34), by + more, check]


def _told(made: Diagnosis) -> list[Suspect]:
    """Return suspects to list, those that would rather not have moved as nothing unusual."""
    unmoved = next(group for group in made.groups if any(not one.cause for one in group))
    [usual] = [one for one in unmoved if not one.cause]
    usual = evolve(usual, plausibility=sum(one.plausibility for one in unmoved))
    told = [usual, *(one for one in made.suspects if one not in unmoved)]
    return sorted(told, key=lambda one: -one.plausibility)


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
            plain_name(key),
            *(
                show(values[key], key)
                for values in (made.measured, made.expected, made.usual_sigma)
            ),
        ]
        for key in made.measured
    ]
    suspects = [_suspect_cells(one) for one in _told(made)[:most]]
    words = (
        f"{_verdict(made)}One cause at a time, equally likely beforehand, but for the duration of "
        "the pulse, which electronics hold: a quarter as likely. The expected section is "
        "computed: if no coupon has confirmed it yet, the model may be what is off. "
        f"{trust_text(made)}"
    )
    parts = [
        table_text(
            [f"Section of pass {made.pass_name}", "measured", "expected", "one sigma"], sizes
        ),
        table_text(["Plausible", "cause", "by about", "check"], suspects),
        further_text(made),
        textwrap.fill(words, WIDTH),
    ]
    return "\n\n".join(filter(None, parts))
