"""What a pulse on a joint warns of: missed edges, open gaps, blow-through, lost beam, ejection."""

from __future__ import annotations

from collections.abc import Iterator

from weldcalc.fields import percent, show
from weldcalc.findings import Finding
from weldcalc.heatflow.constants import fitted_constants
from weldcalc.heatflow.pulse_findings import NOTICED, blow_through_finding, ejection_finding
from weldcalc.heatflow.section_case import BRIDGED_GAP, SectionCase
from weldcalc.heatflow.section_solve import SectionSolution


def section_findings(
    solution: SectionSolution, fused_area: tuple[float, ...], gap_bridged: bool
) -> tuple[Finding, ...]:
    """Return the findings on one pulse on a joint.

    Parameters
    ----------
    solution : SectionSolution
        The run.
    fused_area : tuple of float
        Of each member in the section [m2].
    gap_bridged : bool
        Whether melt is taken to join the members.

    Returns
    -------
    tuple of Finding
    """
    case = solution.bench.case
    return (
        *_fusion(case, fused_area),
        *_gap(case, gap_bridged),
        *_lost_beam(solution),
        *_ejection(solution),
        *_validity(case),
    )


def _fusion(case: SectionCase, fused_area: tuple[float, ...]) -> Iterator[Finding]:
    names = [member.name for member in case.section.members]
    cold = [name for name, area in zip(names, fused_area, strict=True) if area <= 0.0]
    if len(cold) == len(names):
        yield Finding(
            weight="stop",
            code="not-melted",
            text="the pulse does not melt the metal",
            remedy="raise the peak power, lengthen the pulse or narrow the spot",
            source="computed",
        )
    elif cold:
        yield Finding(
            weight="stop",
            code="member-not-melted",
            text=f"the pulse does not melt the {cold[0]}",
            remedy="move the beam towards it, or raise the peak power",
            source="computed",
        )


def _gap(case: SectionCase, gap_bridged: bool) -> Iterator[Finding]:
    gap, limit = case.section.gap, BRIDGED_GAP * case.section.thinnest
    if not case.has_gap or gap_bridged:
        return
    wide = not case.can_bridge
    why = (
        f"is more than {percent(BRIDGED_GAP)} of the thinner member"
        if wide
        else "does not have molten metal on both sides"
    )
    yield Finding(
        weight="stop",
        code="gap-not-bridged",
        text=f"the gap of {show(gap, 'gap')} {why}: melt is not taken to bridge it",
        remedy=f"fit up to {show(limit, 'gap')} or less, or prove it on coupons"
        if wide
        else "centre the beam on the joint, widen the spot or raise the peak power",
        source=f"{percent(BRIDGED_GAP)} of the thinner member: common practice, no source",
    )


def _lost_beam(solution: SectionSolution) -> Iterator[Finding]:
    incident = solution.totals["incident"]
    found = blow_through_finding(solution.totals["transmitted"] / incident)
    if found is not None:
        yield found
    missed = solution.totals["missed"] / incident
    if missed >= NOTICED:
        yield Finding(
            weight="caution",
            code="beam-misses-metal",
            text=f"{percent(missed, 1)} of the beam meets no metal: it goes through the gap or "
            "past an edge and strikes what lies behind",
            remedy="close the gap, or move the beam; shield what lies behind the joint",
            source="geometry",
        )


def _ejection(solution: SectionSolution) -> Iterator[Finding]:
    bench, own = solution.bench, solution.bench.centre_member
    most = float(solution.history.absorptance.max())
    found = ejection_finding(bench.case, bench.tables[own], bench.melts[own], most)
    if found is not None:
        yield found


def _validity(case: SectionCase) -> Iterator[Finding]:
    texts = [
        text
        for metal in case.materials
        for text in fitted_constants(metal.family).box.outside(case)
    ]
    for text in dict.fromkeys(texts):
        yield Finding(
            weight="caution",
            code="beyond-validity",
            text=text,
            remedy="weld coupons and calibrate",
            source="published pulses that the model constants were fitted to",
        )
    if case.section.kind != "sheet":
        yield Finding(
            weight="note",
            code="no-published-joint",
            text="the published pulses behind the constants are on plain sheet, none on a joint",
            remedy="weld coupons and calibrate",
            source="published pulses that the model constants were fitted to",
        )
