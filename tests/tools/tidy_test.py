#!/usr/bin/env python3
"""Plants one defect per rule of tools/tidy.py into a copy of the tree and sees that it is found, in that file, under that rule."""
import pathlib
import re
import shutil
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.dont_write_bytecode = True
sys.path.insert(0, str(ROOT / "tools"))
import tidy  # noqa: E402

DEFECTS = [  # (rule, file, text); the file is new in the copy
    ("top level", "notes.txt", "a stray file\n"),
    ("file name", "sim/utils.h", "#pragma once\n"),
    ("banned word", "plant/stray.h", "// TO" + "DO: later\n"),
    ("banned word", "plant/stray.h", "// see /wo" + "rk/main\n"),
    ("line length", "plant/stray.h", "// " + "x" * 140 + "\n"),
    ("include direction", "firmware/stray.h", '#include "plant/step.h"\n'),
    ("include direction", "firmware/stray.h", "#include <vector>\n"),
    ("include direction", "plant/stray.h", '#include "sim/bench.h"\n'),
    ("include direction", "plant/stray.h", '#include "firmware/controller.h"\n'),
    ("include direction", "plant/stray.h", "#include <yaml-cpp/yaml.h>\n"),
    ("include direction", "sim/stray.h", '#include "tools/verbs.h"\n'),
    ("firmware call", "firmware/stray.h", "inline void* f() { return malloc(4); }\n"),
    ("firmware call", "firmware/stray.h", "inline int* f() { return new int; }\n"),
    ("firmware call", "firmware/stray.h", "inline void f(const std::string& text);\n"),
    ("firmware call", "firmware/stray.h", "inline float f(float x) { return std::exp(x); }\n"),
    ("firmware call", "firmware/stray.h", "inline double f();\n"),
    ("firmware call", "firmware/stray.h", "inline void f() { throw 1; }\n"),
    ("firmware call", "firmware/stray.h", "void f(void (*call)(int));\n"),
    ("unrepeatable", "sim/stray.h", "inline int f() { return std::random_device{}(); }\n"),
    ("unrepeatable", "plant/stray.h", "inline long f() { return time(nullptr); }\n"),
    ("unrepeatable", "sim/stray.h", "inline auto f() { return std::chrono::system_clock::now(); }\n"),
    ("skipped test", "tests/sim/stray_test.cpp", "TEST(A, B) { GTEST_" + "SKIP(); }\n"),
    ("skipped test", "tests/sim/stray_test.cpp", "TEST(A, DIS" + "ABLED_B) {}\n"),
    ("function length", "sim/stray.h", "inline int f(int a) {\n" + "  ++a;\n" * 70 + "  return a;\n}\n"),
    ("function length", "sim/stray.h", "struct S {\n  S() : a{1}, b{2} {\n" + "    ++a;\n" * 70 + "  }\n  int a, b;\n};\n"),
    ("function length", "tools/stray.py", "def f():\n" + "    pass\n" * 71),
    ("dead file", "sim/stray.cpp", "int f();\n"),
    ("dead file", "sim/stray.h", "#pragma once\n"),
    ("dead file", "tests/reference/stray" + "_values.csv", "a,b\n"),
    ("dead file", "configs/furnaces/stray" + "_furnace.yaml", "title: nobody's\n"),
    ("scenario", "configs/scenarios/cycles/stray" + "_cycle.yaml", "title: nobody runs it\n"),
]

INNOCENT = [  # must not be found under the rule
    ("firmware call", "firmware/stray.h", '// std::string, malloc() and double stand in a comment\nconst char* f = "throw new double";\n'),
    ("function length", "sim/stray.h",
     "inline const int table[] = {\n" + "  1,\n" * 90 + "};\nnamespace a {\n" + "int f();\n" * 90 + "}\n"),
    ("function length", "sim/stray.h", "struct S {\n" + "  int f() { return 1; }\n" * 90 + "};\n"),
    ("unrepeatable", "sim/stray.h", "inline double f(const Bench& bench) { return bench.time(0); }\n"),
]


class TidyTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory()
        cls.copy = pathlib.Path(cls.folder.name, "tree")
        ignore = shutil.ignore_patterns(".git", "build", "runs", "__pycache__", "golden")
        shutil.copytree(ROOT, cls.copy, ignore=ignore)

    @classmethod
    def tearDownClass(cls):
        cls.folder.cleanup()

    def rules_for(self, path, text):
        planted = self.copy / path
        self.assertFalse(planted.exists(), path)
        planted.parent.mkdir(parents=True, exist_ok=True)
        planted.write_text(text)
        try:
            return {rule for file, _, rule, _ in tidy.findings(self.copy) if file == path or path.startswith(file + "/")}
        finally:
            planted.unlink()

    def test_finds_every_planted_defect(self):
        for rule, path, text in DEFECTS:
            with self.subTest(rule=rule, path=path, text=text[:60]):
                self.assertIn(rule, self.rules_for(path, text))

    def test_leaves_the_innocent_alone(self):
        for rule, path, text in INNOCENT:
            with self.subTest(rule=rule, path=path, text=text[:60]):
                self.assertNotIn(rule, self.rules_for(path, text))

    def test_every_rule_has_a_planted_defect(self):
        source = (ROOT / "tools/tidy.py").read_text()
        rules = set(re.findall(r'yield .*?, "([A-Za-z ]+)", ', source))
        self.assertGreaterEqual(len(rules), len(tidy.RULES))
        self.assertEqual(rules, {rule for rule, _, _ in DEFECTS})


if __name__ == "__main__":
    unittest.main()
