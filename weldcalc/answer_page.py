"""Drafts and tolerances as pictures and tables for a notebook; nothing is computed here."""

from __future__ import annotations

from pathlib import Path

from weldcalc.drafting import Draft, write_drafts
from weldcalc.fields import percent
from weldcalc.page.pieces import Piece, table
from weldcalc.plots.spread import cause_ranking
from weldcalc.plots.style import Picture
from weldcalc.reference import data_folder
from weldcalc.schedule import Schedule, load_schedule
from weldcalc.texts.answers import draft_column, drift_rows, goal_rows
from weldcalc.tolerance import cause_words
from weldcalc.tolerances.result import PassTolerance
from weldcalc.whole_files import refuse_existing

DEMO = "level_gauge_stem.toml"


def open_joint(schedule_file: str = "", output_file: str = "") -> Schedule:
    """Return the schedule with joint, goal and laser; the invented demo tube if none is named.

    Parameters
    ----------
    schedule_file : str, optional
        TOML file; its passes, if any, are not looked at by a draft.
    output_file : str, optional
        TOML file that the best draft will be saved under.

    Raises
    ------
    InputError
        When the file cannot be used, or the other one is there already or cannot be made: before
        anything is computed for it.
    """
    if output_file:
        refuse_existing(Path(output_file), suffix=".toml")
    path = Path(schedule_file) if schedule_file else data_folder() / "demo" / DEMO
    return load_schedule(path, require_passes=False)


def draft_table(made: Draft) -> Piece:
    """Return drafted schedules side by side: settings, results, costs and what binds.

    Parameters
    ----------
    made : Draft
        From `weldcalc.drafting.draft`.
    """
    columns = [draft_column(one) for one in made.drafted]
    rows = [[name, *(column[name] for column in columns)] for name in columns[0]]
    heads = ["", *(f"schedule {number}" for number in range(1, len(columns) + 1))]
    return table(heads, rows, caption=f"Drafted schedules, ranked {made.wish}, the best first")


def goals_table(one: PassTolerance) -> Piece:
    """Return the chances of a pass.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    heads = ["Goal", "Chance", "95 % interval of the chance"]
    return table(heads, goal_rows(one), caption=f"How sure each goal of pass {one.name} is")


def drift_table(one: PassTolerance) -> Piece:
    """Return how far each input of a pass may drift alone.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    heads = ["Input", "Down", "Up"]
    caption = f"May drift alone, with a chance of {percent(one.least_chance)} kept"
    return table(heads, drift_rows(one), caption=caption)


def cause_picture(one: PassTolerance) -> Picture:
    """Return the causes of scatter of the result that decides, ranked.

    Parameters
    ----------
    one : PassTolerance
        A pass from `weldcalc.tolerance.tolerance`.
    """
    shares = one.shares[one.ranked_result]
    return cause_ranking(
        cause_words(one.causes),
        first_order=shares.first,
        total=shares.total,
        of=one.ranked_result,
    )


def save_drafts(made: Draft, output_file: str) -> Piece:
    """Write drafted schedules and say where they are.

    Parameters
    ----------
    made : Draft
        From `weldcalc.drafting.draft`.
    output_file : str
        TOML file for the best one; further ones get -2, -3 before the suffix.
    """
    rows = [[path.name] for path in write_drafts(made, Path(output_file))]
    return table(
        ["File"], rows, caption="Written; open with weldcalc estimate", first_is_head=False
    )
