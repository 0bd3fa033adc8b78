#!/usr/bin/env python3
"""Memory of the program over a long run: ten times the hours take no more of it.

    memory.py SAGGAR            runs 10 h and 100 h of one soak, fails if the longer one's peak is more than 1 MiB above the other's
    memory.py SAGGAR --hours 2 20

What counts is the largest resident set the kernel saw (ru_maxrss of the child). 90 h have 3,240,000 ticks: one byte kept per
tick would be 3 MiB. The scenario is judged all the while: by windows, counts over time, look-ahead of an hour; faults come and
go, more than the report lists (report_events_max) within the shorter run.
"""
import argparse
import os
import pathlib
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
LIMIT_KIB = 1024

SCENARIO = """
title: One long soak
furnace: {configs}/furnaces/chamber_air_12l.yaml
controller: {configs}/controllers/one_zone_air.yaml
run:
  at_most: {hours} h
  until_programme_ends: no
programme:
  - name: ramp
    ramp: {{to: 300 degC, rate: 10 K/min}}
  - name: soak
    soak: {{for: 166 h, within: 10 K, counted_on: heater}}
  - name: end
    end:
faults:
  - glitch: {{channel: zone_1, size: 3 K}}
    at: 10 min
    every: 1 min
  - mains_dip: {{scale: 0.9}}
    random: {{rate: 120 /h, shortest: 1 s, longest: 5 s}}
expectations:
  - name: gauge stays within 4.2 kPa of the room
    always: abs(plant.gas.gauge) < 4.2 kPa
  - name: the set point is reached again within an hour, whenever one looks
    always: eventually[0 s, 1 h] abs(heat.1.pv - heat.1.sp) < 10 K
  - name: no trip until it stays quiet for half an hour
    always: interlock.trip == 0 until[0 s, 30 min] heat.1.pv > 0 degC
  - name: turns back now and then
    always: reversals(heat.1.pv, 1 K) < 1000000 and last_when(heat.1.pv > 250 degC) < 200 h
  - name: in band for an hour
    eventually: held_for(abs(heat.1.pv - heat.1.sp) <= 10 K) > 1 h
  - name: demand does not hunt
    always: travel(heat.1.out) < 1000000
"""


def peak_kib(program, hours, scratch):
    """Largest resident set of a run of so many hours; raises if the run did not last so long or did not hold."""
    scenario = pathlib.Path(scratch, f"soak_{hours}.yaml")
    scenario.write_text(SCENARIO.format(configs=ROOT / "configs", hours=hours), encoding="utf-8")
    out = pathlib.Path(scratch, str(hours))
    child = os.spawnv(os.P_NOWAIT, program, [program, "run", str(scenario), "--quiet", "--out", str(out)])
    _, status, usage = os.wait4(child, 0)
    if status != 0:
        raise SystemExit(f"the run of {hours} h ended with status {status}")
    with open(out / "trace.csv", "rb") as trace:
        trace.seek(-8192, os.SEEK_END)
        last_s = float(trace.read().splitlines()[-1].split(b",")[0])
    if last_s < hours * 3600 - 2:
        raise SystemExit(f"the run of {hours} h ended at {last_s:g} s")
    for file in out.iterdir():
        file.unlink()
    return usage.ru_maxrss


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--hours", type=int, nargs=2, default=[10, 100])
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        short, long = (peak_kib(arguments.program, hours, scratch) for hours in arguments.hours)
    print(f"peak memory: {arguments.hours[0]} h {short / 1024:.1f} MiB, {arguments.hours[1]} h {long / 1024:.1f} MiB")
    if long > short + LIMIT_KIB:
        raise SystemExit(f"{(long - short) / 1024:.1f} MiB more: something is kept for every tick or every hour")


if __name__ == "__main__":
    sys.exit(main())
