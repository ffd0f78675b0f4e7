"""What to do about each caution, in few words: for the card at the machine."""

from __future__ import annotations

from collections.abc import Mapping

from weldcalc.reference import read_toml


def caution_actions() -> Mapping[str, str]:
    """Return the short action text of every caution, by the caution's key.

    The full wording, its documents and its standing stand beside it in the same data.
    """
    table = read_toml("safety/cautions.toml")
    return {raw["key"]: raw["action"] for raw in table["caution"]}
