"""The command that makes a record anew from the inputs kept in its folder."""

from __future__ import annotations

import shlex
from collections.abc import Mapping

_OPTIONS = ("coupons", "acceptance", "calibration", "sign_off", "previous")


def repeat_command(paths: Mapping[str, str]) -> str:
    """Return the command, to be run in the record's folder, that makes the record anew.

    Parameters
    ----------
    paths : mapping of str to str
        Where each input is kept inside the folder, by its role; a material file is found by the
        schedule itself.
    """
    options = [
        f"--{role.replace('_', '-')} {shlex.quote(paths[role])}"
        for role in _OPTIONS
        if role in paths
    ]
    given = [shlex.quote(paths["schedule"]), *options]
    return f"weldcalc record {' '.join(given)} -o ../NEW_FOLDER"
