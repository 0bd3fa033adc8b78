#!/usr/bin/env python3
"""saggar compare from outside: what it names when one thing was changed, and how a baseline is accepted.

    compare_test.py SAGGAR
"""
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
DEMO = ROOT / "configs" / "scenarios" / "cycles" / "titanium_stress_relief.yaml"
GOLDEN = ROOT / "tests" / "golden" / "titanium_stress_relief.yaml"

LOGS = ROOT / "configs" / "mappings"


def saggar(*arguments, code=0):
    done = subprocess.run([SAGGAR, *map(str, arguments)], capture_output=True, text=True, timeout=300)
    if done.returncode != code:
        raise AssertionError(f"{arguments}: exit {done.returncode} for {code}\n{done.stdout[-3000:]}{done.stderr[-3000:]}")
    return done.stdout + done.stderr


class Compare(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = pathlib.Path(tempfile.mkdtemp(prefix="saggar_compare_"))
        cls.base = cls.run_demo("base")

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.folder)

    @classmethod
    def run_demo(cls, name, *changes, code=0):
        arguments = [part for change in changes for part in ("--set", change)]
        saggar("run", DEMO, "--out", cls.folder / name, "--quiet", *arguments, code=code)
        return cls.folder / name

    def comparison(self, run, baseline, code=4):
        return json.loads(saggar("compare", run, baseline, "--json", code=code))

    def test_one_heat_gain_changed_by_5_percent_names_the_demand(self):
        for gain, value in (("1", "0.0315 1/K"), ("2", "0.01575 1/K")):
            run = self.run_demo("heat", f"controller.heat.gains.{gain}.gain={value}")
            for baseline in (self.base, GOLDEN):
                self.assertEqual(self.comparison(run, baseline)["first"]["signal"], "heat.1.out", (gain, baseline))

    def test_the_back_pressure_gain_changed_by_5_percent_names_the_valve(self):
        run = self.run_demo("pressure", "controller.pressure.gain=2.1e-4 1/Pa")
        for baseline in (self.base, GOLDEN):
            self.assertEqual(self.comparison(run, baseline)["first"]["signal"], "pressure.out", baseline)

    def test_a_retort_that_holds_5_percent_more_heat_shows_in_the_first_ramp(self):
        run = self.run_demo("capacity", "furnace.retort.material.heat_capacity=819 J/(kg K)")
        found = self.comparison(run, GOLDEN)
        ramp = next(one for one in json.loads((self.base / "summary.json").read_text())["segments"] if one["name"] == "ramp to dry")
        self.assertGreater(found["first"]["at_s"], ramp["from_s"], "nothing is heated before")
        named = [one["name"] for one in found["signals"] if one["state"] == "differs"]
        self.assertIn("heat.1.out", named)
        self.assertIn("plant.retort", named)
        energy = next(one for one in found["totals"] if one["name"] == "energy_kwh")
        self.assertGreater(energy["now"], energy["before"], "more heat must be put in")

    def test_another_seed_is_noise_and_no_difference(self):
        saggar("run", DEMO, "--out", self.folder / "seed", "--quiet", "--seed", "2")
        found = self.comparison(self.folder / "seed", GOLDEN, code=0)
        self.assertFalse(found["differs"])
        self.assertNotEqual(found["hash"]["run"]["trace"], found["hash"]["baseline"]["trace"], "it was another run")

    def test_accept_round_trip(self):
        accepted = self.folder / "accepted.yaml"
        self.assertIn("new baseline", saggar("compare", self.base, accepted, "--accept"))
        first = accepted.read_bytes()
        self.assertLess(len(first), 100000)
        self.assertIn("is the same as", saggar("compare", self.base, accepted))
        saggar("compare", self.base / "trace.csv", accepted)
        run = self.run_demo("accepted", "controller.heat.gains.1.gain=0.0315 1/K")
        saggar("compare", run, accepted, code=4)
        said = saggar("compare", run, accepted, "--accept")
        self.assertIn("first deviation: heat.1.out", said)
        saggar("compare", run, accepted)
        saggar("compare", self.base, accepted, code=4)
        saggar("compare", self.base, accepted, "--accept")
        self.assertEqual(accepted.read_bytes(), first)
        self.assertEqual([], list(self.folder.glob("*.partial")) + list(self.folder.glob(".*")))

    def test_a_tolerance_file_decides(self):
        run = self.run_demo("wide", "controller.heat.gains.1.gain=0.0315 1/K")
        wide = self.folder / "wide.yaml"
        wide.write_text("signals:\n  - {match: heat.*.out, share: 0.05}\n")
        saggar("compare", run, self.base, "--tolerance", wide)
        wide.write_text("signals:\n  - {match: heat.*.otu, share: 0.05}\n")
        self.assertIn("wide.yaml:2", saggar("compare", run, self.base, "--tolerance", wide, code=2))

    def test_a_broken_run_is_not_accepted_unawares(self):
        run = self.folder / "broken"
        shutil.copytree(self.base, run)
        summary = json.loads((run / "summary.json").read_text())
        summary.update(verdict="broken", broken_by="interrupted")
        (run / "summary.json").write_text(json.dumps(summary))
        file = self.folder / "broken.yaml"
        self.assertIn("interrupted", saggar("compare", run, file, "--accept", code=2))
        self.assertFalse(file.exists())
        saggar("compare", run, file, "--accept", "--accept-broken")
        self.assertIn("verdict: pass, baseline broken", saggar("compare", self.base, file, code=4))

    def test_the_invented_log_lies_over_the_run_it_was_made_from(self):
        log = ["--recorded", LOGS / "invented_log.csv", "--mapping", LOGS / "invented_logger.yaml"]
        said = saggar("compare", self.base, *log)
        self.assertIn("daylight saving ends, the clock was set back by one hour", said)
        self.assertIn("columns not used: Date, Time of day, Door", said)
        found = json.loads(saggar("compare", self.base, *log, "--json"))
        zone = next(one for one in found["signals"] if one["name"] == "heat.1.pv")
        self.assertLess(abs(zone["mean"]), 0.1)
        self.assertAlmostEqual(zone["rms"], 0.3, delta=0.05, msg="the noise that was put on it")
        self.assertLess(zone["covered_s"], 64500 - 1500, "the gap is not compared")
        run = self.run_demo("log", "furnace.retort.material.heat_capacity=819 J/(kg K)")
        saggar("compare", run, *log, code=4)
        before = (self.base / "report.html").read_bytes()
        page = pathlib.Path(saggar("report", self.base, "--overlay", log[1], "--mapping", log[3]).strip())
        self.assertEqual(page.name, "report_overlay.html")
        self.assertIn("zone 1, recorded", page.read_text())
        self.assertEqual((self.base / "report.html").read_bytes(), before)
        saggar("report", self.base, "--overlay", log[1], code=2)
        self.assertIn("Zone [degF] is heat.1.pv in degF", saggar("check", log[3]))
        saggar("compare", self.base, GOLDEN, *log, code=2)

    def test_the_overlay_page_names_what_differs(self):
        run = self.run_demo("page", "controller.pressure.gain=2.1e-4 1/Pa")
        page = self.folder / "overlay.html"
        saggar("compare", run, GOLDEN, "--report", page, code=4)
        text = page.read_text()
        self.assertIn("Differs, first in pressure.out", text)
        self.assertIn("tube, upper edge", text)
        self.assertIn("pressure.out, run less baseline", text)
        for fetch in (" src=", "<link", "<img", "@import", "url(http"):
            self.assertNotIn(fetch, text)
        self.assertLess(len(text), 3000000)

    def test_bad_input(self):
        text = self.folder / "text.yaml"
        text.write_text("title: no baseline\n")
        saggar("compare", self.base, text, code=2)
        saggar("compare", self.base, self.folder / "nowhere", code=2)
        saggar("compare", self.folder, self.base, code=2)
        saggar("compare", self.base, code=2)


if __name__ == "__main__":
    SAGGAR = sys.argv.pop(1)
    unittest.main(verbosity=2)
