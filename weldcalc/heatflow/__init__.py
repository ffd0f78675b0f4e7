"""Heat flow in the metal: closed forms, the two pulse engines and the seam."""

from __future__ import annotations

from weldcalc.lazy import loader

__getattr__ = loader(__name__)
