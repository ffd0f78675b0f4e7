"""Errors as a person meets them on the command line: one clear message and an exit code."""

from __future__ import annotations

import os
import traceback
from typing import Any

import click

from weldcalc.errors import InputError, WeldcalcError


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
            f"  {line}" for line in error.lines()
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
