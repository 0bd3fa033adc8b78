#!/usr/bin/env python3
"""Every row that trips and every alarm of the core has a scenario that measures its detection time, and stands in the table.

    detections_test.py SAGGAR
"""
import importlib.machinery
import importlib.util
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SAGGAR = ""
sys.dont_write_bytecode = True
LOADER = importlib.machinery.SourceFileLoader("detections", str(ROOT / "tools" / "detections"))
SPEC = importlib.util.spec_from_loader("detections", LOADER)
detections = importlib.util.module_from_spec(SPEC)
LOADER.exec_module(detections)


class DetectionTable(unittest.TestCase):
    def test_has_a_scenario_for_every_row_and_alarm_and_its_line(self):
        done = subprocess.run([sys.executable, ROOT / "tools" / "detections", "--program", SAGGAR, "--check"], capture_output=True,
                              text=True)
        self.assertEqual(done.stdout, "")
        self.assertEqual(done.returncode, 0, done.stderr)

    def test_misses_a_row_or_an_alarm_whose_scenarios_are_gone(self):
        rows, alarms = detections.core_tables(SAGGAR)
        self.assertGreater(len(rows), 20)
        self.assertGreater(len(alarms), 30)
        with tempfile.TemporaryDirectory() as folder:
            copy = pathlib.Path(folder) / "scenarios"
            shutil.copytree(ROOT / "configs" / "scenarios", copy)
            self.assertEqual(detections.missing(rows, alarms, copy), [])
            (copy / "detections" / "vacuum_lost.yaml").unlink()
            for path in copy.glob("interlocks/*_door.yaml"):
                path.unlink()
            (copy / "combustible" / "trip_oxygen.yaml").unlink()
            self.assertEqual(detections.missing(rows, alarms, copy), ["door", "air in combustible gas", "vacuum lost"])

    def test_knows_nothing_that_the_core_has_not(self):
        rows, alarms = detections.core_tables(SAGGAR)
        self.assertLessEqual(set(detections.ROWS_ELSEWHERE), set(rows.values()))
        self.assertLessEqual(set(detections.ALARMS_ELSEWHERE), set(alarms))

    def test_has_a_scenario_in_each_atmosphere_in_which_a_row_can_act(self):
        rows, _ = detections.core_tables(SAGGAR)
        acts = {}
        for path, sign, _, _ in detections.scenarios():
            atmosphere = "combustible" if path.parent.name == "combustible" else path.stem.split("_")[0]
            acts.setdefault(sign, set()).add(atmosphere)
        heat = {"current without demand", "demand without current", "no response", "load above heater", "sensor stuck",
                "sensor reversed", "sensor jumped", "contactor welded", "runaway"}      # nothing is heated in vacuum
        gas = {"over-pressure", "low pressure", "oxygen", "supply lost", "exhaust shut"}   # hold phase
        combustible = {"burn-off lost", "blend ratio", "air in combustible gas", "combustible gas pressure", "door on combustible gas",
                       "combustible gas valve"}
        only_inert = {"low pressure", "oxygen", "door"}     # rows 34, 33 and 35 act first
        for number, name in rows.items():
            if name in detections.ROWS_ELSEWHERE:
                continue
            filled = {"inert"} if name in only_inert else {"inert", "combustible"}
            wanted = ({"combustible"} if name in combustible else
                      {"air"} | filled if name in heat else filled if name in gas else {"vacuum"} if name == "pump lost" else
                      filled | {"vacuum"} if name in ("over-pressure switch", "pressure transmitter") else
                      {"air", "vacuum"} | filled)
            self.assertLessEqual(wanted, acts[number], name)


if __name__ == "__main__":
    SAGGAR = sys.argv.pop(1)
    unittest.main()
