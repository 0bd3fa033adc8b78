#!/usr/bin/env python3
"""saggar parameters: what is read out of a controller can be laid beside it and put back by name, into another one too.

    parameters_test.py SAGGAR
"""
import pathlib
import subprocess
import sys
import tempfile
import unittest

SAGGAR = sys.argv.pop(1)
ROOT = pathlib.Path(__file__).resolve().parents[2]
SCENARIO = ROOT / "configs/scenarios/cycles/air_cycle.yaml"


def saggar(*arguments, code):
    run = subprocess.run([SAGGAR, "parameters", SCENARIO, *map(str, arguments)], capture_output=True, text=True)
    if run.returncode != code:
        raise AssertionError(f"exit code {run.returncode}, expected {code}:\n{run.stdout}{run.stderr}")
    return run.stdout


class Parameters(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="saggar_parameters_"))
        self.backup = self.folder / "backup.yaml"
        saggar("--backup", self.backup, code=0)

    def changed(self, *pairs, more=""):
        text = self.backup.read_text()
        for old, new in pairs:
            self.assertIn(old, text)
            text = text.replace(old, new, 1)
        file = self.folder / "changed.yaml"
        file.write_text(text + more)
        return file

    def blank_image(self):
        image = self.folder / "store"
        image.write_bytes(b"\xff" * 65536)
        return image

    def test_is_the_same_as_its_own_backup(self):
        self.assertIn("zone_trip: 850 degC", self.backup.read_text())
        self.assertEqual(saggar("--against", self.backup, code=0), "")

    def test_shows_what_differs_what_is_unknown_and_what_no_core_would_take(self):
        file = self.changed(("zone_trip: 850 degC", "zone_trip: 845 degC"), ("zone_alarm: 830 degC", "zone_alarm: 83000 degC"),
                            more="limit:\n  zone_trap: 3 K\n")
        shown = saggar("--against", file, code=4).splitlines()
        self.assertEqual(len(shown), 3, shown)
        differs = "differs: limits.zone_trip: in the controller, 850 degC, in the file 845 degC"
        self.assertTrue(any(line.startswith(differs) for line in shown), shown)
        self.assertTrue(any(line.startswith("not accepted: limits.zone_alarm") for line in shown), shown)
        self.assertTrue(any(line.startswith("unknown: limit.zone_trap") and "nearest: limits.zone_trip" in line for line in shown), shown)

    def test_puts_a_backup_into_another_controller_which_keeps_it(self):
        image = self.blank_image()
        self.assertNotEqual(saggar("--image", image, "--against", self.backup, code=4), "")
        self.assertIn(" written", saggar("--image", image, "--restore", self.backup, code=0))
        self.assertEqual(saggar("--image", image, "--against", self.backup, code=0), "")

    def test_puts_back_what_it_can_of_a_file_of_another_version(self):
        image = self.blank_image()
        file = self.changed(("zone_trip: 850 degC", "zone_trip: 845 degC"), more="old:\n  gone: 3 K\n")
        told = saggar("--image", image, "--restore", file, code=4)
        self.assertIn("unknown: old.gone", told)
        self.assertIn("differs: limits.zone_trip", saggar("--image", image, "--against", self.backup, code=4))


unittest.main()
