"""What the set-up card says, taken from the schedule; where it stands on the page is `card`'s."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from attrs import frozen

from weldcalc import __version__
from weldcalc.gas.purging import purge
from weldcalc.passes.pulse import joint_material, plate_material
from weldcalc.quantities import field, pretty_unit, show, to_shown
from weldcalc.records.sign_off import DRAFT
from weldcalc.reference import read_csv
from weldcalc.safety import cautions, defer_to

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Laser, Schedule, ShieldingSetup, WeldPass

BLANK = "____________"
NOT_GIVEN = "not given"

# settings in the order of the machine's panel; the first group is what spoils a part when wrong
_MAIN = {
    "peak_power": "Peak power",
    "pulse_energy": "Pulse energy",
    "pulse_duration": "Pulse duration",
    "repetition_rate": "Repetition rate",
    "travel_speed": "Travel speed",
    "rotation": "Rotation",
    "spot_diameter": "Spot on the part",
}
_OTHER = {
    "pulse_shape": "Pulse shape",
    "beam_offset": "Beam off the joint line",
    "beam_angle": "Beam angle, from upright",
    "arc": "Arc of a segment",
    "pause_before": "Pause before the pass",
    "segments": "Segments",
    "segment_pause": "Pause between segments",
    "closing_overlap": "Closing overlap",
    "preheat": "Part temperature at start",
}
_PREDICTED = {
    "penetration": "Penetration",
    "fusion_width": "Fused width on top",
    "root_width": "Fused width at the root",
    "spot_overlap": "Spot overlap",
    "root_overlap": "Root overlap",
    "weld_time": "Weld time",
}

_NOT_ESTIMATED = "Not checked: this card was drawn without an estimate of the weld"
_STOP = "Do not weld with these settings: the estimate says"
_COLOURS_TAKEN = (
    "EN ISO 9606-5:2000, a welder test, in its colour text as quoted by others (check your own "
    "copy): silver and straw on the weld metal are taken, and a narrow band of strong colour at "
    "the edge of the gas shield; darker brown, purple, blue, grey and flaky white are not. The "
    "governing code decides, not this card."
)


@frozen
class Cell:
    """One setting of one pass: its text and whether the schedule's author typed it."""

    text: str
    typed: bool


@frozen
class Setting:
    """One line of the table of settings: its name and a cell for each pass."""

    name: str
    cells: tuple[Cell, ...]


@frozen
class CardContent:
    """Everything on the card as text, in reading order.

    Parameters
    ----------
    title, number, revision, code, status : str
        Head of the card.
    joint_facts : tuple of (str, str)
        Name and value.
    clock : tuple of str
        The time from cleaning to welding, with blanks to fill in.
    before : tuple of str
        Lines on cleaning, gas and purge, with blanks to fill in.
    pass_names : tuple of str
        Heads of the columns of the settings.
    main, other, predicted : tuple of Setting
        Settings in large type, in small type, and what is expected of them.
    check : tuple of str
        Lines of the check weld.
    stops_heading : str
        What stands over them; empty where an estimate found nothing to stop for.
    stops : tuple of str
        Findings that forbid welding as it stands.
    colours : tuple of str
        The rule on weld colour, with its source; empty where there is none for the metal.
    cautions : tuple of (str, str)
        Heading and first sentence.
    defer_to, foot : str
        Who decides about safety; where the card came from.
    """

    title: str
    number: str
    revision: str
    code: str
    status: str
    joint_facts: tuple[tuple[str, str], ...]
    clock: tuple[str, ...]
    before: tuple[str, ...]
    pass_names: tuple[str, ...]
    main: tuple[Setting, ...]
    other: tuple[Setting, ...]
    predicted: tuple[Setting, ...]
    check: tuple[str, ...]
    stops_heading: str
    stops: tuple[str, ...]
    colours: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    defer_to: str
    foot: str

    def texts(self) -> tuple[str, ...]:
        """Return the texts that a user typed, for a look at their characters."""
        cells = (cell.text for setting in (*self.main, *self.other) for cell in setting.cells)
        facts = (value for _, value in self.joint_facts)
        head = (self.title, self.number, self.revision, self.code)
        return (*head, *facts, *self.before, *self.pass_names, *cells, *self.stops)


def card_content(schedule: Schedule, estimate: Estimate | None = None) -> CardContent:
    """Return the text of the card.

    Parameters
    ----------
    schedule : Schedule
        With at least one pass.
    estimate : Estimate, optional
        Predictions and findings; without it the card holds settings only.

    Returns
    -------
    CardContent
        Values that were typed stand as typed, so that no setting is rounded.
    """
    family = joint_material(schedule).family
    stops = tuple(_stops(estimate))
    return CardContent(
        title=schedule.title,
        number=schedule.number,
        revision=schedule.revision,
        code=_code(schedule),
        status=DRAFT,
        joint_facts=tuple(_joint_facts(schedule)),
        clock=tuple(_clock(schedule)),
        before=tuple(_before(schedule)),
        pass_names=tuple(weld_pass.name for weld_pass in schedule.passes),
        main=tuple(_settings(schedule, _MAIN)),
        other=tuple(_settings(schedule, _OTHER)),
        predicted=tuple(_predicted(estimate)),
        check=tuple(_check(schedule)),
        stops_heading=_NOT_ESTIMATED if estimate is None else _STOP if stops else "",
        stops=stops,
        colours=_colours(family),
        cautions=tuple(_cautions(family, schedule.shielding.gas)),
        defer_to=defer_to(),
        foot=_foot(schedule),
    )


def _code(schedule: Schedule) -> str:
    if not schedule.code.name:
        return f"Governing code: {NOT_GIVEN} {BLANK}{BLANK}"
    edition = schedule.code.edition or NOT_GIVEN
    return f"Governing code: {schedule.code.name}, edition: {edition}"


def _as_typed(typed: Mapping[str, Any], key: str, value: Any) -> str:
    """Return a value as typed where it was; no setting may be rounded on its way to the machine."""
    if key in typed:
        return _plain(typed[key])
    if value is None or isinstance(value, str):
        return value or NOT_GIVEN
    if isinstance(value, int):
        return str(value)
    number = to_shown(value, key)
    digits = f"{number:.4g}" if abs(number) < 1e4 else f"{number:.0f}"
    return pretty_unit(f"{digits} {field(key).shown_unit}")


def _plain(typed: Any) -> str:
    if isinstance(typed, list):  # corners of a pulse shape
        corners = (f"{100 * power:.4g} % at {100 * time:.4g} %" for time, power in typed)
        return "power " + ", ".join(corners) + " of the time"
    return pretty_unit(str(typed))


def _joint_facts(schedule: Schedule) -> Iterator[tuple[str, str]]:
    joint, typed = schedule.joint, schedule.typed["joint"]
    yield "Joint", f"{joint.type}, {joint.form}, welded without filler"
    yield "Material", joint_material(schedule).name
    if joint.type != "butt":
        yield "Plate material", plate_material(schedule).name
    yield "Wall", _as_typed(typed, "wall_thickness", joint.wall_thickness)
    for key, name in (
        ("outside_diameter", "Outside diameter"),
        ("seam_length", "Seam length"),
        ("plate_thickness", "Plate"),
    ):
        if getattr(joint, key) is not None:
            yield name, _as_typed(typed, key, getattr(joint, key))
    yield "Gap, at most", _as_typed(typed, "gap", joint.gap)
    yield "Mismatch, at most", _as_typed(typed, "mismatch", joint.mismatch)
    yield from _laser_facts(schedule.laser, schedule.typed.get("laser", {}))


def _laser_facts(laser: Laser, typed: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    yield "Wavelength", _as_typed(typed, "wavelength", laser.wavelength)
    optics = {
        "fibre_diameter": "fibre",
        "collimation_length": "collimator",
        "focal_length": "lens",
        "focus_offset": "focus offset",
    }
    known = [
        f"{name} {_as_typed(typed, key, getattr(laser, key))}"
        for key, name in optics.items()
        if getattr(laser, key) is not None
    ]
    if known:
        yield "Optics", ", ".join(known)


def _before(schedule: Schedule) -> Iterator[str]:
    made = schedule.preparation
    yield f"Clean: {made.cleaning or NOT_GIVEN}. Surface: {made.surface}."
    yield from _gas(schedule.shielding, schedule.typed.get("shielding", {}))


def _clock(schedule: Schedule) -> Iterator[str]:
    made = schedule.preparation
    limit = _as_typed(schedule.typed.get("preparation", {}), "clean_to_weld", made.clean_to_weld)
    yield f"Cleaned at {BLANK} by {BLANK} · Weld before {BLANK}"
    yield f"Welded at {BLANK} by {BLANK} · From cleaning to welding at most: {limit}"


def _gas(gas: ShieldingSetup, typed: Mapping[str, Any]) -> Iterator[str]:
    def told(key: str) -> str:
        return _as_typed(typed, key, getattr(gas, key))

    shield = f"{gas.gas}, purity {told('purity')}, flow {told('flow')}" if gas.gas else NOT_GIVEN
    yield f"Shield: {shield}. Read: flow {BLANK} · cylinder no. {BLANK}"
    purged = NOT_GIVEN
    if gas.purge_volume is not None or gas.purge_flow is not None:
        purged = (
            f"volume {told('purge_volume')}, flow {told('purge_flow')}, {_purge_time(gas)}; "
            f"oxygen at most {told('oxygen_target')}"
        )
    yield f"Purge inside: {purged}. Read: oxygen {BLANK} at {BLANK}"
    yield f"Keep the gas on until the metal is colder than: {told('remove_below')}."


def _purge_time(gas: ShieldingSetup) -> str:
    if gas.purge_volume is None or gas.purge_flow is None or gas.oxygen_target is None:
        return "time not computed"
    time = purge(
        volume=gas.purge_volume,
        oxygen_target=gas.oxygen_target,
        flow=gas.purge_flow,
        purity=gas.purity,
    ).time
    if time is None:
        return "time not known: this gas is not shown to get there"
    return f"at least {math.ceil(time)} s (perfect mixing)"


def _settings(schedule: Schedule, names: Mapping[str, str]) -> Iterator[Setting]:
    for key, name in names.items():
        cells = tuple(
            _cell(weld_pass, typed, schedule.typed.get("laser", {}), key)
            for weld_pass, typed in zip(schedule.passes, schedule.typed["pass"], strict=True)
        )
        if any(cell.text for cell in cells):
            towards = key == "beam_offset" and schedule.joint.type != "butt"
            yield Setting(name=f"{name}, + to the plate" if towards else name, cells=cells)


def _cell(
    weld_pass: WeldPass, typed: Mapping[str, Any], laser: Mapping[str, Any], key: str
) -> Cell:
    value = getattr(weld_pass, key)
    source = typed if key in typed or key != "spot_diameter" else laser
    idle = (key == "segment_pause" and weld_pass.segments == 1) or (
        key == "pause_before" and value == 0.0
    )
    if value is None or idle:
        return Cell(text="", typed=False)
    return Cell(text=_as_typed(source, key, value), typed=key in source)


def _predicted(estimate: Estimate | None) -> Iterator[Setting]:
    if estimate is None:
        return
    for key, name in _PREDICTED.items():
        values = [getattr(one, key) for one in estimate.passes]
        if any(value is not None for value in values):
            told = (Cell("none" if v is None else show(v, key), typed=False) for v in values)
            yield Setting(name=name, cells=tuple(told))


def _check(schedule: Schedule) -> Iterator[str]:
    goal, wall = schedule.goal, show(schedule.joint.wall_thickness, "wall_thickness")
    depth = (
        ""
        if goal.penetration is None
        else (f" (goal {show(goal.penetration, 'goal.penetration')} of the wall of {wall})")
    )
    root = "" if goal.root_width is None else f" (at least {show(goal.root_width, 'root_width')})"
    yield (
        "Before the first part, and after every change of gas, focus, lamp or window: weld a test "
        "piece of the same metal and wall, look at its root, section it when the procedure says so."
    )
    yield f"Penetration {BLANK}{depth} · Root width {BLANK}{root} · Colour {BLANK}"
    yield f"Test piece no. {BLANK} · Go / no go {BLANK} · By {BLANK} · Date and time {BLANK}{BLANK}"


def _stops(estimate: Estimate | None) -> Iterator[str]:
    if estimate is None:
        return
    for found in estimate.all_findings():
        if found.weight == "stop":
            yield f"{found.where}: {found.text}" if found.where else found.text


def _colours(family: str) -> tuple[str, ...]:
    if family != "titanium":
        return ()
    rows = read_csv("qualification/colours.csv")
    places: dict[str, list[str]] = {}
    for row in rows:
        places.setdefault(row["order"], []).append(row["word"])
    order = ", ".join(" or ".join(words) for words in places.values())
    return (
        f"With rising exposure to air while hot: {order} (order: common practice, no source).",
        _COLOURS_TAKEN,
    )


def _cautions(family: str, gas: str | None) -> Iterator[tuple[str, str]]:
    for caution in cautions(material=family, gas=gas):
        first = caution.text.split(". ")[0].rstrip(".")
        yield caution.title, f"{first}."


def _foot(schedule: Schedule) -> str:
    name = schedule.source_path.name if schedule.source_path else "not from a file"
    return (
        f"weldcalc {__version__}; schedule {name}, sha256 {schedule.sha256[:16]}. "
        "Bold: as typed in the schedule; plain: follows from it or is a stated default."
    )
