"""What two records have their predictions from, where that is not the same."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from weldcalc.texts.estimates import WIDTH

_DIGITS = 12  # of a digest, enough to tell two calibrations apart
_LONGEST = 60  # letters of a name that is set into a sentence


def constants_differ(old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> bool | None:
    """Tell whether the predictions of two records rest on different constants of the model.

    Parameters
    ----------
    old, new : mapping or None
        "model" of the data of a record; None for a schedule, which holds no predictions.

    Returns
    -------
    bool or None
        None where one of them is no record.
    """
    if old is None or new is None:
        return None
    return bool(old["constants_sha256"] != new["constants_sha256"])


def constants_text(old: Mapping[str, Any] | None, new: Mapping[str, Any] | None) -> str:
    """Return in a sentence that predictions differ although schedules may not; else nothing.

    Parameters
    ----------
    old, new : mapping or None
        As for `constants_differ`.
    """
    if old is None or new is None or not constants_differ(old, new):
        return ""
    return textwrap.fill(
        "Only the schedules are compared here. The predictions of the two records rest on "
        f"different constants of the model and differ for that: the old one's on {_origin(old)}, "
        f"the new one's on {_origin(new)}. Read both pages.",
        WIDTH,
    )


def _origin(model: Mapping[str, Any]) -> str:
    kind = "coupons" if model["calibrated"] else "the shipped constants"
    name = textwrap.shorten(str(model["constants"]), _LONGEST, placeholder=" ...")
    return f"{kind} ({name}; digest {str(model['constants_sha256'])[:_DIGITS]})"
