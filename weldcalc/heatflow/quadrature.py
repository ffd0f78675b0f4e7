"""Nodes and lengths that the closed forms integrate with."""

from __future__ import annotations

from functools import cache

import numpy as np

from weldcalc.heatflow.arguments import Floats, Value


def diffusion_length(diffusivity: Value, time: Value) -> Floats:
    """Return ``2 sqrt(a t)``, and zero before time zero.

    Parameters
    ----------
    diffusivity : float or ndarray
        Thermal diffusivity [m2/s].
    time : float or ndarray
        [s].

    Returns
    -------
    ndarray
        Length [m], shape by broadcasting.
    """
    return np.asarray(2 * np.sqrt(diffusivity * np.maximum(time, 0.0)))


@cache
def graded_panels(panels: int) -> tuple[Floats, Floats]:
    """Return Gauss nodes and weights on 0 to 1 whose panels halve towards 0.

    Parameters
    ----------
    panels : int
        How many; the narrowest is ``2^(1 - panels)`` wide.

    Returns
    -------
    tuple of ndarray, shape (12 panels,)
        Nodes and weights [-].
    """
    points, weights = np.polynomial.legendre.leggauss(12)
    edges = np.concatenate(([0.0], 0.5 ** np.arange(panels - 1, -1, -1)))
    width = np.diff(edges)[:, None]
    nodes = edges[:-1, None] + width * (points + 1) / 2
    return nodes.ravel(), (width * weights / 2).ravel()
