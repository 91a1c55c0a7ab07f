"""Compares what `keyway analyse --json` says of an imported capture with what the capture truly holds.

    python read_analysis.py CAPTURE.json ANALYSIS.json

CAPTURE.json was written by captures.py beside the capture. The tests of the workspace compare more closely,
but through the libraries; this goes the whole way through the commands `import` and `analyse`.
"""

import json
import sys

# Seconds: the recording of an edge list begins four samples before its first row, and no rate is below 8000.
INSTANT = 6e-4
# Of a turn of some 500 samples at 8000 a second, each end found to a tenth of one.
SPEED = 5e-4
# Crank degrees and percent.
PHASE = 0.1
DUTY = 0.1
# Turns and edges at the begin, in which the pattern and the cycle are found, and the last at the end.
TURNS, EDGES = 3, 40


def paired(ours, theirs, what):
    """Pairs of what was measured and what is true at the same instant; everything measured has a partner."""
    pairs = []
    for row in theirs:
        near = min(ours, key=lambda o: abs(o[0] - row[0]))
        assert abs(near[0] - row[0]) < INSTANT, f"{what} at {row[0]} s: there is none"
        pairs.append((near, row))
    return pairs


def worst(name, pairs, missing, most_missing, limit):
    differences = [abs(a[-1] - b[-1]) for a, b in pairs]
    print(f"{name:28}{len(pairs):6} compared, worst {max(differences):.5f}")
    assert max(differences) <= limit, f"{name} differs by more than {limit}"
    assert missing <= most_missing, f"{name}: {missing} are missing"


def main():
    truth, analysis = (json.loads(open(path, encoding="utf-8").read()) for path in sys.argv[1:3])
    stream = analysis["streams"][0]
    turns = [(t["end"], 1.0) for t in truth["revolutions"]]
    speeds = {t["end"]: t["rpm"] for t in truth["revolutions"]}
    columns = stream["crank"]["revolutions"]["value"]
    measured = list(zip(columns["seconds"], columns["speed_rpm"]))
    pairs = [((a[0], b[1] / speeds[a[0]]), (b[0], 1.0)) for a, b in paired(turns, measured, "turn")]
    worst("speed of turns, relative", pairs, len(turns) - len(pairs), TURNS, SPEED)
    for cam in stream["cams"]:
        edges = [(e["at"], e["edge"], e["phase"]) for e in truth["cams"][cam["cam"]]]
        columns = cam["phases"]["value"]
        measured = list(zip(columns["seconds"], columns["edge"], columns["phase_deg"]))
        pairs = paired(edges, measured, cam["cam"])
        assert all(a[1] == b[1] for a, b in pairs), f"{cam['cam']}: edges are taken for others"
        worst(f"{cam['cam']} phase, degrees", pairs, len(edges) - len(pairs), EDGES, PHASE)
        for part in (d for d in truth.get("duty", []) if d["cam"] == cam["cam"]):
            columns = cam["periods"]["value"]
            inside = [
                ((end, part["percent"]), (end, duty))
                for end, duty in zip(columns["seconds"], columns["duty_pct"])
                if part["from"] + 0.0062 < end < part["to"]
            ]
            due = (part["to"] - part["from"]) * part["frequency"]
            worst(f"{cam['cam']} duty of {part['percent']} %", inside, due - len(inside), 5, DUTY)


main()
