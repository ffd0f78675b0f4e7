"""Calibrations, plans, changes and run logs as plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from weldcalc.calibrating.sections import SIZES
from weldcalc.fields import plain_name
from weldcalc.heatflow.constants import NAMES
from weldcalc.quantities import show
from weldcalc.texts.estimates import WIDTH, findings_text, table_text

if TYPE_CHECKING:
    from weldcalc.calibrating.design import NextCoupon
    from weldcalc.calibration import CalibrationResult
    from weldcalc.prediction import Estimate
    from weldcalc.qualification.changes import Change, Comparison
    from weldcalc.qualification.follow import FollowUp
    from weldcalc.qualification.followed import Followed
    from weldcalc.qualification.plan import Plan

COMPARED = ("penetration", "fusion_width", "root_width", "haz_width")
_SAME = "The schedules do not differ"
_ERRORS = ("shipped constants", "fitted", "each left out", "unexplained")


def calibration_text(
    result: CalibrationResult, *, following: NextCoupon, before: Estimate, after: Estimate
) -> str:
    """Return a calibration as text: constants, coupons, errors, intervals, what to weld next.

    Parameters
    ----------
    result : CalibrationResult
        From `weldcalc.calibration.calibrate`.
    following : NextCoupon
        From `weldcalc.calibrating.design.next_coupon`.
    before, after : Estimate
        Of the schedule, with the shipped constants and with these.
    """
    made = result.calibration
    rows = sum(case.sections for case in result.cases)
    head = (
        f"Calibration of {result.metal.name}, {made.surface}, from {len(result.cases)} coupons "
        f"with {rows} sections ({result.coupons.name})"
    )
    parts = [
        head,
        _constants(result),
        _coupons(result),
        _errors(result),
        _box(result),
        intervals_text(before, after),
        _following(following),
        findings_text(result.findings),
    ]
    return "\n\n".join(parts)


def _constants(result: CalibrationResult) -> str:
    made, prior = result.calibration, result.space.prior
    low, high = np.quantile(made.sample, [0.05, 0.95], axis=0)
    rows = [
        [
            name.replace("_", " "),
            f"{getattr(made.mean, name):.3g}",
            f"{low[i]:.3g} to {high[i]:.3g}",
            f"{100 * result.kept[i]:.0f} %",
            f"{(result.solution.fit.values[i] - prior.mean[i]) / prior.sd[i]:+.1f}",
        ]
        for i, name in enumerate(NAMES)
    ]
    heads = ["Constant", "fitted", "90 % of draws", "spread kept", "moved, prior sd"]
    return table_text(heads, rows)


def _coupons(result: CalibrationResult) -> str:
    heads = ["Coupon", "W", "ms", "mm"]
    for word in ("depth", "width", "haz"):
        heads += [f"{word}\nmm", "fit\nmm", "left\nout"]
    rows = []
    for number, case in enumerate(result.cases):
        cells = [
            case.coupon,
            f"{case.pulse['peak_power']:.0f}",
            f"{1e3 * case.pulse['pulse_duration']:.3g}",
            f"{1e3 * case.pulse['spot_diameter']:.3g}",
        ]
        for k in range(len(SIZES)):
            cells += _size_cells(result, number, k)
        rows.append(cells)
    note = textwrap.fill(
        "Depths beyond the wall: of the pool on thicker metal, told by its widths. Left out: "
        "measured against predicted from all other coupons.",
        WIDTH,
    )
    return f"{table_text(heads, rows)}\n{note}"


def _size_cells(result: CalibrationResult, number: int, k: int) -> list[str]:
    case = result.cases[number]
    fitted = f"{1e3 * np.exp(result.solution.sizes[number, k]):.3f}"
    if np.isfinite(case.value[k]):
        measured = f"{1e3 * np.exp(case.value[k]):.3f}"
        return [measured, fitted, f"{100 * np.expm1(result.left_out[number, k]):+.1f} %"]
    if k == 0 and case.at_least:
        return [f">= {1e3 * case.pulse['thickness']:.3f}", fitted, "-"]
    return ["-", fitted, "-"]


def _errors(result: CalibrationResult) -> str:
    from weldcalc.calibration import root_mean_square

    value = result.solution.data.value
    columns = (
        root_mean_square(value - result.shipped),
        root_mean_square(result.solution.residuals),
        result.leave_one_out_error,
        result.solution.unexplained,
    )
    rows = [
        [plain_name(key), *(_share(column[k]) for column in columns)] for k, key in enumerate(SIZES)
    ]
    return table_text(["Error, root mean square", *_ERRORS], rows)


def _share(value: float) -> str:
    return "-" if np.isnan(value) else f"{100 * value:.1f} %"


def _box(result: CalibrationResult) -> str:
    box = result.calibration.box
    walls = [case.pulse["thickness"] for case in result.cases]
    spans = {
        "spot": (box.spot_diameter, "spot_diameter"),
        "pulse": (box.pulse_duration, "pulse_duration"),
        "irradiance": (box.irradiance, "mean_irradiance"),
        "wall": ((min(walls), max(walls)), "wall_thickness"),
    }
    words = "; ".join(
        f"{name} {show(low, key)} to {show(high, key)}"
        for name, ((low, high), key) in spans.items()
    )
    return textwrap.fill(f"Holds for: {words}.", WIDTH)


def intervals_text(before: Estimate, after: Estimate) -> str:
    """Return the 90 % intervals of a schedule before and after a calibration as a table.

    Parameters
    ----------
    before, after : Estimate
        Of the same schedule.
    """
    rows = []
    for old, new in zip(before.passes, after.passes, strict=True):
        for key in COMPARED:
            ends = [getattr(item, f"{key}_interval") for item in (old, new)]
            if None in ends:
                continue
            first, second = (high - low for low, high in ends)
            rows.append(
                [
                    f"{new.name}: {plain_name(key)}",
                    show(ends[0], key),
                    show(getattr(new, key), key),
                    show(ends[1], key),
                    f"{100 * second / first:.0f} %" if first > 0 else "-",
                ]
            )
    heads = ["90 % interval", "before", "now", "interval now", "of the width before"]
    return table_text(heads, rows)


def _following(made: NextCoupon) -> str:
    settings = ", ".join(show(value, key) for key, value in made.settings.items())
    depth, width = (
        show(float(made.sizes[0]), "penetration"),
        show(float(made.sizes[1]), "fusion_width"),
    )
    return textwrap.fill(
        f"Next coupon that tells most about the depth of pass {made.weld_pass}: single spots at "
        f"{settings} (about {depth} deep and {width} wide). The constants' part of the spread of "
        f"that depth would fall from {100 * made.before:.2f} % to {100 * made.after:.2f} %; best "
        f"of {made.considered} settings.",
        WIDTH,
    )


def comparison_text(made: Comparison) -> str:
    """Return what changed between two schedules as text, what needs requalification first.

    Parameters
    ----------
    made : Comparison
        From `weldcalc.qualification.changes.compare`.
    """
    answer = textwrap.fill(_answer(made), WIDTH)
    order = ("outside", "no limit stated", "within")
    changes = sorted(made.changes, key=lambda item: order.index(item.standing))
    headline = [f"Old: {made.old}. New: {made.new}."] if made.old else []
    parts = ["\n".join([*headline, answer]), *([_changes(changes)] if changes else [])]
    if made.by_hand:
        parts.append(textwrap.fill(f"Compare by hand: {', '.join(made.by_hand)}.", WIDTH))
    limits = f"Limits typed from: {made.document}." if made.document else "No limits were given."
    return "\n\n".join([*parts, limits])


def _answer(made: Comparison) -> str:
    changed = [item for item in made.changes if item.changed]
    standing = [item.path for item in made.changes if _is_outside_as_it_stands(item)]
    if any(item.standing == "outside" for item in changed):
        return "Requalification is needed: a change lies outside the limits typed."
    if standing:
        told = "No change lies outside the limits typed" if changed else _SAME
        verb = "lies" if len(standing) == 1 else "lie"
        return (
            f"{told}, but {', '.join(standing)} {verb} outside the qualified range as it stands: "
            "requalification is needed."
        )
    if not changed:
        return f"{_SAME}."
    if made.open:
        have = "1 change has" if len(made.open) == 1 else f"{len(made.open)} changes have"
        return f"{have} no limit stated: decide by the governing code."
    return "Every change lies within the limits typed."


def _is_outside_as_it_stands(change: Change) -> bool:
    return change.standing == "outside" and not change.changed


def _changes(changes: Sequence[Change]) -> str:
    rows = [[item.path, item.old, item.new, _relative(item), _standing(item)] for item in changes]
    return _wrapped(["Value", "old", "new", "change", "standing"], rows, [26, 16, 16, 8, 26])


def _standing(change: Change) -> str:
    if _is_outside_as_it_stands(change):
        return f"outside the qualified range as it stands: {change.reason}"
    return f"{change.standing}: {change.reason}" if change.reason else change.standing


def _relative(change: Change) -> str:
    return "" if change.relative is None else f"{100 * change.relative:+.3g} %"


def _wrapped(heads: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[int]) -> str:
    cells = [
        ["\n".join(textwrap.wrap(cell, width)) for cell, width in zip(row, widths, strict=True)]
        for row in rows
    ]
    return table_text(heads, cells)


def follow_text(made: FollowUp) -> str:
    """Return what a run log says as text: limits, charts, drift, next check.

    Parameters
    ----------
    made : FollowUp
        From `weldcalc.qualification.follow.follow`.
    """
    waits = [row.clean_to_weld for row in made.rows]
    counts = (
        f"{waits.count('met')} kept, {waits.count('not met')} broken, "
        f"{waits.count('not judged')} not judged"
    )
    answer = "No limit is broken." if made.holds else "A limit is broken: see STOP below."
    head = f"{answer} {len(made.rows)} rows; time from cleaning to welding: {counts}."
    due = "" if made.next_check is None else f"Next check: {made.next_check:%Y-%m-%d %H:%M}."
    charts = [table_text(_CHART, [_chart(item) for item in made.followed])] if made.followed else []
    parts = [textwrap.fill(head, WIDTH), *charts, *([due] if due else [])]
    return "\n\n".join([*parts, findings_text(made.findings)])


_CHART = ("Followed", "n", "centre", "control limits", "edges", "signs", "to edge")


def _chart(item: Followed) -> list[str]:
    chart, edge = item.chart, item.edge
    limits = show((chart.low, chart.high), item.field)
    edges = "-" if edge is None else _edges(edge.low, edge.high, item.field)
    ahead = item.forecast.steps if item.forecast is not None else None
    return [
        item.name,
        str(len(chart.values)),
        show(chart.centre, item.field),
        limits,
        edges,
        str(len(item.signals)),
        "-" if ahead is None else f"{ahead:.0f} welds",
    ]


def _edges(low: float | None, high: float | None, key: str) -> str:
    if low is None or high is None:
        word, value = ("least", low) if high is None else ("most", high)
        return f"{word} {show(value, key)}"
    return show((low, high), key)


def plan_text(made: Plan) -> str:
    """Return a test plan as text.

    Parameters
    ----------
    made : Plan
        From `weldcalc.qualification.plan.qualification_plan`.
    """
    counted = [[str(failed), str(needed)] for failed, needed in made.by_count.items()]
    scatter = [
        [f"{distance:g} standard deviations", "none is enough" if needed is None else str(needed)]
        for distance, needed in made.by_scatter.items()
    ]
    tests = [
        [test.name, test.method, "destroys the coupon" if test.destroys else ""]
        for test in made.tests
    ]
    parts = [
        table_text(["Failed coupons allowed", "coupons, judged pass or fail"], counted),
        table_text(["Mean from the limit by", "coupons, measured"], scatter),
        f"Sections of each coupon: {made.sections_per_coupon}",
        _wrapped(["Test", "standard to look for", ""], tests, [34, 38, 20]),
        "\n".join(textwrap.fill(text, WIDTH) for text in made.statements),
    ]
    return "\n\n".join(parts)


def refusal_text(reasons: Sequence[str]) -> str:
    """Return why coupons cannot carry a calibration.

    Parameters
    ----------
    reasons : sequence of str
        From `weldcalc.calibrating.refusal.Refusal`.
    """
    lines = (
        textwrap.fill(f"{reason}.", WIDTH, initial_indent="  - ", subsequent_indent="    ")
        for reason in reasons
    )
    return "No calibration from these coupons:\n" + "\n".join(lines)
