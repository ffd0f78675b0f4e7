"""The weld as a whole on the page: what each pass does to the one before, and along the seam."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from weldcalc.page.pieces import Piece, stack, table
from weldcalc.page.results import NOT_APPLICABLE, sentence, shown_result, words_of_result

Data = Mapping[str, Any]
_NAMES = frozenset({"name", "on"})
_STATIONS = 9  # rows of a table that a reader still takes in; the record holds all
_SEAM_COLUMNS = (
    "angle_deg",
    "place_mm",
    "seam_preheat_degC",
    "penetration_mm",
    "root_width_mm",
    "energy_taper",
    "tapered_penetration_mm",
)


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
        elif key not in _NAMES and not _is_series(value):
            yield sentence(words_of_result(key)), shown_result(key, value)


def _is_series(value: Any) -> bool:
    return isinstance(value, list) and (len(value) != 2 or isinstance(value[0], dict))


def along_the_seam(record: Data) -> Piece:
    """Return, for each pass, how warm and how deep the seam gets, with and without taper."""
    return stack(_stations(item) for item in record["computed"]["passes"])


def _stations(item: Data) -> Piece:
    stations = item["seam"]["stations"]
    step = max(1, round((len(stations) - 1) / (_STATIONS - 1)))
    shown = [*stations[:-1:step], stations[-1]]
    keys = [key for key in _SEAM_COLUMNS if stations[0].get(key) is not None]
    rows = [[_cell(key, station.get(key)) for key in keys] for station in shown]
    caption = (
        f"Along the seam, pass {item['name']}: at constant energy, and with the energy lowered"
    )
    return table([_SEAM_WORDS[key] for key in keys], rows, caption=caption, class_="seam")


_SEAM_WORDS = {
    "angle_deg": "Angle",
    "place_mm": "Place",
    "seam_preheat_degC": "Metal before the pulse",
    "penetration_mm": "Penetration",
    "root_width_mm": "Far-side width",
    "energy_taper": "Energy lowered by",
    "tapered_penetration_mm": "Penetration then",
}


def _cell(key: str, value: Any) -> str:
    if value is None:
        return NOT_APPLICABLE
    if key in ("angle_deg", "place_mm"):
        return f"{value:.0f} °" if key == "angle_deg" else f"{value:.1f} mm"
    return shown_result(key.removeprefix("tapered_"), value)
