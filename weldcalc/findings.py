"""Findings: what a result means for the person who has to weld, weighed and with a remedy."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from attrs import asdict, frozen

Weight = Literal["stop", "caution", "note"]

_ORDER: dict[str, int] = {"stop": 0, "caution": 1, "note": 2}


@frozen
class Finding:
    """One remark on a schedule or a result.

    Parameters
    ----------
    weight : {"stop", "caution", "note"}
        "stop": the schedule breaks a limit or misses its goal; "caution": it may; "note": to know.
    code : str
        Short stable name of the rule, for programs ("pulse-energy-limit").
    text : str
        What was found, with numbers and units.
    remedy : str
        What to do about it; empty where nothing has to be done.
    source : str
        Where the rule comes from, with its standing; empty for plain arithmetic.
    where : str
        Pass name or part that it belongs to; empty for the whole schedule.
    """

    weight: Weight
    code: str
    text: str
    remedy: str = ""
    source: str = ""
    where: str = ""

    def to_json(self) -> dict[str, str]:
        """Return the finding as plain strings."""
        return asdict(self)


def sort_findings(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return findings with the gravest first, otherwise in the order given."""
    return tuple(sorted(findings, key=lambda finding: _ORDER[finding.weight]))
