"""Commands around coupons, changes and production: each asks a workflow and tells its answer."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from weldcalc.cli_options import FILE, JSON, SCHEDULE, SHARE, file_option, output_option
from weldcalc.waiting import engine_notice


@click.command()
@SCHEDULE
@click.argument("coupons", type=FILE, metavar="COUPONS.csv")
@output_option("CALIBRATION.json", "Calibration to write; must not exist yet.")
@JSON
def calibrate(schedule: Path, coupons: Path, output: Path, as_json: bool) -> None:
    """Fit the model to sections of COUPONS welded to SCHEDULE.

    Or say why it cannot.
    """
    from weldcalc.workflow_qualification import calibrate_files

    with engine_notice():
        _answer(calibrate_files(schedule, coupons, output), as_json)


@click.command()
@SCHEDULE
@output_option("COUPONS.csv", "Blank coupon list to write; must not exist yet.")
@click.option(
    "--reliability", type=SHARE, default=0.90, show_default=True, help="To be shown, 0 to 1."
)
@click.option(
    "--confidence", type=SHARE, default=0.90, show_default=True, help="To show it with, 0 to 1."
)
@click.option("--spread", type=int, metavar="N", help="N coupons at spread settings, to calibrate.")
@JSON
def plan(schedule: Path, output: Path, as_json: bool, **wishes: Any) -> None:
    """Plan the coupons of SCHEDULE and write the list to fill in.

    Says how many coupons show what, and which tests. The head of the list tells what goes into
    each column: colours and leak are words, imperfections are ISO 6520-1 numbers.
    """
    from weldcalc.workflow_qualification import plan_files

    _answer(plan_files(schedule, output, **wishes), as_json)


@click.command()
@click.argument("old", type=FILE)
@click.argument("new", type=FILE)
@file_option("--limits", "TOML", "Limits of change that you typed in from your licensed copy.")
@JSON
def compare(old: Path, new: Path, limits: Path | None, as_json: bool) -> None:
    """Say what changed from OLD to NEW, and what it voids.

    Each is a schedule or the folder of a record. What a change voids is said by the limits that
    you typed in.
    """
    from weldcalc.workflow_qualification import compare_files

    _answer(compare_files(old, new, limits), as_json)


@click.command()
@click.argument("record", type=FILE)
@click.argument("log", type=FILE, metavar="LOG.csv")
@click.option("--check-every", metavar="Q", help='Longest time between checks, as "480 min".')
@JSON
def follow(record: Path, log: Path, check_every: str | None, as_json: bool) -> None:
    """Follow a run LOG against a RECORD or schedule.

    Limits kept, control charts, and drift told before it reaches an edge.
    """
    from weldcalc.workflow_qualification import follow_files

    _answer(follow_files(record, log, check_every), as_json)


@click.command()
@click.argument("study", type=FILE, metavar="STUDY.csv")
@JSON
def gauge(study: Path, as_json: bool) -> None:
    """Say how far two readings of one section lie apart.

    From a STUDY in which several people read the same sections more than once.
    """
    from weldcalc.workflow_qualification import gauge_file

    _answer(gauge_file(study), as_json)


COMMANDS = (calibrate, plan, compare, follow, gauge)


def _answer(answer: Any, as_json: bool) -> None:
    print_json(answer.data) if as_json else click.echo(answer.text)
    if answer.written:
        click.echo(f"wrote {answer.written}", err=True)
    sys.exit(answer.exit_code)


def print_json(data: object) -> None:
    """Print plain values as one JSON object."""
    click.echo(json.dumps(data, indent=2, sort_keys=False, allow_nan=False, ensure_ascii=False))
