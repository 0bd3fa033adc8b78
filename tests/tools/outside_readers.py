#!/usr/bin/env python3
"""What others make of our files: a JSON Schema validator on every shipped YAML, pandas and Octave on a trace in a German locale, a
JUnit reader on the results of a run and of a folder.

    /usr/bin/python3 outside_readers.py SAGGAR   Debian: python3-jsonschema python3-yaml python3-pandas python3-junitparser octave locales
"""
import csv
import json
import math
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

import jsonschema
import junitparser
import yaml

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SCHEMAS = ROOT / "configs" / "schema"
SAGGAR = ""


def with_text_keys(value):
    """Keys such as 1 are text to our loader and in JSON."""
    if isinstance(value, dict):
        return {str(key): with_text_keys(one) for key, one in value.items()}
    return [with_text_keys(one) for one in value] if isinstance(value, list) else value


def schema_of(file):
    first = file.read_text(encoding="utf-8").splitlines()[0]
    found = re.fullmatch(r"# yaml-language-server: \$schema=(\S+)", first)
    return (file.parent / found.group(1)).resolve() if found else None


def map_keys(value, path=()):
    """Path of every key of every map, however deep."""
    steps = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in steps:
        if isinstance(value, dict):
            yield (*path, step)
        yield from map_keys(inner, (*path, step))


def misspelt(value, path):
    step, *rest = path
    if isinstance(value, list):
        return [misspelt(one, rest) if i == step else one for i, one in enumerate(value)]
    return {("x_" + key if key == step and not rest else key): (misspelt(one, rest) if key == step and rest else one)
            for key, one in value.items()}


def free(path):
    """`set` takes any path of the files a scenario names; their own schemas know it."""
    return path[0] == "set" and len(path) > 1


KINDS = {"furnaces": "furnace", "controllers": "controller", "scenarios": "scenario", "mappings": "mapping", "processes": "process"}


class Schemas(unittest.TestCase):
    def setUp(self):
        self.files = [file for kind in KINDS
                      for file in sorted((ROOT / "configs" / kind).rglob("*.yaml"))]

    def test_every_file_names_the_schema_of_its_kind(self):
        for file in self.files:
            kind = KINDS[file.relative_to(ROOT / "configs").parts[0]]
            self.assertEqual(schema_of(file), (SCHEMAS / f"{kind}.schema.json").resolve(), file)

    def test_schemas_are_schemas_and_take_every_file_and_refuse_a_misspelt_key(self):
        for file in self.files:
            schema = json.loads(schema_of(file).read_text())
            validator = jsonschema.validators.validator_for(schema)
            validator.check_schema(schema)
            content = with_text_keys(yaml.safe_load(file.read_text(encoding="utf-8")))
            self.assertEqual([error.message for error in validator(schema).iter_errors(content)], [], file)
            refused = 0
            for path in map_keys(content):
                if free(path):
                    continue
                self.assertFalse(validator(schema).is_valid(misspelt(content, path)), f"{file}: {path}")
                refused += 1
            self.assertGreater(refused, 2 if "processes" in file.parts else 10, file)


# What pandas makes of a trace and of events: sums of every column, and how many rows; printed as JSON.
PANDAS = """
import json, locale, pandas, sys
locale.setlocale(locale.LC_ALL, "")
trace, events = pandas.read_csv(sys.argv[1]), pandas.read_csv(sys.argv[2])
assert all(kind.kind in "fi" for kind in trace.dtypes), trace.dtypes
assert events["time [s]"].dtype.kind in "fi", events.dtypes
print(json.dumps({"columns": list(trace.columns), "rows": len(trace), "sums": [float(trace[name].sum()) for name in trace],
                  "events": events.fillna("").astype({"text": str}).values.tolist()}))
"""


class GermanLocale(unittest.TestCase):
    """The trace and the events of a run, as others read them where the comma is the decimal sign."""

    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.addClassCleanup(cls.scratch.cleanup)
        subprocess.run(["localedef", "-i", "de_DE", "-f", "UTF-8", f"{cls.scratch.name}/de_DE.UTF-8"], check=True)
        cls.german = dict(os.environ, LOCPATH=cls.scratch.name, LC_ALL="de_DE.UTF-8")
        cls.out = pathlib.Path(cls.scratch.name, "out")
        subprocess.run([SAGGAR, "run", str(ROOT / "tests/tools/canary.yaml"), "--quiet", "--out", str(cls.out)],
                       env=cls.german, check=False)
        cls.summary = json.loads((cls.out / "summary.json").read_text())
        with open(cls.out / "trace.csv", newline="", encoding="utf-8") as file:   # digits and points, whatever the locale
            cls.header, *rows = list(csv.reader(file))
        cls.rows = [[float(value) for value in row] for row in rows]
        cls.sums = [math.fsum(column) for column in zip(*cls.rows)]

    def assert_sums(self, found, who):
        self.assertEqual(len(found), len(self.header), who)
        for name, expected, value in zip(self.header, self.sums, found):
            self.assertTrue(math.isclose(value, expected, rel_tol=1e-9, abs_tol=1e-6), f"{who}: {name}: {value}, expected {expected}")

    def test_the_locale_is_german(self):
        shown = subprocess.run(["/usr/bin/printf", "%.1f", "1,5"], env=self.german, capture_output=True, text=True, check=True).stdout
        self.assertEqual(shown, "1,5")

    def test_the_trace_ends_where_the_summary_says(self):
        self.assertAlmostEqual(self.rows[-1][0], self.summary["simulated_s"], delta=0.11)   # the last tick begins a period before

    def test_pandas_reads_every_column_and_every_event(self):
        done = subprocess.run([sys.executable, "-c", PANDAS, str(self.out / "trace.csv"), str(self.out / "events.csv")], env=self.german,
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        found = json.loads(done.stdout)
        self.assertEqual(found["columns"], self.header)
        self.assertEqual(found["rows"], len(self.rows))
        self.assert_sums(found["sums"], "pandas")
        with open(self.out / "events.csv", newline="", encoding="utf-8") as file:
            events = list(csv.reader(file))[1:]
        self.assertEqual([[float(row[0]), *row[1:]] for row in events], found["events"])

    def test_octave_reads_every_column(self):
        read = f"t = dlmread('{self.out}/trace.csv', ',', 1, 0); fprintf('%.17g\\n', sum(t, 1));"
        done = subprocess.run(["octave-cli", "--quiet", "--eval", read], env=self.german, capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assert_sums([float(line.replace(",", ".")) for line in done.stdout.split()], "Octave")


class JUnit(unittest.TestCase):
    def count(self, file):
        suites = junitparser.JUnitXml.fromfile(str(file))
        cases = [case for suite in (suites if isinstance(suites, junitparser.JUnitXml) else [suites]) for case in suite]
        failed = [case.name for case in cases if any(isinstance(one, junitparser.Failure) for one in case.result)]
        return suites, [case.name for case in cases], failed

    def test_a_reader_finds_the_expectations_of_a_run_and_those_that_fail(self):
        with tempfile.TemporaryDirectory() as out:
            subprocess.run([SAGGAR, "run", str(ROOT / "tests/tools/canary.yaml"), "--quiet", "--out", out], check=False)
            expectations = json.loads(pathlib.Path(out, "summary.json").read_text())["expectations"]
            suites, cases, failed = self.count(pathlib.Path(out, "junit.xml"))
            self.assertEqual(sorted(cases), sorted(one["name"] for one in expectations))
            self.assertEqual(sorted(failed), sorted(one["name"] for one in expectations if one["verdict"] != "pass"))
            self.assertTrue(failed)
            self.assertEqual((suites.tests, suites.failures), (len(cases), len(failed)))

    def test_a_reader_finds_every_scenario_of_a_folder(self):
        with tempfile.TemporaryDirectory() as scratch:
            folder, out = pathlib.Path(scratch, "in"), pathlib.Path(scratch, "out")
            text = (ROOT / "tests/tools/canary.yaml").read_text(encoding="utf-8").replace("../../configs", str(ROOT / "configs"))
            for name in ("a", "b"):
                (folder / name).mkdir(parents=True)
                (folder / name / "canary.yaml").write_text(text, encoding="utf-8")
            subprocess.run([SAGGAR, "run", str(folder), "--jobs", "2", "--quiet", "--out", str(out)], check=False)
            suites, cases, failed = self.count(out / "junit.xml")
            single = json.loads((out / "a" / "canary" / "summary.json").read_text())["expectations"]
            self.assertEqual(len(list(suites)), 2)
            self.assertEqual((len(cases), suites.tests), (2 * len(single), 2 * len(single)))
            self.assertEqual(len(failed), 2 * sum(one["verdict"] != "pass" for one in single))


if __name__ == "__main__":
    SAGGAR = str(pathlib.Path(sys.argv.pop(1)).resolve())
    unittest.main()
