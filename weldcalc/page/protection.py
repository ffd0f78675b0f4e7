"""What can hurt on the page: cautions, gas, and estimates for the laser safety officer."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from weldcalc.page.pieces import Piece, element, paragraph, table, text
from weldcalc.page.results import NOT_APPLICABLE, sentence, shown_result, words_of_result

Data = Mapping[str, Any]


def caution_list(record: Data) -> Piece:
    """Return who decides, that results are predictions, and every caution with its documents."""
    cautions = record["cautions"]
    first = paragraph(cautions["defer_to"], "lead") + paragraph(
        "Computed values are predictions. Weld coupons, cut sections and measure them before any "
        "part is welded."
    )
    rows = [
        [item["title"], Piece(text(item["text"]) + _documents(item)), item["standing"]]
        for item in cautions["list"]
    ]
    shown = table(["", "Caution", "Standing"], rows, caption="Cautions", class_="words cautions")
    return Piece(element("div", first, class_="caution-box")) + shown


def _documents(item: Data) -> str:
    titles = "; ".join(document["title"] for document in item["documents"])
    return element("small", text(f"Follow: {titles}"), class_="follow") if titles else ""


def laser_table(record: Data) -> Piece:
    """Return the eye-exposure estimates of each pass, or why there are none."""
    estimates = record["computed"]["laser_safety"]
    if not estimates:
        return Piece(paragraph("No exposure estimate: see the findings for the reason."))
    rows = [[words, *(show(e) for e in estimates)] for words, show in _LASER_ROWS.items()]
    columns = ["", *(f"Pass: {e['name']}" for e in estimates)]
    notes = dict.fromkeys(f"{e['notice']} Eye: {e['eye']['source']}." for e in estimates)
    shown = table(columns, rows, caption="Estimates for the laser safety officer", class_="numbers")
    return shown + Piece("".join(element("p", element("small", text(note))) for note in notes))


def _sourced(value: Data | None) -> str:
    if value is None:
        return NOT_APPLICABLE
    unit = "" if value["unit"] == "1" else f" {value['unit'].replace('m2', 'm²')}"
    return f"{float(format(value['value'], '.3g')):g}{unit}"


def _eyewear(estimate: Data) -> str:
    return " + ".join(number["marking"] for number in estimate["eyewear"])


_LASER_ROWS: Mapping[str, Callable[[Data], str]] = {
    "Exposure limit at the eye, each pulse": lambda e: _sourced(e["eye"]),
    "Exposure of one pulse at the eye": lambda e: _sourced(e["exposure"]),
    "Optical density, at least": lambda e: _sourced(e["optical_density"]),
    "Eyewear marking, at least": lambda e: _eyewear(e),
    "Hazard distance, matt white surface": lambda e: _sourced(e["diffuse_distance"]),
    "Hazard distance behind the focus": lambda e: _sourced(e["beam_distance"]),
}


# typed in the schedule and shown there
_TYPED_GAS = frozenset({"gas", "purity", "remove_below_degC", "clean_to_weld_min", "passes"})


def gas_table(record: Data) -> Piece:
    """Return purge, gas use and cover of hot metal; what was not worked out is left out."""
    gas = record["computed"]["shielding"]
    rows = [
        [sentence(words_of_result(key)), shown_result(key, value)]
        for key, value in gas.items()
        if key not in _TYPED_GAS and value is not None
    ]
    for item in gas["passes"]:
        rows += [
            [f"{sentence(words_of_result(key))}, pass {item['name']}", shown_result(key, value)]
            for key, value in item.items()
            if key != "name" and value is not None
        ]
    return table(["", "Value"], rows, caption="Gas and cover of hot metal", class_="numbers")
