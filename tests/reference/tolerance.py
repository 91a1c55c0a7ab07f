"""Recomputes the factors by which several good engines become a tolerance, and a combination made with them.

    python tolerance.py           writes tolerance.json beside this script
    python tolerance.py --check   makes it again and fails if the committed one differs

The mean of n values plus and minus k standard deviations holds 95 % of a normal population with 95 % confidence
(ISO 16269-6:2014, annex F; NIST/SEMATECH e-Handbook 7.2.6.3 gives Howe's approximation of the same). The exact k
is the root of

    integral over x of P(chi2 with n - 1 degrees >= (n - 1) r(x)^2 / k^2) dN(x; 0, 1/n) = 0.95

with r(x) such that N(x + r) - N(x - r) = 0.95 (Odeh and Owen 1980).
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy import integrate, optimize, stats

HERE = Path(__file__).parent
SHARE = CONFIDENCE = 0.95
MOST = 30
# Printed to three places in ISO 16269-6:2014, table F.1 (from memory), for both sides, 95 % and 95 %.
PRINTED = {2: 36.519, 3: 9.789, 5: 5.077, 10: 3.393, 20: 2.760, 30: 2.555}


def half_width(x):
    """r with N(x + r) - N(x - r) = SHARE."""
    inside = lambda r: stats.norm.cdf(x + r) - stats.norm.cdf(x - r) - SHARE
    return optimize.brentq(inside, 0, abs(x) + 10, xtol=1e-14)


def exact(n):
    """By 160 Gauss-Legendre nodes over eight standard deviations of the mean; adaptive quadrature agrees at the root."""
    spread = 1 / np.sqrt(n)
    nodes, weights = np.polynomial.legendre.leggauss(160)
    x, weights = 4 * spread * (nodes + 1), 4 * spread * weights * 2
    r, density = np.array([half_width(v) for v in x]), stats.norm.pdf(x, scale=spread)
    holds = lambda k: float((weights * density * stats.chi2.sf((n - 1) * r**2 / k**2, n - 1)).sum())
    k = optimize.brentq(lambda k: holds(k) - CONFIDENCE, 1.9, 60, xtol=1e-10)
    if n in (2, 7):
        f = lambda v: stats.chi2.sf((n - 1) * half_width(v) ** 2 / k**2, n - 1) * stats.norm.pdf(v, scale=spread)
        assert abs(2 * integrate.quad(f, 0, 8 * spread, epsabs=1e-11, epsrel=1e-11)[0] - CONFIDENCE) < 1e-8
    return k


def howe(n, share=SHARE, confidence=CONFIDENCE):
    """NIST/SEMATECH e-Handbook 7.2.6.3."""
    z, chi = stats.norm.ppf((1 + share) / 2), stats.chi2.ppf(1 - confidence, n - 1)
    return float(np.sqrt((n - 1) * (1 + 1 / n) * z**2 / chi))


def combination():
    """Engines of one type, drawn; the cam of each stands elsewhere, and each edge scatters a little of its own."""
    draw = np.random.default_rng(20261130)
    windows = np.array([40.0, 130.0, 220.0, 270.0, 400.0, 520.0, 580.0, 718.5])
    cases = []
    for n, between in [(2, 0.4), (3, 0.6), (5, 0.5), (12, 0.8)]:
        engines = windows + draw.normal(0, between, (n, 1)) + draw.normal(0, 0.1, (n, len(windows)))
        offsets = (engines - engines.mean(axis=0)).mean(axis=1)
        deviation = offsets.std(ddof=1)
        cases.append(
            {
                "engines": np.round(engines % 720, 9).tolist(),
                "mean": np.round(engines.mean(axis=0) % 720, 9).tolist(),
                "edge_deviation": np.round(engines.std(axis=0, ddof=1), 9).tolist(),
                "deviation": round(float(deviation), 9),
                "tolerance": round(exact(n) * float(deviation), 6),
            }
        )
    return cases


def make():
    # The handbook's own example: 43 values, 90 % with 99 % confidence.
    example = howe(43, 0.90, 0.99)
    assert abs(example - 2.217) < 5e-4, example
    factors = {n: exact(n) for n in range(2, MOST + 1)}
    for n, printed in PRINTED.items():
        assert abs(factors[n] - printed) < 1.5e-3, (n, factors[n], printed)
    for n in range(5, MOST + 1):
        assert abs(howe(n) / factors[n] - 1) < 0.006, (n, howe(n), factors[n])
    return {
        "share": SHARE,
        "confidence": CONFIDENCE,
        "factors": [round(k, 4) for k in factors.values()],
        "combinations": combination(),
    }


if __name__ == "__main__":
    path = HERE / "tolerance.json"
    made = json.dumps(make(), indent=1) + "\n"
    if "--check" in sys.argv[1:]:
        if path.read_text() != made:
            sys.exit(f"{path.name} is not what this script makes")
        print(f"{path.name}: as committed")
    else:
        path.write_text(made)
