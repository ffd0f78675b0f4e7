"""The engine's scheme for the bare melting pulse, compiled by JAX for one thread of the processor.

JAX is needed for this comparison only; the project does not depend on it. Its flags are read when
it is first imported, so import this module before anything else that imports it.
"""

from __future__ import annotations

import os

os.environ["XLA_FLAGS"] = "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1"

import jax
import jax.numpy as jnp
from jax import lax
from spot_scheme import axis_column

jax.config.update("jax_enable_x64", True)
jax.config.update("jax_cpu_enable_async_dispatch", False)  # a hand-over between threads saved


def potential(heat, scheme):
    """Return the heat-flow potential [W/m] by the engine's uniform table."""
    last = scheme.base.size - 1
    interval = jnp.clip((heat * scheme.inverse_step).astype(jnp.int32), 0, last)
    base = scheme.base.at[interval].get(mode="promise_in_bounds")
    return base + scheme.slope.at[interval].get(mode="promise_in_bounds") * heat


def _across(theta, scheme):
    wide = jnp.pad(theta, ((0, 0), (1, 1)))
    return scheme.inner * (wide[:, :-2] - theta) + scheme.outer * (wide[:, 2:] - theta)


def _neighbours(scheme):
    def gain(theta):
        tall = jnp.pad(theta, ((1, 1), (0, 0)))
        along = scheme.above * (tall[:-2] - theta) + scheme.below * (tall[2:] - theta)
        return _across(theta, scheme) + along + scheme.source

    return gain


def _layers(scheme):
    above, below = scheme.above[:, 0], scheme.below[:, 0]
    return jnp.diag(below[:-1], 1) + jnp.diag(above[1:], -1) - jnp.diag(above + below)


def _dense_layers(scheme):
    """Couple the layers by a matrix: its product is no loop that could read the table anew."""
    layers = _layers(scheme)
    return lambda theta: _across(theta, scheme) + layers @ theta + scheme.source


def _dense(scheme):
    layers, inner, outer = _layers(scheme), scheme.inner, scheme.outer
    rings = jnp.diag(inner[1:], 1) + jnp.diag(outer[:-1], -1) - jnp.diag(inner + outer)
    return lambda theta: theta @ rings + layers @ theta + scheme.source


# coupling, and super steps laid out flat in the loop where it is fastest
FORMS = {"neighbours": (_neighbours, 1), "dense layers": (_dense_layers, 4), "dense": (_dense, 4)}


def on_device(arrays):
    """Return arrays, nested in any way, where compiled functions take them from."""
    return jax.device_put(arrays)


def compiled_march(stages, form):
    """Return a compiled function of a `Scheme` and step lengths that gives the axis column.

    Parameters
    ----------
    stages : sequence of int
        Stages of each run of super steps; known when compiling, so that the loop over them
        is laid out flat.
    form : str
        How cells are coupled, of `FORMS`.

    Returns
    -------
    callable
        Of a `Scheme` and a list of ndarray, the step lengths [s] of each run; returns the
        highest enthalpy on the axis [J/m3], shape (nz,).
    """

    coupling, unrolled = FORMS[form]

    def march(scheme, lengths):
        flow, peak = coupling(scheme), scheme.start
        heat = peak
        for count, run in zip(stages, lengths, strict=True):
            step = _super_step(scheme, flow, count)
            (heat, peak), _ = lax.scan(step, (heat, peak), run, unroll=unrolled)
        return axis_column(peak)

    return jax.jit(march)


def _super_step(scheme, flow, stages):
    scale = 2.0 / (stages**2 + stages)

    def step(carried, dt):
        heat, peak = carried
        old, new = heat, heat + scale * dt * flow(potential(heat, scheme))
        for stage in range(2, stages + 1):
            mu, nu = (2.0 * stage - 1.0) / stage, (1.0 - stage) / stage
            gain = flow(potential(new, scheme))
            old, new = new, mu * new + nu * old + mu * scale * dt * gain
        return (new, jnp.maximum(peak, new)), None

    return step
