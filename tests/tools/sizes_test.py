#!/usr/bin/env python3
"""tools/sizes.py finds what must not be in the image. Each test builds an image with one defect in it.

    sizes_test.py

The defects are planted in a copy of the image's main file; the control has none and must pass.
"""
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import sizes  # noqa: E402
import torture  # noqa: E402

FLAGS = torture.FLAGS + torture.ARM + ["-O2", "-fstack-usage", "-fcallgraph-info=su", f"-I{ROOT}"]

# Code that stands before run_image, and the statement that reaches it. The volatile keeps it from being folded.
DEFECTS = {
    "nothing": ("int planted(int n) { return n + 1; }", "planted(seed);"),
    "recursion": ("[[gnu::noinline]] int planted(int n) { volatile int kept = n; return n <= 0 ? 0 : kept + planted(n - 2) * 3; }",
                  "planted(seed);"),
    "alloca": ("[[gnu::noinline]] int planted(int n) { volatile char* p = static_cast<volatile char*>(__builtin_alloca(n)); p[0] = 1; "
               "return p[n / 2]; }", "planted(seed);"),
    "indirect call": ("int one(int n) { return n; } int two(int n) { return 2 * n; } int (*volatile planted)(int) = one;",
                      "planted = seed > 3 ? one : two; planted(seed);"),
    "double": ("volatile double wide = 1.5; [[gnu::noinline]] int planted(int n) { wide = wide * n; return n; }", "planted(seed);"),
    "float to int64": ("volatile float narrow = 1.5f; volatile long long wide; [[gnu::noinline]] int planted(int n) { "
                       "wide = static_cast<long long>(narrow); return n; }", "planted(seed);"),
    "libm": ("extern \"C\" float expf(float); volatile float narrow = 1.5f; [[gnu::noinline]] int planted(int n) { narrow = expf(narrow); "
             "return n; }", "planted(seed);"),
    "large frame": ("[[gnu::noinline]] int planted(int n) { volatile char room[5000]; room[n & 1023] = 1; return room[n & 511]; }",
                    "planted(seed);"),
}
EXPECTED = {
    "recursion": "recursion: ", "alloca": "frame of unknown size", "indirect call": "indirect call",
    "double": "double arithmetic: __aeabi_dmul",
    "float to int64": "double arithmetic: ", "libm": "libm: expf", "large frame": "stack: ",
}


class Sizes(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.folder = pathlib.Path(cls.scratch.name)
        rest = cls.folder / "rest"
        rest.mkdir()
        cls.sources = torture.firmware_sources(ROOT) + [ROOT / "firmware/cortex_m/startup.cpp"]
        cls.objects = []
        for source in cls.sources:
            torture.run(["arm-none-eabi-g++", *FLAGS, "-c", source, "-o", rest / (source.stem + ".o")], cwd=rest)
            cls.objects.append(rest / (source.stem + ".o"))

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def image(self, name):
        """The image with one defect, in a folder of its own with the call graphs of the rest beside it."""
        code, statement = DEFECTS[name]
        folder = self.folder / name.replace(" ", "_")
        folder.mkdir()
        text = (ROOT / "firmware/cortex_m/image.cpp").read_text()
        head = 'extern "C" int run_image() {'
        text = text.replace(head, f"{code}\nvolatile int seed = 7;\n\n{head}\n  {statement}", 1)
        self.assertIn("volatile int seed", text)
        (folder / "image.cpp").write_text(text)
        torture.run(["arm-none-eabi-g++", *FLAGS, "-c", "image.cpp", "-o", "image.o"], cwd=folder)
        for graph in (self.folder / "rest").glob("*.ci"):
            shutil.copy(graph, folder)
        script = ROOT / "firmware/cortex_m/cortex_m4.ld"
        torture.run(["arm-none-eabi-g++", *torture.ARM[:4], "-nostdlib", "-nostartfiles", "-T", script, "-Wl,--gc-sections",
                     "-Wl,--no-warn-rwx-segments", *self.objects, "image.o", "-lm", "-lc_nano", "-lgcc", "-o", "core.elf"], cwd=folder)
        return folder / "core.elf"

    def said(self, image):
        return subprocess.run([sys.executable, ROOT / "tools/sizes.py", image], capture_output=True, text=True, check=False)

    def test_an_image_without_a_defect_has_none(self):
        figures, graph, _ = sizes.sizes_of(self.image("nothing"))
        self.assertEqual(graph.complaints + sizes.forbidden(graph), [])
        for what, most in sizes.BUDGET.items():
            self.assertLess(figures[what], most)

    def test_each_defect_is_found(self):
        for name, words in EXPECTED.items():
            with self.subTest(name):
                result = self.said(self.image(name))
                self.assertEqual(result.returncode, 1)
                self.assertIn(words, result.stderr)

    def test_growth_beyond_the_baseline_is_found(self):
        kept = {"flash": 1000, "RAM": 1000, "stack": 1000}
        with tempfile.NamedTemporaryFile("w", suffix=".json", dir=ROOT / "tests/golden") as file:
            golden, sizes.GOLDEN = sizes.GOLDEN, pathlib.Path(file.name)
            self.addCleanup(setattr, sizes, "GOLDEN", golden)
            file.write(str(kept).replace("'", '"'))
            file.flush()
            self.assertEqual(sizes.grown({"flash": 1020, "RAM": 1000, "stack": 1040}, False), [])
            self.assertRegex(sizes.grown({"flash": 1040}, False)[0], "^flash: 1040, was 1000")


if __name__ == "__main__":
    unittest.main()
