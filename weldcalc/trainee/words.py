"""What just happened, in one or two plain sentences; and the numbers with their units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from weldcalc.heatflow.pulse_result import SHIELDING_TEMPERATURE
from weldcalc.quantities import show
from weldcalc.trainee.lesson import Lesson, Outcome, Pool, Settings

NAMES: Final = {
    "travel_speed": "travel speed",
    "repetition_rate": "pulse rate",
    "spot_diameter": "spot diameter",
    "pulse_duration": "pulse duration",
    "peak_power": "peak power",
    "wall_thickness": "wall thickness",
}
_POOL_NAMES: Final = (
    "the pulse finds metal at",
    "penetration at its centre",
    "least depth, between two pulses",
    "fused width at the top",
    "fused width on the far side",
    "melt overlap at the top",
    "root overlap on the far side",
    "mode",
)
PASSING: Final = 0.1  # share of the light that leaves by the far side; a convention of this lesson
_TOUCH: Final = 0.0  # overlap at which two fused spots just touch


def story(lesson: Lesson, before: Outcome, now: Outcome) -> str:
    """Say what a change of settings did and why.

    Parameters
    ----------
    lesson : Lesson
        Gives goals and limits.
    before, now : Outcome
        Before and after the change.

    Returns
    -------
    str
        Plain sentences; what changed for the better or worse first, then what it comes from.
    """
    moved = before.settings.changed(now.settings)
    if not moved:
        return opening(lesson, now)
    events = [*_events(lesson, before, now)] or [*_plain_changes(moved, before, now)]
    reason = " and ".join(_moved(name, before.settings, now.settings) for name in moved)
    effect = "; ".join(dict.fromkeys(_effect(name, before, now) for name in moved))
    if not events:
        return f"{_sentence(reason)}: {effect}. Nothing else changed that could be seen."
    first, *more = events
    rest = "".join(f" {_sentence(event.rstrip(','))}." for event in more[:3])
    return f"{_sentence(first)} because {reason}: {effect}.{rest}"


def opening(lesson: Lesson, now: Outcome) -> str:
    """Say how things stand when nothing was moved yet."""
    pool, wall = now.pool, show(now.settings.wall_thickness, "wall_thickness")
    place = "half-way along the seam" if now.warm else "at the start of the seam"
    if pool.root_width:
        state = f"the pools go through the {wall} wall {place}"
    else:
        depth = show(pool.pulse.penetration, "penetration")
        state = f"the pools reach {depth} of the {wall} wall {place}: not through"
    return f"{_sentence(state)}. Move a slider and read here what it does."


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _moved(name: str, before: Settings, now: Settings) -> str:
    old, new = getattr(before, name), getattr(now, name)
    way = "rose" if new > old else "fell"
    return f"the {NAMES[name]} {way} from {show(old, name)} to {show(new, name)}"


def _effect(name: str, before: Outcome, now: Outcome) -> str:
    def change(key: str, words: str) -> str:
        old, new = show(getattr(before, key), key), show(getattr(now, key), key)
        return f"{words} {new} instead of {old}"

    if name == "travel_speed":
        return change("pulse_pitch", "the pulses land") + " apart"
    if name == "repetition_rate":
        ends = (show(1 / one.settings.repetition_rate, "time") for one in (now, before))
        apart = change("pulse_pitch", "the pulses land") + " apart"
        return apart + ", and the metal has {} to cool instead of {}".format(*ends)
    if name == "spot_diameter":
        return change("mean_irradiance", "the power meets the metal with")
    if name in ("pulse_duration", "peak_power"):
        return change("pulse_energy", "each pulse brings")
    ends = (show(one.settings.wall_thickness, "wall_thickness") for one in (now, before))
    return "the heat has {} to the far side instead of {}".format(*ends)


def _events(lesson: Lesson, before: Outcome, now: Outcome) -> Iterator[str]:
    """Yield what was crossed, the gravest first."""
    if (now.warm is None) != (before.warm is None):
        yield (
            "the seam no longer sets between two pulses and runs away"
            if now.warm is None
            else "the seam sets between two pulses again"
        )
    yield from _limit_events(lesson, before, now)
    if bool(now.pool.root_width) != bool(before.pool.root_width):
        yield (
            "the pools now go through to the far side"
            if now.pool.root_width
            else "the pools no longer reach the far side"
        )
    yield from _overlap_events(lesson, before, now)
    yield from _crossed(
        passing_share(before),
        passing_share(now),
        PASSING,
        "part of the beam now shoots out through the far side, so that the pool may fall through",
        "the beam no longer shoots out through the far side",
    )
    if now.pool.pulse.mode != before.pool.pulse.mode:
        yield (f"the mode turned from {before.pool.pulse.mode} to {now.pool.pulse.mode}")
    yield from _heat_events(before, now)


def passing_share(one: Outcome) -> float:
    """Return the share of a pulse's light that leaves by the far side [1]."""
    return one.pool.pulse.transmitted_energy / one.pool.pulse.incident_energy


def _overlap_events(lesson: Lesson, before: Outcome, now: Outcome) -> Iterator[str]:
    both_set = before.warm is not None and now.warm is not None
    old, new = (one.pool.root_overlap if both_set else None for one in (before, now))
    if old is not None and new is not None:
        yield from _crossed(
            old,
            new,
            _TOUCH,
            "the fused spots on the far side touch again",
            "the fused spots on the far side no longer touch: the seam leaks there",
        )
    goal = lesson.schedule.goal.spot_overlap
    if goal is not None:
        for place, values in (
            ("root overlap", (old, new)),
            ("spot overlap", (before.spot_overlap, now.spot_overlap)),
        ):
            if values[0] is not None and values[1] is not None:
                yield from _goal_words(place, values[0], values[1], goal)


def _goal_words(place: str, old: float, new: float, goal: float) -> Iterator[str]:
    ends = f"from {_overlap(old)} to {_overlap(new)}"
    limit = f"the goal of {show(goal, 'spot_overlap')}"
    yield from _crossed(
        old,
        new,
        goal,
        f"the {place} rose {ends} and reaches {limit}",
        f"the {place} fell {ends}, under {limit},",
    )


def _crossed(old: float, new: float, limit: float, up: str, down: str) -> Iterator[str]:
    if (old >= limit) != (new >= limit):
        yield up if new >= limit else down


def _heat_events(before: Outcome, now: Outcome) -> Iterator[str]:
    limit = show(SHIELDING_TEMPERATURE, "part_temperature")
    yield from _crossed(
        before.pool.found,
        now.pool.found,
        SHIELDING_TEMPERATURE,
        f"the metal is still hotter than {limit} when the next pulse comes, so it needs gas all "
        "the time",
        f"the metal cools under {limit} before the next pulse comes",
    )


def _limit_events(lesson: Lesson, before: Outcome, now: Outcome) -> Iterator[str]:
    laser = lesson.schedule.laser
    for key, limit in (
        ("average_power", laser.average_power_limit),
        ("pulse_energy", laser.pulse_energy_limit),
    ):
        if limit is not None:
            name = key.replace("_", " ")
            yield from _crossed(
                getattr(before, key),
                getattr(now, key),
                limit * (1 + 1e-12),
                f"the {name} is now above what this laser gives, {show(limit, key)},",
                f"the {name} is within what this laser gives again",
            )


def _plain_changes(moved: tuple[str, ...], before: Outcome, now: Outcome) -> Iterator[str]:
    """Yield how the numbers went that matter most for the seam, when nothing was crossed."""
    old, new = before.pool, now.pool
    kinematic = {"travel_speed", "repetition_rate", "spot_diameter"}
    if new.root_overlap is not None and old.root_overlap is not None:
        yield from _overlap_went("root overlap", old.root_overlap, new.root_overlap)
    elif kinematic.intersection(moved):
        yield from _overlap_went("spot overlap", before.spot_overlap, now.spot_overlap)
    depths = (one.pulse.penetration for one in (old, new))
    yield from _went("penetration", "penetration", *depths)
    name = "temperature that a pulse finds half-way"
    yield from _went(name, "seam_preheat", old.found, new.found)


def _overlap(share: float) -> str:
    """Return an overlap in words; below nothing it is a distance, not a share."""
    return show(share, "spot_overlap") if share >= _TOUCH else "none, spots apart"


def _overlap_went(name: str, old: float, new: float) -> Iterator[str]:
    if old < _TOUCH and new < _TOUCH:
        yield f"there is still no {name}: the spots do not touch"
    elif _overlap(old) != _overlap(new):
        way = "rose" if new > old else "fell"
        yield f"the {name} {way} from {_overlap(old)} to {_overlap(new)}"


def _went(name: str, key: str, old: float, new: float) -> Iterator[str]:
    if show(old, key) != show(new, key):
        way = "rose" if new > old else "fell"
        yield f"the {name} {way} from {show(old, key)} to {show(new, key)}"


def number_rows(now: Outcome) -> list[tuple[str, str]]:
    """Return names and values with units of what follows from the settings alone."""
    return [
        ("pulse pitch", show(now.pulse_pitch, "pulse_pitch")),
        ("spot overlap, travel left out", _overlap(now.spot_overlap)),
        ("spot overlap, travel counted", _overlap(now.spot_overlap_with_travel)),
        ("pulse energy", show(now.pulse_energy, "pulse_energy")),
        ("average power", show(now.average_power, "average_power")),
        ("irradiance, mean over the spot", show(now.mean_irradiance, "mean_irradiance")),
        ("energy per length of seam", show(now.heat_input, "heat_input")),
    ]


def pool_rows(now: Outcome) -> list[tuple[str, str, str]]:
    """Return names and values with units: of the first pulse, and of one half-way."""
    columns = [_pool_values(now.cold), _pool_values(now.warm)]
    return [(name, first, columns[1][name]) for name, first in columns[0].items()]


def _pool_values(pool: Pool | None) -> dict[str, str]:
    if pool is None:
        return dict.fromkeys(_POOL_NAMES, "does not set")
    root = pool.root_overlap
    values = (
        show(pool.found, "seam_preheat"),
        show(pool.pulse.penetration, "penetration"),
        show(pool.least_depth, "penetration"),
        show(pool.pulse.fusion_width, "fusion_width"),
        show(pool.root_width, "root_width") if pool.root_width else "none",
        "none" if pool.melt_overlap is None else _overlap(pool.melt_overlap),
        "none" if root is None else _overlap(root),
        pool.pulse.mode,
    )
    return dict(zip(_POOL_NAMES, values, strict=True))
