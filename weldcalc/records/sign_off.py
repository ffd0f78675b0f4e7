"""What people add to a record: answers, requirements of the code, names and dates."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from attrs import asdict, field, frozen

from weldcalc.errors import InputError, Problems
from weldcalc.records.coupons import rows_with_a_measurement
from weldcalc.records.fields import UNSETTLED
from weldcalc.schedules.toml_file import toml_from_bytes

ROLES = ("prepared", "reviewed", "approved")
DRAFT = "DRAFT: not a qualified procedure"
SIGNED = "Signed off by the people named in it; weldcalc reports this and has not judged it"
_KEYS = frozenset({"computed_sha256", "items", "requirement", "signature"})


@frozen
class Signature:
    """One name under a record, as typed.

    Parameters
    ----------
    role : str
        "prepared", "reviewed" or "approved".
    name, date : str
        As typed; empty until a person fills them in; the date as YYYY-MM-DD.
    """

    role: str
    name: str = ""
    date: str = ""


@frozen
class Requirement:
    """Something the governing code asks for beyond the record, and where the evidence is.

    Parameters
    ----------
    text, evidence : str
        As typed.
    """

    text: str
    evidence: str = ""


@frozen
class SignOff:
    """Everything that people filled in; weldcalc only reports it.

    Parameters
    ----------
    computed_sha256 : str
        The computed results that the signatures stand for.
    items : mapping of str to str
        Answers to open items by their key.
    requirements : sequence of Requirement
        What the code asks for, with evidence.
    signatures : sequence of Signature
        One for each role; names may still be empty.
    """

    computed_sha256: str = ""
    items: Mapping[str, str] = field(factory=dict)
    requirements: Sequence[Requirement] = ()
    signatures: Sequence[Signature] = tuple(Signature(role=role) for role in ROLES)

    @property
    def is_signed(self) -> bool:
        """Whether any name was filled in."""
        return any(signature.name for signature in self.signatures)

    def to_json(self) -> dict[str, Any]:
        """Return requirements and signatures as plain values."""
        return {
            "requirements": [asdict(requirement) for requirement in self.requirements],
            "signatures": [asdict(signature) for signature in self.signatures],
        }


def read_sign_off(text: str, where: str) -> SignOff:
    """Read a sign-off file.

    Parameters
    ----------
    text : str
        TOML with computed_sha256, [items], [[requirement]] and [[signature]].
    where : str
        Name of the file, quoted in errors.

    Returns
    -------
    SignOff
        As typed; roles without an entry have an empty one.

    Raises
    ------
    InputError
        For every unknown key, wrong type, unknown role or date that is not YYYY-MM-DD.
    """
    content = toml_from_bytes(text.encode("utf-8"), where)
    problems = Problems()
    for key in sorted(set(content) - _KEYS):
        problems.add(f"{where}: {key}", f"unknown key; known are {', '.join(sorted(_KEYS))}")
    sign_off = SignOff(
        computed_sha256=_text(content, "computed_sha256", where, problems),
        items=_answers(content.get("items", {}), f"{where}: items", problems),
        requirements=tuple(
            Requirement(text=row["text"], evidence=row["evidence"])
            for row in _entries(content, "requirement", ("text", "evidence"), where, problems)
        ),
        signatures=_signatures(content, where, problems),
    )
    problems.raise_if_any()
    return sign_off


def _text(content: Mapping[str, Any], key: str, where: str, problems: Problems) -> str:
    value = content.get(key, "")
    if isinstance(value, str):
        return value.strip()
    problems.add(f"{where}: {key}", 'has to be a text in quotes, such as "2026-01-31"', value)
    return ""


def _answers(items: Any, where: str, problems: Problems) -> dict[str, str]:
    if not isinstance(items, dict):
        problems.add(where, 'has to be a table of answers, such as "6.1" = "collet, drawing 12"')
        return {}
    return {key: _text(items, key, where, problems) for key in items}


def _entries(
    content: Mapping[str, Any],
    key: str,
    names: tuple[str, ...],
    where: str,
    problems: Problems,
) -> list[dict[str, str]]:
    entries = content.get(key, [])
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        problems.add(f"{where}: {key}", f"write each one under [[{key}]]")
        return []
    rows = []
    for index, entry in enumerate(entries):
        path = f"{where}: {key}[{index}]"
        for unknown in sorted(set(entry) - set(names)):
            problems.add(f"{path}.{unknown}", f"unknown key; known are {', '.join(names)}")
        rows.append({name: _text(entry, name, path, problems) for name in names})
    return rows


def _signatures(
    content: Mapping[str, Any], where: str, problems: Problems
) -> tuple[Signature, ...]:
    found: dict[str, Signature] = {}
    for row in _entries(content, "signature", ("role", "name", "date"), where, problems):
        path = f"{where}: signature {row['role'] or '?'}"
        if row["role"] not in ROLES or row["role"] in found:
            problems.add(path, f"each role stands once; roles are {', '.join(ROLES)}", row["role"])
        if row["date"] and not _is_date(row["date"]):
            problems.add(path, "write the date as year-month-day: 2026-01-31", row["date"])
        found[row["role"]] = Signature(**row)
    return tuple(found.get(role, Signature(role=role)) for role in ROLES)


def _is_date(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text  # it takes weeks and bare digits too
    except ValueError:
        return False


def check_what_is_signed(sign_off: SignOff, digests: Sequence[str], where: str) -> None:
    """Refuse signatures that were given for other results than these.

    Parameters
    ----------
    sign_off : SignOff
        As read.
    digests : sequence of str
        Digest of the results computed here, and others that the signatures may stand for.
    where : str
        Name of the sign-off file, quoted in the error.

    Raises
    ------
    InputError
        When somebody signed and the digest is missing or another.
    """
    if sign_off.is_signed and sign_off.computed_sha256 not in digests:
        raise InputError.of(
            f"{where}: computed_sha256",
            f"the signatures do not stand for these results, whose digest is {digests[0]}; "
            "have them reviewed and signed again",
            sign_off.computed_sha256 or None,
        )


def what_is_open(
    sign_off: SignOff,
    *,
    code: Mapping[str, Any],
    items: Sequence[Mapping[str, str]],
    computed: Mapping[str, Any],
) -> list[str]:
    """Return, in words, what people still have to do before a record is signed off.

    Parameters
    ----------
    sign_off : SignOff
        As read.
    code : mapping
        Governing code with name and edition.
    items : sequence of mapping
        From `record_items`.
    computed : mapping
        Results with coupons and judgement.

    Returns
    -------
    list of str
        Empty when nothing is open.
    """
    waiting = [item for item in items if item["state"] in UNSETTLED]
    items_to_do = "1 item" if len(waiting) == 1 else f"{len(waiting)} items"
    missing = [s.role for s in sign_off.signatures if not (s.name and s.date)]
    met = sign_off.requirements and all(r.text and r.evidence for r in sign_off.requirements)
    checks = [
        (not (code.get("name") and code.get("edition")), "name the governing code and its edition"),
        (True, _open_tests(computed)),
        (waiting, f"answer {items_to_do} of the list: {_by_group(waiting)}"),
        (not met, "list what the governing code requires, each with its evidence"),
        (missing, f"names and dates for: {', '.join(missing)}"),
    ]
    return [words for is_open, words in checks if is_open and words]


def _by_group(items: Sequence[Mapping[str, str]]) -> str:
    """Return the numbers of items behind the names of their groups: "Gases 9.2, 9.3; Heat 16.1"."""
    groups: dict[str, list[str]] = {}
    for item in items:
        groups.setdefault(item["group"], []).append(item["key"])
    return "; ".join(f"{group} {', '.join(keys)}" for group, keys in groups.items())


def _open_tests(computed: Mapping[str, Any]) -> str:
    judgement = computed["judgement"]
    if not rows_with_a_measurement(computed["coupons"]):
        return "weld coupons, section and measure them"
    if judgement is None:
        return "type in the acceptance limits from a licensed copy and judge the coupons by them"
    return "" if judgement["verdict"] == "met" else f"acceptance criteria {judgement['verdict']}"


def form(computed_sha256: str, items: Sequence[Mapping[str, str]]) -> str:
    """Return an empty sign-off file for a record, ready to be filled in.

    Parameters
    ----------
    computed_sha256 : str
        Digest of the results that will be signed.
    items : sequence of mapping
        From `record_items`; those not settled by the schedule get a line.

    Returns
    -------
    str
        TOML text.
    """
    lines = [
        "# To be filled in by people. It takes effect in the next record that is made with it.",
        "# weldcalc reports what stands here and judges nothing of it.",
        "",
        f'computed_sha256 = "{computed_sha256}"  # the results that the names below stand for',
        "",
        "[items]",
    ]
    for item in items:
        if item["state"] in UNSETTLED:
            lines.append(f'"{item["key"]}" = ""  # {item["text"]}')
    lines += ["", "[[requirement]]  # one for each demand of the governing code", 'text = ""']
    lines.append('evidence = ""')
    for role in ROLES:
        lines += ["", "[[signature]]", f'role = "{role}"', 'name = ""', 'date = ""  # 2026-01-31']
    return "\n".join(lines) + "\n"
