#!/usr/bin/env python3
"""Prints operating sheets with Chromium and looks at the paper: A4, at most two sides, nothing cut off or printed over, black on white.

    printed_sheet.py SAGGAR      needs chromium and poppler-utils
"""
import html.parser
import itertools
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import look  # noqa: E402  the project's own reader of PNG files

SCENARIOS = ROOT / "configs" / "scenarios"
DEMO = SCENARIOS / "cycles" / "titanium_stress_relief.yaml"
A4_POINTS = (595.3, 841.9)       # ISO 216: 210 mm x 297 mm at 72 points per inch
WHITE_POINTS = 10                # common practice, no source: what a printer leaves white at each edge
SIDES_MAX = 2
PROGRAM = ""


def told(*command):
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True, timeout=280)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


class Words(html.parser.HTMLParser):
    """Of `pdftotext -bbox`: pages, each a list of (text, left, top, right, bottom)."""

    def __init__(self, text):
        super().__init__()
        self.pages, self.box = [], None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag == "page":
            self.pages.append([])
        if tag == "word":
            values = dict(attributes)
            self.box = [float(values[key]) for key in ("xmin", "ymin", "xmax", "ymax")]

    def handle_data(self, text):
        if self.box and text.strip():
            self.pages[-1].append((text, *self.box))
            self.box = None


def printed_over(words):
    """Pairs of words that cover each other by more than the slack of a line's height."""
    found = []
    for one, other in itertools.combinations(words, 2):
        across = min(one[3], other[3]) - max(one[1], other[1])
        down = min(one[4], other[4]) - max(one[2], other[2])
        if across > 1.0 and down > 0.4 * min(one[4] - one[2], other[4] - other[2]):
            found.append(f"{one[0]} / {other[0]}")
    return found


class Paper(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        place = tempfile.TemporaryDirectory()
        cls.addClassCleanup(place.cleanup)
        cls.place = pathlib.Path(place.name)

    def run_to(self, name, scenario, *changes):
        folder = self.place / name
        if not folder.exists():
            told(PROGRAM, "run", scenario, "--quiet", "--out", folder, *changes)
        return folder

    def printed(self, *arguments):
        out = pathlib.Path(tempfile.mkdtemp(dir=self.place))
        told(PROGRAM, "report", *arguments, "--sheet", "--out", out)
        subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-pdf-header-footer",
                        f"--user-data-dir={out / 'profile'}", "--blink-settings=preferredColorScheme=0",
                        f"--print-to-pdf={out / 'sheet.pdf'}", (out / "sheet.html").as_uri()],
                       capture_output=True, timeout=180, env=dict(os.environ, HOME=str(out)))
        return out / "sheet.pdf"

    def assertOnPaper(self, pdf):
        info = told("pdfinfo", pdf)
        self.assertLessEqual(int(re.search(r"Pages:\s+(\d+)", info).group(1)), SIDES_MAX)
        size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info)
        for is_, should in zip(size.groups(), A4_POINTS):
            self.assertLess(abs(float(is_) - should), 1.0)
        pages = Words(told("pdftotext", "-bbox", pdf, "-")).pages
        for words in pages:
            self.assertGreater(len(words), 50)
            for word, left, top, right, bottom in words:
                self.assertTrue(left > WHITE_POINTS and top > WHITE_POINTS and right < A4_POINTS[0] - WHITE_POINTS and
                                bottom < A4_POINTS[1] - WHITE_POINTS, word)
            self.assertEqual(printed_over(words), [])
        told("pdftoppm", "-r", "40", "-png", pdf, pdf.with_suffix(""))
        for picture in pdf.parent.glob("sheet-*.png"):
            self.assertGreater(look.look(picture)[0], 200, "not black on white")
        return " ".join(word[0] for words in pages for word in words)

    def test_shipped_scenarios(self):
        for name, scenario in (("demo", DEMO), ("air", SCENARIOS / "cycles" / "air_cycle.yaml"),
                               ("opens", SCENARIOS / "sensors" / "load_thermocouple_opens.yaml")):
            text = self.assertOnPaper(self.printed(self.run_to(name, scenario)))
            self.assertIn("operating sheet", text)
            self.assertIn("Signature", text)
            self.assertEqual("Not to be used" in text or "not a whole cycle" in text, name == "opens")

    def three_runs(self):
        return [self.run_to("demo", DEMO), self.run_to("second", DEMO, "--seed", "2", "--set", "furnace.load.mass=0.55 kg"),
                self.run_to("third", DEMO, "--seed", "3", "--set", "furnace.leak=0.0002 Pa m3/s")]

    def test_several_runs(self):
        self.assertIn("spread", self.assertOnPaper(self.printed(*self.three_runs())))

    def test_other_units(self):
        units = "pressure=mmH2O gauge,vacuum=mTorr abs,flow=sL/h,temperature=degF"
        for runs in (self.three_runs()[:1], self.three_runs()):
            self.assertIn("mmH2O", self.assertOnPaper(self.printed(*runs, "--units", units)))

    def test_words_over_words_are_found(self):
        self.assertEqual(printed_over([("a", 10, 10, 50, 20), ("b", 51, 10, 90, 20), ("c", 10, 19, 50, 29)]), [])
        self.assertEqual(printed_over([("a", 10, 10, 50, 20), ("b", 45, 12, 90, 22)]), ["a / b"])


if __name__ == "__main__":
    PROGRAM = sys.argv.pop(1)
    unittest.main()
