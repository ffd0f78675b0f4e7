"""Weld schedules: read from TOML or from a mapping, frozen, changed only as a whole.

What was typed is the truth: every change writes new text and reads the whole again, so that power
and energy, or speed and rotation, never contradict each other.
"""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from attrs import field, frozen

from weldcalc import joint as joints
from weldcalc.errors import InputError
from weldcalc.fields import which_known
from weldcalc.joint import Joint
from weldcalc.schedules.parts import (
    Goal,
    GoverningCode,
    Laser,
    Preparation,
    Scatter,
    ShieldingSetup,
    WeldPass,
)
from weldcalc.schedules.reader import SPOT_KEYS, read_parts
from weldcalc.schedules.toml_file import read_toml_file
from weldcalc.schedules.writer import to_toml, typed_text

__all__ = [
    "Goal",
    "GoverningCode",
    "Joint",
    "Laser",
    "PassRun",
    "Preparation",
    "Scatter",
    "Schedule",
    "ShieldingSetup",
    "WeldPass",
    "load_schedule",
    "schedule_from_mapping",
]

# typing one of these takes the place of the others
_RIVALS: Mapping[str, tuple[str, ...]] = {
    "peak_power": ("pulse_energy",),
    "pulse_energy": ("peak_power",),
    "travel_speed": ("rotation",),
    "rotation": ("travel_speed",),
}
_LASER_RIVALS: Mapping[str, tuple[str, ...]] = {
    "spot_diameter": SPOT_KEYS,
    **dict.fromkeys(SPOT_KEYS, ("spot_diameter",)),
}


@frozen
class PassRun:
    """How a pass is run: length of one segment [m], pulses in all, time in all [s]."""

    segment_length: float
    pulses: int
    weld_time: float


@frozen
class Schedule:
    """A weld schedule; attributes are named as the TOML tables and keys, SI inside.

    Parameters
    ----------
    title, number, revision : str
        What the schedule is called.
    code, joint, goal, laser, shielding, preparation, scatter
        Its tables; what was not given is None in them.
    passes : tuple of WeldPass
        Passes in the order of welding; may be empty for drafting.
    typed : dict
        Tables and keys as typed, or as they would be typed after a change.
    folder : pathlib.Path
        Folder that paths of material files start from.
    source_path : pathlib.Path or None
        File that it was read from; None once something was changed.
    sha256 : str
        Of the bytes of the file, or of `to_toml` where it came from no file.

    Notes
    -----
    Two schedules are equal when their values and the sets of typed keys are, however they were
    written.
    """

    title: str
    number: str
    revision: str
    code: GoverningCode
    joint: Joint
    goal: Goal
    laser: Laser
    shielding: ShieldingSetup
    preparation: Preparation
    scatter: Scatter
    passes: tuple[WeldPass, ...]
    typed: dict[str, Any] = field(eq=False, repr=False)
    folder: Path = field(eq=False, repr=False)
    source_path: Path | None = field(eq=False)
    sha256: str = field(eq=False)

    def pass_index(self, name: str) -> int:
        """Return the place of a pass, counted from 0.

        Parameters
        ----------
        name : str
            Name of the pass.

        Raises
        ------
        InputError
            When no pass has this name.
        """
        names = [one.name for one in self.passes]
        if name in names:
            return names.index(name)
        hint = f"; {which_known(name, names)}" if names else ": the schedule has no passes"
        raise InputError.of("pass", f"there is no pass of this name{hint}", name)

    def pass_run(self, weld_pass: WeldPass) -> PassRun:
        """Return segment length, number of pulses and time of a pass on this joint.

        Parameters
        ----------
        weld_pass : WeldPass
            One of the passes.
        """
        outside, arc = self.joint.outside_diameter, weld_pass.arc
        length = self.joint.weld_length
        if outside is not None and arc is not None:
            length = joints.segment_length(
                outside_diameter=outside,
                arc=arc,
                closing_overlap=weld_pass.closing_overlap or 0.0,
            )
        speed, segments = weld_pass.travel_speed, weld_pass.segments
        per_segment = joints.pulses_along(
            length=length, travel_speed=speed, repetition_rate=weld_pass.repetition_rate
        )
        time = joints.weld_time(
            length=length,
            travel_speed=speed,
            segments=segments,
            segment_pause=weld_pass.segment_pause,
        )
        return PassRun(segment_length=length, pulses=segments * per_segment, weld_time=time)

    def with_pass(self, index: int, **changes: Any) -> Schedule:
        """Return a schedule with some values of one pass changed.

        Parameters
        ----------
        index : int
            Place of the pass, counted from 0.
        **changes
            New values by key [SI]; None takes a key out. Peak power takes the place of a typed
            pulse energy and the reverse; the same holds for travel speed and rotation.

        Raises
        ------
        InputError
            When a value or the whole cannot be used.
        IndexError
            When there is no such pass.
        """
        typed = copy.deepcopy(self.typed)
        passes = typed.get("pass", [])
        passes[index] = _changed(passes[index], "pass", changes, _RIVALS)
        return self._again(typed)

    def with_values(self, table: str, **changes: Any) -> Schedule:
        """Return a schedule with some values of one table changed.

        Parameters
        ----------
        table : str
            Name of the table: "joint", "goal", "laser", ...; empty for title, number, revision.
        **changes
            New values by key [SI]; None takes a key out.

        Raises
        ------
        InputError
            When a value or the whole cannot be used.
        """
        typed = copy.deepcopy(self.typed)
        if table:
            typed[table] = _changed(typed.get(table, {}), table, changes, _LASER_RIVALS)
        else:
            typed = _changed(typed, "", changes, {})
        return self._again(typed)

    def with_passes(self, passes: Sequence[Mapping[str, Any]]) -> Schedule:
        """Return a schedule with other passes.

        Parameters
        ----------
        passes : sequence of mapping
            Values by key [SI] of every pass, as few as the schedule file needs.

        Raises
        ------
        InputError
            When a value or the whole cannot be used.
        """
        typed = copy.deepcopy(self.typed)
        typed["pass"] = [_changed({}, "pass", one, {}) for one in passes]
        return self._again(typed)

    def to_toml(self, *, notes: Sequence[str] = (), folder: Path | None = None) -> str:
        """Return the text of a schedule file that reads back as an equal schedule.

        Parameters
        ----------
        notes : sequence of str, optional
            Comment lines for the head of the file.
        folder : pathlib.Path, optional
            Where the file will stand, if not where it came from: paths of material files are
            written relative to it.
        """
        move = (self.folder, folder) if folder is not None else None
        return to_toml(self.typed, notes=tuple(notes), move=move)

    def _again(self, typed: dict[str, Any]) -> Schedule:
        return schedule_from_mapping(typed, folder=self.folder, require_passes=bool(self.passes))


def _changed(
    table: Mapping[str, Any],
    name: str,
    changes: Mapping[str, Any],
    rivals: Mapping[str, tuple[str, ...]],
) -> dict[str, Any]:
    kept = {key: value for key, value in changes.items() if value is not None}
    new = {key: typed_text(value, f"{name}.{key}") for key, value in kept.items()}
    gone = {rival for key in kept for rival in rivals.get(key, ())} - set(kept)
    gone |= changes.keys() - kept.keys()
    return {key: value for key, value in {**table, **new}.items() if key not in gone}


def load_schedule(path: str | Path, *, require_passes: bool = True) -> Schedule:
    """Read a weld schedule from a TOML file.

    Parameters
    ----------
    path : str or pathlib.Path
        Schedule file.
    require_passes : bool, optional
        Whether a schedule without passes is refused; drafting does not need any.

    Returns
    -------
    Schedule

    Raises
    ------
    InputError
        When the file cannot be read as TOML, or with every problem of the schedule at once, each
        with its path.
    """
    file = Path(path)
    _refuse_a_record(file)
    content, raw = read_toml_file(file)
    try:
        return _schedule(
            raw,
            folder=file.resolve().parent,
            require_passes=require_passes,
            source_path=file.resolve(),
            content=content,
        )
    except InputError as error:
        raise error.in_file(str(file)) from None


def _refuse_a_record(path: Path) -> None:
    """Refuse a folder and a record.json in words that lead to the schedule."""
    kept = (path if path.is_dir() else path.parent) / "inputs" / "schedule.toml"
    there = f", such as {kept}" if kept.is_file() else ""
    if path.is_dir():
        raise InputError.of(str(path), f"is a folder; give the schedule file (TOML){there}")
    if path.suffix.lower() == ".json":
        raise InputError.of(str(path), f"is no schedule; give the schedule file (TOML){there}")


def schedule_from_mapping(
    mapping: Mapping[str, Any], *, folder: str | Path = ".", require_passes: bool = True
) -> Schedule:
    """Make a weld schedule from tables and keys as they would be typed in TOML.

    Parameters
    ----------
    mapping : mapping
        Tables as mappings, passes as a list of mappings under "pass"; quantities are strings with a
        unit.
    folder : str or pathlib.Path, optional
        Folder that paths of material files start from.
    require_passes : bool, optional
        Whether a schedule without passes is refused.

    Returns
    -------
    Schedule

    Raises
    ------
    InputError
        With every problem of the schedule at once, each with its path.
    """
    return _schedule(
        mapping,
        folder=Path(folder).resolve(),
        require_passes=require_passes,
        source_path=None,
        content=None,
    )


def _schedule(
    raw: Mapping[str, Any],
    *,
    folder: Path,
    require_passes: bool,
    source_path: Path | None,
    content: bytes | None,
) -> Schedule:
    parts = read_parts(raw, folder=folder, require_passes=require_passes)
    content = to_toml(raw).encode("utf-8") if content is None else content
    return Schedule(
        **parts.texts,
        code=parts.code,
        joint=parts.joint,
        goal=parts.goal,
        laser=parts.laser,
        shielding=parts.shielding,
        preparation=parts.preparation,
        scatter=parts.scatter,
        passes=parts.passes,
        typed=copy.deepcopy(dict(raw)),
        folder=folder,
        source_path=source_path,
        sha256=hashlib.sha256(content).hexdigest(),
    )
