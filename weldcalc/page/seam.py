"""The weld as a whole on the page: what each pass does to the one before, and along the seam."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from weldcalc.page.pieces import Piece, paragraph, stack, table
from weldcalc.page.results import NOT_APPLICABLE, sentence, shown_result, words_of_result

Data = Mapping[str, Any]
_NOT_A_ROW = frozenset({"name", "on", "seed", "fill", "stacked"})
_STATIONS = 9  # rows of a table that a reader still takes in; the record holds all
_HELD = {"root_width": "root_width_mm", "penetration": "penetration_mm"}


def whole_weld(record: Data) -> Piece:
    """Return which pass governs, and how later passes melt into the first one."""
    whole = record["computed"]["whole_weld"]
    facts = dict(_facts(whole))
    for cover in whole["covers"]:
        name = f"{cover['name']} on {cover['on']}"
        facts |= {f"{words} ({name})": shown for words, shown in _facts(cover)}
    return table(["", "Value"], facts.items(), caption="The finished weld", class_="numbers")


def _facts(data: Data) -> Iterator[tuple[str, str]]:
    """Yield words and shown value of every plain result, with those of nested ones after."""
    for key, value in data.items():
        if isinstance(value, dict):
            yield from _facts(value)
        elif key not in _NOT_A_ROW and not _is_series(value):
            yield sentence(words_of_result(key)), shown_result(key, value)


def _is_series(value: Any) -> bool:
    return isinstance(value, list) and (len(value) != 2 or isinstance(value[0], dict))


def along_the_seam(record: Data) -> Piece:
    """Return, for each pass, how warm and how deep the seam gets, with and without taper.

    Where the pulses go through the wall their width on the far side stands for their depth.
    """
    return stack(_stations(item) for item in record["computed"]["passes"])


def _stations(item: Data) -> Piece:
    stations = item["seam"]["stations"]
    step = max(1, round((len(stations) - 1) / (_STATIONS - 1)))
    shown = [*stations[:-1:step], stations[-1]]
    held = _HELD[item["seam"]["held_level"] or "penetration"]
    columns = ("angle_deg", "place_mm", "seam_preheat_degC", held, "energy_taper")
    keys = [key for key in (*columns, f"tapered_{held}") if stations[0].get(key) is not None]
    rows = [[_cell(key, station.get(key)) for key in keys] for station in shown]
    caption = (
        f"Along the seam, pass {item['name']}: at constant energy, and with the energy lowered"
    )
    shown_table = table([_SEAM_WORDS[key] for key in keys], rows, caption=caption, class_="seam")
    return shown_table + Piece(_ramp(item["seam"]))


def _ramp(seam: Data) -> str:
    """Return how the energy runs down at the end of a closed turn, as a note."""
    if not seam["end_ramp_pulses"]:
        return ""
    name = next(key for key in seam if key.startswith("end_ramp_from_"))
    place = _cell("angle_deg" if name.endswith("deg") else "place_mm", seam[name])
    words = (
        f"The last {seam['end_ramp_pulses']} pulses, from {place} on, run down evenly to "
        f"{100 * seam['end_ramp']:.0f} % of that energy, so that the end leaves no crater."
    )
    return paragraph(words, "note")


def heat_split(record: Data) -> Piece:
    """Return how tube and plate share heat and melt as the beam moves; nothing for a butt."""
    return stack(_split_table(one) for one in record["computed"]["heat_split"])


def _split_table(one: Data) -> Piece:
    rows = [
        [shown_result("beam_offset_mm", offset), *(_split_cells(one, number))]
        for number, offset in enumerate(one["beam_offset_mm"])
    ]
    columns = ["Beam offset", "Heat: tube", "Heat: plate", "Fused: tube", "Fused: plate"]
    caption = (
        f"Tube and plate, pass {one['pass']} on a cold part: share of the heat taken up and fused "
        f"area over the place of the beam; set to {shown_result('beam_offset_mm', one[_SET])}"
    )
    return table(columns, rows, caption=caption, class_="numbers")


_SET = "set_beam_offset_mm"


def _split_cells(one: Data, number: int) -> Iterator[str]:
    for name in ("absorbed_share", "fused_area_mm2"):
        for member in ("tube", "plate"):
            yield shown_result(name, one[f"{member}_{name}"][number])


_SEAM_WORDS = {
    "angle_deg": "Angle",
    "place_mm": "Place",
    "seam_preheat_degC": "Metal before the pulse",
    "penetration_mm": "Penetration",
    "root_width_mm": "Far-side width",
    "energy_taper": "Energy lowered by",
    "tapered_penetration_mm": "Penetration then",
    "tapered_root_width_mm": "Far-side width then",
}


def _cell(key: str, value: Any) -> str:
    if value is None:
        return NOT_APPLICABLE
    if key in ("angle_deg", "place_mm"):
        return f"{value:.0f}°" if key == "angle_deg" else f"{value:.1f} mm"
    return shown_result(key.removeprefix("tapered_"), value)
