"""Puts this folder on the import path, so that tests in sub-folders share its helper modules."""

from __future__ import annotations

from collections.abc import Iterator

import pytest


@pytest.fixture(scope="session", autouse=True)
def _small_studies_once() -> Iterator[None]:
    """Keep window and ranking of records small, and those of one schedule for all tests.

    What they are at full size is shown by the committed example record.
    """
    from weldcalc.records import results, studies

    compute, known = studies.studies_of, {}

    def remembered(estimate):
        key = (estimate.schedule.sha256, estimate.calibration.sha256)
        if key not in known:
            known[key] = compute(estimate)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(studies, "CELLS", 5)
        patch.setattr(studies, "CHANCE_NODES", 2)
        patch.setattr(studies, "SAMPLES", 320)
        patch.setattr(results, "studies_of", remembered)
        yield
