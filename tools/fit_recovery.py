#!/usr/bin/env python3
"""Does `saggar fit` find what is hidden, inside its own intervals? Hides a furnace whose numbers are drawn by a seed, runs a cycle on it,
keeps of the trace what a logger would (every 5 s, rounded), fits the shipped furnace file to that, and counts. Writes the table.

    tools/fit_recovery.py --program build/release/tools/saggar --cases 50 --out recovery.md
"""
import argparse
import csv
import json
import pathlib
import random
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
FURNACE = ROOT / "configs/furnaces/retort_12l.yaml"
# key, its value in the shipped file, unit
HIDDEN = [("lining.material.conductivity", 0.055, "W/(m K)"), ("lining.material.heat_capacity", 800.0, "J/(kg K)"),
          ("retort.material.heat_capacity", 780.0, "J/(kg K)"), ("retort.emissivity_outside", 0.7, "1"),
          ("thermocouples.heater.heat_capacity", 0.6, "J/K"), ("leak", 1.5e-4, "Pa m3/s"), ("back_pressure_valve.area", 4e-6, "m2")]
SPREAD = 0.3
KEPT = {"heat.1.pv": 0.1, "load.pv": 0.1, "pressure.pv": 1.0, "vacuum.pv": 0.01, "heat.1.out": 0.0001, "pressure.out": 0.0001,
        "flow.out": 0.0001, "controller.outputs": 1.0}
ROW_S = 5.0
SCENARIO = f"""title: hidden furnace
why: a log to fit
seed: {{seed}}
furnace: {FURNACE}
controller: {ROOT}/configs/controllers/one_zone_retort.yaml
run: {{{{at_most: 90 min}}}}
record: {{{{every: 1 s}}}}
programme:
  - {{{{name: evacuation, evacuate: {{{{below: 30 Pa abs, timeout: 20 min}}}}}}}}
  - {{{{name: leak test, leak_test: {{{{for: 10 min, rise_below: 200 Pa/min}}}}}}}}
  - {{{{name: backfill, backfill: {{{{to: 4 kPa gauge, gas: argon, flow: 5 slm, timeout: 10 min}}}}}}}}
  - {{{{name: purge, purge: {{{{volumes: 3, to: 4 kPa gauge, gas: argon, flow: 5 slm, timeout: 30 min}}}}}}}}
  - {{{{name: hold, wait: {{{{for: 1 min, flow: 0.6 slm, back_pressure: 4 kPa gauge}}}}}}}}
  - {{{{name: ramp, ramp: {{{{to: 600 degC, rate: 30 K/min, gain_set: 1}}}}}}}}
  - {{{{name: soak, wait: {{{{for: 10 min}}}}}}}}
  - {{{{name: cool, cool: {{{{load_below: 100 degC, timeout: 3 h}}}}}}}}
  - {{{{name: end, end: }}}}
"""


def rounded(value, step):
    return repr(round(round(value / step) * step, 6))


def log_of(trace, log):
    """What a logger keeps: a row every 5 s, of few signals, each rounded to its step."""
    with open(trace, newline="") as source, open(log, "w", newline="") as target:
        rows = csv.reader(source)
        header = next(rows)
        columns = {name.split(" [")[0]: i for i, name in enumerate(header)}
        target.write("time [s]," + ",".join(header[columns[name]] for name in KEPT) + "\n")
        due = 0.0
        for row in rows:
            if float(row[0]) < due - 1e-9:
                continue
            due = (float(row[0]) // ROW_S + 1.0) * ROW_S
            target.write(row[0] + "," + ",".join(rounded(float(row[columns[name]]), step) for name, step in KEPT.items()) + "\n")


def one_case(program, seed, folder):
    chance = random.Random(seed)
    hidden = {key: value * chance.uniform(1.0 - SPREAD, 1.0 + SPREAD) for key, value, _ in HIDDEN}
    scenario = folder / "hidden.yaml"
    scenario.write_text(SCENARIO.format(seed=seed))
    settings = [word for key, _, unit in HIDDEN
                for word in ("--set", f"furnace.{key}={hidden[key]:.9g}" + ("" if unit == "1" else " " + unit))]
    done = subprocess.run([program, "run", scenario, "--out", folder / "run", "--quiet", *settings], capture_output=True, text=True)
    if done.returncode not in (0, 1):
        sys.exit(f"seed {seed}: run: {done.stderr}")
    log_of(folder / "run/trace.csv", folder / "log.csv")
    begun = folder / "begun.yaml"        # the shipped file, but that every hidden number may lie either side of its own
    begun.write_text(FURNACE.read_text().replace("emissivity_outside: 0.80", "emissivity_outside: 0.70"))
    asked = [word for key, _, _ in HIDDEN for word in ("--fit", f"{key}:prior=30%")]
    done = subprocess.run([program, "fit", folder / "log.csv", begun, "--json", *asked], capture_output=True, text=True)
    if done.returncode not in (0, 1):
        sys.exit(f"seed {seed}: fit: {done.stderr}")
    return hidden, json.loads(done.stdout)


def table_of(cases):
    lines = ["| key | inside 95 % | of | median error | median half interval | prior share |", "| --- | --- | --- | --- | --- | --- |"]
    inside_all = []
    for i, (key, _, _) in enumerate(HIDDEN):
        inside, error, half, share = 0, [], [], []
        for hidden, fit in cases:
            p = fit["parameters"][i]
            inside += p["low_95"] <= hidden[key] <= p["high_95"]
            error.append(abs(p["after"] / hidden[key] - 1.0))
            half.append(0.5 * (p["high_95"] - p["low_95"]) / p["after"])
            share.append(p["prior_share"])
        middle = len(cases) // 2
        inside_all.append(inside / len(cases))
        lines.append(f"| `{key}` | {inside} | {len(cases)} | {100 * sorted(error)[middle]:.2f} % | {100 * sorted(half)[middle]:.2f} % | "
                     f"{100 * sorted(share)[middle]:.1f} % |")
    passed = sum(fit["passed"] for _, fit in cases)
    lines.append(f"\n{passed} of {len(cases)} fits passed their own residual tests.")
    return "\n".join(lines) + "\n", min(inside_all)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--program", type=pathlib.Path, required=True)
    parser.add_argument("--cases", type=int, default=50)
    parser.add_argument("--first", type=int, default=1, help="first seed")
    parser.add_argument("--least", type=float, default=0.9, help="share of the cases that must lie inside, of each key")
    parser.add_argument("--out", type=pathlib.Path, help="file for the table")
    given = parser.parse_args()
    cases = []
    for seed in range(given.first, given.first + given.cases):
        with tempfile.TemporaryDirectory() as folder:
            cases.append(one_case(given.program.resolve(), seed, pathlib.Path(folder)))
    text, least = table_of(cases)
    print(text, end="")
    if given.out:
        given.out.write_text(text)
    return 0 if least >= given.least else 1


if __name__ == "__main__":
    sys.exit(main())
