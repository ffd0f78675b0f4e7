"""The model beside published measurements: computed here, shown by the notebook."""

from __future__ import annotations

from weldcalc.model_check.compare import Compared, ModelCheck, RowCheck, check_model
from weldcalc.model_check.show import (
    absorptance_table,
    coverage_table,
    discussion,
    gaps,
    onset_table,
    size_figure,
    size_picture,
    size_table,
    statement_table,
    summary,
)
from weldcalc.model_check.statements import Statement, check_statements

__all__ = [
    "Compared",
    "ModelCheck",
    "RowCheck",
    "Statement",
    "absorptance_table",
    "check_model",
    "check_statements",
    "coverage_table",
    "discussion",
    "gaps",
    "onset_table",
    "size_figure",
    "size_picture",
    "size_table",
    "statement_table",
    "summary",
]
