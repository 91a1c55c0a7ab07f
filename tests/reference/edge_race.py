"""The straightforward vectorised way from samples to cam phase, timed beside Keyway's on the same capture.

    python edge_race.py FOLDER     called by the example `edge_race` of the analysis, which makes the folder

Compares the phases edge by edge, fails if they differ, and prints both times and their ratio.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np

# Crank degrees. A straight line between teeth is off by the speed's change in angle: across the gap of 18 degrees
# 18^2 / 8 * 0.02 * pi / 180 = 0.014 for 1 % of ripple twice a turn; noise of the capture adds less than that.
TOLERANCE = 0.05
# Seconds in which Keyway is still finding its place.
SETTLING = 2.0


def crossings(x, low, high, level, rising):
    """Instants at which x passes `level`, each between a stay beyond `low` and one beyond `high`."""
    if not rising:
        x, low, high, level = -x.astype(np.int32), -high, -low, -level
    place = np.flatnonzero((x < low) | (x > high))
    is_up = x[place] > high
    up = place[1:][is_up[1:] & ~is_up[:-1]]
    passes = np.flatnonzero((x[:-1] < level) & (x[1:] >= level))
    last = passes[np.searchsorted(passes, up) - 1]
    a, b = x[last].astype(float), x[last + 1].astype(float)
    return last + (level - a) / (b - a)


def edges(leads):
    """Falling zero crossings of the coil; rising and falling edges of the cams."""
    crank = crossings(leads[0], -100, 100, leads[0].mean(), False)
    return crank, [[crossings(x, 800, 1200, 1000, up) for up in (True, False)] for x in leads[1:]]


def phases(crank, cams, gap_to_tdc, windows):
    lengths = np.diff(crank)
    is_gap = (0.6 * lengths[1:-1] > lengths[:-2]) & (0.6 * lengths[1:-1] > lengths[2:])
    first = np.flatnonzero(is_gap) + 2
    # Teeth from the first after the first gap on.
    turn = np.searchsorted(first, np.arange(first[0], len(crank)), side="right") - 1
    tooth = np.arange(first[0], len(crank)) - first[turn]
    angle = 360.0 * turn + 6.0 * tooth - gap_to_tdc
    out = []
    for edges, reference in zip(cams, windows):
        rows = []
        for kind, at in enumerate(edges):
            at = at[(at > crank[first[0]]) & (at < crank[-1])]
            where = np.interp(at, crank[first[0] :], angle)
            places = np.array(reference)[:, kind]
            rows.append((at, where, places, 2 * np.arange(len(places)) + kind))
        # Whichever of the two revolutions lies nearer to the reference.
        fits = []
        for offset in (0.0, 360.0):
            found = []
            for at, where, places, names in rows:
                away = (places[None, :] - where[:, None] - offset + 360.0) % 720.0 - 360.0
                near = np.abs(away).argmin(axis=1)
                found.append(np.column_stack([at, names[near], away[np.arange(len(at)), near]]))
            found = np.concatenate(found)
            fits.append((np.median(np.abs(found[:, 2])), found))
        found = min(fits, key=lambda f: f[0])[1]
        out.append(found[found[:, 0].argsort()])
    return out


def best(run):
    times = []
    for _ in range(5):
        start = time.perf_counter()
        value = run()
        times.append(time.perf_counter() - start)
    return min(times), value


def main():
    folder = Path(sys.argv[1])
    race = json.loads((folder / "race.json").read_text())
    leads = [np.fromfile(folder / f"lead{k}.i16", "<i2") for k in range(3)]
    to_edges, (crank, cams) = best(lambda: edges(leads))
    to_phase, found = best(lambda: phases(crank, cams, race["gap_to_tdc"], race["windows"]))
    worst, compared = 0.0, 0
    for k, theirs in enumerate(found):
        ours = np.fromfile(folder / f"cam{k}.f64").reshape(-1, 3)
        theirs = theirs[theirs[:, 0] > SETTLING * race["rate"]]
        ours = ours[(ours[:, 0] > SETTLING * race["rate"]) & (ours[:, 0] < theirs[-1, 0] + 1)]
        theirs = theirs[theirs[:, 0] < ours[-1, 0] + 1]
        if len(ours) != len(theirs) or np.abs(ours[:, 0] - theirs[:, 0]).max() > 2:
            sys.exit(f"cam {k}: {len(ours)} edges against {len(theirs)}, or not the same ones")
        if (ours[:, 1] != theirs[:, 1]).any():
            sys.exit(f"cam {k}: edges are matched with other ones of the reference")
        worst = max(worst, np.abs(ours[:, 2] - theirs[:, 2]).max())
        compared += len(ours)
    if not worst < TOLERANCE or compared < 1000:
        sys.exit(f"phases differ by up to {worst:.4f} degrees over {compared} edges; {TOLERANCE} are allowed")
    seconds = len(leads[0]) / race["rate"]
    print(f"{seconds:.0f} s of three leads at {race['rate'] / 1000:.0f} kS/s, {len(crank)} crank edges; {compared} phases differ by at most {worst:.4f} degrees")
    print(f"{'':34}{'Keyway':>10}{'NumPy':>10}{'ratio':>8}  (above 1 Keyway is faster; it works in slices of 5 ms, NumPy has all edges at once)")
    ours = race["samples_to_edges"], race["edges_to_phase"]
    for name, a, b in [
        ("samples to edges", ours[0], to_edges),
        ("edges to angle to cam phase", ours[1], to_phase),
        ("samples to cam phase", sum(ours), to_edges + to_phase),
    ]:
        print(f"{name:34}{1000 * a:7.1f} ms{1000 * b:7.1f} ms{b / a:7.2f}x")


main()
