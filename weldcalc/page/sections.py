"""Sections of the record page, from the data of a record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weldcalc.page.measured import coupon_words
from weldcalc.page.pieces import Piece, badge, bullets, element, paragraph, table, text
from weldcalc.page.results import (
    NOT_APPLICABLE,
    all_findings,
    goals,
    sentence,
    shown_result,
    words_of,
)
from weldcalc.page.studies import chance_words
from weldcalc.records.fields import UNSETTLED
from weldcalc.records.repeat import repeat_command

Data = Mapping[str, Any]

_BLANK = "\u00a0"


def heading(record: Data) -> Piece:
    """Return the head of the page: what it is, of what, number, revision and status."""
    facts = {
        "Schedule": record["number"],
        "Revision": record["revision"],
        "Made": record["made_utc"].replace("T", " ").replace("Z", " UTC"),
        "Record digest": record["record_sha256"][:16],
    }
    cells = "".join(element("div", _fact(name, value)) for name, value in facts.items())
    title = element("p", "Weld schedule record", class_="kind") + element(
        "h1", text(record["title"])
    )
    status = element("p", text(record["status"]), class_="status")
    head = element("div", title, class_="title") + element("div", cells, class_="facts")
    return Piece(element("header", head + status))


def _fact(name: str, value: object) -> str:
    return element("span", text(name), class_="name") + element("span", text(value), class_="value")


def summary(record: Data) -> Piece:
    """Return what a reader in a hurry needs: joint, settings, goals, chance, what is open."""
    found = all_findings(record)
    stops = [_stop_words(f) for f in found if f["weight"] == "stop"]
    cautions = sum(f["weight"] == "caution" for f in found)
    parts = [
        element("dl", _pairs(_settings(record))),
        goals(record).html,
        paragraph(chance_words(record)),
    ]
    if stops:
        words = "Stop: this schedule is not ready to be welded as it stands."
        parts.append(element("div", paragraph(words, "lead") + bullets(stops), class_="stop-box"))
    parts.append(
        paragraph(f"Findings that stop: {len(stops)}; cautions: {cautions}. All are listed below.")
    )
    parts.append(element("h3", "What is open") + _open_list(record))
    return Piece("".join(parts))


def _stop_words(finding: Data) -> str:
    return f"Pass {finding['where']}: {finding['text']}" if finding["where"] else finding["text"]


def _settings(record: Data) -> dict[str, str]:
    return {
        "Joint": _joint_words(record),
        **_pass_words(record),
        "Coupons": coupon_words(record),
    }


def _pairs(pairs: Mapping[str, str]) -> str:
    return "".join(
        element("dt", text(name)) + element("dd", text(words)) for name, words in pairs.items()
    )


def _joint_words(record: Data) -> str:
    rows = {
        path.removeprefix("joint."): row["shown"]
        for path, row in record["schedule"].items()
        if path.startswith("joint.") and row["standing"] != "not given"
    }
    kind = " ".join(filter(None, [rows.pop("form", ""), rows.pop("type", "")]))
    material = rows.pop("material", "")
    rest = [f"{words_of(name)} {shown}" for name, shown in rows.items()]
    return ", ".join(filter(None, [kind, material, *rest]))


def _pass_words(record: Data) -> dict[str, str]:
    keys = (
        "peak_power_W",
        "pulse_duration_ms",
        "repetition_rate_Hz",
        "travel_speed_mm_s",
        "spot_diameter_mm",
    )
    words = {}
    for item in record["computed"]["passes"]:
        settings = [shown_result(key, item.get(key)) for key in keys]
        words[f"Pass {item['name']}"] = (
            f"{settings[0]} for {settings[1]} at {settings[2]}, travel {settings[3]}, "
            f"spot {settings[4]}"
        )
    return words


def _open_list(record: Data) -> str:
    if not record["still_open"]:
        return paragraph("Nothing is reported open. weldcalc has not judged what people filled in.")
    return bullets(sentence(words) for words in record["still_open"])


def identification(record: Data) -> Piece:
    """Return the block for names and dates: filled in, or blank lines to write on."""
    signatures = record["sign_off"]["signatures"]
    signed = table(
        ["", "Name", "Signature", "Date"],
        [
            [s["role"].capitalize(), s["name"] or _BLANK, _BLANK, s["date"] or _BLANK]
            for s in signatures
        ],
        caption="Names and dates, filled in by people",
        class_="sign",
    )
    before = record["previous_record"]
    return Piece(signed.html + (_previous(before, record["revision"]) if before else ""))


def _previous(before: Data, revision: str) -> str:
    words = (
        f"Follows revision {before['revision']} of {before['number']}, "
        f"record {before['record_sha256']}."
    )
    if before["revision"] == revision:
        words += " Caution: the revision letter is unchanged; tell the two apart by digest."
    changes = before["changes"]
    if not changes:
        return paragraph(words + " The schedule is unchanged.")
    rows = [[change["field"], change["before"], change["now"]] for change in changes]
    caption = "What changed since the revision before"
    return paragraph(words) + table(["Field", "Before", "Now"], rows, caption=caption).html


def fields_table(record: Data, prefixes: Sequence[str], caption: str) -> Piece:
    """Return fields of the schedule as typed, as used and in SI; what was not given below.

    Parameters
    ----------
    record : mapping
        Record data.
    prefixes : sequence of str
        Tables to show, such as "joint" or "laser".
    caption : str
        What the table shows.

    Returns
    -------
    Piece
        The table.
    """
    fields = [row for path, row in record["schedule"].items() if path.partition(".")[0] in prefixes]
    rows = [
        [sentence(words_of(row["name"])), _typed(row), row["shown"], _in_si(row)]
        for row in fields
        if row["standing"] != "not given"
    ]
    missing = [words_of(row["name"]) for row in fields if row["standing"] == "not given"]
    note = paragraph(f"Not given: {', '.join(missing)}.", "note") if missing else ""
    columns = ["Field", "As typed", "As used", "In SI"]
    return table(columns, rows, caption=caption, class_="fields") + Piece(note)


def _typed(row: Data) -> str:
    typed = row["typed"]
    if typed is None:
        return f"({row['standing']})"
    if isinstance(typed, list):
        return "; ".join(", ".join(map(str, t)) if isinstance(t, list) else str(t) for t in typed)
    return str(typed)


def _in_si(row: Data) -> str:
    if row["si"] is None or isinstance(row["si"], str):
        return NOT_APPLICABLE
    ends = row["si"] if isinstance(row["si"], list) else [row["si"]]
    unit = "" if row["si_unit"] == "1" else f" {row['si_unit']}"
    return " to ".join(f"{end:.6g}" for end in ends) + unit


def item_list(record: Data) -> Piece:
    """Return the items a procedure specification has to state, and where each one stands."""
    source = record["items_source"]
    looks = dict.fromkeys(UNSETTLED, "caution")
    rows, group = [], ""
    for item in record["items"]:
        state = Piece(badge(item["state"], looks.get(item["state"], "calm")))
        first = "" if item["group"] == group else item["group"]
        group = item["group"]
        rows.append([item["key"], first, item["text"], state, item["answer"] or _BLANK])
    shown = table(
        ["No.", "Group", "Item", "State", "Answer"],
        rows,
        caption="Items of a welding procedure specification for laser beam welding",
        class_="words items",
    )
    note = f"Groups after {source['source']} ({source['standing']}): verify them in the standard."
    return Piece(paragraph(note)) + shown


def code_section(record: Data) -> Piece:
    """Return the governing code as named, and what is left to it."""
    code = record["governing_code"]
    named = {
        "Code": code["name"] or "not given: name the code that governs",
        "Edition": code["edition"] or "not given",
    }
    left = paragraph("The code decides, and weldcalc does not:") + bullets(code["left_to_it"])
    requirements = record["sign_off"]["requirements"]
    rows = [[r["text"], r["evidence"] or "no evidence named"] for r in requirements]
    filled = table(
        ["Requirement", "Evidence"], rows, caption="Requirements, as filled in by people"
    )
    return Piece(element("dl", _pairs(named)) + left + (filled.html if rows else ""))


def sources(record: Data) -> Piece:
    """Return where the numbers come from."""
    rows = [[item["what"], item["source"], item["standing"]] for item in record["sources"]]
    columns = ["What", "Source", "Standing"]
    return table(columns, rows, caption="Sources of the numbers used", class_="words sources")


def provenance(record: Data) -> Piece:
    """Return digests, versions and the commands that repeat the record."""
    digests = {
        "This record": record["record_sha256"],
        "Computed results": record["computed_sha256"],
        "Reference data": record["reference_data"]["manifest_sha256"],
        **{f"Input {file['name']}": file["sha256"] for file in record["input_files"]},
    }
    rows = [[name, Piece(element("code", text(value)))] for name, value in digests.items()]
    versions = {
        "weldcalc": record["weldcalc_version"],
        "Python": record["environment"]["python"],
        **record["environment"]["packages"],
        "Machine": f"{record['environment']['system']} {record['environment']['machine']}",
    }
    kept = {file["role"]: file["path"] for file in record["input_files"]}
    repeat = f"weldcalc recheck .\n{repeat_command(kept)}"
    return Piece(
        table(["", "SHA-256"], rows, caption="Digests", class_="digests").html
        + table(list(versions), [list(versions.values())], caption="Versions").html
        + paragraph(
            "To recompute this record from the inputs kept in its folder, and to make it anew, in "
            "that folder:"
        )
        + element("pre", text(repeat))
    )


def recheck_result(result: Data) -> Piece:
    """Return what a recheck found: the answer, what differs, what changed.

    Parameters
    ----------
    result : mapping
        From `Recheck.to_json`.

    Returns
    -------
    Piece
        The section.
    """
    answer = badge(result["answer"], "calm" if result["answer"] == "reproduced" else "stop")
    parts = [element("p", answer + " " + text(result["words"]), class_="lead")]
    if result["not_compared"]:
        words = f"{result['not_compared']} To make all of them anew, in the record's folder:"
        parts += [paragraph(words), element("pre", text(result["repeat"]))]
    if result["differences"]:
        rows = [
            [d["field"], d["recorded"], d["recomputed"], d["how"]] for d in result["differences"]
        ]
        columns = ["Field", "Recorded", "Recomputed", "How much"]
        parts.append(table(columns, rows, caption="Fields that differ").html)
    if result["changes"]:
        rows = [[c["what"], c["recorded"], c["now"]] for c in result["changes"]]
        columns = ["What", "In the record", "Here"]
        parts.append(table(columns, rows, caption="What is not the same here").html)
    return Piece("".join(parts))
