"""Makes what SciPy says of differences of two samples, of two rates, and of autocorrelated sequences.

    python comparison.py           writes comparison.json beside this script
    python comparison.py --check   makes it again and fails if the committed values differ

`welch` are samples with what scipy.stats.ttest_ind(equal_var=False) says of them. `published` is the two-sample test
of the NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3 (miles per gallon of 249 and 79 cars, AUTO83B.DAT), by
its means and standard deviations there; T and the degrees of freedom without equal variances are those of the
handbook, and SciPy must agree. `rates` are counts of events over times, with twice the smaller tail of
scipy.stats.binomtest. `memory` are the effective numbers of values of a sequence in which each value is phi times the
one before and something new: n (1 - phi) / (1 + phi) for long ones (closed form).
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy import signal, stats

HERE = Path(__file__).parent


def welch():
    chance = np.random.default_rng(20261130)
    cases = []
    for name, a, b in [
        ("alike", chance.normal(0, 1, 12), chance.normal(0, 1, 9)),
        ("apart", chance.normal(5, 0.2, 40), chance.normal(5.3, 0.9, 8)),
        ("two values", chance.normal(0, 1, 2), chance.normal(1, 3, 30)),
        ("far from zero", 1e6 + chance.normal(0, 1, 20), 1e6 + chance.normal(1, 1, 25)),
    ]:
        # The later recording less the earlier one.
        test = stats.ttest_ind(b, a, equal_var=False)
        low, high = test.confidence_interval(0.95)
        cases.append(
            {
                "name": name,
                "base": a.tolist(),
                "other": b.tolist(),
                "by": float(b.mean() - a.mean()),
                "statistic": float(test.statistic),
                "probability": float(test.pvalue),
                "freedom": float(test.df),
                "half_width": float((high - low) / 2),
            }
        )
    return cases


def published():
    first, second = (20.14458, 6.41470, 249), (30.48101, 6.10771, 79)
    test = stats.ttest_ind_from_stats(*first, *second, equal_var=False)
    assert abs(test.statistic - -12.94595) < 5e-4, test.statistic
    parts = [s * s / n for _, s, n in (first, second)]
    freedom = sum(parts) ** 2 / sum(p * p / (n - 1) for p, (_, _, n) in zip(parts, (first, second)))
    assert abs(freedom - 136.8750) < 5e-3, freedom
    return {
        "base": list(first),
        "other": list(second),
        "statistic": -12.94595,
        "freedom": 136.8750,
        "probability": float(test.pvalue),
    }


def rates():
    cases = []
    for a, over_a, b, over_b in [(0, 60, 3, 60), (2, 30, 9, 60), (40, 600, 22, 500), (5, 10, 0, 120)]:
        share = over_b / (over_a + over_b)
        tails = [stats.binomtest(b, a + b, share, alternative=way).pvalue for way in ("less", "greater")]
        cases.append({"base": [a, over_a], "other": [b, over_b], "probability": float(min(1, 2 * min(tails)))})
    return cases


def memory():
    chance = np.random.default_rng(7)
    cases = []
    for phi, n in [(0.0, 2000), (0.6, 2000), (0.9, 2000)]:
        values = signal.lfilter([np.sqrt(1 - phi * phi)], [1, -phi], chance.normal(0, 1, n + 500))[500:]
        cases.append({"phi": phi, "values": np.round(values, 4).tolist(), "independent": n * (1 - phi) / (1 + phi)})
    return cases


def main():
    made = {"welch": welch(), "published": published(), "rates": rates(), "memory": memory()}
    path = HERE / "comparison.json"
    if "--check" in sys.argv[1:]:
        committed = json.loads(path.read_text())
        differ(made, committed, "comparison.json")
        print(f"{path.name}: the same")
    else:
        path.write_text(json.dumps(made) + "\n")


def differ(made, committed, place):
    if isinstance(made, dict):
        assert made.keys() == committed.keys(), place
        for key in made:
            differ(made[key], committed[key], f"{place}/{key}")
    elif isinstance(made, list):
        assert len(made) == len(committed), place
        for i, (a, b) in enumerate(zip(made, committed)):
            differ(a, b, f"{place}/{i}")
    elif isinstance(made, float):
        assert np.isclose(made, committed, rtol=1e-9, atol=1e-12), f"{place}: {made} {committed}"
    else:
        assert made == committed, f"{place}: {made} {committed}"


if __name__ == "__main__":
    main()
