#!/usr/bin/env python3
"""Forks and patches from outside: every file of a fork against those of a whole run.

    fork_test.py SAGGAR
"""
import json
import pathlib
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
DEMO = ROOT / "configs" / "scenarios" / "cycles" / "titanium_stress_relief.yaml"
FAULTY = ROOT / "configs" / "scenarios" / "sensors" / "load_thermocouple_opens.yaml"
SHORT = ["--set", "run.at_most=20 min", "--set", "run.until_programme_ends=no"]
GAIN = "controller.pressure.gain"
PROGRAM = ""


def saggar(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=280)


def without_time(folder):
    summary = json.loads((folder / "summary.json").read_text())
    for key in ("wall_s", "speed", "fork"):
        summary.pop(key, None)
    return summary


class Forks(unittest.TestCase):
    def setUp(self):
        place = tempfile.TemporaryDirectory()
        self.addCleanup(place.cleanup)
        self.place = pathlib.Path(place.name)

    def run_to(self, name, *arguments, scenario=DEMO, code=None):
        done = saggar("run", scenario, "--quiet", "--out", self.place / name, *arguments)
        if code is None:
            self.assertIn(done.returncode, (0, 1), done.stderr)
        else:
            self.assertEqual(done.returncode, code, done.stderr)
        self.said = done.stderr
        return self.place / name

    def assert_same_run(self, whole, fork):
        self.assertEqual({file.name for file in whole.iterdir()}, {file.name for file in fork.iterdir()})
        for name in ("trace.csv", "events.csv", "moments.csv", "tape", "junit.xml"):
            self.assertEqual((whole / name).read_bytes(), (fork / name).read_bytes(), name)
        self.assertEqual(without_time(whole), without_time(fork))
        first, rest = (fork / "resolved.yaml").read_text().split("\n", 1)
        self.assertTrue(first.startswith("# forked from whole at "), first)
        self.assertEqual((whole / "resolved.yaml").read_text(), rest)

    def test_fork_with_nothing_changed_is_the_whole_run(self):
        for scenario, times in ((DEMO, ("0s", "7m31s", "segment second evacuation")), (FAULTY, ("19m59.9s",))):
            whole = self.run_to("whole", *SHORT, scenario=scenario)
            for time in times:
                fork = self.run_to("fork", *SHORT, "--from", f"{whole}@{time}", scenario=scenario)
                self.assert_same_run(whole, fork)
        whole_hash = json.loads((whole / "summary.json").read_text())["hash"]["trace"]
        self.assertEqual(self.record_of(fork), {"run": "whole", "hash_trace": whole_hash, "at_s": 1199.9, "replayed_from_s": 0.0})

    def record_of(self, fork):
        return json.loads((fork / "summary.json").read_text())["fork"]

    def test_fork_from_a_snapshot_is_the_whole_run(self):
        for scenario, segment in ((DEMO, "second evacuation"), (FAULTY, "purge")):
            whole = self.run_to("whole", *SHORT, "--snapshots", scenario=scenario)
            for time in ("7m31s", f"segment {segment}", "15m", "19m59.9s"):
                fork = self.run_to("fork", *SHORT, "--snapshots", "--from", f"{whole}@{time}", scenario=scenario)
                self.assert_same_run(whole, fork)
                record = self.record_of(fork)
                self.assertGreater(record["replayed_from_s"], 0.0)
                self.assertLessEqual(record["at_s"] - record["replayed_from_s"], 600.0)   # as promised: at most 10 min
        again = self.run_to("again", *SHORT, "--snapshots", "--from", f"{fork}@19m59.9s", scenario=FAULTY)   # a fork of a fork
        self.assertEqual(self.record_of(again)["replayed_from_s"], 1199.9)
        self.assertEqual((whole / "trace.csv").read_bytes(), (again / "trace.csv").read_bytes())
        self.run_to("early", *SHORT, "--from", f"{fork}@15m", scenario=FAULTY, code=2)
        self.assertIn("itself a fork", self.said)
        plain = self.run_to("plain", *SHORT, "--from", f"{whole}@15m", scenario=FAULTY)   # keeping none changes nothing else
        self.assertEqual(without_time(whole), without_time(plain))
        self.assertEqual((whole / "events.csv").read_bytes(), (plain / "events.csv").read_bytes())

    def test_changed_fork_is_the_same_from_a_snapshot_as_from_the_start(self):
        hour = ["--set", "run.at_most=40 min", "--set", "run.until_programme_ends=no"]
        whole = self.run_to("whole", *hour, "--snapshots")
        patch = self.place / "patch.yaml"
        patch.write_text("controller.pressure.gain: 6e-4 1/Pa\nfaults: [{at: 30 min, emergency_stop: {}, for: 1 min}]\n"
                         "expectations: [{name: new, always: 'plant.gas.gauge < 50 kPa'}]\n")
        change = [*hour, "--patch", patch, "--from", f"{whole}@20m5s"]
        near = self.run_to("near", *change)
        self.assertGreater(self.record_of(near)["replayed_from_s"], 600.0)
        (whole / "snapshots").unlink()
        far = self.run_to("far", *change)
        self.assertEqual(self.record_of(far)["replayed_from_s"], 0.0)
        self.assertEqual({file.name for file in near.iterdir()}, {file.name for file in far.iterdir()})
        for name in ("trace.csv", "events.csv", "moments.csv", "tape", "junit.xml", "resolved.yaml"):
            self.assertEqual((near / name).read_bytes(), (far / name).read_bytes(), name)
        self.assertEqual(without_time(near), without_time(far))
        self.assertEqual([one.get("judged_from_s") for one in without_time(near)["expectations"]], [1205.0])
        self.assertEqual(saggar("replay", near, "--quiet").returncode, 0)
        shown = saggar("run", DEMO, *change, "--out", self.place / "near")
        self.assertIn("new, judged from 20 min 05 s on", shown.stdout)

    def test_snapshots_that_do_not_serve(self):
        whole = self.run_to("whole", *SHORT, "--snapshots")
        fork = ["--from", f"{whole}@15m"]
        self.run_to("every", *SHORT, *fork, "--set", "record.every=2 s")
        self.assertIn("computed from its start, not from a snapshot: record.every", self.said)
        self.assertEqual(self.record_of(self.place / "every")["replayed_from_s"], 0.0)
        (whole / "tape").rename(whole / "elsewhere")
        self.run_to("tape", *SHORT, *fork)
        self.assertIn("not from a snapshot: the run has no tape", self.said)
        (whole / "elsewhere").rename(whole / "tape")
        bytes_before = (whole / "snapshots").read_bytes()
        spoilt = bytearray(bytes_before)
        spoilt[len(spoilt) // 2] ^= 4
        for name, content, words in (("damaged", spoilt, "is damaged"), ("cut", bytes_before[:-40], "is cut short"),
                                     ("other", b"time [s],heat.1.pv [degC]\n", "is no file of snapshots")):
            (whole / "snapshots").write_bytes(content)
            self.run_to(name, *SHORT, *fork, code=2)
            self.assertIn(words, self.said)
        (whole / "snapshots").write_bytes(bytes_before)
        resolved = (whole / "resolved.yaml").read_text()
        (whole / "resolved.yaml").write_text(resolved.replace("seed: 1\n", "seed: 2\n"))
        self.run_to("resolved", *SHORT, "--seed", "2", *fork, code=2)
        self.assertIn("is of another run", self.said)

    def test_change_shows_after_the_fork_and_replays(self):
        hour = ["--set", "run.at_most=90 min", "--set", "run.until_programme_ends=no"]
        whole = self.run_to("whole", *hour)
        fork = self.run_to("fork", *hour, "--set", f"{GAIN}=6e-4 1/Pa", "--from", f"{whole}@10m")
        before, after = ((run / "trace.csv").read_text().splitlines() for run in (whole, fork))
        first = next(i for i, (one, other) in enumerate(zip(before, after)) if one != other)
        self.assertGreaterEqual(float(after[first].split(",")[0]), 600.0)
        self.assertIn("600.0,bench,forks", (fork / "events.csv").read_text())
        self.assertEqual(saggar("replay", fork, "--quiet").returncode, 0)
        again = saggar("run", DEMO, "--quiet", *SHORT, "--out", self.place / "second", "--from", f"{fork}@11m")
        self.assertEqual(again.returncode, 2)
        self.assertIn("itself a fork", again.stderr)

    def test_refuses_in_words(self):
        whole = self.run_to("whole", *SHORT)
        for wrong, words in ((["--from", self.place], "RUN@TIME"), (["--from", f"{self.place}@5m"], "no folder of a run"),
                             (["--from", f"{whole}@2h"], "the run ends at"), (["--from", f"{whole}@5 parsecs"], "is no time"),
                             (["--from", f"{whole}@segment sok"], "no segment `sok`"),
                             (["--seed", "9", "--from", f"{whole}@5m"], "can't alter its past"),
                             (["--out", whole, "--from", f"{whole}@5m"], "the run that is forked")):
            out = [] if "--out" in wrong else ["--out", self.place / "fork"]
            done = saggar("run", DEMO, "--quiet", *SHORT, *out, *wrong)
            self.assertEqual(done.returncode, 2, done.stderr)
            self.assertIn(words, done.stderr)

    def test_another_past_than_the_tape_is_found(self):
        whole = self.run_to("whole", *SHORT)
        resolved = whole / "resolved.yaml"
        text = resolved.read_text()
        self.assertIn("seed: 1\n", text)
        resolved.write_text(text.replace("seed: 1\n", "seed: 2\n"))
        self.run_to("fork", *SHORT, "--seed", "2", "--from", f"{whole}@5m", code=4)
        self.assertIn("does not repeat the run", self.said)

    def test_patch_is_as_set(self):
        patch = self.place / "patch.yaml"
        patch.write_text("controller:\n  pressure:\n    gain: 6e-4 1/Pa\ncontroller.pressure.integral: 30 s\n")
        self.run_to("patched", *SHORT, "--patch", patch)
        self.run_to("set", *SHORT, "--set", f"{GAIN}=6e-4 1/Pa", "--set", "controller.pressure.integral=30 s")
        self.assertEqual(without_time(self.place / "patched"), without_time(self.place / "set"))
        patch.write_text("controller:\n  pressure:\n    gain: 6e-4 K\n")
        self.run_to("bad", "--patch", patch, code=2)
        self.assertIn("patch.yaml:3:11", self.said)
        patch.write_text("controller:\n  pressure: {gian: 1}\n")
        self.run_to("bad", "--patch", patch, code=2)
        self.assertIn("gian", self.said)


if __name__ == "__main__":
    PROGRAM = sys.argv[1]
    unittest.main(argv=sys.argv[:1] + sys.argv[2:])
