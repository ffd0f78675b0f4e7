"""Pieces of the record page: each takes plain record data and returns escaped HTML."""

from __future__ import annotations

from weldcalc.page.measured import coupons
from weldcalc.page.pieces import Piece, figure, figures, table
from weldcalc.page.protection import caution_list, gas_table, laser_table
from weldcalc.page.results import findings, goals, pass_table, predictions
from weldcalc.page.seam import along_the_seam, heat_split, whole_weld
from weldcalc.page.sections import (
    code_section,
    fields_table,
    heading,
    identification,
    item_list,
    provenance,
    recheck_result,
    sources,
    summary,
)
from weldcalc.page.studies import causes, chances, window_table

__all__ = [
    "Piece",
    "along_the_seam",
    "causes",
    "caution_list",
    "chances",
    "code_section",
    "coupons",
    "fields_table",
    "figure",
    "figures",
    "findings",
    "gas_table",
    "goals",
    "heading",
    "heat_split",
    "identification",
    "item_list",
    "laser_table",
    "pass_table",
    "predictions",
    "provenance",
    "recheck_result",
    "sources",
    "summary",
    "table",
    "whole_weld",
    "window_table",
]
