"""Where the numbers of a record come from: metals, data files, findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from weldcalc.materials import Material, material


def materials_used(joint: Any) -> list[Material]:
    """Return the metals of a joint, each once."""
    names = [joint.material, getattr(joint, "plate_material", None)]
    return [material(name) for name in dict.fromkeys(filter(None, names))]


def material_rows(metals: Iterable[Material]) -> list[dict[str, str]]:
    """Return name, file and digest of each metal, as kept in a record."""
    return [{"name": m.name, "file": m.path.rpartition("/")[2], "sha256": m.sha256} for m in metals]


def source_rows(
    metals: Iterable[Material], findings: Sequence[Mapping[str, Any]]
) -> list[dict[str, str]]:
    """Return every source used, with what was taken from it and its standing.

    Parameters
    ----------
    metals : iterable of Material
        Metals of the joint.
    findings : sequence of mapping
        Findings as plain data; those with a source count.

    Returns
    -------
    list of dict
        Keys: what, source, standing.
    """
    taken: dict[tuple[str, str], list[str]] = {}
    for metal in metals:
        for key, item in metal.properties.items():
            what = f"{metal.name}: {key.replace('_', ' ')}"
            taken.setdefault((item.source, item.standing), []).append(what)
    for finding in findings:
        if finding["source"]:
            what = f"rule {finding['code']}"
            taken.setdefault((finding["source"], "as named with the finding"), []).append(what)
    return [
        {"what": _joined(whats), "source": source, "standing": standing}
        for (source, standing), whats in taken.items()
    ]


def _joined(whats: Iterable[str]) -> str:
    """Return what was taken, with a metal's name once: "Ti Grade 2: density, solidus"."""
    groups: dict[str, list[str]] = {}
    for what in dict.fromkeys(whats):
        head, _, tail = what.partition(": ")
        groups.setdefault(head, []).append(tail)
    return "; ".join(
        f"{head}: {', '.join(filter(None, tails))}".removesuffix(": ")
        for head, tails in groups.items()
    )
