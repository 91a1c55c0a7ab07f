"""Makes captures whose truth is known, as other instruments would have written them, for `import` to read.

    python captures.py           writes captures/ beside this script
    python captures.py --check   makes them again and fails if the committed ones differ

Everything follows from definitions, and nothing is shared with Keyway or its simulator:

- The crank angle is the integral of a prescribed speed (Runge-Kutta of fourth order, steps of 50 us);
  0 is firing TDC of cylinder 1, tooth 0 passes the sensor at -gap_to_tdc.
- A Hall sensor's level is a function of the angle of its target; an edge is where the angle passes a
  boundary, found by bisection.
- A coil gives u = -k * dF/dt, the flux F of one tooth being (1 - (x/h)^2)^3 over its angle x, so that a
  tooth's zero crossing lies at its centre.
- A cam edge lies at its angle at rest minus the advance: where crank angle + advance passes that angle.
- A ground-switched pin is low for duty / frequency from the begin of each period.

Only the standard library is used, and every number is written with a stated number of digits, so that no
version of a package changes a byte.
"""

import json
import math
import sys
from bisect import bisect_right
from pathlib import Path

HERE = Path(__file__).parent / "captures"
STEP = 5e-5


class Motion:
    """Crank angle in degrees over time, from a speed in rpm that depends on time and angle."""

    def __init__(self, rpm, seconds, start=0.0):
        self.rpm = rpm
        self.angles = [start]
        rate = lambda t, a: 6.0 * rpm(t, a)
        for i in range(math.ceil(seconds / STEP)):
            t, a = i * STEP, self.angles[-1]
            k1 = rate(t, a)
            k2 = rate(t + STEP / 2, a + STEP / 2 * k1)
            k3 = rate(t + STEP / 2, a + STEP / 2 * k2)
            k4 = rate(t + STEP, a + STEP * k3)
            self.angles.append(a + STEP / 6 * (k1 + 2 * k2 + 2 * k3 + k4))
        self.seconds = seconds

    def angle(self, t):
        """Cubic between the steps, from the angles and speeds at both."""
        i = min(int(t / STEP), len(self.angles) - 2)
        x = t / STEP - i
        a, b = self.angles[i], self.angles[i + 1]
        va, vb = (6.0 * self.rpm((i + k) * STEP, self.angles[i + k]) * STEP for k in (0, 1))
        return a + x * (va + x * (3 * (b - a) - 2 * va - vb + x * (va + vb - 2 * (b - a))))

    def speed(self, t):
        return self.rpm(t, self.angle(t))


class Target:
    """A wheel as angles at which the level of its sensor changes, and the level after each."""

    def __init__(self, changes, period):
        changes = sorted((a % period, level) for a, level in changes)
        self.angles = [a for a, _ in changes]
        self.levels = [level for _, level in changes]
        self.period = period

    def passed(self, angle):
        turns = math.floor(angle / self.period)
        return turns * len(self.angles) + bisect_right(self.angles, angle - turns * self.period)

    def level(self, passed):
        return self.levels[(passed - 1) % len(self.levels)]

    def place(self, number):
        turns, i = divmod(number, len(self.angles))
        return turns * self.period + self.angles[i]

    def edges(self, motion, lead=lambda t: 0.0):
        """(time, new level, angle passed, +1 forwards or -1 backwards) where motion + lead passes a change."""
        where = lambda t: motion.angle(t) + lead(t)
        found, t0, before = [], 0.0, self.passed(where(0.0))
        for i in range(1, math.ceil(motion.seconds / STEP)):
            t1 = i * STEP
            after = self.passed(motion.angles[i] + lead(t1))
            way = 1 if after > before else -1
            for number in range(before, after, way):
                place = self.place(number if way > 0 else number - 1)
                a, b = t0, t1
                for _ in range(50):
                    middle = (a + b) / 2
                    if (where(middle) - place) * way < 0:
                        a = middle
                    else:
                        b = middle
                found.append(((a + b) / 2, self.level(number + way), place, way))
            t0, before = t1, after
        return self.level(self.passed(where(0.0))), [e for e in found if e[0] < motion.seconds]


def even(teeth, gone=()):
    """Degrees of the teeth of a wheel of equal pitches, counted from 1, without those that are gone."""
    return [(k - 1) * 360.0 / teeth for k in range(1, teeth + 1) if k not in gone]


def tone_wheel(teeth, gap_to_tdc, width):
    """Low while a tooth stands before the sensor; `width` in degrees from the leading edge."""
    changes = []
    for a in teeth:
        changes += [(a - gap_to_tdc, 0), (a - gap_to_tdc + width, 1)]
    return Target(changes, 360.0)


def cam_wheel(windows):
    return Target([(a, level) for w in windows for a, level in zip(w, (1, 0))], 720.0)


def coil(motion, teeth, gap_to_tdc, half, volts_per_rpm):
    """Voltage at a time: -dF/dt of the teeth near the sensor."""
    spots = sorted((a - gap_to_tdc) % 360.0 for a in teeth)

    def volts(t):
        angle = motion.angle(t) % 360.0
        slope = 0.0
        i = bisect_right(spots, angle)
        for spot in (spots[i - 1], spots[i % len(spots)]):
            x = ((angle - spot + 180.0) % 360.0 - 180.0) / half
            if abs(x) < 1.0:
                slope += -6.0 * x * (1.0 - x * x) ** 2
        return -volts_per_rpm * motion.speed(t) * slope

    return volts


def pulses(duty, frequency, seconds):
    """Edges of a ground-switched pin; `duty` in percent is asked at the begin of each period."""
    edges = []
    for k in range(math.ceil(seconds * frequency)):
        edges += [(k / frequency, 0), ((k + duty(k / frequency) / 100.0) / frequency, 1)]
    return 1, [e for e in edges if e[0] < seconds]


class Noise:
    """A linear congruential generator (Knuth, MMIX), uniform in -1 to 1."""

    def __init__(self, seed):
        self.state = seed

    def __call__(self):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % 2**64
        return (self.state >> 11) / 2**52 - 1.0


def hall_volts(first, edges, low, high, ramp):
    """A two-state voltage at a time, each edge a straight line `ramp` seconds long about its instant."""
    times = [e[0] for e in edges]
    levels = [first] + [e[1] for e in edges]

    def volts(t):
        i = bisect_right(times, t - ramp / 2)
        share = levels[i]
        if i < len(times) and t > times[i] - ramp / 2:
            share += (levels[i + 1] - levels[i]) * ((t - times[i]) / ramp + 0.5)
        return low + (high - low) * share

    return volts


def edge_list(columns, header, time, separator=","):
    """A row per change: the time and all levels after it."""
    state = [first for first, _ in columns]
    rows = {time(0.0): list(state)}
    for t, i, level in sorted((e[0], i, e[1]) for i, (_, edges) in enumerate(columns) for e in edges):
        state[i] = level
        rows[time(t)] = list(state)
    lines = [separator.join(header)] + [separator.join([t, *map(str, s)]) for t, s in rows.items()]
    return "\n".join(lines) + "\n"


def sample_rows(rate, seconds, columns, head, time, separator=",", comma=False, without=()):
    """A row per sample, except the numbers in `without`; columns are (volts, digits)."""
    lines = list(head)
    for i in range(round(rate * seconds)):
        t = i / rate
        row = [time(t)] + [f"{volts(t):.{digits}f}" for volts, digits in columns]
        if not any(i in lost for lost in without):
            line = separator.join(row)
            lines.append(line.replace(".", ",") if comma else line)
    return "\n".join(lines) + "\n"


def sheet(name, wheel, sensor, active, gap_to_tdc, cams, phaser=None):
    lines = [f'name = "{name}"', "cylinders = 4", "firing_order = [1, 3, 4, 2]", "idle = { low = 650, high = 950 }"]
    lines += ["supply = { low = 13.2, high = 14.8 }"] + ([] if cams else ["cams = []"])
    lines += ["", "[crank]", f'wheel = "{wheel}"', f'sensor = "{sensor}"', f'active_edge = "{active}"']
    lines += [f"gap_to_tdc = {gap_to_tdc}"]
    for cam, windows in cams.items():
        lines += ["", "[[cams]]", f'cam = "{cam}"', f"windows = {windows}", "known_good = true", "tolerance = 3"]
        if phaser and cam == "intake":
            lines += ["sprocket_teeth = 42", "", "[cams.phaser]", 'rest = "retarded"', f"authority = {phaser}"]
            lines += ["hold = { low = 30, high = 70 }", "rest_below = 20", "slowest = 8", "always_driven = true"]
    return "\n".join(lines) + "\n"


def plan(name, columns, text=(), time=()):
    lines = [f'name = "{name}"']
    for title, entries in (("[text]", text), ("[time]", time), *(("[[columns]]", c.items()) for c in columns)):
        if entries:
            lines += ["", title] + [f"{k} = {json.dumps(v)}" for k, v in entries]
    return "\n".join(lines) + "\n"


def levels(**roles):
    """Plan entries of edge-list columns, role by column name."""
    return [{"column": c, "role": r, "kind": "edges"} for c, r in roles.items()]


def volts(**roles):
    return [{"column": c, "role": r, "kind": "samples", "unit": "V"} for c, r in roles.items()]


def truth(motion, gap_to_tdc, cams, **more):
    """What the capture says of itself: times in s from its first row, rpm, crank degrees, percent.

    A turn in which the crank stands or goes back is none, and of the cam edges only those passed forwards count.
    """
    zero = Target([(-gap_to_tdc, 0)], 360.0).edges(motion)[1]
    stand = more.get("stand", {"from": math.inf, "to": math.inf})
    turns = [
        {"start": round(a[0], 7), "end": round(b[0], 7), "rpm": round(60.0 / (b[0] - a[0]), 4)}
        for a, b in zip(zero, zero[1:])
        if a[3] == b[3] == 1 and (b[0] < stand["from"] or a[0] > stand["to"])
    ]
    edges = {
        cam: [
            {
                "at": round(e[0], 7),
                "kind": "rising" if e[1] else "falling",
                "edge": [x for w in windows for x in w].index(e[2] % 720.0),
                "angle": round(motion.angle(e[0]) % 720.0, 4),
                "phase": round(lead(e[0]), 4),
            }
            for e in found
            if e[3] == 1
        ]
        for cam, windows, lead, (_, found) in cams
    }
    return {"seconds": motion.seconds, "revolutions": turns, "cams": edges, **more}


def still(_):
    return 0.0


INTAKE = [[40, 130], [220, 270], [400, 520], [580, 620]]
EXHAUST = [[70, 180], [255, 305], [430, 490], [610, 700]]


def vr_with_decimal_commas():
    """60-2 coil and a cam, sampled; semicolons, decimal commas, a unit row, ms from before a trigger."""
    motion = Motion(lambda t, a: (700 + 60 * t) * (1 + 0.02 * math.sin(math.radians(2 * a))), 2.0, 200.0)
    teeth, gap = even(60, (59, 60)), 108.0
    cam, noise = cam_wheel(INTAKE).edges(motion), Noise(1)
    u = coil(motion, teeth, gap, 5.4, 0.004)
    rows = sample_rows(
        8000,
        motion.seconds,
        [(lambda t: u(t) + 0.02 * noise(), 3), (hall_volts(*cam, 0.2, 4.9, 2e-4), 2)],
        ["Time;Crank;Inlet", "(ms);(V);(V)"],
        lambda t: f"{1000 * t - 20:.3f}",
        ";",
        comma=True,
    )
    return {
        "csv": rows,
        "sheet.toml": sheet("Coil, 60-2", "60-2", "vr", "rising", gap, {"intake": INTAKE}),
        "plan.toml": plan("sampled volts with decimal commas", volts(Crank="crank", Inlet="cam intake")),
        "json": truth(motion, gap, [("intake", INTAKE, still, cam)]),
    }


def hall_edge_list():
    """36-1 Hall and two cams as a row per change, the times irregular, in s."""
    motion = Motion(lambda t, a: 1500 + 400 * math.sin(3.0 * t) + 25 * math.sin(math.radians(2 * a)), 1.6, 80.0)
    gap = 84.0
    found = [tone_wheel(even(36, (36,)), gap, 4.5).edges(motion)]
    found += [cam_wheel(INTAKE).edges(motion), cam_wheel(EXHAUST).edges(motion)]
    names = ["time", "crank", "inlet", "outlet"]
    return {
        "csv": edge_list(found, names, lambda t: f"{t:.7f}"),
        "sheet.toml": sheet("Hall, 36-1", "36-1", "hall", "falling", gap, {"intake": INTAKE, "exhaust": EXHAUST}),
        "plan.toml": plan(
            "edge lists",
            levels(crank="crank", inlet="cam intake", outlet="cam exhaust"),
            time=[("column", "time"), ("unit", "s"), ("rate", 200000)],
        ),
        "json": truth(motion, gap, [("intake", INTAKE, still, found[1]), ("exhaust", EXHAUST, still, found[2])]),
    }


def cranking_ripple():
    """36-2-2-2 Hall at the starter: 85 to 225 rpm within each half turn."""
    motion = Motion(lambda t, a: 155 + 70 * math.sin(math.radians(2 * a + 40)), 9.0, 10.0)
    gap = 60.0
    crank = tone_wheel(even(36, (14, 15, 32, 33, 35, 36)), gap, 5.0).edges(motion)
    cam = cam_wheel(INTAKE).edges(motion)
    return {
        "csv": edge_list([crank, cam], ["t", "A", "B"], lambda t: f"{1e6 * t:.0f}"),
        "sheet.toml": sheet("Hall, 36-2-2-2", "36-2-2-2", "hall", "falling", gap, {"intake": INTAKE}),
        "plan.toml": plan(
            "columns without speaking names",
            levels(A="crank", B="cam intake"),
            time=[("column", "t"), ("unit", "us"), ("rate", 100000)],
        ),
        "json": truth(motion, gap, [("intake", INTAKE, still, cam)]),
    }


def even_teeth():
    """24 equal teeth: only the cam gives position."""
    motion = Motion(lambda t, a: 1100 + 150 * t + 15 * math.sin(math.radians(2 * a)), 2.0, 33.0)
    gap = 6.0
    crank = tone_wheel(even(24), gap, 7.0).edges(motion)
    cam = cam_wheel(INTAKE).edges(motion)
    return {
        "csv": edge_list([crank, cam], ["time_ms", "crank", "cam"], lambda t: f"{1000 * t:.4f}"),
        "sheet.toml": sheet("Hall, 24 equal teeth", "24", "hall", "falling", gap, {"intake": INTAKE}),
        "plan.toml": plan(
            "equal teeth",
            levels(crank="crank", cam="cam intake"),
            time=[("column", 1), ("unit", "ms"), ("rate", 200000)],
        ),
        "json": truth(motion, gap, [("intake", INTAKE, still, cam)]),
    }


def phaser_step():
    """A phaser from 0 to 30 degrees advance, four windows (4 + 4 edges), and its command."""
    motion = Motion(lambda t, a: 1200 + 12 * math.sin(math.radians(2 * a)), 3.6, 0.0)
    gap = 84.0

    def advance(t):
        x = min(max((t - 1.5) / 0.3, 0.0), 1.0)
        return 30.0 * x * x * (3.0 - 2.0 * x)

    spans = [(0.0, 1.48, 12.0), (1.48, 1.8, 80.0), (1.8, 3.6, 50.0)]
    duty = lambda t: next(d for a, b, d in spans if a <= t < b)
    windows = [[30, 130], [215, 305], [390, 500], [560, 680]]
    crank = tone_wheel(even(36, (36,)), gap, 4.5).edges(motion)
    cam = cam_wheel(windows).edges(motion, advance)
    command = pulses(duty, 200.0, motion.seconds)
    return {
        "csv": edge_list([crank, cam, command], ["time", "crank", "cam", "valve"], lambda t: f"{1e6 * t:.1f}"),
        "sheet.toml": sheet("Hall, 36-1, phaser", "36-1", "hall", "falling", gap, {"intake": windows}, 45),
        "plan.toml": plan(
            "a phaser and its command",
            levels(crank="crank", cam="cam intake", valve="command intake"),
            time=[("column", "time"), ("unit", "us"), ("rate", 200000)],
        ),
        "json": truth(
            motion,
            gap,
            [("intake", windows, advance, cam)],
            duty=[{"cam": "intake", "from": a, "to": b, "percent": d, "frequency": 200.0} for a, b, d in spans],
        ),
    }


def vr_with_spikes():
    """60-2 coil, wired the other way round, with spikes, a drifting offset and tooth 24 broken off."""
    motion = Motion(lambda t, a: 950 + 80 * t + 10 * math.sin(math.radians(2 * a)), 2.0, 300.0)
    gap, broken, rate = 90.0, 24, 12000
    u = coil(motion, even(60, (59, 60, broken)), gap, 5.4, -0.01)
    noise, dice = Noise(3), Noise(4)
    spikes = {int((dice() + 1) / 2 * rate * motion.seconds): 40.0 * dice() for _ in range(20)}
    value = lambda t: u(t) + 1.5 * t / motion.seconds + 0.1 * noise() + spikes.get(round(t * rate), 0.0)
    return {
        "csv": sample_rows(rate, motion.seconds, [(value, 2)], ["time [s],crank [V]"], lambda t: f"{t:.6f}"),
        "sheet.toml": sheet("Coil, 60-2, a tooth gone", "60-2", "vr", "falling", gap, {}),
        "plan.toml": plan("one lead", [{"column": 2, "role": "crank", "kind": "samples", "unit": "V"}]),
        "json": truth(motion, gap, [], missing_tooth=broken),
    }


def dropped_samples():
    """36-1 Hall and a cam, sampled; the instrument lost samples in two places, which the times show."""
    motion = Motion(lambda t, a: 600 + 9 * math.sin(math.radians(2 * a)), 2.4, 0.0)
    gap, rate, lost = 84.0, 10000, [range(9137, 9174), range(15011, 15423)]
    crank = tone_wheel(even(36, (36,)), gap, 4.5).edges(motion)
    cam = cam_wheel(INTAKE).edges(motion)
    columns = [(hall_volts(*s, 0.1, 5.0, 2e-4), 1) for s in (crank, cam)]
    return {
        "csv": sample_rows(rate, motion.seconds, columns, ["s,crank,cam"], lambda t: f"{t:.4f}", without=lost),
        "sheet.toml": sheet("Hall, 36-1, samples lost", "36-1", "hall", "falling", gap, {"intake": INTAKE}),
        "plan.toml": plan("lost samples", volts(crank="crank", cam="cam intake"), time=[("column", 1), ("unit", "s")]),
        "json": truth(
            motion,
            gap,
            [("intake", INTAKE, still, cam)],
            gaps=[{"from": r.start / rate, "to": r.stop / rate, "samples": len(r)} for r in lost],
        ),
    }


def rounded_time():
    """12-1 coil at 12,800 samples a second whose times are rounded to 0.01 ms: no two steps need be alike."""
    motion = Motion(lambda t, a: 800 + 100 * t + 16 * math.sin(math.radians(2 * a)), 1.6, 150.0)
    gap, noise = 60.0, Noise(5)
    u = coil(motion, even(12, (12,)), gap, 14.0, 0.006)
    value = lambda t: u(t) + 0.02 * noise()
    return {
        "csv": sample_rows(12800, motion.seconds, [(value, 2)], ["ms\tcrank"], lambda t: f"{1000 * t:.2f}", "\t"),
        "sheet.toml": sheet("Coil, 12-1", "12-1", "vr", "rising", gap, {}),
        "plan.toml": plan("tabs, rounded times", volts(crank="crank"), time=[("column", "ms"), ("unit", "ms")]),
        "json": truth(motion, gap, []),
    }


def stop_and_restart():
    """60-2 Hall: idles, stops, rocks back on compression, rests, is started again."""
    marks = [(0.0, 720), (1.5, 720), (1.9, 0), (1.95, -90), (2.0, 0), (2.03, 40), (2.06, 0), (2.8, 0), (2.9, 180)]
    marks += [(3.6, 220), (4.2, 760), (5.2, 720)]

    def rpm(t, a):
        i = min(bisect_right([m[0] for m in marks], t), len(marks) - 1)
        (t0, v0), (t1, v1) = marks[i - 1], marks[i]
        v = v0 + (v1 - v0) * (t - t0) / (t1 - t0)
        return v * (1 + 0.05 * math.sin(math.radians(2 * a)))

    motion, gap = Motion(rpm, 5.2, 20.0), 108.0
    crank = tone_wheel(even(60, (59, 60)), gap, 2.7).edges(motion)
    cam = cam_wheel(INTAKE).edges(motion)
    return {
        "csv": edge_list([crank, cam], ["time", "crank", "cam"], lambda t: f"{1e9 * t:.0f}"),
        "sheet.toml": sheet("Hall, 60-2, restart", "60-2", "hall", "falling", gap, {"intake": INTAKE}),
        "plan.toml": plan(
            "a stop",
            levels(crank="crank", cam="cam intake"),
            time=[("column", "time"), ("unit", "ns"), ("rate", 100000)],
        ),
        "json": truth(motion, gap, [("intake", INTAKE, still, cam)], stand={"from": 1.9, "to": 2.8}),
    }


CAPTURES = [
    vr_with_decimal_commas,
    hall_edge_list,
    cranking_ripple,
    even_teeth,
    phaser_step,
    vr_with_spikes,
    dropped_samples,
    rounded_time,
    stop_and_restart,
]


def lines(table):
    """JSON with one row of each list on a line."""
    text = lambda v: "[\n" + ",\n".join(map(json.dumps, v)) + "\n]" if isinstance(v, list) and v else json.dumps(v)
    flat = {k: v for k, v in table.items() if k != "cams"}
    cams = ",\n".join(f"{json.dumps(k)}: {text(v)}" for k, v in table["cams"].items())
    parts = [f"{json.dumps(k)}: {text(v)}" for k, v in flat.items()] + [f'"cams": {{{cams}}}']
    return "{\n" + ",\n".join(parts) + "\n}\n"


def main():
    made = {}
    for capture in CAPTURES:
        for ending, content in capture().items():
            made[f"{capture.__name__}.{ending}"] = (lines(content) if ending == "json" else content).encode()
    if sys.argv[1:] == ["--check"]:
        there = {p.name for p in HERE.iterdir()}
        wrong = [name for name, value in made.items() if name not in there or (HERE / name).read_bytes() != value]
        wrong += sorted(there - set(made))
        if wrong:
            sys.exit(f"these differ from what was just made: {', '.join(wrong)}")
        print(f"{len(made)} files of {len(CAPTURES)} captures are as made")
    elif not sys.argv[1:]:
        HERE.mkdir(exist_ok=True)
        for name, value in made.items():
            (HERE / name).write_bytes(value)
    else:
        sys.exit(__doc__)


main()
