"""The command line: parse, call, print, exit code. Results go to stdout, all else to stderr.

Every heavy import stands inside the command that needs it, so that ``weldcalc --help`` is
instant.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from pathlib import Path
from typing import Any

import click

from weldcalc import __version__
from weldcalc.cli_options import (
    CALIBRATION,
    FILE,
    JSON,
    SCHEDULE,
    SCHEDULER,
    SEED,
    file_option,
    output_option,
)
from weldcalc.errors import InputError, WeldcalcError
from weldcalc.waiting import counter as _counter
from weldcalc.waiting import engine_notice as _engine_notice
from weldcalc.waiting import progress as _progress


class GuardedGroup(click.Group):
    """A command group that turns every error into one clear message and the right exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; 0 done, 1 the answer is no, 2 unusable input, 3 weldcalc failed."""
        try:
            return super().invoke(ctx)
        except WeldcalcError as error:
            click.echo(_error_text(error), err=True)
            ctx.exit(error.exit_code)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except OSError as error:
            click.echo(
                f"weldcalc: {error.filename or 'output'}: {error.strerror or error}", err=True
            )
            ctx.exit(InputError.exit_code)
        except Exception as error:  # the last guard: nobody at a machine should see a traceback
            _report_failure(error)
            ctx.exit(WeldcalcError.exit_code)


def _error_text(error: WeldcalcError) -> str:
    if isinstance(error, InputError) and len(error.problems) > 1:
        file = f"{error.file}: " if error.file else ""
        return f"weldcalc: {file}{len(error.problems)} problems:\n" + "\n".join(
            f"  {problem}" for problem in error.problems
        )
    return f"weldcalc: {error}"


def _report_failure(error: Exception) -> None:
    if os.environ.get("WELDCALC_DEBUG"):
        traceback.print_exception(error)
    click.echo(
        f"weldcalc failed: {type(error).__name__}: {error}\n"
        "This is a fault of weldcalc, not of your input. Set WELDCALC_DEBUG=1 and run the "
        "command again for the details to report.",
        err=True,
    )


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
    """
    # numba would end what it colours in its own error messages with a code for terminals
    os.environ.setdefault("NUMBA_DISABLE_ERROR_MESSAGE_HIGHLIGHTING", "1")


@main.command()
@SCHEDULE
@CALIBRATION
@click.option("--instant", is_flag=True, help="Closed forms only: a first look, wide intervals.")
@JSON
def estimate(schedule: Path, calibration: Any, instant: bool, as_json: bool) -> None:
    """Say what each pass of SCHEDULE does: energy, overlap, penetration, widths, findings."""
    if instant:
        _print_instant(schedule, as_json)
        return
    from weldcalc.prediction import estimate as run
    from weldcalc.schedule import load_schedule

    with _engine_notice():
        result = run(load_schedule(schedule), calibration=calibration)
    if as_json:
        _print_json(result.to_json())
        return
    from weldcalc.texts.estimates import estimate_text

    click.echo(estimate_text(result))


def _print_instant(schedule: Path, as_json: bool) -> None:
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.instant import instant_data, instant_text

    loaded = load_schedule(schedule)
    _print_json(instant_data(loaded)) if as_json else click.echo(instant_text(loaded))


@main.command()
@click.argument("table", default="")
def fields(table: str) -> None:
    """List what may stand in a schedule, or in one TABLE of it: units, ranges, meaning."""
    from weldcalc.texts.field_list import field_text

    click.echo(field_text(table))


@main.command()
@SCHEDULE
@output_option("FOLDER", "Where the record goes; must not exist yet.")
@file_option("--coupons", "CSV", "Measured coupons.")
@file_option("--acceptance", "TOML", "Criteria that you typed in from your licensed copy.")
@file_option("--calibration", "JSON", "Calibration to use, from 'weldcalc calibrate'.")
@file_option("--sign-off", "TOML", "Filled-in form of an earlier record of this schedule.")
@file_option("--previous", "FOLDER", "Record that this one revises.")
def record(schedule: Path, folder: Path, **files: Path | None) -> None:
    """Write the qualification record of SCHEDULE: record.json, notebook, page and card."""
    from weldcalc.workflow import write_full_record

    with _engine_notice(), _progress("record") as step:
        written = write_full_record(schedule, folder=folder, progress=step, **files)
    for note in written.notes:
        click.echo(f"weldcalc: {note}", err=True)
    click.echo(f"{written.status}\n{written.folder}")


@main.command()
@SCHEDULE
@output_option("CARD.pdf", "PDF to write.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True)
def card(schedule: Path, output: Path, paper: str) -> None:
    """Write the one-page set-up card of SCHEDULE for the person at the machine."""
    from weldcalc.card import write_setup_card
    from weldcalc.prediction import estimate as run
    from weldcalc.schedule import load_schedule
    from weldcalc.whole_files import refuse_unwritable

    refuse_unwritable(output)
    loaded = load_schedule(schedule)
    with _engine_notice():
        computed = run(loaded)
    click.echo(write_setup_card(loaded, output, paper=paper, estimate=computed))


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@JSON
def recheck(folder: Path, as_json: bool) -> None:
    """Recompute the record in FOLDER from its own inputs and compare field by field."""
    from weldcalc.recheck import recheck as run

    with _engine_notice():
        report = run(folder)
    if as_json:
        _print_json(report.to_json())
    else:
        click.echo(report.to_text())
    sys.exit(report.exit_code)


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
def notebooks(folder: Path) -> None:
    """Copy the notebooks and the demo schedules into FOLDER, ready for JupyterLab."""
    from weldcalc.notebook import copy_notebooks, lab_command

    copied = copy_notebooks(folder)
    click.echo("\n".join(str(path) for path in copied))
    click.echo(f"Open them with:  {lab_command(folder)}", err=True)


@main.command()
@SCHEDULE
@output_option("NEW.toml", "Schedule to write; further ones get -2, -3 before the suffix.")
@click.option("--keep", type=click.IntRange(1, 20), default=3, show_default=True)
@click.option(
    "--wish", default="balanced", show_default=True, help="Or: fastest, least heat, most forgiving."
)
@click.option(
    "--chance", type=float, default=0.95, show_default=True, help="Of every goal, 0 to 1."
)
@click.option("--remelt", type=float, default=0.4, show_default=True, help="Part of the wall.")
@click.option("--with-model", is_flag=True, help="Solve the power with the model's doubt counted.")
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def draft(
    schedule: Path, output: Path, scheduler: str | None, as_json: bool, **wishes: Any
) -> None:
    """Draft root-and-cover schedules for the joint, goal and laser in SCHEDULE."""
    from weldcalc.batch import cluster_executor
    from weldcalc.drafting import draft as run
    from weldcalc.drafting import write_drafts
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import draft_text
    from weldcalc.whole_files import refuse_unwritable

    refuse_unwritable(output)
    loaded = load_schedule(schedule, require_passes=False)
    with _engine_notice(), cluster_executor(scheduler) as executor, _counter("draft") as count:
        made = run(loaded, executor=executor, progress=count, **wishes)
    written = write_drafts(made, output)
    _print_json(made.to_json()) if as_json else click.echo(draft_text(made))
    click.echo("\n".join(f"wrote {path}" for path in written), err=True)


@main.command()
@SCHEDULE
@click.option("--pass", "pass_name", default="", help="Name of the pass; the first if not given.")
@click.option("--x", default="peak_power", show_default=True, help="Setting across.")
@click.option("--y", default="pulse_duration", show_default=True, help="Setting up.")
@click.option("--with-model", is_flag=True, help="Count the model's own spread in the chance.")
@output_option("FOLDER", "Where picture and table go; must not exist yet.")
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def window(
    schedule: Path, folder: Path, scheduler: str | None, as_json: bool, **choice: Any
) -> None:
    """Map two settings of a pass of SCHEDULE: where the weld is sound, and how far inside it is."""
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
    _print_json(made.to_json()) if as_json else click.echo(window_text(made))
    click.echo(f"wrote {folder}", err=True)


@main.command()
@SCHEDULE
@click.option("--pass", "passes", multiple=True, help="Name of a pass; all if not given.")
@click.option("--samples", type=click.IntRange(1), default=4000, show_default=True, help="A pass.")
@click.option(
    "--chance",
    "least_chance",
    type=float,
    default=0.95,
    show_default=True,
    help="To keep while one input drifts.",
)
@CALIBRATION
@SEED
@SCHEDULER
@JSON
def tolerance(schedule: Path, scheduler: str | None, as_json: bool, **choice: Any) -> None:
    """Say how sure each goal of SCHEDULE is, what spreads it, and how far each input may drift."""
    from weldcalc.batch import cluster_executor
    from weldcalc.schedule import load_schedule
    from weldcalc.texts.answers import tolerance_text
    from weldcalc.tolerance import tolerance as run

    loaded = load_schedule(schedule)
    with _engine_notice(), cluster_executor(scheduler) as executor, _counter("tolerance") as count:
        made = run(loaded, executor=executor, progress=count, **choice)
    _print_json(made.to_json()) if as_json else click.echo(tolerance_text(made))


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
    """Name the likeliest causes of a measured section of SCHEDULE, and how plausible each is."""
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
    _print_json(made.to_json()) if as_json else click.echo(diagnosis_text(made))


@main.command()
@SCHEDULE
@click.argument("coupons", type=FILE, metavar="COUPONS.csv")
@output_option("CALIBRATION.json", "Calibration to write; must not exist yet.")
@JSON
def calibrate(schedule: Path, coupons: Path, output: Path, as_json: bool) -> None:
    """Fit the model to measured sections of COUPONS welded to SCHEDULE, or say why it cannot."""
    from weldcalc.workflow_qualification import calibrate_files

    with _engine_notice():
        _answer(calibrate_files(schedule, coupons, output), as_json)


@main.command()
@SCHEDULE
@output_option("COUPONS.csv", "Blank coupon list to write; must not exist yet.")
@click.option("--reliability", type=float, default=0.90, show_default=True, help="To be shown.")
@click.option("--confidence", type=float, default=0.90, show_default=True, help="To show it with.")
@click.option("--spread", type=int, metavar="N", help="N coupons at spread settings, to calibrate.")
@JSON
def plan(schedule: Path, output: Path, as_json: bool, **wishes: Any) -> None:
    """Say how many coupons of SCHEDULE show what, which tests, and write a list to fill in."""
    from weldcalc.workflow_qualification import plan_files

    _answer(plan_files(schedule, output, **wishes), as_json)


@main.command()
@click.argument("old", type=FILE)
@click.argument("new", type=FILE)
@file_option("--limits", "TOML", "Limits of change that you typed in from your licensed copy.")
@JSON
def compare(old: Path, new: Path, limits: Path | None, as_json: bool) -> None:
    """Say what changed from OLD to NEW (schedules or records), and what needs requalification."""
    from weldcalc.workflow_qualification import compare_files

    _answer(compare_files(old, new, limits), as_json)


@main.command()
@click.argument("record", type=FILE)
@click.argument("log", type=FILE, metavar="LOG.csv")
@click.option("--check-every", metavar="Q", help='Longest time between checks, as "480 min".')
@JSON
def follow(record: Path, log: Path, check_every: str | None, as_json: bool) -> None:
    """Follow a run LOG against a RECORD: limits kept, control charts, drift before the edge."""
    from weldcalc.workflow_qualification import follow_files

    _answer(follow_files(record, log, check_every), as_json)


@main.command()
@click.argument("study", type=FILE, metavar="STUDY.csv")
@JSON
def gauge(study: Path, as_json: bool) -> None:
    """Say how far two readings of one section lie apart, from a STUDY by several people."""
    from weldcalc.workflow_qualification import gauge_file

    _answer(gauge_file(study), as_json)


def _answer(answer: Any, as_json: bool) -> None:
    _print_json(answer.data) if as_json else click.echo(answer.text)
    if answer.written:
        click.echo(f"wrote {answer.written}", err=True)
    sys.exit(answer.exit_code)


def _print_json(data: object) -> None:
    click.echo(json.dumps(data, indent=2, sort_keys=False, allow_nan=False, ensure_ascii=False))
