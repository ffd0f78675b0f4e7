"""Options that several commands share."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

FILE = click.Path(path_type=Path)
SCHEDULE = click.argument("schedule", type=FILE, metavar="SCHEDULE.toml")
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
SEED = click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Of all random draws."
)
SCHEDULER = click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Run the batch on this dask cluster, not on this machine.",
)


def output_option(metavar: str, text: str) -> Decorator:
    """Return the option -o for the one thing that a command writes."""
    name = "folder" if metavar == "FOLDER" else "output"
    return click.option(
        "-o", "--output", name, type=FILE, required=True, metavar=metavar, help=text
    )


def file_option(name: str, metavar: str, text: str) -> Decorator:
    """Return an option that names a file or folder which has to exist."""
    return click.option(
        name, type=click.Path(path_type=Path, exists=True), metavar=metavar, help=text
    )


class ShareType(click.ParamType[float]):
    """A chance or another share, typed as "95 %" or as 0.95."""

    name = "share"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the share [1]."""
        number, is_percent, rest = str(value).strip().partition("%")
        asked = "give 0.95, or 95 %"
        if "," in number:
            self.fail(f"{value!r}: use a decimal point; {asked}", param, ctx)
        try:
            share = float(number) / (100.0 if is_percent else 1.0)
        except ValueError:
            self.fail(f"{value!r} is no share: {asked}", param, ctx)
        if rest or not 0.0 <= share <= 1.0:
            meant = f"{share / 100.0:.6g} or {share:.6g} %" if 2.0 <= share <= 100.0 else ""
            probably = f"here probably {meant}" if meant and not is_percent else asked
            self.fail(f"{value!r} is not between 0 and 1; {probably}", param, ctx)
        return share


SHARE = ShareType()


class CalibrationFile(click.Path):
    """A calibration file, read when the command line is."""

    def __init__(self) -> None:
        super().__init__(path_type=Path, exists=True)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the calibration in a file."""
        from weldcalc.calibrating.file import read_calibration

        return read_calibration(os.fsdecode(super().convert(value, param, ctx)))


CALIBRATION = click.option(
    "--calibration",
    type=CalibrationFile(),
    metavar="JSON",
    help="Calibration to use, from 'weldcalc calibrate'.",
)
