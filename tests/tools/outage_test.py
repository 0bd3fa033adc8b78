"""A run in which the controller loses its memory: repeated from its tape, and forked before, during and after its outage.

    outage_test.py SAGGAR
"""
import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SCENARIO = ROOT / "configs" / "scenarios" / "power" / "damaged_store.yaml"
SAGGAR = ""


def saggar(*arguments):
    return subprocess.run([SAGGAR, *map(str, arguments)], capture_output=True, text=True)


def summary(folder):
    return json.loads((folder / "summary.json").read_text())


class Outage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.place = pathlib.Path(tempfile.mkdtemp())
        cls.run_folder = cls.place / "whole"
        done = saggar("run", SCENARIO, "--out", cls.run_folder, "--quiet")
        assert done.returncode == 0, done.stdout + done.stderr
        lines = (cls.run_folder / "events.csv").read_text().splitlines()
        cls.stops_s, cls.starts_s = (
            next(float(line.split(",")[0]) for line in lines if f",controller,{kind}," in line) for kind in ("stops", "starts"))

    @classmethod
    def tearDownClass(cls):
        shutil.rmtree(cls.place)

    def test_tape_repeats_through_the_restart(self):
        done = saggar("replay", self.run_folder, "--quiet")
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertIn("72000 ticks repeated", done.stdout)       # 2 h of 100 ms, those without a core among them
        self.assertIn(summary(self.run_folder)["hash"]["controller"], done.stdout)

    def test_forks_before_during_and_after_are_the_whole_run(self):
        self.assertEqual(round(self.starts_s - self.stops_s, 6), 3.0)
        for at_s in (self.stops_s - 10, self.stops_s + 1.5, self.starts_s, self.starts_s + 10):
            folder = self.place / f"fork-{at_s:.1f}"
            done = saggar("run", SCENARIO, "--from", f"{self.run_folder}@{at_s:.1f}s", "--out", folder, "--quiet")
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
            self.assertEqual(summary(folder)["hash"], summary(self.run_folder)["hash"], at_s)
            done = saggar("replay", folder, "--quiet")
            self.assertEqual(done.returncode, 0, done.stdout + done.stderr)


if __name__ == "__main__":
    SAGGAR = sys.argv.pop(1)
    unittest.main()
