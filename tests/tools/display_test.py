#!/usr/bin/env python3
"""Units that people choose change what people see and not one byte of what machines read.

    tests/tools/display_test.py SAGGAR
"""
import json
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

SOURCE = pathlib.Path(__file__).resolve().parents[2]
DEMO = SOURCE / "configs/scenarios/cycles/titanium_stress_relief.yaml"
SHORT = ["--set", "run.at_most=20 min"]
UNITS = "pressure=mmH2O gauge,vacuum=mTorr abs,flow=sL/h,temperature=degF"
DISPLAY = ["display.pressure=mmH2O gauge", "display.vacuum=mTorr abs", "display.flow=sL/h", "display.temperature=degF"]
FOR_MACHINES = ["trace.csv", "events.csv", "moments.csv", "junit.xml", "tape", "resolved.yaml"]
REPORT_BYTES_MAX = 3_000_000
PROGRAM = ""


def saggar(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=280)


def summary_of(folder):
    summary = json.loads((folder / "summary.json").read_text())
    summary.pop("wall_s"), summary.pop("speed")
    return summary


class Display(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.holder = tempfile.TemporaryDirectory()
        cls.scratch = pathlib.Path(cls.holder.name)
        cls.texts = {}
        for name, more in (("si", []), ("chosen", ["--units", UNITS]), ("file", [part for one in DISPLAY for part in ("--set", one)])):
            done = saggar("run", DEMO, *SHORT, *more, "--out", cls.scratch / name)
            assert done.returncode in (0, 1), done.stderr
            cls.texts[name] = done.stdout

    @classmethod
    def tearDownClass(cls):
        cls.holder.cleanup()

    def bytes_of(self, folder, name):
        return (self.scratch / folder / name).read_bytes()

    def test_files_for_machines_are_the_same_to_the_byte(self):
        for name in FOR_MACHINES:
            self.assertTrue(self.bytes_of("si", name) == self.bytes_of("chosen", name), name)
        self.assertEqual(summary_of(self.scratch / "si"), summary_of(self.scratch / "chosen"))

    def test_a_file_that_chooses_changes_resolved_yaml_alone_and_only_there(self):
        for name in FOR_MACHINES:
            if name != "resolved.yaml":
                self.assertTrue(self.bytes_of("si", name) == self.bytes_of("file", name), name)
        plain, chosen = (self.bytes_of(folder, "resolved.yaml").decode() for folder in ("si", "file"))
        self.assertEqual(chosen, plain + "display:\n  pressure: mmH2O gauge\n  vacuum: mTorr abs\n  flow: sL/h\n  temperature: degF\n")

    def test_baselines_are_the_same_to_the_byte(self):
        for name in ("si", "file"):
            done = saggar("compare", self.scratch / name, self.scratch / f"{name}.yaml", "--accept", "--units", UNITS)
            self.assertEqual(done.returncode, 0, done.stderr)
        self.assertTrue((self.scratch / "si.yaml").read_bytes() == (self.scratch / "file.yaml").read_bytes())

    def test_people_see_both(self):
        self.assertIn(" mTorr diff (", self.texts["chosen"])
        without_speed = {name: re.sub(r"\d+ times real time|/(chosen|file)$", "", text, flags=re.M) for name, text in self.texts.items()}
        self.assertEqual(without_speed["chosen"], without_speed["file"])
        self.assertNotIn("mTorr", self.texts["si"])
        page = self.bytes_of("chosen", "report.html").decode()
        for part in ("mmH2O gauge (recorded in Pa gauge)", "mTorr abs, logarithmic (recorded in Pa abs)", "[degF (degC)]", "[sL/h (slm)]",
                     "112.51 mTorr abs (15 Pa abs)", '"unit":"Pa gauge","decimals":1}'):
            self.assertTrue(part in page, part)
        self.assertFalse("mTorr" in self.bytes_of("si", "report.html").decode())
        self.assertLess(len(page), REPORT_BYTES_MAX)
        self.assertIsNone(re.search(r"(src|href)=\"?https?:", page))

    # 0 degC is 32 degF, a slope of 9/5: every drawn temperature against the one the plain report draws, which has 2 decimals.
    def test_charts_draw_what_was_recorded(self):
        plain, chosen = (json.loads(re.search(r'id="run">(.*?)</script>', self.bytes_of(name, "report.html").decode(), re.S).group(1))
                         for name in ("si", "chosen"))
        scale = {"temperatures": (1.8, 32.0), "dew_point": (1.8, 32.0), "gauge": (1 / 9.80665, 0.0), "vacuum": (760e3 / 101325.0, 0.0),
                 "flows": (60.0, 0.0), "oxygen": (1.0, 0.0), "power": (1.0, 0.0), "outputs": (1.0, 0.0)}
        self.assertEqual([chart["key"] for chart in plain["charts"]], [chart["key"] for chart in chosen["charts"]])
        for before, after in zip(plain["charts"], chosen["charts"]):
            factor, offset = scale[before["key"]]
            for line, seen in zip(before["lines"], after["lines"]):
                digit = 10.0 ** -line["decimals"] * factor + 10.0 ** -seen["decimals"]
                for x, y in zip(plain["columns"][line["column"]], chosen["columns"][seen["column"]]):
                    if x is not None:
                        self.assertAlmostEqual(x * factor + offset, y, delta=0.51 * digit)

    def test_report_is_made_again_as_it_was(self):
        before = self.bytes_of("chosen", "report.html")
        self.assertEqual(saggar("report", self.scratch / "chosen", "--units", UNITS).returncode, 0)
        self.assertTrue(self.bytes_of("chosen", "report.html") == before)
        before = self.bytes_of("file", "report.html")
        self.assertEqual(saggar("report", self.scratch / "file").returncode, 0)
        self.assertTrue(self.bytes_of("file", "report.html") == before)

    def test_comparison_decides_the_same(self):
        other = self.scratch / "other"
        if not other.exists():
            saggar("run", DEMO, *SHORT, "--set", "programme.backfill.backfill.to=3 kPa gauge", "--out", other)
        plain, chosen = (saggar("compare", other, self.scratch / "si", "--report", self.scratch / f"{name}.html", *more)
                         for name, more in (("plain", []), ("seen", ["--units", UNITS])))
        self.assertEqual((plain.returncode, chosen.returncode), (4, 4), plain.stderr + chosen.stderr)
        first = re.compile(r"first deviation: (\S+) at \S+ ")
        self.assertEqual(first.search(plain.stdout).group(0), first.search(chosen.stdout).group(0))
        self.assertIn("mmH2O gauge (Pa gauge)", chosen.stdout)
        self.assertIn("mmH2O gauge", (self.scratch / "seen.html").read_text())
        machine = [saggar("compare", other, self.scratch / "si", "--json", *more).stdout for more in ([], ["--units", UNITS])]
        self.assertEqual(machine[0], machine[1])

    def test_index_shows_both_and_the_files_beside_it_stay(self):
        for name, more in (("plain", []), ("seen", ["--units", UNITS])):
            folder = self.scratch / f"folder_{name}"
            done = saggar("run", DEMO.parent, "--set", "run.at_most=10 min", *more, "--out", folder)
            self.assertIn(done.returncode, (0, 1), done.stderr)
        plain, seen = self.scratch / "folder_plain", self.scratch / "folder_seen"
        for name in ("junit.xml", "summary.json", "titanium_stress_relief/trace.csv", "air_cycle/resolved.yaml"):
            self.assertTrue((plain / name).read_bytes() == (seen / name).read_bytes(), name)
        self.assertIn("mmH2O/min (20 Pa/min)", (seen / "index.html").read_text())
        self.assertNotIn("mmH2O/min (20 Pa/min)", (plain / "index.html").read_text())

    def test_mistakes_name_what_is_accepted(self):
        for text, word in (("pressure=mmH20 gauge", "mmH2O"), ("temperature=degR", "degC, K or degF"), ("presure=kPa gauge", "pressure"),
                           ("pressure=kPa", "kPa gauge")):
            for verb in (["run", DEMO], ["report", self.scratch / "si"], ["check", DEMO], ["compare", self.scratch / "si", "none"]):
                done = saggar(*verb, "--units", text)
                self.assertEqual(done.returncode, 2, done.stdout)
                self.assertIn(word, done.stderr + done.stdout)


if __name__ == "__main__":
    PROGRAM = sys.argv.pop(1)
    unittest.main()
