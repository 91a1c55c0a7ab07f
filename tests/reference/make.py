"""Makes the values that the Rust tests compare with, by libraries that share nothing with Keyway.

    python make.py           writes frames.json, pulses.json, coils.json, circular.json and their .bin beside this script
    python make.py --check   makes them again and fails if the committed ones differ

Sources: CRC-32C by google-crc32c and crcmod (polynomial 0x1EDC6F41, RFC 3720 appendix B.4); COBS by
the PyPI package cobs (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999); edges as
roots of the piecewise linear interpolant by scipy.interpolate.PPoly (IEEE 181-2011: linear
interpolation at the reference level); duty and frequency by NumPy from those edges. Zero crossings of a
coil by the same roots and the rule of the LM1815 data sheet (National Semiconductor): the negative-going
crossing counts once the signal has passed 80 % of its peak. Circular statistics by scipy.stats.
"""

import json
import struct
import sys
from pathlib import Path

import crcmod.predefined
import google_crc32c
import numpy as np
from cobs import cobs
from scipy.interpolate import PPoly, make_interp_spline
from scipy.stats import circmean, circstd

HERE = Path(__file__).parent
SAMPLES = 0x86


def crc32c(data):
    value = google_crc32c.value(data)
    assert value == crcmod.predefined.mkCrcFun("crc-32c")(data), "the two CRC packages differ"
    return value


def random_bytes(seed, count):
    """A plain linear congruential generator, so that no library version changes the values."""
    out = bytearray()
    for _ in range(count):
        seed = (seed * 6364136223846793005 + 1442695040888963407) % 2**64
        out.append(seed >> 56)
    return bytes(out)


def checksums():
    pdu = bytes.fromhex("01c00000000000000000000000000000" "14000000000004000000001400000018" "28000000000000000200000000000000")
    data = [b"", b"123456789", bytes(32), b"\xff" * 32, bytes(range(32)), bytes(range(31, -1, -1)), pdu]
    data += [random_bytes(n, n) for n in (1, 2, 7, 255, 256, 1000)]
    return [{"data": d.hex(), "crc32c": crc32c(d)} for d in data]


def frame(stream, first, planes):
    content = bytes([SAMPLES, stream]) + struct.pack("<Q", first)
    content += b"".join(struct.pack(f"<{len(p)}h", *p) for p in planes)
    content += struct.pack("<I", crc32c(content))
    return content, cobs.encode(content) + b"\0"


def frames():
    def of_bytes(data, planes):
        words = struct.unpack(f"<{len(data) // 2}h", data)
        return np.array(words).reshape(planes, -1).tolist()

    cases = [
        (0, 0, [[0]]),
        (1, 512, [[0, 1, -1, 32767, -32768]]),
        (7, 2**63 + 5, of_bytes(random_bytes(3, 2 * 8 * 64), 8)),
        (2, 0x0102030405060708, of_bytes(bytes(2 * 600), 2)),
        (3, 0x0101010101010101, of_bytes(random_bytes(9, 2 * 8 * 512), 8)),
    ]
    # Contents without any zero, around the 254 bytes where an encoder may add an empty code.
    for length in (252, 254, 256, 508, 510):
        words = (length - 14) // 2
        for seed in range(1, 100000):
            data = bytes(b or 1 for b in random_bytes(seed, 2 * words))
            planes = of_bytes(data, 1)
            if 0 not in frame(1, 0x0101010101010101, planes)[0]:
                break
        cases.append((1, 0x0101010101010101, planes))
    return [
        {"stream": s, "first_index": str(f), "planes": p, "frame": frame(s, f, p)[1].hex()} for s, f, p in cases
    ]


RATE = 100_000
# duty %, Hz, seconds: the corners and the middle of what valves use, and one odd pair.
TRAINS = [(5, 100, 0.06), (95, 100, 0.06), (50, 250, 0.04), (5, 400, 0.03), (95, 400, 0.03), (37.3, 187.9, 0.05)]
LOW, HIGH, RAMP = 300, 9300, 2.7


def train(duty, frequency, seconds, seed):
    """Counts of a ground-switched pin: high, low for `duty` of the period, edges that last RAMP samples."""
    t = np.arange(round(seconds * RATE)) / RATE
    phase = (t * frequency + 0.613) % 1
    edge = RAMP / RATE * frequency
    low = np.clip(phase / edge, 0, 1) - np.clip((phase - duty / 100) / edge, 0, 1)
    noise = np.frombuffer(random_bytes(seed, len(t)), np.int8) / 64
    return np.round(HIGH + (LOW - HIGH) * low + noise).astype("<i2")


def crossings(samples, level):
    index = np.arange(len(samples), dtype=float)
    curve = PPoly.from_spline(make_interp_spline(index, samples.astype(float), k=1))
    at = curve.solve(level, extrapolate=False)
    return at, np.where(curve(at, 1) > 0, "rising", "falling")


def pulses():
    trains, data = [], b""
    for seed, (duty, frequency, seconds) in enumerate(TRAINS, 1):
        samples = train(duty, frequency, seconds, seed)
        # Odd, so that no sample lies on it.
        level = (LOW + HIGH) / 2 + 0.5
        at, kind = crossings(samples, level)
        falls, rises = at[kind == "falling"], at[kind == "rising"]
        starts, ends = falls[:-1], falls[1:]
        lows = np.array([rises[(rises > a) & (rises < b)].item() for a, b in zip(starts, ends)]) - starts
        lengths = ends - starts
        trains.append(
            {
                "made_of": {"duty": duty, "frequency": frequency},
                "offset": len(data),
                "count": len(samples),
                "level": level,
                "edges": [{"at": float(a), "kind": str(k)} for a, k in zip(at, kind)],
                "duty": float(100 * lows.sum() / lengths.sum()),
                "frequency": float(RATE / lengths.mean()),
            }
        )
        data += samples.tobytes()
    return {"rate": RATE, "trains": trains}, data


COIL_RATE = 20_000
# rpm, counts of peak, counts of offset: the starter, idle, and a few samples a tooth.
COILS = [(150, 150, 12.5), (820, 900, -40.5), (3000, 9000, 220.5)]
ARMING = 0.8


def coil(rpm, peak, offset, seed):
    """Counts of a coil over a 60-2 wheel: a sine about each tooth, nothing in the gap, noise of 3 counts."""
    teeth = np.arange(COIL_RATE) / COIL_RATE * rpm / 60 * 60 + 0.3
    tooth = np.round(teeth)
    there = tooth % 60 < 58
    noise = np.frombuffer(random_bytes(seed, COIL_RATE), np.int8) / 42
    value = -peak * np.sin(2 * np.pi * (teeth - tooth)) * there + offset + noise
    return np.round(value).astype("<i2")


def coils():
    out, data = [], b""
    for seed, (rpm, peak, offset) in enumerate(COILS, 1):
        samples = coil(rpm, peak, offset, seed)
        at, kind = crossings(samples, offset)
        falls = at[kind == "falling"]
        armed = crossings(samples, offset + ARMING * peak)
        armed = armed[0][armed[1] == "rising"]
        # The first fall after each time the signal has armed; all others are noise in the gap.
        kept = np.unique(falls[np.searchsorted(falls, armed[armed < falls[-1]])])
        # Where the teeth truly are: plain interpolation is off by the noise.
        tooth = COIL_RATE / rpm
        true = (np.round(kept / tooth + 0.3) - 0.3) * tooth
        out.append(
            {
                "made_of": {"rpm": rpm, "peak": peak, "offset": offset},
                "tooth": tooth,
                "offset": len(data),
                "count": len(samples),
                "falls": len(falls),
                "at": np.round(kept, 9).tolist(),
                "plain": round(float(np.sqrt(np.mean((kept - true) ** 2))), 9),
            }
        )
        data += samples.tobytes()
    return {"rate": COIL_RATE, "coils": out}, data


# Phases of the eight edges of a cam in crank degrees: on the spot, scattered, far from the reference, one astray.
PHASES = [
    [2.5] * 8,
    [1.5, -2.25, 3.0, 0.75, -1.0, 2.0, -3.5, 0.5],
    [31.0, 27.5, 33.25, 29.0, 35.5, 24.75, 30.5, 28.0],
    [-12.0, -11.5, -12.5, -12.25, -11.75, -12.0, -12.0, -5.0],
]


def circular():
    """Mean and spread on the circle of 720 degrees, on which the phase of a cam lies."""
    out = []
    for phases in PHASES:
        x = np.array(phases)
        mean = circmean(x, high=360, low=-360)
        spread = np.sqrt(((x - mean) ** 2).sum() / (len(x) - 1))
        entry = {"phases": phases, "mean": round(float(mean), 9), "spread": round(float(spread), 9)}
        entry["circstd"] = round(float(circstd(x, high=360, low=-360)), 6)
        out.append(entry)
    return {"cases": out}


def lines(table):
    """JSON with one case on a line."""
    parts = []
    for key, value in table.items():
        rows = ",\n".join(map(json.dumps, value)) if isinstance(value, list) else json.dumps(value)
        parts.append(f'"{key}": ' + (f"[\n{rows}\n]" if isinstance(value, list) else rows))
    return ("{\n" + ",\n".join(parts) + "\n}\n").encode()


def main():
    table, data = pulses()
    coil_table, coil_data = coils()
    made = {
        "coils.json": lines(coil_table),
        "coils.bin": coil_data,
        "circular.json": lines(circular()),
        "frames.json": lines({"checksums": checksums(), "frames": frames()}),
        "pulses.json": lines(table),
        "pulses.bin": data,
    }
    if sys.argv[1:] == ["--check"]:
        wrong = [name for name, value in made.items() if (HERE / name).read_bytes() != value]
        if wrong:
            sys.exit(f"these differ from what was just made: {', '.join(wrong)}")
        print(f"{len(made)} files of reference values are as made")
    elif not sys.argv[1:]:
        for name, value in made.items():
            (HERE / name).write_bytes(value)
    else:
        sys.exit(__doc__)


main()
