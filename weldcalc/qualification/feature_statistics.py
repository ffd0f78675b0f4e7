"""Figures of everything measured on the coupons: middle, scatter, shape, and what stands apart."""

from __future__ import annotations

from typing import Any

import numpy as np
from attrs import frozen

from weldcalc.fields import json_key, plain_name, to_json
from weldcalc.findings import Finding
from weldcalc.qualification.coupons import MEASURED, Coupons
from weldcalc.qualification.statistics import Normality, Outliers, normality, outliers


@frozen
class FeatureStatistics:
    """One measured feature of one pass over all coupons.

    Parameters
    ----------
    feature : str
        Key of the field table.
    weld_pass : str
        Pass that the sections show; empty for the finished weld.
    coupons, sections : int
        How many were measured. Sections of one coupon are not independent of each other, so that
        everything but `least` and `most` is computed of one mean per coupon.
    mean : float
        Of the coupon means [SI].
    sd : float or None
        Sample standard deviation of the coupon means [SI]; None for one coupon.
    least, most : float
        Over all sections [SI].
    normality : Normality
        Of the coupon means.
    outliers : Outliers
        Among the coupon means, named and kept.
    """

    feature: str
    weld_pass: str
    coupons: int
    sections: int
    mean: float
    sd: float | None
    least: float
    most: float
    normality: Normality
    outliers: Outliers

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Return what has to be said about the values."""
        name, found = plain_name(self.feature), []
        if self.normality.doubtful:
            found.append(
                Finding("caution", "not-normal", f"{name}: {self.normality.statement}", "", _TEST)
            )
        if self.outliers.names:
            text = f"{name}: {self.outliers.statement}"
            found.append(Finding("caution", "value-stands-apart", text, "", _ESD))
        return tuple(found)

    def to_json(self) -> dict[str, Any]:
        """Return plain values; sizes carry their unit in the key."""
        sizes = {"mean": self.mean, "least": self.least, "most": self.most}
        key = json_key(self.feature)
        scale = to_json(1.0, self.feature) or 1.0  # no measured feature is a temperature
        return {
            "feature": self.feature,
            "pass": self.weld_pass,
            "coupons": self.coupons,
            "sections": self.sections,
            **{f"{word}_{key}": to_json(value, self.feature) for word, value in sizes.items()},
            f"sd_{key}": None if self.sd is None else self.sd * scale,
            "normality": self.normality.to_json(),
            "outliers": self.outliers.to_json(),
        }


_TEST = "Shapiro-Wilk test, Biometrika 52 (1965) 591"
_ESD = "generalised extreme studentised deviate test, Rosner, Technometrics 25 (1983) 165"


def feature_statistics(coupons: Coupons) -> tuple[FeatureStatistics, ...]:
    """Return the figures of everything that was measured.

    Parameters
    ----------
    coupons : Coupons
        A coupon list.

    Returns
    -------
    tuple of FeatureStatistics
        One for each feature and pass, in the order of the columns.
    """
    passes = dict.fromkeys(row.weld_pass for row in coupons.sections)
    return tuple(
        made
        for weld_pass in passes
        for feature in MEASURED
        if (made := _one(coupons.of_pass(weld_pass), feature, weld_pass)) is not None
    )


def _one(coupons: Coupons, feature: str, weld_pass: str) -> FeatureStatistics | None:
    sizes = {
        name: [row.measured[feature] for row in coupons.of(name) if feature in row.measured]
        for name in coupons.names
    }
    sizes = {name: values for name, values in sizes.items() if values}
    if not sizes:
        return None
    means = [float(np.mean(values)) for values in sizes.values()]
    every = [value for values in sizes.values() for value in values]
    return FeatureStatistics(
        feature=feature,
        weld_pass=weld_pass,
        coupons=len(means),
        sections=len(every),
        mean=float(np.mean(means)),
        sd=float(np.std(means, ddof=1)) if len(means) > 1 else None,
        least=min(every),
        most=max(every),
        normality=normality(means),
        outliers=outliers(means, [f"coupon {name}" for name in sizes]),
    )
