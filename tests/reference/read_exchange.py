"""Runs the lines of Python and SQL that `app/EXCHANGE.md` and `acquisition/README.md` show, on what
Keyway exported, and compares what they give with the recording and with `keyway analyse --json`.

    python read_exchange.py FOLDER

FOLDER holds session.mcap, session.parquet, counts.parquet, session.csv, session.wav, results.parquet,
results.csv, table.parquet and analysis.json, all of one recording of the light van in which the intake
phaser sticks. The blocks are taken from the documents, so that no line in them can go stale.
"""

import contextlib
import io
import json
import os
import pathlib
import re
import shutil
import sys

import duckdb
import numpy as np
import pandas
import polars
import scipy.io.wavfile

from read_recording import read

ROOT = pathlib.Path(__file__).resolve().parents[2]


def blocks(document, language):
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def check(what, is_so, detail=""):
    print(f"{what:72} {'holds' if is_so else 'DOES NOT HOLD'} {detail}")
    assert is_so, what


def near(ours, theirs, tolerance):
    return abs(ours - theirs) <= tolerance


def the_mcap_lines(volts):
    """The ten lines for the Python mcap package: the first values of every message, and all of the last."""
    (lines,) = [b for b in blocks("acquisition/README.md", "python") if "mcap" in b]
    shutil.copyfile("session.mcap", "recording.mcap")
    printed = io.StringIO()
    space = {}
    with contextlib.redirect_stdout(printed):
        exec(lines, space)  # the document's own words are what is checked
    expected = volts[1]
    rows = printed.getvalue().splitlines()
    begin = int(rows[0].split(" ", 1)[0])
    for row in rows:
        index, values = row.split(" ", 1)
        at = int(index) - begin
        shown = np.array(values.strip("[] ").split(), float)
        assert np.allclose(shown, expected[at : at + 4], rtol=1e-6, atol=1e-6), row
    tail = space["volts"]
    check(
        "the lines for mcap give the volts that the recording holds",
        np.array_equal(tail, expected[-len(tail) :]) and len(rows) > 100,
        f"{len(rows)} messages",
    )


def exported_samples(volts, rate):
    spaces = []
    space = {}
    for block in blocks("app/EXCHANGE.md", "python"):
        exec(block, space)
        spaces.append((block, dict(space)))
    found = lambda word, name: next(s[name] for b, s in spaces if word in b)
    table = found('pandas.read_parquet("session', "samples")
    in_polars = found('polars.read_parquet("session', "samples")
    text = found("read_csv", "text")
    sound_rate, sound = found("wavfile", "rate"), found("wavfile", "counts")
    about = found("read_metadata", "about")
    back = found("read_metadata", "counts")

    leads = about["streams"][0]["leads"]
    count = len(volts[1])
    check("rows of Parquet", len(table) == count == in_polars.height, f"{count}")
    exact = np.arange(count) / rate
    check("times are index over rate to the bit", np.array_equal(table.time_s.to_numpy(), exact))
    counts = pandas.read_parquet("counts.parquet")
    for place, lead in enumerate(leads):
        raw = counts[lead["column"].rsplit("_", 1)[0] + "_counts"].to_numpy()
        assert raw.dtype == np.int16
        value = raw * lead["scale"] + lead["offset"]
        own = table[lead["column"]].to_numpy()
        # What the recording itself says at the input, times the factor of the probe.
        at_input = volts[lead["input"]] * lead["factor"]
        assert np.allclose(value, at_input, rtol=1e-12, atol=1e-12), lead
        check(f"{lead['column']}: values are Keyway's, rounded to 32 bits", np.array_equal(own, value.astype(np.float32)))
        restored = np.round((own.astype(float) - lead["offset"]) / lead["scale"])
        assert np.array_equal(restored, raw), lead
        assert np.array_equal(in_polars[lead["column"]].to_numpy(), own)
        # A hundredth of a count is what the text is rounded to, at most.
        written = text[lead["column"]].to_numpy()
        assert np.abs(written - value[: len(written)]).max() <= 0.0051 * abs(lead["scale"]), lead
        if place < sound.shape[1]:
            assert np.array_equal(sound[:, place], raw[: len(sound)]), lead
    check("counts from the values, in Polars", back.to_numpy().dtype == np.int16
          and np.array_equal(back.to_numpy(), counts.iloc[:, 3].to_numpy()))
    check("CSV has the same rows", np.abs(text.time_s.to_numpy() - exact[: len(text)]).max() < 1e-9, f"{len(text)}")
    check("WAV has the rate of the recording", sound_rate == rate and len(sound) == count)
    return found('read_parquet("results', "cycles"), found('read_parquet("table', "table")


def results(cycles, analysis):
    stream = analysis["streams"][0]
    revolutions = stream["crank"]["revolutions"]["value"]
    times, speeds = np.array(revolutions["seconds"]), np.array(revolutions["speed_rpm"])
    check("cycles follow each other", (cycles.begin_s.diff().dropna() > 0).all(), f"{len(cycles)} cycles")
    assert 2 * len(cycles) > len(times) - 12, "cycles are missing"
    known = cycles[cycles.begins_at_firing_tdc_1]
    assert len(known) > 0.9 * len(cycles)
    steady = [
        row.speed_rpm / speeds[inside].mean() - 1
        for row in known.itertuples()
        # A revolution is counted from gap to gap, a cycle from dead centre to dead centre.
        if (inside := (times > row.begin_s) & (times <= row.end_s)).sum() == 2 and np.ptp(speeds[inside]) < 0.005 * row.speed_rpm
    ]
    check("speed of a cycle is that of its revolutions where it is steady",
          len(steady) > 20 and np.abs(steady).max() < 0.005, f"{len(steady)} cycles, {100 * np.abs(steady).max():.2f} %")
    for cam in stream["cams"]:
        name = cam["cam"].replace("-", "_")
        series, own = cam["phases"]["value"], []
        at, edge, phase = (np.array(series[k]) for k in ("seconds", "edge", "phase_deg"))
        for row in known.itertuples():
            for i in range(len(cam["edges"])):
                value = getattr(row, f"{name}_edge_{i + 1}_phase_deg")
                theirs = phase[(at >= row.begin_s - 1e-7) & (at < row.end_s - 1e-7) & (edge == i)]
                if len(theirs) == 1 and not np.isnan(value):
                    own.append(value - theirs[0])
        check(f"{name}: phase at single edges is that of the analysis", len(own) > 50 and np.abs(own).max() < 1e-4, f"{len(own)} edges")
        periods = cam["periods"]["value"]
        ends, duty = np.array(periods["seconds"]), np.array(periods["duty_pct"])
        gaps = [
            abs(getattr(row, f"{name}_duty_pct") - duty[inside].mean())
            for row in known.itertuples()
            if (inside := (ends >= row.begin_s) & (ends < row.end_s)).sum() == getattr(row, f"{name}_periods") > 0
        ]
        check(f"{name}: duty is that of the periods in the cycle", len(gaps) > 20 and max(gaps) < 0.1, f"{len(gaps)} cycles")
        states = cam["seconds_by_agreement"]
        seconds = (cycles.end_s - cycles.begin_s).groupby(cycles[f"{name}_agreement"]).sum()
        for state, own in seconds.items():
            assert near(own, states.get(state, 0), 0.4 + 0.02 * own), (name, state, own, states)
        nulls = cycles[f"{name}_current_a"].isna()
        assert (nulls == cycles[f"{name}_current_reason"].notna()).all()
    text = pandas.read_csv("results.csv")
    check("CSV of the results is the same table", list(text.columns) == list(cycles.columns)
          and np.array_equal(text.exhaust_phase_deg.to_numpy(), cycles.exhaust_phase_deg.to_numpy(), equal_nan=True))


def collected(table, analysis):
    stream = analysis["streams"][0]
    sound = table.filter(polars.col("reason").is_null())
    rows = {row["cam"]: row for row in sound.iter_rows(named=True)}
    check("a row per cam", set(rows) == {c["cam"] for c in stream["cams"]})
    for cam in stream["cams"]:
        row = rows[cam["cam"]]
        assert row["phase_mean_deg"] == cam["phase_deg"]["value"]["mean"]
        assert row["duty_mean_pct"] == cam["duty_pct"]["value"]["mean"]
        for state, seconds in cam["seconds_by_agreement"].items():
            assert row[state.replace(" ", "_") + "_s"] == seconds
        supported = [
            cause["cause"]
            for cause in stream["findings"]["causes"]
            if cause["standing"] == "supported" and cause["cam"] in (cam["cam"], None)
        ]
        assert row["causes_supported"] == "; ".join(supported)
        assert row["started"].timestamp() == analysis["recording"]["started_ns"] // 1000 / 1e6
        assert row["codes"] == "P0014 P0011"
    check("figures of the table are those of the analysis", True)
    bad = table.filter(polars.col("reason").is_not_null())
    check("a file that is no recording is a row with the reason", bad.height == 1)
    written = pathlib.Path("table.parquet").read_bytes() + str(table.rows()).encode()
    check("no plate is in the table", b"KW 77" not in written and b"KW77" not in written and b"KW-77" not in written)


def questions():
    answers = [duckdb.sql(sql).df() for sql in blocks("app/EXCHANGE.md", "sql")]
    lowest, states, codes = answers
    check("DuckDB: lowest supply", list(lowest.columns) == ["second", "lowest"])
    check("DuckDB: phase by state", set(states.intake_agreement) >= {"following", "not following"})
    check("DuckDB: codes with what does not follow", list(codes.codes) == ["P0014 P0011"] and codes.jobs[0] == 1)


def main():
    os.chdir(sys.argv[1])
    with open("analysis.json", encoding="utf-8") as file:
        analysis = json.load(file)
    volts, rate = read("session.mcap")
    the_mcap_lines(volts)
    cycles, table = exported_samples(volts, rate)
    results(cycles, analysis)
    collected(table, analysis)
    questions()


main()
