#!/usr/bin/env python3
"""Writes an INVENTED logger file from a run: other names and units, local time, noise, gaps. No furnace has measured it.

    invented_log.py RUN/trace.csv LOG.csv
"""
import csv
import datetime
import random
import sys

START = datetime.datetime(2026, 10, 24, 19, 30, 0)      # UTC + 2 h, daylight saving until the 25th, 01:00 UTC
SAVING_ENDS = datetime.datetime(2026, 10, 25, 1, 0, 0)  # UTC


def comma(value, decimals):
    return f"{value:.{decimals}f}".replace(".", ",")


def main(trace, log):
    chance = random.Random(3)
    with open(trace, newline="") as source, open(log, "w", newline="") as target:
        rows = csv.DictReader(source)
        target.write("INVENTED example, made from a simulated run with noise; no furnace measured this\n")
        out = csv.writer(target, delimiter=";", lineterminator="\r\n")
        out.writerow(["Date", "Time of day", "Stamp", "Zone [degF]", "Load [degC]", "Retort [mbar gauge]", "Argon [L/min]", "Door"])
        due = 60.0
        for row in rows:
            time_s = float(row["time [s]"])
            if time_s < due:
                continue
            due += 60.0
            if 20000 < time_s < 21500:                  # the logger stood still
                continue
            utc = START - datetime.timedelta(hours=2) + datetime.timedelta(seconds=time_s)
            local = utc + datetime.timedelta(hours=2 if utc < SAVING_ENDS else 1)
            zone = float(row["heat.1.pv [degC]"]) + chance.gauss(0.0, 0.3)
            load = float(row["load.pv [degC]"]) + chance.gauss(0.0, 0.3)
            gauge = float(row["pressure.pv [Pa gauge]"]) + chance.gauss(0.0, 5.0)
            flow = float(row["flow.pv [slm]"]) * 293.15 / 273.15
            out.writerow([local.strftime("%d.%m.%Y"), local.strftime("%H:%M:%S"), local.strftime("%d.%m.%Y %H:%M:%S"),
                          comma(zone * 1.8 + 32, 1), "---" if 30000 < time_s < 31000 else comma(load, 1), comma(gauge / 100, 2),
                          comma(flow, 3), "shut"])


if __name__ == "__main__":
    main(*sys.argv[1:])
