"""weldcalc: pulsed-laser autogenous weld schedules, computed, tested and recorded."""

from __future__ import annotations

__version__ = "0.1.0"
