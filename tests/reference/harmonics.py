"""Makes tooth times of a rigid crank with known torques, and what its speed ripple then tells of the cylinders.

    python harmonics.py           writes harmonics.json beside this script
    python harmonics.py --check   makes it again and fails if the committed values differ

The motion is J dw/dt = sum of the cylinders' torques - load (rigid crank, constant inertia), integrated
over the crank angle by scipy.integrate.solve_ivp: d(w^2)/d(angle) = 2 T/J, dt/d(angle) = 1/w. The torque of
a cylinder is an odd pulse about its TDC (the gas takes and gives back) and a pulse of combustion after it.
Harmonics are numpy.fft.rfft of the speed at equal angles over 720 degrees, orders per revolution. Shares
follow from w^2 at the angles that keyway_analysis::ripple states in its documentation.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy.integrate import quad, solve_ivp

HERE = Path(__file__).parent
INERTIA = 0.25  # kg m2
START, BEFORE = -400.0, 60.0  # degrees
WINDOWS = [[40, 130], [220, 270], [400, 520], [580, 620]]
RPM = np.pi / 30


def torque(angle, cylinders):
    """Nm at a crank angle in degrees; a cylinder is (gas, combustion), both in Nm."""
    total = 0.0
    for place, (gas, combustion) in enumerate(cylinders):
        after = (angle - place * 720 / len(cylinders) + 360) % 720 - 360
        total += gas * np.sin(np.radians(2 * after)) * np.exp(-((after / 45) ** 2))
        total += combustion * np.exp(-(((after - 45) / 25) ** 2))
    return total


def motion(cylinders, rpm, starter, angles):
    """Times in s and speeds in rpm at the angles. `starter` is (torque at rest in Nm, rpm without load)."""
    period = quad(torque, 0, 720, args=(cylinders,), limit=400, epsabs=1e-9)[0]
    friction = period / 720

    def slope(angle, state):
        speed = np.sqrt(state[1])
        net = torque(angle, cylinders) - friction
        if starter:
            still, free = starter
            drive = still * (1 - speed / RPM / free)
            net += drive - still * (1 - rpm / free)
        return [np.radians(1) / speed, np.radians(1) * 2 * net / INERTIA]

    first = angles[0] - (7200 if starter else 0)
    solved = solve_ivp(
        slope, (first, angles[-1]), [0.0, (rpm * RPM) ** 2], t_eval=angles, rtol=1e-10, atol=1e-12, max_step=2.0
    )
    assert solved.success, solved.message
    times, squares = solved.y
    return times - times[0], np.sqrt(squares) / RPM


def folded(square, n):
    return square.reshape(n, -1).mean(axis=0)


def contributions(square, n):
    """100 % and the change of w^2 from TDC to TDC in parts of the rise of the mean curve."""
    fold = folded(square, n)
    work = np.roll(square[:: len(fold)], -1) - square[:: len(fold)]
    return 100 * (1 + work / (fold.max() - fold.min()))


def compressions(square, n):
    """Depth of w^2 at the lowest place of the mean curve below its highest places on both sides."""
    fold = folded(square, n)
    spacing = len(fold)
    low, high = int(fold.argmin()), int(fold.argmax())
    low -= spacing if low > spacing // 2 else 0
    before = (low - high) % spacing
    places = np.arange(n) * spacing + low
    at = lambda index: square[index % len(square)]
    depth = (at(places - before) + at(places - before + spacing)) / 2 - at(places)
    return 100 * depth / depth.max()


def case(name, order, cylinders, rpm, starter, cycles):
    teeth = [
        turn * 360 + 6 * k
        for turn in range(-2, 2 * cycles + 1)
        for k in range(58)
        if START < turn * 360 + 6 * k < 720 * cycles + BEFORE
    ]
    cam = [
        (turn * 720 + angle, rising)
        for turn in range(-1, cycles + 1)
        for window in WINDOWS
        for angle, rising in zip(window, (True, False))
        if START < turn * 720 + angle < 720 * cycles + BEFORE
    ]
    fine = 720 * (cycles - 1) + np.arange(1440) / 2
    angles = np.unique(np.concatenate([teeth, [a for a, _ in cam], fine]))
    times, speeds = motion(cylinders, rpm, starter, angles)
    at = dict(zip(angles.tolist(), times.tolist()))
    speed = speeds[np.searchsorted(angles, fine)]
    drift = np.linspace(0, 1, len(fine), endpoint=False) * (speeds[np.searchsorted(angles, fine[0])] - speed[0])
    n = len(order)
    spectrum = 2 * np.fft.rfft(speed - drift) / len(fine)
    shares = (compressions if starter else contributions)(speed**2, n)
    return {
        "name": name,
        "order": order,
        "cranking": bool(starter),
        "teeth": [round(at[a], 9) for a in teeth],
        "cam": [[round(at[a], 9), rising] for a, rising in cam],
        "shares": [round(s, 2) for s in shares],
        "harmonics": [
            [m / 2, round(abs(spectrum[m]), 3), round(np.degrees(-np.angle(spectrum[m])) % 360 / (m / 2), 2)]
            for m in range(1, 2 * n + 1)
        ],
    }


def cases():
    good = (60.0, 40.0)
    yield case("four cylinders, the third to fire is weak", [1, 3, 4, 2], [good, good, (60, 15), good], 800, None, 14)
    yield case("six cylinders, the second to fire does not burn", [1, 5, 3, 6, 2, 4], [good, (60, 0)] + 4 * [good], 750, None, 14)
    gases = [(g, 0.0) for g in (70, 69, 42, 71)]
    yield case("four cylinders at the starter, the third leaks", [1, 3, 4, 2], gases, 190, (200, 300), 6)


def same(a, b):
    if isinstance(a, dict):
        return a.keys() == b.keys() and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, float):
        # The solver's last digits are its own affair from version to version.
        return abs(a - b) <= 1e-6 + 1e-4 * abs(a)
    return a == b


def main():
    path = HERE / "harmonics.json"
    made = {"windows": WINDOWS, "cases": list(cases())}
    if "--check" in sys.argv:
        if not same(made, json.loads(path.read_text())):
            sys.exit("harmonics.json differs from what harmonics.py makes")
        print("harmonics.json is as made")
        return
    lines = ",\n".join(json.dumps(c) for c in made["cases"])
    path.write_text(f'{{"windows": {json.dumps(WINDOWS)}, "cases": [\n{lines}\n]}}\n')


main()
