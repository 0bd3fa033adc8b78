#!/usr/bin/env python3
"""What others make of our files: a JSON Schema validator on every shipped YAML, pandas and Octave on a trace in a German locale.

    /usr/bin/python3 outside_readers.py SAGGAR      Debian: python3-jsonschema python3-yaml python3-pandas octave locales
"""
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

import jsonschema
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


class Schemas(unittest.TestCase):
    def setUp(self):
        self.files = [file for kind in ("furnaces", "controllers", "scenarios")
                      for file in sorted((ROOT / "configs" / kind).rglob("*.yaml"))]

    def test_every_file_names_the_schema_of_its_kind(self):
        for file in self.files:
            kind = file.relative_to(ROOT / "configs").parts[0].rstrip("s")
            self.assertEqual(schema_of(file), (SCHEMAS / f"{kind}.schema.json").resolve(), file)

    def test_schemas_are_schemas_and_take_every_file_and_refuse_a_misspelt_key(self):
        for file in self.files:
            schema = json.loads(schema_of(file).read_text())
            validator = jsonschema.validators.validator_for(schema)
            validator.check_schema(schema)
            content = with_text_keys(yaml.safe_load(file.read_text(encoding="utf-8")))
            self.assertEqual([error.message for error in validator(schema).iter_errors(content)], [], file)
            for key in content:
                spoilt = {("x_" + k if k == key else k): v for k, v in content.items()}
                self.assertFalse(validator(schema).is_valid(spoilt), f"{file}: {key}")


class GermanLocale(unittest.TestCase):
    def test_pandas_and_octave_read_the_trace(self):
        with tempfile.TemporaryDirectory() as scratch:
            subprocess.run(["localedef", "-i", "de_DE", "-f", "UTF-8", f"{scratch}/de_DE.UTF-8"], check=True)
            german = dict(os.environ, LOCPATH=scratch, LC_ALL="de_DE.UTF-8")
            shown = subprocess.run(["/usr/bin/printf", "%.1f", "1,5"], env=german, capture_output=True, text=True).stdout
            self.assertEqual(shown, "1,5")
            out = pathlib.Path(scratch, "out")
            subprocess.run([SAGGAR, "run", str(ROOT / "tests/tools/canary.yaml"), "--quiet", "--out", str(out)], env=german)
            last = json.loads((out / "summary.json").read_text())["simulated_s"]
            read = "import locale,pandas,sys; locale.setlocale(locale.LC_ALL,''); t=pandas.read_csv(sys.argv[1]); " \
                   "assert all(k.kind in 'fi' for k in t.dtypes); print(repr(float(t.iloc[-1,0])))"
            pandas = subprocess.run([sys.executable, "-c", read, str(out / "trace.csv")], env=german, capture_output=True, text=True)
            read = f"t=dlmread('{out}/trace.csv',',',1,0); printf('%d\\n',round(t(end,1)*1000))"
            octave = subprocess.run(["octave-cli", "--quiet", "--eval", read], env=german, capture_output=True, text=True)
            self.assertAlmostEqual(float(pandas.stdout or "nan"), last, delta=1.0, msg=pandas.stderr)
            self.assertAlmostEqual(float(octave.stdout or "nan") / 1000, last, delta=1.0, msg=octave.stderr)


if __name__ == "__main__":
    SAGGAR = str(pathlib.Path(sys.argv.pop(1)).resolve())
    unittest.main()
