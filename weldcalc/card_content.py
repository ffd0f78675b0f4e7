"""What the set-up card says, taken from the schedule; where it stands on the page is `card`'s."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from attrs import frozen

from weldcalc import __version__
from weldcalc.card_passes import (
    MAIN,
    NOT_GIVEN,
    OTHER,
    Setting,
    as_typed,
    energy_lines,
    predicted,
    settings,
    without_defaults,
)
from weldcalc.gas.purging import purge
from weldcalc.hazards.actions import caution_actions
from weldcalc.passes.pulse import joint_material, plate_material
from weldcalc.quantities import show
from weldcalc.records.sign_off import DRAFT
from weldcalc.reference import read_csv
from weldcalc.safety import cautions, defer_to

if TYPE_CHECKING:
    from weldcalc.prediction import Estimate
    from weldcalc.schedule import Laser, Schedule, ShieldingSetup

BLANK = "____________"
_NOT_ESTIMATED = "Not checked: this card was drawn without an estimate of the weld"
_STOP = "Do not weld with these settings: the estimate says"
_COLOURS_TAKEN = (
    "EN ISO 9606-5:2000, a welder test, in its colour text as quoted by others (check your own "
    "copy): silver and straw on the weld metal are taken, and a narrow band of strong colour at "
    "the edge of the gas shield; darker brown, purple, blue, grey and flaky white are not. The "
    "governing code decides, not this card."
)


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
    optics : tuple of str
        Lines on lenses, focus, nozzle and window: as typed, else blanks to fill in.
    pass_names : tuple of str
        Heads of the columns of the settings.
    main, other, predicted : tuple of Setting
        Settings in large type, in small type, and what is expected of them.
    defaults : str
        Settings of the second kind that nobody typed and that are the same in every pass.
    energy : tuple of (str, str)
        Pass and what the pulse table would do to its energy; empty without an estimate.
    check : tuple of str
        Lines of the check weld.
    stops_heading : str
        What stands over them; empty where an estimate found nothing to stop for.
    stops : tuple of str
        Findings that forbid welding as it stands.
    colours : tuple of str
        The rule on weld colour, with its source; empty where there is none for the metal.
    cautions : tuple of (str, str)
        Heading and what to do.
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
    optics: tuple[str, ...]
    pass_names: tuple[str, ...]
    main: tuple[Setting, ...]
    other: tuple[Setting, ...]
    defaults: str
    predicted: tuple[Setting, ...]
    energy: tuple[tuple[str, str], ...]
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
        return (*head, *facts, *self.before, *self.optics, *self.pass_names, *cells, *self.stops)


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
    other, defaults = without_defaults(tuple(settings(schedule, OTHER, estimate)))
    return CardContent(
        title=schedule.title,
        number=schedule.number,
        revision=schedule.revision,
        code=_code(schedule),
        status=DRAFT,
        joint_facts=tuple(_joint_facts(schedule)),
        clock=tuple(_clock(schedule)),
        before=tuple(_before(schedule)),
        optics=tuple(_optics(schedule.laser, schedule.typed.get("laser", {}))),
        pass_names=tuple(weld_pass.name for weld_pass in schedule.passes),
        main=tuple(settings(schedule, MAIN, estimate)),
        other=other,
        defaults=defaults,
        predicted=tuple(predicted(estimate)),
        energy=tuple(energy_lines(estimate)),
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


def _joint_facts(schedule: Schedule) -> Iterator[tuple[str, str]]:
    joint, typed = schedule.joint, schedule.typed["joint"]
    yield "Joint", f"{joint.type}, {joint.form}, no filler"
    yield "Material", joint_material(schedule).name
    if joint.type != "butt":
        yield "Plate material", plate_material(schedule).name
    yield "Wall", as_typed(typed, "wall_thickness", joint.wall_thickness)
    for key, name in (
        ("outside_diameter", "Outside diameter"),
        ("seam_length", "Seam length"),
        ("plate_thickness", "Plate"),
    ):
        if getattr(joint, key) is not None:
            yield name, as_typed(typed, key, getattr(joint, key))
    yield "Gap, at most", as_typed(typed, "gap", joint.gap)
    yield "Mismatch, at most", as_typed(typed, "mismatch", joint.mismatch)
    laser = schedule.laser
    yield "Wavelength", as_typed(schedule.typed.get("laser", {}), "wavelength", laser.wavelength)


def _optics(laser: Laser, typed: Mapping[str, Any]) -> Iterator[str]:
    def told(key: str) -> str:
        value = getattr(laser, key)
        return BLANK if value is None else as_typed(typed, key, value)

    # the offset is the part's place from the focus; where none is typed it is read off the machine
    focus = "Focus position" if laser.focus_offset is None else "Focus offset"
    yield f"Lens {told('focal_length')} · Fibre {told('fibre_diameter')}"
    yield f"Collimator {told('collimation_length')} · {focus} {told('focus_offset')}"
    yield f"Nozzle {BLANK} · Stand-off {BLANK}"
    yield f"Protective window {BLANK}"


def _before(schedule: Schedule) -> Iterator[str]:
    made = schedule.preparation
    yield f"Clean: {made.cleaning or NOT_GIVEN}. Surface: {made.surface}."
    yield from _gas(schedule.shielding, schedule.typed.get("shielding", {}))


def _clock(schedule: Schedule) -> Iterator[str]:
    made = schedule.preparation
    limit = as_typed(schedule.typed.get("preparation", {}), "clean_to_weld", made.clean_to_weld)
    yield f"Cleaned at {BLANK} by {BLANK} · Weld before {BLANK}"
    yield f"Welded at {BLANK} by {BLANK} · From cleaning to welding at most: {limit}"


def _gas(gas: ShieldingSetup, typed: Mapping[str, Any]) -> Iterator[str]:
    def told(key: str) -> str:
        return as_typed(typed, key, getattr(gas, key))

    shield = f"{gas.gas}, purity {told('purity')}, flow {told('flow')}" if gas.gas else NOT_GIVEN
    kept = f"Keep the gas on until the metal is colder than: {told('remove_below')}."
    yield f"Shield: {shield}. {kept} Read: flow {BLANK} · cylinder no. {BLANK}"
    purged = NOT_GIVEN
    if gas.purge_volume is not None or gas.purge_flow is not None:
        purged = (
            f"volume {told('purge_volume')}, flow {told('purge_flow')}, {_purge_time(gas)}; "
            f"oxygen at most {told('oxygen_target')}"
        )
    yield f"Purge inside: {purged}. Read: oxygen {BLANK} at {BLANK}"


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


def _check(schedule: Schedule) -> Iterator[str]:
    goal, wall = schedule.goal, show(schedule.joint.wall_thickness, "wall_thickness")
    depth = (
        ""
        if goal.penetration is None
        else (f" (goal {show(goal.penetration, 'goal.penetration')} of the wall of {wall})")
    )
    root = "" if goal.root_width is None else f" (at least {show(goal.root_width, 'root_width')})"
    yield (
        "Before the first part and after any change of gas, focus, lamp or window: weld a test "
        "piece of the same metal and wall, look at its root, section it as the procedure says."
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
    actions = caution_actions()
    for caution in cautions(material=family, gas=gas):
        yield caution.title, actions[caution.key]


def _foot(schedule: Schedule) -> str:
    name = schedule.source_path.name if schedule.source_path else "not from a file"
    return (
        f"weldcalc {__version__}; schedule {name}, sha256 {schedule.sha256[:16]}. "
        "Bold: as typed in the schedule; plain: follows from it or is a stated default."
    )
