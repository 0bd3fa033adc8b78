#!/usr/bin/env python3
"""Many scenarios at once: the index over them, what stops none of the others, and the canary that must fail.

    folder_test.py SAGGAR [UNITTEST_ARGUMENTS]
"""
import json
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest
import xml.etree.ElementTree as ElementTree

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
CANARY = ROOT / "tests" / "tools" / "canary.yaml"
SAGGAR = ""
UNREPEATABLE = ("wall_s", "speed")   # of a run's summary; the folder's own files hold no time of day or length of run


def saggar(*arguments):
    return subprocess.run([SAGGAR, *map(str, arguments)], capture_output=True, text=True, timeout=280)


def content_of(folder):
    files = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            files[path.relative_to(folder).as_posix()] = path.read_bytes()
    for name, data in files.items():
        if name.endswith("/summary.json"):
            summary = json.loads(data)
            for key in UNREPEATABLE:
                summary.pop(key)
            files[name] = json.dumps(summary)
    return files


class FolderCase(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.scratch = pathlib.Path(folder.name)
        self.configs = self.scratch / "configs"
        shutil.copytree(ROOT / "configs" / "furnaces", self.configs / "furnaces")
        shutil.copytree(ROOT / "configs" / "controllers", self.configs / "controllers")
        self.themes = self.configs / "scenarios"
        self.out = self.scratch / "out"
        text = CANARY.read_text().replace("../../configs/", "../../")
        self.passing = text.replace("plant.load.core > 900 degC", "plant.load.core < 100 degC")
        self.put("one/same", self.passing.replace("Canary that must fail", "Läuft & <holds>"))
        self.put("two/same", text)

    def put(self, path, text):
        file = self.themes / (path + ".yaml")
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)

    def put_faulty(self):
        self.put("three/misspelt", self.passing.replace("programme:", "programm:"))
        self.put("three/open", "title: [\n")
        self.put("three/nothing", self.passing[:self.passing.index("expectations:")])
        self.put("three/asleep", self.passing.replace("always: plant.load.core < 100 degC",
                                                      "always: plant.load.core < 100 degC\n    after: plant.load.core > 900 degC"))

    def index(self):
        return json.loads((self.out / "summary.json").read_text())


class Canary(FolderCase):
    def test_canary_fails_by_the_expectation_that_must(self):
        done = saggar("run", CANARY, "--out", self.out)
        self.assertEqual(done.returncode, 1, done.stderr)
        summary = json.loads((self.out / "summary.json").read_text())
        self.assertEqual(summary["verdict"], "fail")
        failed = [one["name"] for one in summary["expectations"] if one["verdict"] == "fail"]
        self.assertEqual(failed, ["the load gets hot without heat"])
        cases = ElementTree.parse(self.out / "junit.xml").findall(".//testcase")
        self.assertEqual([case.get("name") for case in cases if case.find("failure") is not None], failed)

    def test_no_expectation_is_no_pass(self):
        self.put_faulty()
        done = saggar("run", self.themes / "three" / "nothing.yaml", "--out", self.out)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertEqual(json.loads((self.out / "summary.json").read_text())["verdict"], "fail")
        self.assertEqual(len(ElementTree.parse(self.out / "junit.xml").findall(".//failure")), 1)


class Folders(FolderCase):
    def test_one_name_in_two_themes(self):
        self.assertEqual(saggar("run", self.themes, "--out", self.out).returncode, 1)
        self.assertEqual([(run["path"], run["verdict"]) for run in self.index()["runs"]], [("two/same", "fail"), ("one/same", "pass")])
        page = (self.out / "index.html").read_text()
        for path in ("one/same", "two/same"):
            self.assertIn(f'href="{path}/report.html"', page)
            self.assertTrue((self.out / path / "report.html").exists())
        self.assertIn("Läuft &amp; &lt;holds&gt;", page)
        self.assertIsNone(re.search(r'(src|href)="(https?:)?//', page))

    def test_any_number_of_jobs_gives_the_same_files(self):
        self.put_faulty()
        for jobs in (1, 2, 5):
            saggar("run", self.themes, "--jobs", jobs, "--out", self.scratch / str(jobs))
        first = content_of(self.scratch / "1")
        self.assertTrue({"index.html", "junit.xml", "summary.json", "one/same/trace.csv"} <= set(first))
        for jobs in (2, 5):
            other = content_of(self.scratch / str(jobs))
            self.assertEqual(set(first), set(other))
            for name in first:
                self.assertTrue(first[name] == other[name], f"{name}, {jobs} jobs")

    def test_refused_ones_stop_no_other_and_are_shown(self):
        self.put_faulty()
        done = saggar("run", self.themes, "--out", self.out, "--jobs", 2)
        self.assertEqual(done.returncode, 2, done.stderr)
        index = self.index()
        self.assertEqual({run["path"]: run["verdict"] for run in index["runs"]},
                         {"one/same": "pass", "two/same": "fail", "three/nothing": "fail", "three/asleep": "fail",
                          "three/misspelt": "refused", "three/open": "refused"})
        self.assertEqual(index["runs"][-1]["path"], "one/same")
        self.assertEqual(index["counts"]["unjudged"], 1)
        suites = ElementTree.parse(self.out / "junit.xml").getroot()
        self.assertEqual({suite.get("name"): tuple(len(suite.findall(what)) for what in ("testcase", "*/failure", "*/error"))
                          for suite in suites},
                         {"one/same": (2, 0, 0), "two/same": (2, 1, 0), "three/nothing": (1, 1, 0), "three/asleep": (2, 1, 0),
                          "three/misspelt": (1, 0, 1), "three/open": (1, 0, 1)})
        self.assertEqual([suites.get(key) for key in ("tests", "failures", "errors")], ["9", "3", "2"])
        self.assertIn("never judged", (self.out / "index.html").read_text())

    def test_only_scenarios_are_run_and_the_rest_is_named(self):
        (self.themes / "measured.csv").write_text("time [s],a [Pa]\n")
        done = saggar("run", self.configs, "--out", self.configs / "results")
        self.assertEqual(done.returncode, 1, done.stderr)
        again = saggar("run", self.configs, "--out", self.out)    # the first results lie below the folder: they do not run again
        self.assertEqual(again.returncode, 1, again.stderr)
        self.assertEqual([run["path"] for run in self.index()["runs"]], ["scenarios/two/same", "scenarios/one/same"])
        for name in ("furnaces/retort_12l.yaml", "controllers/one_zone_air.yaml", "scenarios/measured.csv"):
            self.assertIn(name, self.index()["left_aside"])
            self.assertIn(name, again.stderr)

    def test_set_holds_for_each_and_an_unknown_path_is_refused_in_words(self):
        self.assertEqual(saggar("run", self.themes, "--out", self.out, "--set", "run.at_most=1 min", "--seed", 7).returncode, 1)
        for path in ("one/same", "two/same"):
            summary = json.loads((self.out / path / "summary.json").read_text())
            self.assertEqual((summary["simulated_s"] <= 60.2, summary["seed"]), (True, 7))
        done = saggar("run", self.themes, "--out", self.out, "--set", "run.at_mots=1 min")
        self.assertEqual(done.returncode, 2)
        self.assertEqual([run["verdict"] for run in self.index()["runs"]], ["refused", "refused"])
        self.assertIn("at_mots", self.index()["runs"][0]["refused"])

    def test_interrupt_leaves_partial_results(self):
        long = self.passing.replace("at_most: 10 min", "at_most: 300 h").replace("for: 5 min", "for: 200 h")
        for name in ("a", "b", "c"):
            self.put("long/" + name, long)
        run = subprocess.Popen([SAGGAR, "run", str(self.themes / "long"), "--jobs", "2", "--out", str(self.out)],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(1.5)
        run.send_signal(signal.SIGINT)
        run.communicate(timeout=60)
        self.assertEqual(run.returncode, 130)
        self.assertEqual(sorted(entry["verdict"] for entry in self.index()["runs"]), ["broken", "broken", "refused"])
        self.assertEqual(len(ElementTree.parse(self.out / "junit.xml").findall(".//error")), 3)
        self.assertGreater(json.loads((self.out / "a" / "summary.json").read_text())["simulated_s"], 0)

    def test_folder_without_scenarios_is_refused(self):
        done = saggar("run", self.configs / "furnaces", "--out", self.out)
        self.assertEqual(done.returncode, 2)
        self.assertFalse(self.out.exists())


if __name__ == "__main__":
    SAGGAR = str(pathlib.Path(sys.argv.pop(1)).resolve())
    unittest.main()
