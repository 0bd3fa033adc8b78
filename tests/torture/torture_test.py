#!/usr/bin/env python3
"""tools/torture.py names the first tick at which a core differs. torture_test.py BUILD_FOLDER [--image]

A constant of the core is moved by one unit in the last place, in a copy of the sources; --image does it in the image for the
emulated processor. That the tick named is the first one is checked against a reading of both answers frame by frame of its own.
"""
import pathlib
import shutil
import struct
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import torture  # noqa: E402

# 4 F / R of the Nernst equation: it counts once the cell is hot and gas passes it, so not at the first tick.
PLANTED = ("firmware/oxygen_cell.cpp", "46.418072f")


def next_float(text):
    bits = struct.unpack("<I", struct.pack("<f", float(text)))[0]
    return struct.unpack("<f", struct.pack("<I", bits + 1))[0]


def planted_copy(folder):
    """A copy of the sources in which one constant is one unit in the last place larger."""
    for name in ("firmware", "tests/torture"):
        shutil.copytree(ROOT / name, folder / name)
    path = folder / PLANTED[0]
    text = path.read_text()
    assert text.count(PLANTED[1]) == 1, f"{PLANTED[0]} no longer holds {PLANTED[1]} once"
    path.write_text(text.replace(PLANTED[1], repr(next_float(PLANTED[1].rstrip("f"))) + "f"))
    return folder


class Comparison(unittest.TestCase):
    build = ROOT / "build/test"
    variant = "gcc-O2"
    ticks = "20000"

    def setUp(self):
        self.scratch = tempfile.TemporaryDirectory()
        self.folder = pathlib.Path(self.scratch.name)
        self.addCleanup(self.scratch.cleanup)
        torture.make_tape(self.build / "tests/torture_tape", self.folder, self.ticks)

    def answers(self, root, name):
        torture.play(torture.build(self.variant, self.folder / name, root), self.folder / "in", self.folder / name / "out")
        return (self.folder / name / "out").read_bytes()

    def test_one_unit_in_the_last_place_is_named_at_its_first_tick(self):
        expected = (self.folder / "out").read_bytes()
        self.assertIsNone(torture.first_difference(expected, self.answers(ROOT, "right")))
        found = self.answers(planted_copy(self.folder / "source"), "planted")
        difference = torture.first_difference(expected, found)
        self.assertIsNotNone(difference)
        print(difference[1])
        self.assertEqual(difference[0], self.first_tick_frame_by_frame(expected, found))
        self.assertRegex(difference[1], r"^tick \d+ \(\d+ after its start\), (field|supervisory) line, byte \d+")

    @staticmethod
    def first_tick_frame_by_frame(expected, found):
        """Both streams cut into ticks, each on its own, then compared one by one."""
        def ticks(data):
            cut, at = [], 0
            while at < len(data):
                size = 16 + sum(struct.unpack_from("<HHH", data, at + 4))
                if data[at + 2] == 2:
                    cut.append(data[at:at + size])
                at += size
            return cut
        return next(i for i, (a, b) in enumerate(zip(ticks(expected), ticks(found))) if a != b)

    def test_a_stream_that_ends_early_is_a_difference(self):
        expected = (self.folder / "out").read_bytes()
        self.assertIsNotNone(torture.first_difference(expected, expected[:-30]))

    def test_the_same_seed_gives_the_same_tape(self):
        torture.make_tape(self.build / "tests/torture_tape", self.folder / "again", self.ticks)
        for name in ("in", "out"):
            self.assertEqual((self.folder / name).read_bytes(), (self.folder / "again" / name).read_bytes())


if __name__ == "__main__":
    if "--image" in sys.argv:
        sys.argv.remove("--image")
        Comparison.variant = "cortex-m4-O2"
    Comparison.build = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
