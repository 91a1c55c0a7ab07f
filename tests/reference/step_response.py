"""Makes step responses whose times are known, sampled where cam edges would come.

    python step_response.py           writes step_response.json beside this script
    python step_response.py --check   makes it again and fails if the committed values differ

A first-order lag and an underdamped second-order system are scipy.signal.lti objects, their responses
scipy.signal.step; the ramp of a limited rate is written down. Each answers after a dead time. `due` holds what
follows for the continuous response: for the lag tau ln 9 from 10 to 90 %, tau ln 20 to within 5 %; for the second
order an overshoot of exp(-pi zeta / sqrt(1 - zeta^2)), its times found by scipy.optimize.brentq on the closed form.
`sampled` holds the same figures of the straight lines between the sampled points, by NumPy: levels are the medians
before the command and of the last quarter after it, a level is crossed where numpy.interp says so.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.signal import lti, step

HERE = Path(__file__).parent
BEFORE = 0.6  # seconds before the command
# Edges of a cam wheel of four windows over a turn, crank degrees.
EDGES = np.array([40, 130, 220, 270, 400, 520, 580, 620])


def edge_times(rpm, until, seed):
    """Cam edges from before the command until the end; the speed swings by 3 % as at idle, edges by 0.1 degrees."""
    chance = np.random.default_rng(seed)
    turns = int((until + BEFORE) * rpm / 120) + 3
    angles = (np.arange(turns)[:, None] * 720 + EDGES).ravel() + chance.normal(0, 0.1, turns * len(EDGES))
    # Time over angle of a speed that swings by 3 % twice a turn: the integral of (1 + 0.03 cos 2a) / (6 rpm).
    swung = angles + np.degrees(0.015 * np.sin(2 * np.radians(angles)))
    times = swung / (6 * rpm) - BEFORE - chance.uniform(0, 0.1)
    return times[(times > -BEFORE) & (times < until)]


def simulated(system, until):
    """The step response as scipy.signal.step gives it, as a function of time."""
    fine = np.linspace(0, until, 40_001)
    _, values = step(system, T=fine)
    return lambda t: np.interp(t, fine, values, left=0.0)


def first(level, response, until):
    """The first instant at which a function reaches a level."""
    fine = np.linspace(0, until, 20_001)
    i = int(np.argmax(response(fine) >= level))
    return brentq(lambda t: response(t) - level, fine[i - 1], fine[i], xtol=1e-12)


def settled(response, until, band=0.05):
    """The last instant at which it lies outside the band about 1."""
    fine = np.linspace(0, until, 200_001)
    i = int(np.nonzero(np.abs(response(fine) - 1) > band)[0][-1])
    level = 1 + band * np.sign(response(fine[i]) - 1)
    return brentq(lambda t: response(t) - level, fine[i], fine[i + 1], xtol=1e-12)


def lag(tau):
    closed = lambda t: 1 - np.exp(-np.maximum(t, 0) / tau)
    due = {"ten": tau * np.log(10 / 9), "rise": tau * np.log(9), "overshoot": 0.0, "settled": tau * np.log(20)}
    return lti([1], [tau, 1]), closed, due


def second_order(natural, zeta):
    root = np.sqrt(1 - zeta**2)
    damped = natural * root

    def closed(t):
        t = np.maximum(t, 0)
        return 1 - np.exp(-zeta * natural * t) * (np.cos(damped * t) + zeta / root * np.sin(damped * t))

    until = 10 / (zeta * natural)
    ten = first(0.1, closed, until)
    due = {
        "ten": ten,
        "rise": first(0.9, closed, until) - ten,
        "overshoot": 100 * np.exp(-np.pi * zeta / root),
        "settled": settled(closed, until),
    }
    return lti([natural**2], [1, 2 * zeta * natural, natural**2]), closed, due


def ramp(seconds):
    response = lambda t: np.clip(np.asarray(t) / seconds, 0, 1)
    due = {"ten": 0.1 * seconds, "rise": 0.8 * seconds, "overshoot": 0.0, "settled": 0.95 * seconds}
    return response, response, due


def measured(times, phases):
    """The figures of the straight lines between the points."""
    after = times >= 0
    start, end = np.median(phases[~after]), np.median(phases[times >= 0.75 * times[-1]])
    part = (phases - start) / (end - start)
    keep = np.arange(np.argmax(after) - 1, len(times))
    t, y = times[keep], part[keep]

    def cross(level):
        i = int(np.argmax((y[:-1] < level) & (y[1:] >= level)))
        return float(np.interp(level, y[i : i + 2], t[i : i + 2]))

    i = int(np.nonzero(np.abs(y - 1) > 0.05)[0][-1])
    edge = 1 + 0.05 * np.sign(y[i] - 1)
    order = slice(i, i + 2) if y[i] < y[i + 1] else slice(i + 1, i - 1 if i else None, -1)
    return {
        "from": float(start),
        "to": float(end),
        "ten": cross(0.1),
        "rise": cross(0.9) - cross(0.1),
        "overshoot": float(100 * max(y.max() - 1, 0)),
        "settled": float(np.interp(edge, y[order], t[order])),
    }


def case(name, made, dead, start, way, rpm, until, seed):
    system, closed, due = made
    response = system if callable(system) else simulated(system, until)
    fine = np.linspace(0, until, 999)
    # The library and the closed form must be the same function.
    assert np.abs(response(fine) - closed(fine)).max() < 1e-4, name
    times = np.round(edge_times(rpm, until, seed), 7)
    phases = np.round(start + way * response(times - dead), 6)
    return {
        "name": name,
        "points": [[float(t), float(p)] for t, p in zip(times, phases)],
        "from": start,
        "to": start + way,
        "dead": dead,
        "due": {
            "ten": dead + float(due["ten"]),
            "rise": float(due["rise"]),
            "overshoot": float(due["overshoot"]),
            "settled": dead + float(due["settled"]),
        },
        "sampled": measured(times, phases),
    }


def cases():
    yield case("lag of 80 ms at idle", lag(0.08), 0.03, 0.0, 30.0, 800, 1.6, 1)
    yield case("lag of 150 ms, retarding", lag(0.15), 0.05, 32.0, -28.0, 2500, 2.4, 2)
    yield case("second order, damping 0.5", second_order(18, 0.5), 0.02, 0.0, 25.0, 2500, 2.2, 3)
    yield case("second order, damping 0.3, at idle", second_order(9, 0.3), 0.04, -3.0, -22.0, 900, 4.0, 4)
    yield case("ramp of 100 degrees a second", ramp(0.3), 0.025, 0.0, 30.0, 1500, 1.6, 5)
    yield case("ramp of 12 degrees a second, cold", ramp(2.0), 0.2, -1.0, 24.0, 1100, 4.5, 6)


def same(a, b):
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float):
        # The solver's last digits are its own affair from version to version.
        return abs(a - b) <= 1e-5 + 1e-6 * abs(a)
    return a == b


def main():
    path = HERE / "step_response.json"
    made = {"cases": list(cases())}
    if "--check" in sys.argv:
        if not same(made, json.loads(path.read_text())):
            sys.exit("step_response.json differs from what step_response.py makes")
        print("step_response.json is as made")
        return
    lines = ",\n".join(json.dumps(c) for c in made["cases"])
    path.write_text(f'{{"cases": [\n{lines}\n]}}\n')


main()
