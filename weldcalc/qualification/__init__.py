"""Qualification: test plan, coupons, acceptance, statistics and changes."""

from __future__ import annotations

from weldcalc.lazy import loader

__getattr__ = loader(__name__)
