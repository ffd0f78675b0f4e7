"""Joint, laser and goal in, ranked root-and-cover schedules out, each with the limit that binds.

The root goes through with the laser's own spot. The cover follows wider and softer: a spot up to
2.8 times as wide, by defocus, that melts a stated part of the wall again and never goes through.
"Chance" is that of the shop's scatter about the best-fit model, and the power is solved for it;
what the model's own doubt leaves of it stands beside it. A calibration narrows that doubt; the
other way round, `with_model` solves the power for both together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Executor
from pathlib import Path
from typing import Any, Final, Literal, get_args

import numpy as np
from attrs import field, frozen

from weldcalc.batch import Progress
from weldcalc.calibration_data import Calibration
from weldcalc.drafts.heading import head_comments, named_as_draft
from weldcalc.drafts.heat import HeatFrame
from weldcalc.drafts.options import Combination, combinations, cover_options, root_options
from weldcalc.drafts.proof import Proof, prove
from weldcalc.drafts.search import Search
from weldcalc.drafts.shortfall import LEAST_CHANCE, Shortfalls
from weldcalc.errors import NegativeAnswer, Problems
from weldcalc.fields import percent
from weldcalc.passes.pulse import plate_material
from weldcalc.passes.seam_history import seam_body
from weldcalc.prediction import Estimate, estimate
from weldcalc.quantities import json_key, parse_quantity, to_json
from weldcalc.schedule import Schedule, WeldPass
from weldcalc.tolerances.scatter import PassScatter, pass_scatter
from weldcalc.whole_files import numbered, refuse_existing, write_whole

Wish = Literal["balanced", "fastest", "least heat", "most forgiving"]
WISHES: Final = get_args(Wish)
CHANCE = 0.95
KEEP = 3
REMELT = 0.4
FILLET_ANGLE: Final = np.pi / 4.0  # half way between tube and plate: common practice, no source
_TRIED = 8  # of the best combinations are proved before the draft gives up


@frozen(eq=False)
class DraftedSchedule:
    """One schedule that meets every goal.

    Parameters
    ----------
    schedule : Schedule
        Root and cover, with a title and a revision of its own; `to_toml` writes it.
    estimate : Estimate
        What it does.
    cycle_time : float
        Both passes and the pause between them [s].
    heat_input : float
        Of both passes together for each metre of seam [J/m].
    room : float
        By what share the power of the root may drift to the nearer side with the chance kept [1].
    binding : tuple of (str, str)
        For each pass: what keeps it from running faster.
    proof : Proof
        Chances from direct runs on the engine's own grid.
    """

    schedule: Schedule
    estimate: Estimate = field(repr=False)
    cycle_time: float
    heat_input: float
    room: float
    binding: tuple[tuple[str, str], ...]
    proof: Proof

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "passes": [one.to_json() for one in self.estimate.passes],
            json_key("weld_time"): to_json(self.cycle_time, "weld_time"),
            json_key("heat_input"): to_json(self.heat_input, "heat_input"),
            "power_room": self.room,
            "held_by": dict(self.binding),
            "chance": self.proof.to_json(),
        }


@frozen(eq=False)
class Draft:
    """Ranked schedules for a joint.

    Parameters
    ----------
    wish : str
        What they are ranked by.
    chance : float
        Asked for [1].
    drafted : tuple of DraftedSchedule
        The best first, at least one.
    looked_at : int
        Combinations of root and cover that the search could time.
    head : tuple of str
        Comment lines at the head of the file that joint and goal came from.
    """

    wish: str
    chance: float
    drafted: tuple[DraftedSchedule, ...]
    looked_at: int
    head: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return plain values whose keys carry the shown unit."""
        return {
            "wish": self.wish,
            "chance_asked": self.chance,
            "combinations": self.looked_at,
            "drafted": [one.to_json() for one in self.drafted],
        }


def draft(
    schedule: Schedule,
    *,
    wish: Wish = "balanced",
    chance: float = CHANCE,
    keep: int = KEEP,
    remelt: float = REMELT,
    with_model: bool = False,
    seed: int = 1,
    calibration: Calibration | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Draft:
    """Return ranked root-and-cover schedules for a joint, a laser and a goal.

    Parameters
    ----------
    schedule : Schedule
        Its passes, if any, are not looked at.
    wish : {"balanced", "fastest", "least heat", "most forgiving"}, optional
        What to rank by; balanced adds up the ranks of the other three.
    chance : float, optional
        Least chance that every goal of a pass is met and nothing blows through [1].
    keep : int, optional
        How many schedules to return at most.
    remelt : float, optional
        Part of the wall that the cover melts again [1].
    with_model : bool, optional
        Whether the chance counts the model's own spread as well; without a calibration that
        spread is so wide that thin walls seldom fit.
    seed : int, optional
        Of the draws.
    calibration : Calibration, optional
        In place of the shipped constants.
    executor, progress : optional
        As for `weldcalc.batch.run_batch`.

    Returns
    -------
    Draft
        The same for the same seed.

    Raises
    ------
    InputError
        When goal or laser leave out what a draft needs.
    NegativeAnswer
        When nothing fits; says which limit to relax and by how much.
    """
    _check(schedule, wish, chance, remelt, keep)
    scatter = pass_scatter(
        schedule, _base_pass(schedule), calibration=calibration, with_model=with_model
    )
    search = Search(scatter, chance, seed, executor, progress)
    frame = _frame(schedule, scatter)
    shortfalls = Shortfalls()
    roots = root_options(search, shortfalls)
    covers = cover_options(search, remelt, shortfalls) if roots else []
    found = combinations(frame, roots, covers, shortfalls)
    drafted: list[DraftedSchedule] = []
    for one in _distinct(ranked(found, wish))[:_TRIED]:
        named = named_as_draft(schedule, len(drafted) + 1, wish)
        made = _proved(named, search, one, shortfalls)
        drafted += [made] if made else []
        if len(drafted) == keep:
            break
    if not drafted:
        raise NegativeAnswer(shortfalls.text())
    return Draft(
        wish=wish,
        chance=chance,
        drafted=tuple(drafted),
        looked_at=len(found),
        head=head_comments(schedule),
    )


def _check(schedule: Schedule, wish: str, chance: float, remelt: float, keep: int) -> None:
    problems = Problems()
    if schedule.goal.penetration is None:
        problems.add("goal.penetration", 'missing; a draft needs it, for example "100 %"')
    if schedule.laser.spot_diameter is None:
        problems.add("laser.spot_diameter", "missing; give it, or fibre and lenses")
    if wish not in WISHES:
        problems.add("wish", f"has to be one of: {', '.join(WISHES)}", wish)
    if not LEAST_CHANCE <= chance <= 0.999:
        problems.add("chance", "has to be from 0.5 to 0.999 (50 % to 99.9 %)", chance)
    if not 0.1 <= remelt <= 0.9:
        problems.add("remelt", "has to be from 10 % to 90 % of the wall", remelt)
    if keep < 1:
        problems.add("keep", "has to be at least 1", keep)
    problems.raise_if_any()


def _base_pass(schedule: Schedule) -> WeldPass:
    laser, joint = schedule.laser, schedule.joint
    spot = laser.spot_diameter or 0.0
    overlap = None
    if joint.outside_diameter is not None:
        # common practice, no source: 15 degrees or two spots, whichever is more
        two_spots = np.degrees(4.0 * spot / joint.outside_diameter)
        degrees = max(15, int(np.ceil(two_spots - 1e-9)))
        # as typed, so that the file holds just this
        overlap = parse_quantity(f"{degrees} deg", "pass.closing_overlap")
    return WeldPass(
        name="root",
        peak_power=100.0,
        pulse_energy=0.5,
        pulse_duration=5e-3,
        repetition_rate=1.0,
        travel_speed=0.3 * spot,
        spot_diameter=spot,
        profile=laser.profile,
        beam_angle=FILLET_ANGLE if joint.form == "fillet" else 0.0,
        arc=None if overlap is None else 2.0 * np.pi,
        closing_overlap=overlap,
    )


def _frame(schedule: Schedule, scatter: PassScatter) -> HeatFrame:
    return HeatFrame(
        joint=schedule.joint,
        laser=schedule.laser,
        goal=schedule.goal,
        body=seam_body(schedule.joint, scatter.metal, plate_material(schedule)),
        offset_sigma=scatter.sigma.get("beam_offset", 0.0),
    )


def ranked(found: Sequence[Combination], wish: Wish) -> list[Combination]:
    """Return combinations in the order of a wish, the best first.

    Parameters
    ----------
    found : sequence of Combination
        From `weldcalc.drafts.options.combinations`.
    wish : str
        One of `WISHES`.
    """
    ranks = {
        "fastest": _ranks(one.cycle_time for one in found),
        "least heat": _ranks(one.heat_input for one in found),
        "most forgiving": _ranks(-round(one.room, 2) for one in found),
    }
    everything = sum(ranks.values(), np.zeros(len(found)))
    # the other two decide between equals
    score = everything if wish == "balanced" else 1e3 * ranks[wish] + everything
    return [found[int(place)] for place in np.argsort(score, kind="stable")]


def _distinct(found: Sequence[Combination]) -> list[Combination]:
    """Return the best of those that are much alike: same root pulse and pitch, same cover spot."""
    kept: dict[tuple[float, ...], Combination] = {}
    for one in found:
        root, cover = one.root_option.weld_pass, one.cover_option.weld_pass
        kept.setdefault((root.pulse_duration, root.travel_speed, cover.spot_diameter), one)
    return list(kept.values())


def _ranks(values: Iterable[float]) -> Any:
    array = np.array(list(values))
    return np.searchsorted(np.sort(array), array).astype(float)


def _proved(
    schedule: Schedule, search: Search, one: Combination, shortfalls: Shortfalls
) -> DraftedSchedule | None:
    """Confirm a combination on the engine's own grid; None where it does not hold."""
    proof = prove(search, one)
    if proof.least < search.chance:
        shortfalls.chance(proof.least, search.chance)
        return None
    made = schedule.with_passes([_typed(part) for part in (proof.root, proof.cover)])
    constants = search.scatter.calibration
    result = estimate(made, calibration=constants.own)
    stops = [finding for finding in result.all_findings() if finding.weight == "stop"]
    for finding in stops:
        shortfalls.finding(finding)
    if stops:
        return None
    return DraftedSchedule(
        schedule=made,
        estimate=result,
        cycle_time=one.cycle_time,
        heat_input=sum(item.heat_input for item in result.passes),
        room=one.room,
        binding=(("root", one.root.held_by), ("cover", one.cover.held_by)),
        proof=proof,
    )


def _typed(one: WeldPass) -> dict[str, Any]:
    keys = ("name", "peak_power", "pulse_duration", "repetition_rate", "travel_speed")
    values: dict[str, Any] = {key: getattr(one, key) for key in keys}
    if one.name == "cover":
        values |= {"spot_diameter": one.spot_diameter, "pause_before": one.pause_before or None}
    if one.beam_angle:
        values["beam_angle"] = one.beam_angle
    return values | {"closing_overlap": one.closing_overlap}


def draft_notes(made: Draft, number: int) -> list[str]:
    """Return the comment lines for the head of a drafted schedule file, those of its origin first.

    Parameters
    ----------
    made : Draft
        From `draft`.
    number : int
        Place of the schedule in it, from 0.
    """
    one = made.drafted[number]
    proof, constants = one.proof, one.estimate.calibration
    both = ("under the shop's scatter alone", "with the model's own doubt as well")
    return [
        *made.head,
        f"Drafted by weldcalc, place {number + 1} of {len(made.drafted)}, ranked {made.wish}.",
        "Computed, not qualified: weld coupons, cut sections, follow the governing code.",
        f"Power solved for a chance of {percent(made.chance, 1)} {both[proof.counts_model]}; "
        f"{proof.draws} direct runs.",
        f"Chance of every goal: {percent(proof.shop_alone, 1)} {both[0]}, "
        f"{percent(proof.with_model)} {both[1]}; coupons narrow it.",
        f"Model constants: {constants.origin}",
    ]


def write_drafts(made: Draft, path: Path) -> list[Path]:
    """Write drafted schedules, the best to a path and the others beside it with -2, -3, ...

    Parameters
    ----------
    made : Draft
        From `draft`.
    path : pathlib.Path
        TOML file for the best one; no file of these names may exist yet.

    Returns
    -------
    list of pathlib.Path

    Raises
    ------
    InputError
        When one of the files exists or cannot be made; then nothing is written.
    """
    places = [numbered(path, number) for number in range(1, len(made.drafted) + 1)]
    for place in places:
        refuse_existing(place)
    written = []
    for number, (one, place) in enumerate(zip(made.drafted, places, strict=True)):
        folder = place.resolve().parent
        text = one.schedule.to_toml(notes=draft_notes(made, number), folder=folder)
        written.append(write_whole(place, text))
    return written
