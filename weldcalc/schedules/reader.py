"""From the tables of a schedule file to its parts: what belongs together, defaults, derived values.

Nothing is raised on the way: problems are noted, and a part that cannot be built is None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from attrs import evolve, frozen

from weldcalc import beam, pulses
from weldcalc import joint as joints
from weldcalc.errors import InputError, Problems
from weldcalc.fields import field, nearest
from weldcalc.joint import FORMS, Joint
from weldcalc.materials import material
from weldcalc.quantities import show
from weldcalc.schedules.parts import (
    Goal,
    GoverningCode,
    Laser,
    Preparation,
    Scatter,
    ShieldingSetup,
    WeldPass,
)
from weldcalc.schedules.table import TABLES, Table, keys_of, read_table
from weldcalc.schedules.toml_file import key_path

Part = TypeVar("Part", GoverningCode, Goal, ShieldingSetup, Preparation, Scatter)

FIBRE_KEYS = ("fibre_diameter", "collimation_length", "focal_length")
PLATE_KEYS = ("plate_material", "plate_thickness")
STACK_KEYS = ("face_squareness", "length_tolerance", "set_gap", "tolerance_spread")
SPOT_KEYS = (*FIBRE_KEYS, "focus_offset")
_PLAIN_NAME = 30  # letters that a message has room for
_ROUND_KEYS = ("rotation", "arc", "segments", "segment_pause", "closing_overlap")


@frozen
class Parts:
    """Everything that a schedule file says, in SI."""

    texts: Mapping[str, str]
    code: GoverningCode
    joint: Joint
    goal: Goal
    laser: Laser
    shielding: ShieldingSetup
    preparation: Preparation
    scatter: Scatter
    passes: tuple[WeldPass, ...]


def read_parts(raw: Mapping[str, Any], *, folder: Path, require_passes: bool) -> Parts:
    """Read a whole schedule.

    Parameters
    ----------
    raw : mapping
        Tables and keys as typed.
    folder : pathlib.Path
        Folder that material files are looked for in.
    require_passes : bool
        Whether a schedule without passes is a problem.

    Raises
    ------
    InputError
        With every problem found, each with its path.
    """
    problems = Problems()
    texts = _read_top(raw, problems)
    tables = {
        name: read_table(name, name, raw.get(name), problems) for name in TABLES if name != "pass"
    }
    joint = _joint(tables["joint"], folder)
    laser = _laser(tables["laser"])
    _check_goal(tables["goal"], tables["joint"])
    passes = _passes(raw.get("pass"), joint, laser, tables["joint"], require_passes)
    problems.raise_if_any()
    if joint is None:  # a part is only missing when a problem was noted
        raise InputError.of("joint", "cannot be used")
    return Parts(
        texts=texts,
        code=_part(GoverningCode, tables["code"]),
        joint=joint,
        goal=_part(Goal, tables["goal"]),
        laser=laser,
        shielding=_part(ShieldingSetup, tables["shielding"]),
        preparation=_part(Preparation, tables["preparation"]),
        scatter=_part(Scatter, tables["scatter"]),
        passes=passes,
    )


def _part(kind: type[Part], table: Table) -> Part:
    return kind(**table.values, given=table.given)


def _read_top(raw: Mapping[str, Any], problems: Problems) -> dict[str, str]:
    own = {key: value for key, value in raw.items() if key not in TABLES}
    for key in [key for key, value in own.items() if isinstance(value, (dict, list))]:
        near = nearest(key, TABLES)
        hint = f"did you mean [{near[0]}]?" if near else f"known are {', '.join(TABLES)}"
        problems.add(key_path("", key), f"unknown table; {hint}")
        del own[key]
    top = read_table("", "", own, problems)
    top.need(*keys_of(""))
    return top.values


def _check_goal(goal: Table, joint: Table) -> None:
    if "underfill" in goal.raw and "gap" not in joint.raw:
        why = 'needs the largest gap: give gap in [joint], for example gap = "0.02 mm"'
        goal.complain("underfill", why)
    if joint.values.get("type") == "tube-to-plate":
        why = (
            "a tube in a plate has no far side that the weld could come out on; leave it out, and "
            "ask for depth along the joint by penetration"
        )
        goal.refuse(("root_width",), why)


def _joint(table: Table, folder: Path) -> Joint | None:
    complete = table.need("type", "form", "material", "wall_thickness")
    for key in ("material", "plate_material"):
        if key in table.values:
            table.values[key] = _material(table, key, folder)
    kind, form = table.values.get("type"), table.values.get("form")
    if kind and form and form not in FORMS[kind]:
        table.complain("form", f"a {kind} joint has the form {' or '.join(FORMS[kind])}")
        return None
    if kind and form:
        complete = _check_form(table, kind, form) and complete
    return Joint(**table.values, given=table.given) if complete else None


def _check_form(table: Table, kind: str, form: str) -> bool:
    if form == "sheet":
        size: tuple[str, ...] = ("seam_length",)
        table.refuse(("outside_diameter",), "sheet has no outside diameter; leave it out")
    else:
        size = ("outside_diameter",)
        table.refuse(("seam_length",), "follows from the outside diameter; leave it out")
    if kind == "tube-to-plate":
        size += PLATE_KEYS
    else:
        table.refuse(PLATE_KEYS, "only a tube-to-plate joint has a plate; leave it out")
    _check_tolerances(table, has_faces=form in ("tube", "fillet"))
    complete = table.need(*size)
    wall, outside = (table.values.get(key, 0.0) for key in ("wall_thickness", "outside_diameter"))
    if form != "sheet" and complete and 2 * wall >= outside:
        across = show(outside, "outside_diameter")
        why = f"two walls do not fit into the outside diameter of {across}; correct one of them"
        table.complain("wall_thickness", why)
        return False
    return complete


def _check_tolerances(table: Table, *, has_faces: bool) -> None:
    if not has_faces:
        why = "only tubes that meet end to end or stand on a plate have such faces; leave it out"
        table.refuse(STACK_KEYS, why)
        return
    if "length_tolerance" in table.raw and "set_gap" not in table.raw:
        why = (
            "lengths make no gap where the parts are pushed together; give set_gap where stops "
            'hold them, for example set_gap = "0 mm", or leave it out'
        )
        table.complain("length_tolerance", why)
    if table.given.isdisjoint(("face_squareness", "length_tolerance")):
        why = "acts on face_squareness and length_tolerance only; give one of them, or leave it out"
        table.refuse(("set_gap", "tolerance_spread"), why)
    else:
        table.values.setdefault("tolerance_spread", "uniform")


def _material(table: Table, key: str, folder: Path) -> str:
    name: str = table.values[key]
    if name.lower().endswith(".toml"):
        name = (folder / name).resolve().as_posix()
    try:
        material(name)
    except InputError as error:
        for problem in error.problems:
            table.complain(key, problem.why)
    return name


def _laser(table: Table) -> Laser:
    laser = Laser(**table.values, given=table.given)
    optics = [key for key in SPOT_KEYS if key in table.raw]
    if "spot_diameter" in table.raw:
        why = "spot_diameter is the spot on the part; give it or fibre and lenses, not both"
        table.refuse(optics, why)
    elif optics and table.need(*FIBRE_KEYS):
        laser = evolve(laser, spot_diameter=_spot_on_part(table, laser))
    return laser


def _spot_on_part(table: Table, laser: Laser) -> float | None:
    spot = laser.waist_diameter
    if laser.focus_offset and not table.need("wavelength", "beam_quality"):
        return None
    if spot and laser.focus_offset and laser.rayleigh_length:
        spot = beam.defocused_diameter(
            waist_diameter=spot,
            focus_offset=laser.focus_offset,
            rayleigh_length=laser.rayleigh_length,
        )
    made = field("spot_diameter")
    if spot is not None and not made.low <= spot <= made.high:
        text = show(spot, "spot_diameter")
        table.complain("fibre_diameter", f"with these lenses and this focus the spot is {text}")
    return spot


def _passes(
    raw: object, joint: Joint | None, laser: Laser, joint_table: Table, require: bool
) -> tuple[WeldPass, ...]:
    problems = joint_table.problems
    if raw is None or raw == []:
        if require:
            problems.add("pass", "missing; describe at least one pass under a heading [[pass]]")
        return ()
    if not isinstance(raw, list):
        why = "is a list of passes: write the heading [[pass]], with two brackets"
        problems.add("pass", why, None if isinstance(raw, Mapping) else raw)
        return ()
    tables = [read_table("pass", _pass_path(i, one), one, problems) for i, one in enumerate(raw)]
    _check_names(tables)
    sheet = joint_table.values.get("form") == "sheet"
    made = [_pass(table, joint, laser, sheet) for table in tables]
    return tuple(one for one in made if one is not None)


def _pass_path(number: int, raw: object) -> str:
    """Return the path of a pass for messages, with its name where it has a plain one."""
    name = raw.get("name") if isinstance(raw, Mapping) else None
    plain = isinstance(name, str) and name.isprintable() and 0 < len(name) <= _PLAIN_NAME
    return f"pass[{number}] ({name})" if plain else f"pass[{number}]"


def _check_names(tables: Sequence[Table]) -> None:
    seen: dict[str, str] = {}
    for table in tables:
        name = table.values.get("name")
        if name in seen:
            table.complain("name", f"{seen[name]} has this name already; use another")
        elif name is not None:
            seen[name] = table.path


def _pass(table: Table, joint: Joint | None, laser: Laser, sheet: bool) -> WeldPass | None:
    complete = [
        table.need("name", "pulse_duration", "repetition_rate"),
        table.one_of("peak_power", "pulse_energy"),
        table.need("travel_speed") if sheet else table.one_of("travel_speed", "rotation"),
        _has_spot(table, laser),
    ]
    if sheet:
        table.refuse(_ROUND_KEYS, "does not belong to a seam in sheet; leave it out")
    if joint is None or not all(complete):
        return None
    return _resolved(table, joint, laser)


def _has_spot(table: Table, laser: Laser) -> bool:
    if "spot_diameter" in table.raw:
        return "spot_diameter" in table.values
    if laser.given.isdisjoint(("spot_diameter", *SPOT_KEYS)):
        why = 'missing; give it here or in [laser], for example spot_diameter = "0.4 mm"'
        table.complain("spot_diameter", why)
    return laser.spot_diameter is not None


def _resolved(table: Table, joint: Joint, laser: Laser) -> WeldPass:
    values = {"spot_diameter": laser.spot_diameter, "profile": laser.profile, **table.values}
    pulse = {
        "pulse_duration": values["pulse_duration"],
        "pulse_shape": values.get("pulse_shape", "square"),
    }
    if "peak_power" in values:
        values["pulse_energy"] = pulses.energy(peak_power=values["peak_power"], **pulse)
    else:
        values["peak_power"] = pulses.peak_power_from_energy(
            pulse_energy=values["pulse_energy"], **pulse
        )
    if joint.outside_diameter is not None:
        values = _on_tube(values, joint.outside_diameter)
    return WeldPass(**values, given=table.given)


def _on_tube(values: dict[str, Any], outside: float) -> dict[str, Any]:
    if "rotation" in values:
        speed = joints.travel_speed(rotation=values["rotation"], outside_diameter=outside)
        turning = {"travel_speed": speed}
    else:
        speed = values["travel_speed"]
        turning = {"rotation": joints.rotation(travel_speed=speed, outside_diameter=outside)}
    return {"arc": math.tau, "closing_overlap": 0.0, **values, **turning}
