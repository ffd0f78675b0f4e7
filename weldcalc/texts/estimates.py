"""Results as plain text for a terminal: aligned tables within 100 columns, gravest first."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from weldcalc.fields import plain_name
from weldcalc.findings import Finding
from weldcalc.quantities import field, shortest_text, show
from weldcalc.schedules.assumed_scatter import assumed_scatter
from weldcalc.texts.seam import (
    energy_rows,
    fit_up_lines,
    gas_lines,
    member_lines,
    pair_lines,
    ramp_lines,
)

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate, PassEstimate
    from weldcalc.schedule import Schedule

WIDTH = 100

_SETTINGS = (
    "pulse_energy",
    "peak_power",
    "pulse_duration",
    "repetition_rate",
    "duty_cycle",
    "average_power",
    "mean_irradiance",
    "spot_diameter",
    "travel_speed",
    "rotation",
    "pulse_pitch",
    "spot_overlap",
    "spot_overlap_with_travel",
    "pulses",
    "weld_time",
    "heat_input",
)
_RESULTS = (
    "penetration",
    "penetration_fraction",
    "guaranteed_penetration",
    "fusion_width",
    "root_width",
    "melt_overlap",
    "root_overlap",
    "largest_travel_speed",
    "haz_width",
    "widest_haz_width",
    "mode",
    "absorptance",
    "seam_preheat",
    "peak_part_temperature",
    "cooling_rate",
    "solidification_time",
)
_INTERVALS = frozenset({"penetration", "fusion_width", "root_width", "haz_width"})
_WEIGHT_WORDS = {"stop": "STOP", "caution": "CAUTION", "note": "note"}


def estimate_text(result: Estimate) -> str:
    """Return an estimate as text.

    Parameters
    ----------
    result : Estimate
        From `weldcalc.prediction.estimate`.
    """
    schedule = result.schedule
    head = f"{schedule.title}\n{schedule.number} revision {schedule.revision}"
    parts = [
        head,
        table_text(["Settings", *(p.name for p in result.passes)], _rows(_SETTINGS, result.passes)),
        table_text(
            ["Predicted (90 % interval)", *(p.name for p in result.passes)],
            _rows(_RESULTS, result.passes),
        ),
        *_whole_weld(result),
        findings_text(result.all_findings()),
        *assumed_scatter_lines(schedule),
        "Computed, not qualified: weld coupons, cut sections, follow the governing code.",
    ]
    return "\n\n".join(parts)


def assumed_scatter_lines(schedule: Schedule) -> list[str]:
    """Return in words which scatter is a default and not the shop's; empty where there is none.

    Parameters
    ----------
    schedule : Schedule
        Its ``[scatter]`` table goes first.
    """
    groups: dict[str, list[str]] = {}
    for key, one in assumed_scatter(schedule.scatter, schedule.laser).items():
        words = f"{plain_name(key)} {shortest_text(one.value, f'scatter.{key}')}"
        groups.setdefault(one.standing, []).append(words)
    if not groups:
        return []
    told = "; ".join(f"{', '.join(words)} (default, {why})" for why, words in groups.items())
    text = (
        f"Assumed scatter, one sigma, where [scatter] gives none of your own: {told}. "
        "Type what your shop measured into [scatter]."
    )
    return [textwrap.fill(text, WIDTH)]


def _whole_weld(result: Estimate) -> list[str]:
    names = [one.name for one in result.passes]
    parts = []
    if energies := energy_rows(result):
        table = table_text(["Energy that keeps the weld level", *names], energies)
        parts.append("\n".join([table, *(_line(line) for line in ramp_lines(result))]))
    for heading, lines in (
        ("Later pass on the first", pair_lines(result)),
        ("Fit-up", fit_up_lines(result)),
        ("Gas", gas_lines(result)),
        ("Heat and melt of either member", member_lines(result)),
    ):
        if lines:
            parts.append("\n".join([heading, *(_line(line) for line in lines)]))
    return parts


def _line(words: str) -> str:
    return textwrap.fill(words, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _rows(keys: Iterable[str], passes: Sequence[PassEstimate]) -> list[list[str]]:
    return [[plain_name(key), *(_cell(item, key) for item in passes)] for key in keys]


def _cell(item: PassEstimate, key: str) -> str:
    value = getattr(item, key)
    if value is None:
        return "-"
    if field(key).kind in ("text", "choice"):
        return str(value)
    shown = show(value, key)
    if key in _INTERVALS:
        shown += f"  ({show(getattr(item, f'{key}_interval'), key)})"
    return shown


def table_text(header: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    """Return rows as an aligned table without frames.

    Parameters
    ----------
    header : sequence of str
        Column headings.
    rows : sequence of sequence
        Cells, already as text where numbers carry units.
    """
    from tabulate import tabulate

    made = tabulate(rows, headers=header, tablefmt="simple", disable_numparse=True)
    return "\n".join(line.rstrip() for line in str(made).splitlines())


def findings_text(findings: Sequence[Finding]) -> str:
    """Return findings as text, one paragraph each, with what to do.

    Parameters
    ----------
    findings : sequence of Finding
        The gravest first.
    """
    if not findings:
        return "Findings: none"
    return "Findings\n" + "\n".join(_finding_text(finding) for finding in _merged(findings))


def _merged(findings: Sequence[Finding]) -> list[tuple[Finding, str]]:
    """Return each remark once, with all the passes it was made for."""
    places: dict[Finding, list[str]] = {}
    from attrs import evolve

    for finding in findings:
        places.setdefault(evolve(finding, where=""), []).append(finding.where)
    return [(finding, ", ".join(filter(None, where))) for finding, where in places.items()]


def _finding_text(placed: tuple[Finding, str]) -> str:
    finding, where = placed
    text = f"{finding.text}. {_sentence(finding.remedy)}".strip()
    return textwrap.fill(
        f"{where + ': ' if where else ''}{text}",
        width=WIDTH,
        initial_indent=f"  {_WEIGHT_WORDS[finding.weight]:8}",
        subsequent_indent=" " * 10,
    )


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:].rstrip('.')}." if text else ""
