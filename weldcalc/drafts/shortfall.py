"""Why drafts failed: what each attempt lacked, and by how much the nearest limit is off."""

from __future__ import annotations

from math import floor
from typing import Final

from attrs import define, field

from weldcalc.fields import percent
from weldcalc.findings import Finding
from weldcalc.quantities import show

LEAST_CHANCE = 0.5  # that a draft may be asked for [1]
_MOST_LINES = 4
_FIELDS: Final = {
    "peak_power_limit": "laser.peak_power_limit",
    "pulse_energy_limit": "laser.pulse_energy_limit",
    "haz_width": "goal.haz_width",
}


@define
class Shortfalls:
    """Collects what would have been needed, and keeps the least of each."""

    needed: dict[str, tuple[float, float]] = field(factory=dict)
    words: dict[str, str] = field(factory=dict)
    best_chance: float = 0.0
    asked_chance: float = 0.0

    def limit(self, name: str, *, needed: float, given: float) -> None:
        """Note that a limit would have to be `needed` where it is `given` [SI]."""
        before = self.needed.get(name)
        if before is None or needed < before[0]:
            self.needed[name] = (needed, given)

    def chance(self, reached: float, asked: float) -> None:
        """Note a chance that was reached where more was asked [1]."""
        self.best_chance, self.asked_chance = max(self.best_chance, reached), asked

    def words_for(self, name: str, text: str) -> None:
        """Note something else that stood in the way, once for each name."""
        self.words.setdefault(name, text)

    def finding(self, finding: Finding) -> None:
        """Note a finding that stopped a draft that the search had let through."""
        self.words_for(finding.code, f"{finding.text}; {finding.remedy}")

    def text(self) -> str:
        """Return the whole answer: what to relax and by how much, the smallest step first."""
        steps = sorted(self.needed.items(), key=lambda item: item[1][0] / item[1][1])
        lines = [
            f"raise {_FIELDS[name]} from {show(given, name)} to {show(needed, name, 3)}"
            for name, (needed, given) in steps
        ]
        if self.asked_chance:
            lines.append(self._chance_line())
        lines += self.words.values()
        shown = "\n".join(f"  - {line}" for line in lines[:_MOST_LINES])
        return f"no schedule found that meets every goal. What would help, nearest first:\n{shown}"

    def _chance_line(self) -> str:
        scatter = "bring the scatter down (weldcalc tolerance ranks it)"
        asked = percent(self.asked_chance, 1)
        # rounded down: what is advised here has to be reached when it is asked for
        reached = floor(1e3 * self.best_chance + 1e-9) / 1e3
        if reached < LEAST_CHANCE:
            return f"{scatter}: the best reaches a chance of {percent(reached, 1)}, not {asked}"
        return f"ask for a chance of {percent(reached, 1)} instead of {asked}, or {scatter}"
