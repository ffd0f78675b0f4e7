"""What belongs below the causes of a section: how far to trust them, and what to measure next."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

from weldcalc.fields import plain_name
from weldcalc.quantities import show
from weldcalc.texts.estimates import WIDTH, table_text

if TYPE_CHECKING:
    from weldcalc.diagnosis import Diagnosis

_WORDS = 34  # letters of a column of causes, so that the table fits a terminal
_NAMES: Final = {"root_width": "root width (0 where the weld is not through)"}
# blind trials of the method on computed sections, see DEVELOPERS.md
_RIGHT: Final = (
    "in two of five of a tube butt with the depth alone",
    "in two of three of a tube butt with two sizes",
    "in more than four of five of a tube butt with all three sizes",
)


def trust_text(made: Diagnosis) -> str:
    """Return in a sentence how often the first cause was the right one.

    Parameters
    ----------
    made : Diagnosis
        From `weldcalc.diagnosis.explain`.
    """
    return (
        "Tried on computed sections with one known fault, the first cause was the right one "
        f"{_RIGHT[len(made.measured) - 1]}, and in half of a tube in a plate: do the checks, most "
        "plausible first."
    )


def further_text(made: Diagnosis) -> str:
    """Return what to measure next, and what each cause would show; empty where nothing helps.

    Parameters
    ----------
    made : Diagnosis
        From `weldcalc.diagnosis.explain`.
    """
    if not made.further:
        return ""
    names = " and ".join(_NAMES.get(one.size) or plain_name(one.size) for one in made.further)
    told = textwrap.fill(f"Measure next, to tell causes apart: {names}. To be expected:", WIDTH)
    heads = ["Cause"]
    rows = [[textwrap.fill(words, _WORDS)] for words, _, _ in made.further[0].shows]
    for one in made.further:
        heads += [plain_name(one.size), "one sigma"]
        for row, (_, middle, sigma) in zip(rows, one.shows, strict=True):
            # a middle within its own spread is a root that is shut
            row += [show(middle if middle > sigma else 0.0, one.size), show(sigma, one.size)]
    return f"{told}\n\n{table_text(heads, rows)}"
