"""Fits the model constants to the published pulses again.

``python -m weldcalc.heatflow.fit_constants`` writes ``model_constants.toml``.

For each family of metals the posterior of nine constants is searched (differential evolution) and
then sampled (random walk). It is made of the misfit to every published figure and of priors for
what the figures do not determine. The fit runs on the default grid, so that grid error and
constants belong together. It takes several minutes on two processors; with 0 rounds of search it
starts from the constants on file. Families that are not named after rounds and steps keep what is
on file; without names all are fitted.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from weldcalc import reference
from weldcalc.heatflow.constants import NAMES, ModelConstants, ModelError, fitted_constants
from weldcalc.heatflow.coverage import check_intervals
from weldcalc.heatflow.published import PublishedPulse, published_pulses
from weldcalc.heatflow.pulse_result import PulseResult

Array = NDArray[np.float64]

# one standard deviation of the misfit: what a model of this kind can be expected to hold
DEPTH_SD, WIDTH_SD = 0.10, 0.13  # ln
DEPRESSION_SD = 0.25  # ln; read off radiographs
BELOW_SD = 0.03  # ln; by which a pool may end above a depression
ABSORPTANCE_SD = 0.05
MELT_SD = 0.3  # ln; times to melt follow the square of the flux
# ln; times to open are steeper still. Nine times in steel, and one in titanium
OPEN_SD = {"stainless steel": 0.35, "titanium": 0.6}
EDGE_SD = 0.20  # ln; widths of the narrow titanium coupon late in the pulse
FAR = 0.28  # ln misfit of a size beyond which it counts for much more
FAR_SD = 0.03

BOUNDS = {
    "stirring_r": (1.0, 8.0),
    "stirring_z": (1.0, 14.0),
    "stirring_r_open": (1.0, 8.0),
    "stirring_z_open": (1.0, 14.0),
    "displacement": (0.02, 1.0),
    "capillary_factor": (0.1, 4.0),
    "absorptance": (0.26, 0.38),
    "cavity_gain": (0.5, 12.0),
    "opening_range": (0.05, 4.0),
}

# (centre, standard deviation); of the logarithm where the constant is a factor
PRIORS = {
    "stainless steel": {
        "stirring_r": (2.0, 0.7),
        "stirring_z": (4.0, 0.7),
        "stirring_r_open": (2.0, 0.7),
        "stirring_z_open": (3.0, 0.7),
        "displacement": (0.6, 0.4),
        "capillary_factor": (1.0, 0.7),
        "absorptance": (0.31, 0.01),
        "cavity_gain": (2.0, 0.8),
        "opening_range": (0.6, 0.8),
    },
    "titanium": {
        "stirring_r": (2.5, 0.4),
        "stirring_z": (2.0, 0.4),
        "stirring_r_open": (2.5, 0.5),
        "stirring_z_open": (2.5, 0.5),
        "displacement": (0.6, 0.4),
        "capillary_factor": (1.0, 0.7),
        "absorptance": (0.325, 0.015),
        "cavity_gain": (3.0, 0.5),
        "opening_range": (0.6, 0.6),
    },
}
# spot radii of melt from which stirring is complete. For steel the best of 0, 1, 1.25, 1.5 and 2;
# for titanium any but 0 puts its one keyhole on a knife edge of the other constants
STIRRING_DEPTH = {"stainless steel": 2.0, "titanium": 0.0}
LINEAR = ("displacement", "absorptance")

SEED = 1
_USUAL = ("30", "600")  # rounds of the search, steps of the walk
FINISH = 250  # trials
DRAWS = 48
HEAT = 4.0  # flattens the posterior: the model is not exact, so its misfits are not independent

# ln depth, ln width, absorptance: for titanium the advice given with the published data for keyhole
# pulses, 35 % in depth, 25 % in width and 0.10 in absorptance, taken as nine results in ten
LEAST_ERROR = {"stainless steel": (0.0, 0.0, 0.0), "titanium": (0.21, 0.15, 0.06)}

HEADER = """# Model constants of the melt, fitted to published pulses (published/laser_pulses.csv).
# Written by python -m weldcalc.heatflow.fit_constants; priors and misfits stand there.
#
# stirring_r, stirring_z             factor on liquid conductivity sideways, along the beam,
#                                    under a flat surface
# stirring_depth                     of melt, from which stirring is complete [spot radii]; m - 1
#                                    grows with the depth of melt up to there
# stirring_r_open, stirring_z_open   the same under a depression two spot diameters deep
# displacement                       share of the way from liquidus to opening enthalpy at which
#                                    a cell in an open column lets the beam through
# capillary_factor                   recoil that opens the surface over 2 sigma / spot radius
# absorptance                        of the flat surface, polished metal, about 1070 nm
# cavity_gain                        factor on the wall area that the beam meets in the depression
# opening_range                      relative rise of the recoil over which the surface opens fully
#
# No case holds a heat-affected width, a sheet of a few tenths of a millimetre or a titanium seam.
"""
ORIGIN = {
    "stainless steel": "12 pulses on 316L by Simonds et al. 2018 and Allen et al. 2020. "
    "The absorptance lies above the measured 0.31: with 0.31 no stirring makes the pools of the "
    "two weakest pulses as deep as published. Two depths are of the depression, not of the pool.",
    "titanium": "3 pulses on Ti-6Al-4V by Simonds et al. 2021 and 2022, all with keyhole: stirring "
    "of a flat melt and all widths rest on priors. The coupon was 0.3 mm narrow one way, so the "
    "late width weighs half.",
}


@frozen(eq=False)
class Fit:
    """Outcome for one family; positions as `encode` gives them.

    Parameters
    ----------
    family : str
        Its name.
    best : ndarray, shape (9,)
        Position of least cost.
    sample : ndarray, shape (DRAWS, 9)
        Draws.
    error : ModelError
        What the best leaves unexplained.
    cost, covered : float
        Least cost, share of published figures in their nominal 90 % intervals [-].
    """

    family: str
    best: Array
    sample: Array
    error: ModelError
    cost: float
    covered: float


@frozen
class Search:
    """The posterior of one family.

    Parameters
    ----------
    family : str
        Its name.
    pulses : tuple of PublishedPulse
        Cases that it is fitted to.
    pool : ThreadPoolExecutor
        Runs the cases of one trial side by side.
    """

    family: str
    pulses: tuple[PublishedPulse, ...]
    pool: ThreadPoolExecutor

    def cost(self, position: Array) -> float:
        """Return minus the logarithm of the posterior; `position` as `encode` gives it."""
        if not all(low <= x <= high for x, (low, high) in zip(position, bounds(), strict=True)):
            return float("inf")
        constants = decode(position)
        runs = self.pool.map(lambda pulse: pulse.run(constants), self.pulses)
        pairs = zip(self.pulses, runs, strict=True)
        open_sd = OPEN_SD[self.family]
        return sum(misfit(*pair, open_sd) for pair in pairs) + self._prior(constants)

    def _prior(self, constants: ModelConstants) -> float:
        total = 0.0
        for name, (centre, sd) in PRIORS[self.family].items():
            value = getattr(constants, name)
            away = value - centre if name in LINEAR else np.log(value / centre)
            total += 0.5 * (away / sd) ** 2
        return float(total)


def encode(constants: ModelConstants) -> Array:
    """Return constants as a position: factors by their logarithm."""
    values = ((name, getattr(constants, name)) for name in NAMES)
    return np.array([x if name in LINEAR else np.log(x) for name, x in values])


def decode(position: Array) -> ModelConstants:
    """Return the constants at a position."""
    pairs = zip(NAMES, (float(x) for x in position), strict=True)
    return ModelConstants(**{n: x if n in LINEAR else float(np.exp(x)) for n, x in pairs})


def bounds() -> list[tuple[float, float]]:
    """Return the bounds of a position."""
    spans = ((name, np.array(BOUNDS[name])) for name in NAMES)
    return [tuple(span if name in LINEAR else np.log(span)) for name, span in spans]


def misfit(pulse: PublishedPulse, run: PulseResult, open_sd: float) -> float:
    """Return minus the log likelihood of one published pulse under a run of it.

    `open_sd` is one standard deviation of the logarithm of the time to open [-].
    """
    total = 0.0
    for measured, computed, sd in (
        (pulse.depth, run.penetration, DEPTH_SD),
        (pulse.width, run.fusion_width, EDGE_SD if pulse.edge_limited else WIDTH_SD),
    ):
        if measured is not None:
            off = abs(np.log(max(computed, 1e-6) / measured))
            total += 0.5 * (off / sd) ** 2 + 0.5 * (max(off - FAR, 0.0) / FAR_SD) ** 2
    if pulse.depression is not None:
        off = np.log(max(run.depression_depth, 1e-5) / pulse.depression)
        total += 0.5 * (off / DEPRESSION_SD) ** 2
        # whatever the depression is, the pool reaches below it
        short = np.log(pulse.depression / max(run.penetration, 1e-6))
        total += 0.5 * (max(short, 0.0) / BELOW_SD) ** 2
    if pulse.absorptance is not None:
        total += 0.5 * ((run.absorptance - pulse.absorptance) / ABSORPTANCE_SD) ** 2
    for time, found, sd in (
        (pulse.time_to_melt, run.time_to_melt, MELT_SD),
        (pulse.time_to_keyhole, run.time_to_keyhole, open_sd),
    ):
        if time is not None:
            off = np.log((found or 2.0 * pulse.pulse_duration) / time)
            total += 0.5 * min((off / sd) ** 2, 9.0)
    return float(total)


def find_best(search: Search, *, rounds: int, seed: int) -> Array:
    """Return the position of greatest posterior found."""
    from scipy.optimize import Bounds, differential_evolution, minimize

    first = encode(fitted_constants(search.family).mean)
    if rounds > 0:
        low, high = np.array(bounds()).T
        first = differential_evolution(
            search.cost,
            Bounds(low, high),
            maxiter=rounds,
            popsize=5,
            seed=seed,
            polish=False,
            tol=1e-6,
        ).x
    # grid noise makes slopes useless, so the finish goes without them
    found = minimize(
        search.cost, first, method="Nelder-Mead", options={"maxfev": FINISH, "adaptive": True}
    )
    return np.asarray(found.x)


def walk(
    search: Search, start: Array, *, steps: int, heat: float, seed: int
) -> tuple[Array, Array]:
    """Sample the posterior by a random walk that learns its own covariance.

    Returns
    -------
    path : ndarray, shape (steps, 9)
        Positions after each step.
    costs : ndarray, shape (steps,)
    """
    generator = np.random.default_rng(seed)
    size = start.size
    span = np.array([high - low for low, high in bounds()])
    spread = np.diag((0.02 * span) ** 2)
    here, cost = start, search.cost(start)
    path, costs = np.empty((steps, size)), np.empty(steps)
    for i in range(steps):
        if i >= 100 and i % 50 == 0:
            spread = np.cov(path[i // 3 : i].T) * 1.5**2 / size + np.diag((0.003 * span) ** 2)
        trial = generator.multivariate_normal(here, spread)
        trial_cost = search.cost(trial)
        if np.log(generator.random()) < (cost - trial_cost) / heat:
            here, cost = trial, trial_cost
        path[i], costs[i] = here, cost
    return path, costs


def unexplained(family: str, best: Array) -> ModelError:
    """Return what the best constants leave of the published figures.

    Root mean squares, and for titanium no less than the advice that comes with the data, since
    three pulses cannot tell.
    """
    pulses = published_pulses(family)
    runs = [pulse.run(decode(best)) for pulse in pulses]
    pairs = list(zip(pulses, runs, strict=True))
    depth = [np.log(run.penetration / p.depth) for p, run in pairs if p.depth]
    width = [np.log(run.fusion_width / p.width) for p, run in pairs if p.width]
    taken = [run.absorptance - p.absorptance for p, run in pairs if p.absorptance]
    sizes = [float(np.sqrt(np.mean(np.square(values)))) for values in (depth, width, taken)]
    least = LEAST_ERROR[family]
    return ModelError(*(max(size, low) for size, low in zip(sizes, least, strict=True)))


def fit_family(family: str, *, rounds: int, steps: int) -> Fit:
    """Search and sample one family.

    Parameters
    ----------
    family : str
        "titanium" or "stainless steel".
    rounds, steps : int
        Of the search and of the random walk.

    Returns
    -------
    Fit
    """
    pulses = published_pulses(family)
    with ThreadPoolExecutor() as pool:
        search = Search(family=family, pulses=pulses, pool=pool)
        first = find_best(search, rounds=rounds, seed=SEED)
        path, costs = walk(search, first, steps=steps, heat=HEAT, seed=SEED)
    best = path[int(np.argmin(costs))]
    sample = path[np.linspace(len(path) // 3, len(path) - 1, DRAWS).astype(int)]
    error = unexplained(family, best)
    checks = check_intervals(pulses, [decode(position) for position in sample], error, seed=SEED)
    covered = float(np.mean([check.inside for check in checks]))
    return Fit(
        family=family, best=best, sample=sample, cost=costs.min(), error=error, covered=covered
    )


def as_toml(fits: Sequence[Fit], before: str = "") -> str:
    """Return the text of ``model_constants.toml``; families without a fit stand as `before`."""
    made = {fit.family: _family_toml(fit) for fit in fits}
    return HEADER + "".join(made.get(family) or _kept(before, family) for family in PRIORS)


def _kept(text: str, family: str) -> str:
    """Return what a file says of a family, from its own table to that of the next one."""
    begins = {name: text.index(f'\n["{name}"]\n') for name in PRIORS}
    later = [place for place in begins.values() if place > begins[family]]
    return text[begins[family] : min(later, default=len(text))]


def _family_toml(fit: Fit) -> str:
    pulses = published_pulses(fit.family)
    mean = decode(fit.best)
    lines = ["", f"[{fit.family!r}]".replace("'", '"')]
    lines.append(f'origin = "{ORIGIN[fit.family]}"')
    lines.append(f"cases = {[pulse.key for pulse in pulses]!r}".replace("'", '"'))
    lines.append(f"cost = {fit.cost:.2f}  # minus log posterior at the best")
    lines.append(f"covered = {fit.covered:.3f}  # share of published figures in 90 % intervals")
    lines.append(f"stirring_depth = {STIRRING_DEPTH[fit.family]}  # spot radii; chosen, see there")
    lines += ["", f'["{fit.family}".mean]']
    lines += [f"{name} = {getattr(mean, name):.5g}" for name in NAMES]
    lines += ["", f'["{fit.family}".model_error]  # one standard deviation']
    lines.append(f"depth_ln = {fit.error.depth:.3f}")
    lines.append(f"width_ln = {fit.error.width:.3f}")
    lines.append(f"absorptance = {fit.error.absorptance:.3f}")
    lines += ["", f'["{fit.family}".box]  # range of the cases']
    for name, values in (
        ("spot_diameter_m", [pulse.spot_diameter for pulse in pulses]),
        ("pulse_duration_s", [pulse.pulse_duration for pulse in pulses]),
        ("irradiance_W_m2", [pulse.irradiance for pulse in pulses]),
    ):
        lines.append(f"{name} = [{min(values):.5g}, {max(values):.5g}]")
    lines += ["", f'["{fit.family}".sample]', f"columns = {list(NAMES)!r}".replace("'", '"')]
    rows = (encode_row(decode(position)) for position in fit.sample)
    lines += ["values = [", *(f"    [{row}]," for row in rows), "]", ""]
    return "\n".join(lines)


def encode_row(constants: ModelConstants) -> str:
    """Return constants as one line of numbers in the order of `NAMES`."""
    return ", ".join(f"{getattr(constants, name):.4g}" for name in NAMES)


def rounds_and_steps(arguments: Sequence[str]) -> tuple[int, int]:
    """Return the rounds of the search and the steps of the walk; what is left out is usual."""
    rounds, steps = (*arguments, *_USUAL[len(arguments) :])
    return int(rounds), int(steps)


def main(arguments: Sequence[str]) -> int:
    """Fit and write the file; `arguments`: rounds, steps and names of families, all optional."""
    rounds, steps = rounds_and_steps(arguments[:2])
    fits = [fit_family(name, rounds=rounds, steps=steps) for name in arguments[2:] or PRIORS]
    target = reference.data_folder() / "model_constants.toml"
    target.write_text(as_toml(fits, target.read_text(encoding="utf-8")), encoding="utf-8")
    sys.stderr.write(f"{target} written; run python -m weldcalc.reference next\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
