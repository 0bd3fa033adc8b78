#!/usr/bin/env python3
"""`saggar replay` from outside: a tape whose core was started with other parameters, so that the core that repeats it differs.

    replay_test.py SAGGAR
"""
import pathlib
import re
import struct
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
DEMO = ROOT / "configs" / "scenarios" / "cycles" / "titanium_stress_relief.yaml"
PROGRAM = ""
MASK = (1 << 64) - 1
MULTIPLIER = 0x9E3779B97F4A7C15
BLOCK = 1 << 20


def saggar(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=280)


def mixed(value):
    value = ((value ^ (value >> 30)) * 0xBF58476D1CE4E5B9) & MASK
    value = ((value ^ (value >> 27)) * 0x94D049BB133111EB) & MASK
    return value ^ (value >> 31)


def checksum(data):
    """As sim/hash.h and sim/tape.h say it: four lanes in turn, the file in blocks of 1 MiB, each with its size before it."""
    words = []
    for at in range(0, len(data), BLOCK):
        block = data[at:at + BLOCK]
        words.append(len(block))
        words.extend(struct.unpack(f"<{(len(block) + 7) // 8}Q", block + bytes(-len(block) % 8)))
    lanes = [1, 2, 3, 4]
    for count, word in enumerate(words):
        product = (lanes[count & 3] ^ word) * MULTIPLIER
        lanes[count & 3] = (product & MASK) ^ (product >> 64)
    total = len(words) * MULTIPLIER & MASK
    for lane in lanes:
        total = (mixed(total ^ lane) + MULTIPLIER) & MASK
    return mixed(total)


def head_bytes(tape):
    """How long the head is, store image included."""
    at = 16 + struct.unpack_from("<I", tape, 12)[0]
    image, at = struct.unpack_from("<I", tape, at)[0], at + 4
    while image > 0:
        image, at = image - struct.unpack_from("<I", tape, at)[0], at + 5
    return at


class Replay(unittest.TestCase):
    def setUp(self):
        place = tempfile.TemporaryDirectory()
        self.addCleanup(place.cleanup)
        self.place = pathlib.Path(place.name)

    def tape_of(self, name, *changes):
        done = saggar("run", DEMO, "--quiet", "--set", "run.at_most=1 min", "--out", self.place / name, *changes)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        return (self.place / name / "tape").read_bytes()

    def replayed(self, *changes):
        """The bytes of the plain run, repeated by a core that was started with these changes."""
        plain, other = self.tape_of("plain"), self.tape_of("other", *changes)
        self.assertEqual(struct.unpack("<Q", plain[-8:])[0], checksum(plain[:-8]))   # of a tape the program has written
        spliced = other[:head_bytes(other)] + plain[head_bytes(plain):-8]
        path = self.place / "spliced"
        path.write_bytes(spliced + struct.pack("<Q", checksum(spliced)))
        return saggar("replay", path, "--quiet")

    def test_repeats_what_the_same_core_sent(self):
        done = self.replayed()
        self.assertEqual(done.returncode, 0, done.stdout + done.stderr)
        self.assertIn("600 ticks repeated by host, every byte equal", done.stdout)

    def test_names_tick_time_and_signal_of_the_core_that_differs(self):
        # A core whose alarm stands below room temperature sends what nobody but its operator sees: the alarm. The first reading comes
        # with the answer to request 0, which is decoded in tick 1 at the earliest.
        done = self.replayed("--set", "controller.limits.zone_alarm=5 degC")
        self.assertEqual(done.returncode, 4, done.stdout + done.stderr)
        found = re.search(r"first difference at (\d+\.\d) s: tick (\d+), supervisory port, register 0x[0-9a-f]{4}, (alarms\.\w+): "
                          r"expected (\S+), found (\S+)", done.stdout)
        self.assertIsNotNone(found, done.stdout)
        time_s, tick = float(found[1]), int(found[2])
        self.assertAlmostEqual(time_s, tick * 0.1)
        self.assertGreaterEqual(tick, 1)
        events = (self.place / "other" / "events.csv").read_text().splitlines()
        raised = next(float(line.split(",")[0]) for line in events if ",alarm,raised,heater side" in line or ",alarm,raised,zone" in line)
        self.assertEqual(time_s, raised)    # when the run of that core saw it


if __name__ == "__main__":
    PROGRAM = sys.argv[1]
    unittest.main(argv=sys.argv[:1] + sys.argv[2:])
