"""Recomputes what speed ripple does to the gap of a 60-2 wheel, and whether the published gap rule bears it.

    python gap_rule.py           writes gap_rule.json beside this script
    python gap_rule.py --check   makes it again and fails if the committed one differs

Speed is sinusoidal in crank angle, w(a) = mean * (1 + r * sin(order * a + phase)); the time between two
teeth is the integral of da / w (Gauss-Legendre, 16 nodes a pitch, and the closed form as a check). The
rule is the two-sided test of the NXP eTPU CRANK function (etpu_crank.h version 1.2, 2015): interval B
between neighbours A is a gap when gap_ratio * B > A on either side; its shipped example has gap_ratio
0.6, and windows of 0.2 for the next ordinary interval.
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy import integrate

HERE = Path(__file__).parent
GAP_RATIO = 0.6
WINDOW = 0.2
TEETH, MISSING = 60, 2
CASES = [("V8 at the starter", 85, 225, 4), ("four cylinders at the starter", 0.65, 1.35, 2), ("four cylinders at idle", 0.97, 1.03, 2)]
MEANS = {"V8 at the starter": 155, "four cylinders at the starter": 200, "four cylinders at idle": 800}
NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)


def tooth_times(mean, ripple, order, phase):
    """Instants in s of the 60 equally spaced places of a turn and of the one after it."""
    pitch = 360 / TEETH
    angles = pitch * (np.arange(TEETH)[:, None] + (NODES + 1) / 2)
    speed = 6 * mean * (1 + ripple * np.sin(np.radians(order * angles + phase)))
    return np.concatenate([[0], np.cumsum((WEIGHTS / speed).sum(axis=1) * pitch / 2)])


def intervals(times):
    """Of one turn, from the first tooth on; the last is the gap. The next turn begins with the same."""
    there = np.append(times[: TEETH - MISSING], times[TEETH])
    return np.diff(there)


def case(name, low, high, order):
    mean = MEANS[name]
    ripple = (high - low) / (high + low)
    ratios, adjacent, missed, false, turns = [], [], 0, 0, []
    phases = np.arange(0, 360, 0.25)
    for phase in phases:
        times = tooth_times(mean, ripple, order, phase)
        t = intervals(times)
        gap, before, after = t[-1], t[-2], t[0]
        ratios.append((gap / before, gap / ((before + after) / 2)))
        step = t[1:-1] / t[:-2]
        adjacent.append(max(step.max(), (1 / step).max()))
        is_gap = (GAP_RATIO * t > np.roll(t, 1)) & (GAP_RATIO * t > np.roll(t, -1))
        missed += int(not is_gap[-1])
        false += int(is_gap[:-1].sum())
        if phase % 24 == 0:
            turns.append({"phase": int(phase), "turn": round(times[-1], 9), "teeth": [round(x, 9) for x in times[: TEETH - MISSING].tolist()]})
    # The closed form of a whole period: 2 pi / sqrt(1 - r^2); and one gap by adaptive quadrature.
    whole = tooth_times(mean, ripple, order, 33.0)[-1]
    assert abs(whole * 6 * mean / 360 * np.sqrt(1 - ripple**2) - 1) < 1e-12
    slowness = lambda a: 1 / (6 * mean * (1 + ripple * np.sin(np.radians(order * a + 33.0))))
    assert abs(integrate.quad(slowness, 342, 360)[0] / intervals(tooth_times(mean, ripple, order, 33.0))[-1] - 1) < 1e-12
    ratios = np.array(ratios)
    ends = lambda x: [round(float(x.min()), 4), round(float(x.max()), 4)]
    return {
        "name": name,
        "mean_rpm": mean,
        "ripple": round(ripple, 6),
        "order": order,
        "gap_to_previous": ends(ratios[:, 0]),
        "gap_to_mean": ends(ratios[:, 1]),
        "adjacent": round(float(max(adjacent)), 4),
        "phases": len(phases),
        "missed": missed,
        "false": false,
        "turns": turns,
    }


def lines(table):
    cases = []
    for c in table["cases"]:
        turns = ",\n".join(map(json.dumps, c.pop("turns")))
        cases.append(json.dumps(c)[:-1] + f', "turns": [\n{turns}\n]}}')
    return '{\n"gap_ratio": %s,\n"window": %s,\n"cases": [\n%s\n]\n}\n' % (table["gap_ratio"], table["window"], ",\n".join(cases))


def main():
    table = {"gap_ratio": GAP_RATIO, "window": WINDOW, "cases": [case(*c) for c in CASES]}
    for c in table["cases"]:
        low, high = c["gap_to_previous"]
        print(f"{c['name']}: gap/previous {low:.2f} to {high:.2f}, gap/mean {c['gap_to_mean'][0]:.2f} to "
              f"{c['gap_to_mean'][1]:.2f}, adjacent {c['adjacent']:.3f}; missed {c['missed']}, false {c['false']} of {c['phases']}")
    made = lines(table)
    path = HERE / "gap_rule.json"
    if sys.argv[1:] == ["--check"]:
        if path.read_text() != made:
            sys.exit("gap_rule.json differs from what was just made")
        print("gap_rule.json is as made")
    elif not sys.argv[1:]:
        path.write_text(made)
    else:
        sys.exit(__doc__)


main()
