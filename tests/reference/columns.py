"""Makes a sampled signal on a crank whose angle is known, and its means over columns of equal crank angle.

    python columns.py           writes columns.json beside this script
    python columns.py --check   makes it again and fails if the committed values differ

The crank speeds up and swings twice a turn, as between compressions; the instants of the columns' bounds are found by
scipy.optimize.brentq. The signal is written down over the angle and rounded to whole counts. `means` are those of the
straight lines through the samples, by NumPy: numpy.interp puts the bounds among the samples, numpy.trapezoid
integrates. `true` are the means of the signal itself over the columns, by scipy.integrate.quad, with nothing sampled.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

HERE = Path(__file__).parent
FIRST = 1_000_003  # index of the first sample


def angle(t, rpm, gain):
    """Crank degrees after t seconds: speed rising by `gain` rpm a second, a swing of 5 % twice a turn."""
    even = 6 * rpm * t + 3 * gain * t * t
    return even + np.degrees(0.025) * np.sin(2 * np.radians(even))


def signal(a):
    """Counts over the crank angle."""
    return 6000 * np.sin(np.radians(a) * 2) + 3000 * np.cos(np.radians(a) * 7.5 + 0.4) - 1200


def case(name, rpm, gain, rate, columns):
    at = lambda target: brentq(lambda t: angle(t, rpm, gain) - target, 0, 3, xtol=1e-15)
    # A little after the first sample the cycle begins.
    begin = 10.3 / rate
    angles = angle(begin, rpm, gain) + np.linspace(0, 720, columns + 1)
    bounds = np.array([at(a) for a in angles]) * rate
    samples = np.rint(signal(angle(np.arange(int(bounds[-1]) + 12) / rate, rpm, gain))).astype(int)
    place = np.arange(len(samples))
    means, true = [], []
    for a, b, from_, to in zip(bounds, bounds[1:], angles, angles[1:]):
        inside = place[(place > a) & (place < b)]
        grid = np.concatenate([[a], inside, [b]])
        means.append(float(np.trapezoid(np.interp(grid, place, samples), grid) / (b - a)))
        # Over time, as the samples are; within a column the speed changes little.
        over = quad(lambda t: signal(angle(t, rpm, gain)), a / rate, b / rate, epsabs=1e-9)[0]
        true.append(float(over * rate / (b - a)))
    return {
        "name": name,
        "first": FIRST,
        "samples": samples.tolist(),
        "bounds": [round(FIRST + b, 9) for b in bounds.tolist()],
        "means": [round(m, 6) for m in means],
        "true": [round(m, 6) for m in true],
    }


def cases():
    yield case("some twenty samples a column", 1500, 3000, 20_000, 72)
    yield case("one sample in some columns and none in others", 1500, 3000, 8_000, 720)
    yield case("cranked, four columns a sample", 200, 50, 1_000, 2400)


def same(a, b):
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float):
        # The solver's last digits are its own affair from version to version.
        return abs(a - b) <= 1e-3 + 1e-9 * abs(a)
    return a == b


def main():
    path = HERE / "columns.json"
    made = {"cases": list(cases())}
    if "--check" in sys.argv:
        if not same(made, json.loads(path.read_text())):
            sys.exit("columns.json differs from what columns.py makes")
        print("columns.json is as made")
        return
    lines = ",\n".join(json.dumps(c) for c in made["cases"])
    path.write_text(f'{{"cases": [\n{lines}\n]}}\n')


main()
