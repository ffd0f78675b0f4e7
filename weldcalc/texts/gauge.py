"""A gauge study as plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldcalc.fields import field, pretty_unit, to_shown
from weldcalc.quantities import show
from weldcalc.texts.estimates import WIDTH, table_text

if TYPE_CHECKING:
    from weldcalc.qualification.gauge import GaugeStudy
    from weldcalc.qualification.gauge_file import GaugeReadings

_CAUSES = (
    ("repeatability", "same person, same section"),
    ("reproducibility", "between people"),
    ("gauge", "both: what a reading is uncertain by"),
    ("part", "between sections"),
    ("total", "all together"),
)
_METHODS = {"average-range": "by ranges", "anova": "by variances"}


def gauge_text(readings: GaugeReadings, studies: Sequence[GaugeStudy]) -> str:
    """Return what a gauge study says: scatter by cause and method, and what to type where.

    Parameters
    ----------
    readings : GaugeReadings
        What was read.
    studies : sequence of GaugeStudy
        The same readings, split by each method; the last one counts.
    """
    people, trials, parts = readings.readings.shape
    unit = pretty_unit(field(readings.feature).shown_unit)
    head = (
        f"Gauge study of {readings.feature.replace('_', ' ')}: {people} people, {parts} sections, "
        f"{trials} readings each"
    )
    heads = ["One standard deviation", *(f"{_METHODS[study.method]} [{unit}]" for study in studies)]
    rows = [
        [words, *(_figure(getattr(study, key), readings.feature) for study in studies)]
        for key, words in _CAUSES
    ]
    rows.append(["share of the gauge", *(f"{100 * study.gauge_share:.1f} %" for study in studies)])
    rows.append(["classes it can tell apart", *(str(study.categories) for study in studies)])
    last = studies[-1]
    advice = (
        f"Type {show(last.gauge, readings.feature)} into the column {readings.feature}_u of your "
        "coupon list: one standard uncertainty of a single reading, without what all readings "
        "share (scale, etching, where the cut lies)."
    )
    said = [textwrap.fill(text, WIDTH) for text in (*last.statements, advice)]
    return "\n\n".join([head, table_text(heads, rows), "\n".join(said)])


def _figure(value: float, feature: str) -> str:
    return f"{to_shown(value, feature):.3g}"
