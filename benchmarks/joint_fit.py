"""CPU of the rundown fit against the usual way (solve_ivp with least_squares), one thread, in one run.

Start with ``OMP_NUM_THREADS=1 python benchmarks/joint_fit.py``; the usual way takes a minute or more. It gets every
help: a start half a standard error beside the answer, parameters scaled by their standard errors, LSODA (the fastest
of scipy's integrators here) over the angle. That both answers agree within .1 standard error is printed.
"""

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares

from truerun.motion.fit import fit_rundown
from truerun.motion.rundown import Rundown
from truerun.virtual.rotor import Rotor, jittered, simulate_passes

MARKS, HARMONICS, SIGMA, PASSES = 12, 3, 2e-5, 2000
DRAG = np.array([0.02539523, 0.00846508, 0.0005079])  # 167 turns from 20 to 2 rad/s
COSINE, SINE = np.array([0.83263855, 0.24979157, 0.16652771]), np.array([0.16652771, -0.24979157, 0.08326386])
PLACES = 0.02 + 2 * np.pi * np.arange(MARKS) / MARKS + 5e-3 * np.random.default_rng(5).uniform(-1, 1, MARKS)
TOLERANCE = 1e-11


def drag(speed: NDArray[np.float64], angle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Drag of the benchmark's wheel."""
    del angle
    return np.asarray(DRAG[0] + DRAG[1] * speed + DRAG[2] * speed**2)


def usual_times(
    values: NDArray[np.float64], angles: NDArray[np.float64], columns: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Pass times by the usual way; values are start time, energy, three drags, six harmonics, eleven spacings."""
    places = angles + np.append(values[11:], 0.0)[columns]
    orders = np.arange(1, HARMONICS + 1)
    cosine, sine = values[5:11:2], values[6:11:2]

    def rates(angle: float, state: NDArray[np.float64]) -> list[float]:
        hill = float(cosine @ np.cos(orders * angle) + sine @ np.sin(orders * angle))
        speed = float(np.sqrt(2 * max(float(state[1]) - hill, 1e-6)))
        return [1 / speed, -float(values[2] + values[3] * speed + values[4] * speed * speed)]

    span = (0.0, float(places[-1]) + 0.01)
    solved = solve_ivp(
        rates, span, list(values[:2]), method="LSODA", t_eval=places, rtol=TOLERANCE, atol=TOLERANCE / 100
    )
    return np.asarray(solved.y[0])


def plain_values(rundown: Rundown) -> NDArray[np.float64]:
    """Parameters of the fit, with drag as powers of speed."""
    guess = rundown.motion.guess
    drags = rundown.drag.basis.mixing @ guess.drag
    return np.concatenate([[guess.start_time, guess.energy], drags, guess.hill, guess.spacing])


def plain_spread(rundown: Rundown) -> NDArray[np.float64]:
    """Give the standard errors of those parameters."""
    change = np.eye(rundown.motion.covariance.shape[0])
    change[2:5, 2:5] = rundown.drag.basis.mixing
    return np.sqrt(np.diag(change @ rundown.motion.covariance @ change.T))


def cpu(work: Callable[[], object], times: int) -> float:
    """Processor time of one call [s]."""
    work()
    begin = time.process_time()
    for _ in range(times):
        work()
    return (time.process_time() - begin) / times


def main() -> None:
    """Time both ways on the same passes and compare their answers."""
    rotor = Rotor(drag, tuple(COSINE), tuple(SINE), tuple(PLACES))
    exact = simulate_passes(rotor, 19.9, PASSES)
    times = jittered(exact.times, SIGMA, np.random.default_rng(1))

    def fit() -> Rundown:
        return fit_rundown(times, MARKS, terms=(0, 1, 2), harmonics=HARMONICS, sigma=SIGMA)

    ours, rundown = cpu(fit, 20), fit()
    grid = rundown.motion.grid
    angles = 2 * np.pi * grid.rows + grid.angles[grid.columns]
    answer, spread = plain_values(rundown), plain_spread(rundown)

    def residuals(scaled: NDArray[np.float64]) -> NDArray[np.float64]:
        return (usual_times(answer + spread * scaled, angles, grid.columns) - times) / SIGMA

    def slopes(scaled: NDArray[np.float64]) -> NDArray[np.float64]:
        here, steps = residuals(scaled), 0.3 * np.eye(scaled.size)
        return np.column_stack([(residuals(scaled + step) - here) / 0.3 for step in steps])

    begin = time.process_time()
    found = least_squares(residuals, np.full(answer.size, 0.5), jac=slopes, x_scale=1.0, xtol=1e-3, ftol=1e-8)
    theirs = time.process_time() - begin
    print(f"{PASSES} passes, {MARKS} marks, {answer.size} parameters, rtol {TOLERANCE:g}")
    print(f"this fit       {ours:9.4f} s of CPU, from nothing")
    print(f"the usual way  {theirs:9.2f} s of CPU, {found.nfev} steps from half a standard error beside the answer")
    print(f"ratio          {theirs / ours:9.0f}")
    print(f"largest difference {np.abs(found.x).max():.3f} standard errors")


if __name__ == "__main__":
    main()
