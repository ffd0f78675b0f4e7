"""The command line: parse, call, print, exit code. Results go to stdout, all else to stderr.

Every heavy import stands inside the command that needs it, so that ``weldcalc --help`` is
instant.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

import click

from weldcalc import __version__
from weldcalc.cli_errors import GuardedGroup
from weldcalc.cli_options import (
    CALIBRATION,
    FILE,
    JSON,
    SCHEDULE,
    SCHEDULER,
    SEED,
    SHARE,
    file_option,
    output_option,
)
from weldcalc.cli_qualification import COMMANDS, print_json
from weldcalc.waiting import counter as _counter
from weldcalc.waiting import engine_notice as _engine_notice
from weldcalc.waiting import progress as _progress


@click.group(
    cls=GuardedGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="weldcalc")
def main() -> None:
    """Pulsed-laser welding of thin titanium tube without filler: schedules and their records.

    A schedule is a TOML file with the joint, the laser and the root and cover pass. weldcalc
    computes the heat flow of each pulse, says what the passes will do and why, and writes a
    record that a reviewer can recompute. Start with the demo:

        weldcalc notebooks my_folder

    It computes; it does not qualify. Weld coupons, cut sections, and follow the code that
    governs your work.

    Exit code 0: done, also where findings say STOP. 1: the answer is no, which only draft (no
    schedule found), calibrate (cannot fit), recheck (differs), compare (requalification needed)
    and follow (limit broken) can say. 2: the input cannot be used. 3: weldcalc itself failed.
    """
    # numba would end what it colours in its own error messages with a code for terminals
    os.environ.setdefault("NUMBA_DISABLE_ERROR_MESSAGE_HIGHLIGHTING", "1")


@main.command()
@SCHEDULE
@CALIBRATION
@click.option("--instant", is_flag=True, help="Closed forms only: a first look, wide intervals.")
@JSON
def estimate(schedule: Path, calibration: Any, instant: bool, as_json: bool) -> None:
    """Say what each pass of SCHEDULE does, and what to do about it.

    Energy, overlap, penetration, widths and heat, each prediction with its 90 % interval.
    """
    if instant:
        _print_instant(schedule, as_json)
        return
    from weldcalc.prediction import estimate as run
    from weldcalc.schedule import load_schedule

    with _engine_notice():
        result = run(load_schedule(schedule), calibration=calibration)
    if as_json:
        print_json(result.to_json())
        return
    from weldcalc.texts.estimates import estimate_text

    click.echo(estimate_text(result))


def _print_instant(schedule: Path, as_json: bool) -> None:
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.instant import instant_data, instant_text

    loaded = load_schedule(schedule)
    print_json(instant_data(loaded)) if as_json else click.echo(instant_text(loaded))


@main.command()
@click.argument("table", default="")
@click.option("--example", is_flag=True, help="Print a commented schedule to start from instead.")
@click.option(
    "-o", "--output", type=FILE, metavar="NEW.toml", help="Write it there; must not exist yet."
)
def fields(table: str, example: bool, output: Path | None) -> None:
    """List what may stand in a schedule, or print one to start from.

    Units, ranges, defaults and meaning of every field, or of those of one TABLE.
    """
    from weldcalc.texts.field_list import field_text
    from weldcalc.texts.starting_schedule import starting_schedule
    from weldcalc.whole_files import refuse_existing, write_whole

    if output is not None and not example:
        raise click.UsageError("-o goes with --example: it writes the schedule to start from")
    if table and example:
        raise click.UsageError("the schedule to start from is a whole one; leave out the table")
    text = starting_schedule() if example else field_text(table)
    if output is None:
        click.echo(text.rstrip())
        return
    refuse_existing(output, suffix=".toml")
    write_whole(output, text)
    click.echo(f"wrote {output}", err=True)


@main.command()
@SCHEDULE
@output_option("FOLDER", "Where the record goes; must not exist yet.")
@file_option("--coupons", "CSV", "Measured coupons.")
@file_option("--acceptance", "TOML", "Criteria that you typed in from your licensed copy.")
@file_option("--calibration", "JSON", "Calibration to use, from 'weldcalc calibrate'.")
@file_option("--sign-off", "TOML", "Filled-in form of an earlier record of this schedule.")
@file_option("--previous", "FOLDER", "Record that this one revises, or its record.json.")
def record(schedule: Path, folder: Path, **files: Path | None) -> None:
    """Write the qualification record of SCHEDULE into a folder.

    record.json is the record; notebook, page, set-up card and pulse table are views of it.
    """
    from weldcalc.records.files import PAGE_NAME
    from weldcalc.workflow import write_full_record

    with _engine_notice(), _progress("record") as step:
        written = write_full_record(schedule, folder=folder, progress=step, **files)
    for note in written.notes:
        click.echo(f"weldcalc: {note}", err=True)
    click.echo(f"{written.status}\n{written.folder}")
    page = written.folder / PAGE_NAME
    if page.is_file():
        click.echo(f"Open in a browser:  {page}", err=True)


@main.command()
@SCHEDULE
@output_option("CARD.pdf", "PDF to write; must not exist yet.")
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    default="A4",
    show_default=True,
    help="Size of the sheet.",
)
def card(schedule: Path, output: Path, paper: str) -> None:
    """Write the one-page set-up card of SCHEDULE for the machine."""
    from weldcalc.card import write_setup_card
    from weldcalc.prediction import estimate as run
    from weldcalc.schedule import load_schedule
    from weldcalc.whole_files import refuse_existing

    refuse_existing(output, suffix=".pdf")
    loaded = load_schedule(schedule)
    with _engine_notice():
        computed = run(loaded)
    click.echo(write_setup_card(loaded, output, paper=paper, estimate=computed))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@JSON
def recheck(folder: Path, as_json: bool) -> None:
    """Recompute the record in FOLDER and compare field by field.

    From its own inputs; nothing that lies in the folder is run.
    """
    from weldcalc.recheck import recheck as run

    with _engine_notice():
        report = run(folder)
    if as_json:
        print_json(report.to_json())
    else:
        click.echo(report.to_text())
    sys.exit(report.exit_code)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def notebooks(folder: Path) -> None:
    """Copy notebooks, demo files and empty forms into FOLDER.

    The forms, acceptance_template.toml and essential_variables_template.toml, are for the limits
    that you type in from your own copy of the code. Open the notebooks in JupyterLab.
    """
    from weldcalc.notebook import copy_notebooks, lab_command

    copied = copy_notebooks(folder)
    click.echo("\n".join(str(path) for path in copied))
    click.echo(f"Open them with:  {lab_command(folder)}", err=True)


@main.command()
@SCHEDULE
@output_option("NEW.toml", "Schedule to write, further ones with -2, -3; none may exist.")
@click.option(
    "--keep", type=click.IntRange(1, 20), default=3, show_default=True, help="Schedules to write."
)
@click.option(
    "--wish",
    default="balanced",
    show_default=True,
    help="What ranks them: balanced, fastest, least heat or most forgiving.",
)
@click.option(
    "--chance",
    type=SHARE,
    default=0.95,
    show_default=True,
    help="Chance of every goal to reach: 0.95 or 95 %.",
)
@click.option(
    "--remelt",
    type=SHARE,
    default=0.4,
    show_default=True,
    help="Share of the wall that the cover pass melts again: 0.4 or 40 %.",
)
@click.option("--with-model", is_flag=True, help="Solve the power with the model's doubt counted.")
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def draft(
    schedule: Path, output: Path, scheduler: str | None, as_json: bool, **wishes: Any
) -> None:
    """Draft root and cover pass for the joint and goals of SCHEDULE."""
    from weldcalc.batch import cluster_executor
    from weldcalc.drafting import draft as run
    from weldcalc.drafting import write_drafts
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import draft_text
    from weldcalc.whole_files import numbered, refuse_existing

    for number in range(1, wishes["keep"] + 1):
        refuse_existing(numbered(output, number))
    loaded = load_schedule(schedule, require_passes=False)
    with _engine_notice(), cluster_executor(scheduler) as executor, _counter("draft") as count:
        made = run(loaded, executor=executor, progress=count, **wishes)
    written = write_drafts(made, output)
    print_json(made.to_json()) if as_json else click.echo(draft_text(made))
    click.echo("\n".join(f"wrote {path}" for path in written), err=True)


@main.command()
@SCHEDULE
@click.option("--pass", "pass_name", default="", help="Name of the pass; the first if not given.")
@click.option("--x", default="peak_power", show_default=True, help="Setting drawn across.")
@click.option("--y", default="pulse_duration", show_default=True, help="Setting drawn upward.")
@click.option("--with-model", is_flag=True, help="Count the model's own spread in the chance.")
@output_option("FOLDER", "Where picture and table go; must not exist yet.")
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def window(
    schedule: Path, folder: Path, scheduler: str | None, as_json: bool, **choice: Any
) -> None:
    """Map two settings of a pass of SCHEDULE: where it is sound.

    Too little, sound or too much at each place, and how far the pass lies from each edge.
    """
    from weldcalc.batch import cluster_executor
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import window_text
    from weldcalc.whole_files import refuse_existing
    from weldcalc.window import window as run
    from weldcalc.windows.files import write_window

    loaded = load_schedule(schedule)
    refuse_existing(folder)
    with _engine_notice(), cluster_executor(scheduler) as executor, _counter("window") as count:
        made = run(loaded, executor=executor, progress=count, **choice)
    write_window(made, folder)
    print_json(made.to_json()) if as_json else click.echo(window_text(made))
    click.echo(f"wrote {folder}", err=True)


@main.command()
@SCHEDULE
@click.option("--pass", "passes", multiple=True, help="Name of a pass; all if not given.")
@click.option(
    "--samples", type=click.IntRange(1), default=4000, show_default=True, help="Welds to sample."
)
@click.option(
    "--chance",
    "least_chance",
    type=SHARE,
    default=0.95,
    show_default=True,
    help="Chance of every goal to keep while one input drifts.",
)
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def tolerance(schedule: Path, scheduler: str | None, as_json: bool, **choice: Any) -> None:
    """Say how sure each goal of SCHEDULE is, and what spreads it.

    And how far each input may drift alone while the chance of every goal stays high enough.
    """
    from weldcalc.batch import cluster_executor
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import tolerance_text
    from weldcalc.tolerance import tolerance as run

    loaded = load_schedule(schedule)
    with _engine_notice(), cluster_executor(scheduler) as executor, _counter("tolerance") as count:
        made = run(loaded, executor=executor, progress=count, **choice)
    print_json(made.to_json()) if as_json else click.echo(tolerance_text(made))


@main.command()
@SCHEDULE
@click.option("--penetration", required=True, metavar="Q", help='Measured, as "0.31 mm".')
@click.option("--width", "fusion_width", metavar="Q", help="Measured on the irradiated face.")
@click.option("--root-width", metavar="Q", help="Measured on the far side.")
@click.option("--pass", "pass_name", default="", help="Name of the pass; the first if not given.")
@CALIBRATION
@JSON
def explain(
    schedule: Path, pass_name: str, calibration: Any, as_json: bool, **sizes: str | None
) -> None:
    """Name the likeliest causes of a measured section of SCHEDULE."""
    from weldcalc.diagnosis import explain as run
    from weldcalc.quantities import parse_quantity
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import diagnosis_text

    measured: dict[str, Any] = {
        key: parse_quantity(text, key) for key, text in sizes.items() if text
    }
    loaded = load_schedule(schedule)
    with _engine_notice(), _counter("explain") as count:
        made = run(loaded, pass_name=pass_name, calibration=calibration, progress=count, **measured)
    print_json(made.to_json()) if as_json else click.echo(diagnosis_text(made))


for _command in COMMANDS:
    main.add_command(_command)
