"""Results on the page: goals, the pass table, predictions with intervals, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from weldcalc.fields import FIELDS, SCALES, Field, json_key, pretty_unit, show
from weldcalc.page.pieces import Piece, badge, element, paragraph, table, text

Data = Mapping[str, Any]

NOT_APPLICABLE = "–"
_LOOKS = {"stop": "stop", "misses": "stop", "caution": "caution", "may miss": "caution"}
_WORDS = {
    "haz_width": "heat-affected width, each side",
    "widest_haz_width": "heat-affected width, each side, at its widest along the seam",
    "root_width": "fused width on the far side",
    "fusion_width": "fused width at the top",
    "spot_overlap": "spot overlap",
    "spot_overlap_with_travel": "spot overlap, with travel during the pulse",
    "melt_overlap": "overlap of the fused spots at the top",
    "root_overlap": "overlap of the fused spots on the far side",
    "penetration_fraction": "penetration, share of the wall",
    "peak_part_temperature": "hottest bulk temperature of the part",
    "mean_irradiance": "mean irradiance",
    "absorptance": "absorbed share of the pulse",
    "weld_time": "time of the pass",
    "guaranteed_penetration": "least depth between two pulses",
    "penetration": "penetration at the pulse centre",
    "haz_isotherm": "edge of the heat-affected metal",
    "seam_preheat": "metal temperature before a pulse, least and most",
    "volume_changes": "volume changes of the purge",
    "purge_time": "purge time, at least",
    "gas_released": "gas released in all",
    "room_volume": "smallest closed room for that gas (19.5 % oxygen)",
    "remove_below": "keep covered down to",
    "clean_to_weld": "from cleaning to welding, at most",
    "time_above_shielding": "time above the temperature down to which metal is kept covered",
    "shielded_length": "metal above it lags behind the beam by",
    "shielded_width": "metal above it reaches across, round the beam",
    "cooling_rate": "cooling rate as it sets",
    "underfill": "underfill at the largest gap, below the line between the edges",
    "below_higher_edge": "the same below the higher edge, at the largest mismatch",
    "root_concavity": "hollow of the far side, with all metal taken from the face",
    "throat": "thickness left",
    "largest_gap": "largest gap that meets the limit on underfill",
    "worst_gap": "gap from the tolerances, worst case",
    "root_sum_square_gap": "gap from the tolerances, root of the sum of squares",
    "gap_within_95": "gap from the tolerances, 95 % of the joints within",
    "share_above_gap": "joints with a gap above the one stated",
    "share_above_largest_gap": "joints with a gap above that which underfill allows",
    "mode": "how the weld forms",
    "engine": "computed by the heat-flow engine",
    "least_ligament": "least fused metal through the wall, between two pulses",
    "haz_width_set_by": "reach of the heat-affected metal set by",
}
_SPELT_OUT = {"haz": "heat-affected"}
# follows from the settings by arithmetic; everything else of a pass is predicted by the model
FOLLOWS = (
    "duty_cycle",
    "average_power",
    "mean_irradiance",
    "pulse_pitch",
    "spot_overlap",
    "spot_overlap_with_travel",
    "pulses",
    "weld_time",
    "heat_input",
)
_SET = frozenset(
    {
        "peak_power",
        "pulse_energy",
        "pulse_duration",
        "repetition_rate",
        "spot_diameter",
        "travel_speed",
        "rotation",
    }
)
_NOT_A_ROW = frozenset({"name", "findings"})


def words_of(key: str) -> str:
    """Return what a field is called on the page."""
    if key in _WORDS:
        return _WORDS[key]
    return " ".join(_SPELT_OUT.get(word, word) for word in key.split("_"))


def sentence(words: str) -> str:
    """Return words with a large first letter and the rest as it is (unlike str.capitalize)."""
    return words[:1].upper() + words[1:]


def words_of_result(name: str) -> str:
    """Return what a result under its JSON key is called on the page."""
    item = result_field(name)
    return words_of(item.key if item else _split_unit(name)[0])


@lru_cache(maxsize=1)
def _fields_by_json_key() -> dict[str, Field]:
    return {json_key(key): item for key, item in FIELDS.items()}


def result_field(name: str) -> Field | None:
    """Return the field behind a JSON key such as "penetration_mm"; None where there is none."""
    return _fields_by_json_key().get(name)


def shown_result(name: str, value: Any) -> str:
    """Return a result under its JSON key as a person reads it.

    Parameters
    ----------
    name : str
        JSON key, such as "penetration_mm" or "spot_overlap".
    value : object
        Number in the unit of the key, pair of such numbers, text or None.

    Returns
    -------
    str
        Such as "0.412 mm", "0.35 to 0.47 mm" or "–" where it does not apply.
    """
    if value is None:
        return NOT_APPLICABLE
    item = result_field(name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if item is None:
        return _shown_without_field(name, value)
    if isinstance(value, list) and len(value) == 2:
        return show((_si(value[0], item), _si(value[1], item)), item.key)
    return show(_si(value, item), item.key)


_UNITS = {f"_{unit.replace('/', '_')}": pretty_unit(unit) for unit in SCALES}


def _split_unit(name: str) -> tuple[str, str]:
    """Return a JSON key without its unit, and the unit: the longest that fits."""
    suffix = max((end for end in _UNITS if name.endswith(end)), key=len, default="")
    return name.removesuffix(suffix), _UNITS.get(suffix, "")


def unit_of(name: str) -> str:
    """Return the unit that a JSON key ends with, as people write it; "1" where there is none."""
    return _split_unit(name)[1] or "1"


def _shown_without_field(name: str, value: Any) -> str:
    ends = value if isinstance(value, list) else [value]
    texts = [f"{end:.3g}" if isinstance(end, float) else str(end) for end in ends]
    return f"{' to '.join(texts)} {_split_unit(name)[1]}".rstrip()


def _si(value: float, item: Field) -> float:
    if item.shown_unit == "%":
        return float(value)
    return (float(value) - item.scale.offset) / item.scale.per_si


def goals(record: Data) -> Piece:
    """Return the goals beside what the passes are expected to do."""
    checks = record["computed"]["goals"]
    if not checks:
        return Piece(paragraph("No goal was given in the schedule; nothing is judged against one."))
    columns = ["Goal", "Wanted", "Predicted", "Compared", "Chance", "Answer"]
    rows = [_goal_row(check, record["computed"]["scatter"]) for check in checks]
    caption = "Goals of the schedule and what the passes are expected to do"
    return table(columns, rows, caption=caption) + Piece(paragraph(_ANSWERS, "note"))


_ANSWERS = (
    "Meets: the prediction and, where it has one, all of its interval. May miss: the prediction "
    "does, its interval reaches past the goal. Misses: the prediction itself does. The chance is "
    "that of a pulse on metal at the preheat of its pass, over model and shop scatter."
)
_CHANCES = frozenset({"penetration", "root_width"})  # that the first pulse decides, the coldest
_GOAL_WORDS = {
    "penetration": "penetration, share of the wall",
    "underfill": "underfill, below the higher edge",
}


def _goal_row(check: Data, scatter: Data) -> list[object]:
    verdict = check["verdict"]
    return [
        sentence(_GOAL_WORDS.get(check["goal"], words_of(check["goal"]))),
        f"{check['bound']} {check['wanted_shown']}",
        shown_result(check["result"], check["predicted"]),
        f"{check['compared']} (pass {check['from_pass']})",
        _chance_of(check, scatter),
        Piece(badge(verdict, _LOOKS.get(verdict, "calm"))),
    ]


def _chance_of(check: Data, scatter: Data) -> str:
    sampled = {one["name"]: one["goals"] for one in scatter["passes"]}
    found = sampled.get(check["from_pass"], {}).get(check["goal"])
    if check["goal"] not in _CHANCES or found is None:
        return NOT_APPLICABLE
    return f"{100 * found['chance']:.0f} %"


def pass_table(record: Data) -> Piece:
    """Return the settings of all passes, side by side, and what follows from them."""
    passes = record["computed"]["passes"]
    keys = [key for key in passes[0] if _base(key) in FOLLOWS]
    return _settings(record) + _side_by_side(passes, keys, "What follows from the settings")


def _settings(record: Data) -> Piece:
    names = [item["name"] for item in record["computed"]["passes"]]
    fields = [_fields_of_pass(record, name) for name in names]
    rows = [
        [sentence(words_of(leaf)), *(_setting(of_pass[leaf]) for of_pass in fields)]
        for leaf in fields[0]
        if any(of_pass[leaf]["standing"] != "not given" for of_pass in fields)
    ]
    columns = ["", *(f"Pass: {name}" for name in names)]
    caption = "Settings of each pass; in brackets what was not typed"
    return table(columns, rows, caption=caption, class_="numbers")


def _fields_of_pass(record: Data, name: str) -> dict[str, Data]:
    start = f"pass.{name}."
    return {
        path.removeprefix(start): row
        for path, row in record["schedule"].items()
        if path.startswith(start)
    }


def _setting(row: Data) -> str:
    return str(row["shown"]) if row["standing"] == "typed" else f"({row['shown']})"


def predictions(record: Data) -> Piece:
    """Return what each pass is predicted to do, with intervals, side by side."""
    passes = record["computed"]["passes"]
    keys = [key for key in passes[0] if _base(key) not in _NOT_A_ROW.union(FOLLOWS, _SET)]
    level = f"{100 * record['model']['interval_level']:.0f} %"
    caption = f"Predicted result of each pass; in brackets the {level} interval"
    kind = "Constants from coupons" if record["model"]["calibrated"] else "Shipped constants"
    model = Piece(paragraph(f"{kind}: {record['model']['constants']}"))
    return model + _side_by_side(passes, keys, caption)


def _side_by_side(passes: Sequence[Data], keys: Sequence[str], caption: str) -> Piece:
    rows = [
        [sentence(words_of_result(key)), *(_with_interval(key, item) for item in passes)]
        for key in keys
        if _is_shown(key, passes[0].get(key)) and any(item.get(key) is not None for item in passes)
    ]
    columns = ["", *(f"Pass: {item['name']}" for item in passes)]
    return table(columns, rows, caption=caption, class_="numbers")


def _is_shown(key: str, value: Any) -> bool:
    """Tell whether a result has a line of its own: intervals stand beside what they belong to."""
    return not isinstance(value, dict) and not _base(key).endswith("_interval")


def interval_of(key: str, item: Data) -> list[float] | None:
    """Return the interval that an item holds beside a result under its JSON key, None if none."""
    return item.get(_interval_key(key)) or None


def _interval_key(key: str) -> str:
    name, _, unit = key.rpartition("_")
    return f"{name}_interval_{unit}"


def _with_interval(key: str, item: Data) -> str:
    shown, ends = shown_result(key, item.get(key)), interval_of(key, item)
    return f"{shown} ({shown_result(_interval_key(key), ends)})" if ends else shown


def _base(name: str) -> str:
    item = result_field(name)
    return item.key if item else name


def all_findings(record: Data) -> list[dict[str, str]]:
    """Return the findings of the schedule and of its passes, gravest first, each once.

    Parameters
    ----------
    record : mapping
        Record data.

    Returns
    -------
    list of dict
        Keys as of Finding.
    """
    computed = record["computed"]
    found = list(computed["findings"])
    found += (computed["judgement"] or {}).get("findings", [])
    for item in computed["passes"]:
        found += item["findings"]
    once = {(f["code"], f["where"], f["text"]): f for f in found}
    order = ("stop", "caution", "note")
    return sorted(once.values(), key=lambda f: order.index(f["weight"]))


def findings(record: Data) -> Piece:
    """Return every finding with its remedy and source, gravest first."""
    found = all_findings(record)
    if not found:
        return Piece(paragraph("No findings."))
    return table(
        ["Weight", "Where", "What was found", "What to do", "Source"],
        [
            [
                Piece(badge(f["weight"], _LOOKS.get(f["weight"], "calm"))),
                f["where"] or "schedule",
                sentence(f["text"]),
                sentence(f["remedy"]) or NOT_APPLICABLE,
                Piece(element("small", text(f["source"] or NOT_APPLICABLE))),
            ]
            for f in found
        ],
        caption="Findings, the gravest first",
        class_="words",
    )
