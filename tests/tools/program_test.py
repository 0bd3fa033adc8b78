#!/usr/bin/env python3
"""The program from outside: exit codes, what it leaves behind, what it refuses.

    program_test.py SAGGAR LIBRARY [UNITTEST_ARGUMENTS]     LIBRARY: the control core as a shared library
"""
import contextlib
import json
import math
import os
import pathlib
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SCENARIOS = ROOT / "configs" / "scenarios"
DEMO = SCENARIOS / "cycles" / "titanium_stress_relief.yaml"
SHORT = ["--set", "run.at_most=20 min"]
VERBS = {"parameters", "run", "check", "compare", "report", "replay", "registers", "faults", "prooftest",
         "interlocks", "gases", "tune", "fit"}
SCENARIO, FURNACE, CONTROLLER = ("scenarios/cycles/titanium_stress_relief.yaml", "furnaces/retort_12l.yaml",
                                 "controllers/one_zone_retort.yaml")
BROKEN = {  # what is wrong: the file, a piece of it, and what stands there instead
    "neither gauge nor abs": (SCENARIO, "to: 1 kPa gauge", "to: 1 kPa"),
    "abs for gauge": (SCENARIO, "to: 1 kPa gauge", "to: 1 kPa abs"),
    "gauge for abs": (SCENARIO, "below: 15 Pa abs", "below: 15 Pa gauge"),
    "bare number": (SCENARIO, "flow: 5 slm", "flow: 5"),
    "unknown unit": (SCENARIO, "timeout: 15 min", "timeout: 15 minutes"),
    "another quantity": (SCENARIO, "timeout: 15 min", "timeout: 15 kPa abs"),
    "negative time": (SCENARIO, "timeout: 15 min", "timeout: -15 min"),
    "temperature for a difference": (SCENARIO, "within: 10 K", "within: 10 degC"),
    "above what a furnace bears": (SCENARIO, "to: 792 degC", "to: 7920 degC"),
    "ramp that stands": (SCENARIO, "rate: 8 K/min", "rate: 0 K/min"),
    "not finite": (SCENARIO, "to: 180 degC", "to: nan degC"),
    "unknown gas": (SCENARIO, "gas: argon", "gas: aragon"),
    "unknown kind of segment": (SCENARIO, "    leak_test:", "    leak_tset:"),
    "segment named twice": (SCENARIO, "name: second evacuation", "name: first evacuation"),
    "gain set that is not there": (SCENARIO, "gain_set: 2", "gain_set: 5"),
    "unknown signal": (SCENARIO, "never: plant.gas.gauge > 6 kPa", "never: plant.gas.gage > 6 kPa"),
    "comparison of unlike quantities": (SCENARIO, "never: plant.gas.gauge > 6 kPa", "never: plant.gas.gauge > 6 K"),
    "number where truth is wanted": (SCENARIO, "never: plant.gas.gauge > 6 kPa", "never: plant.gas.gauge"),
    "window in no segment": (SCENARIO, "during_segment: leak test", "during_segment: leek test"),
    "no such file": (SCENARIO, "retort_12l.yaml", "retort_13l.yaml"),
    "tab": (SCENARIO, "  - name: purge", "\t- name: purge"),
    "anchor": (SCENARIO, "title: Stress", "title: &a Stress"),
    "negative volume": (FURNACE, "volume: 12 L", "volume: -12 L"),
    "volume in the wrong unit": (FURNACE, "volume: 12 L", "volume: 12 kg"),
    "unknown boundary": (FURNACE, "boundary: retort", "boundary: retrot"),
    "emissivity above one": (FURNACE, "emissivity_outside: 0.80", "emissivity_outside: 1.80"),
    "no supply": (FURNACE, "regulated: 40 kPa gauge", "regulated: -40 kPa gauge"),
    "unknown thermocouple": (FURNACE, "zone_thermocouple: N", "zone_thermocouple: Q"),
    "key twice": (CONTROLLER, "  zones: 1", "  period: 100 ms\n  zones: 1"),
    "period out of bounds": (CONTROLLER, "period: 100 ms", "period: 5 s"),
    "exchange over 80 % of the period": (CONTROLLER, "period: 100 ms", "period: 20 ms"),
    "gain without its unit": (CONTROLLER, "gain: 0.03 1/K", "gain: 0.03"),
    "neither yes nor no": (CONTROLLER, "retort_ceramic: yes", "retort_ceramic: perhaps"),
    "unknown parameter": (CONTROLLER, "oxygen_heat:", "oxygen_heet:"),
}
UNREPEATABLE = {"wall_s", "speed"}
PROGRAM, LIBRARY = "", ""


def saggar(*arguments, **options):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=280, **options)


def files_of(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def summary_of(folder):
    return json.loads((folder / "summary.json").read_text())


class ProgramCase(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)
        self.scratch = pathlib.Path(self.folder.name)
        self.out = self.scratch / "out"

    def assertExit(self, done, code, word="(?s).*"):
        self.assertEqual(done.returncode, code, done.stdout + done.stderr)
        self.assertRegex(done.stdout + done.stderr, word)

    def assertSameRun(self, a, b):
        first, second = files_of(a), files_of(b)
        self.assertEqual(set(first), set(second))
        for name in first:
            if name == "summary.json":
                x, y = (json.loads(files[name]) for files in (first, second))
                for key in UNREPEATABLE:
                    x.pop(key), y.pop(key)
                self.assertEqual(x, y)
            else:
                self.assertTrue(first[name] == second[name], name)


class CommandLine(ProgramCase):
    def test_help_lists_the_working_verbs_and_no_other(self):
        text = saggar("--help").stdout
        listed = set(re.findall(r"^  ([a-z]+) +\S", text.split("Subcommands:")[1], re.M))
        self.assertEqual(listed, VERBS)
        for verb in VERBS:
            self.assertExit(saggar(verb, "--help"), 0, "Usage|Options")

    def test_usage_errors_exit_2(self):
        for arguments in ([], ["melt"], ["run"], ["run", DEMO, "--jobs", "none"], ["run", DEMO, "--nonsense"], ["check"],
                          ["registers", "--csv", "--markdown"], ["run", DEMO, "--seed", "-1"], ["run", DEMO, "--jobs", "0"],
                          ["run", DEMO, "--controller", "abacus", "--out", self.out]):
            with self.subTest(arguments=arguments):
                self.assertExit(saggar(*arguments), 2)
        self.assertFalse(self.out.exists())

    def test_broken_input_exits_2_and_writes_nothing(self):
        text = DEMO.read_text()
        broken = {"missing.yaml": None, "empty.yaml": "", "list.yaml": "- a\n", "open.yaml": "title: [\n",
                  "latin.yaml": b"title: caf\xe9\n", "unknown.yaml": text + "\nno_such_key: 1\n",
                  "ten_megabytes.yaml": text + "# " + "x" * 10_000_000 + "\n", "deep.yaml": "title: " + "[" * 10000 + "\n",
                  "nul.yaml": b"title: a\0b\n", "two_documents.yaml": text + "\n---\n" + text,
                  "too_long.yaml": text.replace("  - name: end\n", "  - wait: {for: 1 min}\n" * 200 + "  - name: end\n", 1)}
        for name, content in broken.items():
            path = self.scratch / name
            if isinstance(content, bytes):
                path.write_bytes(content)
            elif content is not None:
                path.write_text(content)
            with self.subTest(name=name):
                self.assertExit(saggar("run", path, "--out", self.out), 2, re.escape(name))
                self.assertFalse(self.out.exists())
        for name, (file, before, after) in BROKEN.items():
            with self.subTest(name=name):
                configs = self.scratch / "configs"
                shutil.rmtree(configs, ignore_errors=True)
                shutil.copytree(ROOT / "configs", configs)
                spoilt = configs / file
                text = spoilt.read_text()
                self.assertIn(before, text, "nothing to spoil")
                line = text[:text.index(before)].count("\n") + 1
                spoilt.write_text(text.replace(before, after, 1))
                done = saggar("run", configs / "scenarios" / "cycles" / "titanium_stress_relief.yaml", "--out", self.out)
                self.assertExit(done, 2, rf"{re.escape(spoilt.name)}:{line}:\d+")
                self.assertFalse(self.out.exists())
        for change in ("nonsense", "run.at_most=20", "run.no_such=1", "=1"):
            with self.subTest(change=change):
                self.assertExit(saggar("run", DEMO, "--set", change, "--out", self.out), 2)
                self.assertFalse(self.out.exists())

    def test_missing_far_side_exits_3(self):
        self.assertExit(saggar("run", DEMO, *SHORT, "--controller", "library:" + str(self.scratch / "none.so"), "--out", self.out), 3)

    def test_check_describes_and_refuses(self):
        for path in sorted(SCENARIOS.rglob("*.yaml")):
            done = saggar("check", path)
            self.assertExit(done, 0)
            self.assertGreater(len(done.stdout), 200)
        self.assertExit(saggar("check", self.scratch / "none.yaml"), 2, "none.yaml")

    def test_check_gives_the_data_sheet_of_a_furnace(self):
        path = SCENARIOS.parent / "furnaces" / "retort_12l.yaml"
        plain, as_json = saggar("check", path), saggar("check", "--json", path)
        self.assertExit(plain, 0, "headroom")
        self.assertIn("simply supported", plain.stdout)
        self.assertNotIn("warning", plain.stderr)
        sheet = json.loads(as_json.stdout)
        self.assertEqual([level["heater_side_degc"] for level in sheet["heat"]["levels"]], [200, 400, 600, 800])
        self.assertEqual(sheet["gas"]["oxygen"]["to_ppm"], [1000, 100, 10])
        changed = self.scratch / "odd.yaml"
        changed.write_text(path.read_text().replace("emissivity: 0.75           # recalled\n  material:                  # ceramic",
                                                    "emissivity: 0.15\n  material:  # ceramic"))
        odd = saggar("check", "--json", changed)
        self.assertExit(odd, 0)
        self.assertRegex(odd.stderr, r"odd\.yaml:\d+:15: `lining\.emissivity` comes to 0\.15, outside 0\.35 to 0\.95")
        self.assertEqual([one["key"] for one in json.loads(odd.stdout)["remarks"]], ["lining.emissivity"])
        self.assertExit(saggar("check", "--json", DEMO), 2, "furnace files")

    def test_tune_gives_the_gains_of_a_published_example(self):
        process = ROOT / "configs" / "processes" / "simc_e9.yaml"
        done = saggar("tune", "--process", process, "--rule", "simc", "--controller", "pid", "--json")
        self.assertEqual(done.returncode, 0, done.stderr)
        simc = json.loads(done.stdout)["candidates"][0]
        # Skogestad 2003, table 4, E9: Kc 0.5, tauI 1, tauD 1 in the series form, Ms 1.59
        self.assertAlmostEqual(simc["gains"]["series"]["gain"]["value"], 0.5)
        self.assertAlmostEqual(simc["gains"]["gain"]["value"], 1.0)
        self.assertAlmostEqual(simc["margins"]["Ms"], 1.59, places=2)
        given = saggar("tune", "--process", process, "--gains", "0.5, 1 s, 1 s", "--form", "series", "--json")
        self.assertAlmostEqual(json.loads(given.stdout)["candidates"][0]["margins"]["Ms"], simc["margins"]["Ms"])
        wild = saggar("tune", "--process", process, "--gains", "50, 1 s")
        self.assertEqual((wild.returncode, "unstable" in wild.stdout), (1, True))

    def test_tune_looks_at_the_benchs_own_loop(self):
        done = saggar("tune", DEMO, "--loop", "heat.1", "--at", "150 degC", "--settle", "30 min", "--rule", "simc")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertRegex(done.stdout, r"held at 150\.\d degC")
        self.assertRegex(done.stdout, r"(?m)^. set 2 +pi +0\.015 +900 ")
        apart = re.search(r"([\d.]+) % apart at most", done.stdout)
        self.assertLess(float(apart[1]), 1.0)

    def test_tune_takes_a_record_or_says_which_test_to_run(self):
        with tempfile.TemporaryDirectory() as folder:
            steps, still = pathlib.Path(folder, "steps.csv"), pathlib.Path(folder, "still.csv")
            rows, value = ["time [s],power [1],temperature [degC]"], 0.0
            for k in range(600):       # 120 K behind 300 s and ten rows of 2 s
                rows.append(f"{2 * k},{0.1 if k < 100 else 0.2},{20 + value + 0.05 * math.sin(k * k):.2f}")
                value += (1.0 - math.exp(-2.0 / 300.0)) * ((12.0 if k >= 110 else 0.0) - value)
            steps.write_text("\n".join(rows) + "\n")
            still.write_text("\n".join([rows[0]] + [row.replace(",0.2,", ",0.1,") for row in rows[1:]]) + "\n")
            done = saggar("tune", "--record", steps, "--input", "power", "--output", "temperature", "--period", "1 s", "--rule", "simc")
            self.assertEqual(done.returncode, 0, done.stderr)
            gain, low, high = map(float, re.search(r"gain +([\d.]+) degC per 1 \(([\d.]+) to ([\d.]+)\)", done.stdout).groups())
            self.assertTrue(low < 120.0 < high and abs(gain - 120.0) < 2.0, done.stdout)
            self.assertIn("Gains of the ISA form, 1/K", done.stdout)
            self.assertIn("kill", done.stdout)                               # its caution
            given = saggar("tune", "--record", steps, "--input", "power", "--output", "temperature", "--gains", "0.03, 300 s", "--json")
            self.assertEqual([one["gains"]["gain"]["value"] for one in json.loads(given.stdout)["candidates"]], [0.03])
            refused = saggar("tune", "--record", still, "--input", "power", "--output", "temperature")
            self.assertEqual((refused.returncode, "Step the input" in refused.stdout), (1, True), refused.stdout)
            refused = saggar("tune", "--record", still, "--input", "power", "--output", "temperature", "--json")
            self.assertEqual((refused.stdout, "Step the input" in refused.stderr), ("", True))
            self.assertEqual(saggar("tune", "--record", steps, "--input", "power").returncode, 2)

    def test_tune_says_what_it_cannot_do(self):
        for arguments, words in ((["--process", "configs/none.yaml"], "none.yaml"), ([], "--process or --record is wanted"),
                                 ([DEMO, "--loop", "heat.1"], "--at"), ([DEMO, "--loop", "flow", "--at", "150 degC"], "heat.1"),
                                 ([DEMO, "--loop", "heat.1", "--at", "150 K"], "--at"),
                                 ([DEMO, "--loop", "heat.3", "--at", "150 degC"], "1 zone"),
                                 (["--process", ROOT / "configs/processes/simc_e9.yaml", "--loop", "heat.1"], "--loop"),
                                 (["--process", ROOT / "configs/processes/simc_e9.yaml", "--rule", "simk"], "simc")):
            done = saggar("tune", *arguments)
            self.assertEqual((done.returncode, words in done.stderr), (2, True), (arguments, done.stderr))

    def test_fit_finds_a_hidden_valve_and_writes_the_furnace(self):
        furnace = ROOT / "configs" / "furnaces" / "retort_12l.yaml"
        with tempfile.TemporaryDirectory() as folder:
            log, out = pathlib.Path(folder, "log"), pathlib.Path(folder, "out")
            hidden = ["--set", "run.at_most=80 min", "--set", "furnace.back_pressure_valve.area=4.6 mm2"]
            saggar("run", DEMO, "--quiet", "--out", log, *hidden)
            done = saggar("fit", log, furnace, "--fit", "back_pressure_valve.area", "--gas", "argon", "--json", "--out", out)
            self.assertEqual(done.returncode, 0, done.stderr)
            valve = json.loads(done.stdout)["parameters"][0]
            self.assertEqual((valve["key"], valve["before"]), ("back_pressure_valve.area", 4e-6))
            self.assertLess(valve["low_95"], 4.6e-6)
            self.assertGreater(valve["high_95"], 4.6e-6)
            self.assertLess(abs(valve["after"] - 4.6e-6), 0.01e-6)
            self.assertEqual(sorted(path.name for path in out.iterdir()), ["fit.html", "fit.json", "retort_12l.yaml"])
            text, page = (out / "retort_12l.yaml").read_text(), (out / "fit.html").read_text()
            self.assertEqual(len(text.splitlines()), len(furnace.read_text().splitlines()))
            self.assertIn("opens to seven tenths; fitted to", text)          # the comment that stood there stays
            self.assertIn("kill", page)                                      # its caution
            self.assertEqual(set(re.findall(r"https?://([a-z.]+)", page)), {"github.com", "opensource.org"})   # of licences, no requests
            again = saggar("fit", log, out / "retort_12l.yaml", "--fit", "back_pressure_valve.area", "--gas", "argon", "--json")
            self.assertLess(abs(json.loads(again.stdout)["parameters"][0]["after"] - valve["after"]), 0.001e-6)
            for arguments, words in (([log, furnace, "--fit", "back_pressure_valve.aera"], "back_pressure_valve.area"),
                                     ([log, furnace, "--gas", "neon"], "argon"), ([log / "none.csv", furnace], "none.csv"),
                                     ([furnace, furnace], "retort_12l.yaml:1")):
                refused = saggar("fit", *arguments)
                self.assertEqual((refused.returncode, words in refused.stderr), (2, True), (arguments, refused.stderr))

    def test_gases_give_the_table_of_conversion_factors(self):
        plain, as_json = saggar("gases"), saggar("gases", "--json")
        self.assertExit(plain, 0, "argon with 4 % hydrogen")
        self.assertExit(as_json, 0)
        gases = {gas["formula"]: gas for gas in json.loads(as_json.stdout)["gases"]}
        self.assertGreaterEqual(sum("class" in gas for gas in gases.values()), 30)
        self.assertEqual(gases["Ar"]["class"], "monatomic")
        # s cp(N2) / cp with cp(Ar) = 2.5 R and the printed cp of nitrogen at 0 degC
        self.assertAlmostEqual(gases["Ar"]["factor"], 1.03 * 29.1156 / (2.5 * 8.314462618), places=4)
        self.assertTrue(all(gas["source"].startswith(("published", "derived")) for gas in gases.values()))

    def test_registers_give_both_maps_in_three_forms(self):
        plain, markdown, csv = saggar("registers"), saggar("registers", "--markdown"), saggar("registers", "--csv")
        for done in (plain, markdown, csv):
            self.assertExit(done, 0, "heat.1.pv")
            self.assertIn("supervisory", done.stdout)
        rows = csv.stdout.splitlines()
        self.assertEqual(rows[0], "line,address,type,access,name,unit,meaning")
        # The field line's map stands in DEVELOPERS.md: 54 registers read from 0, 18 written from 0x100.
        self.assertTrue(any(row.startswith("field,0x0034,f32,read,channel.current_4,mA") for row in rows))
        self.assertTrue(any(row.startswith("field,0x0110,f32,write,output.back_pressure_valve,1") for row in rows))
        self.assertEqual(len(rows), len({row.split(",")[0] + row.split(",")[1] for row in rows[1:]}) + 1, "an address twice")

    def test_faults_lists_every_kind(self):
        self.assertExit(saggar("faults"), 0, "supply_exhausted")
        self.assertTrue(saggar("faults", "--csv").stdout.startswith("kind,parameter,unit,preset,low,high\n"))


class Runs(ProgramCase):
    def test_leaves_the_files_it_should(self):
        self.assertIn(saggar("run", DEMO, *SHORT, "--out", self.out, "--quiet").returncode, (0, 1))
        self.assertLessEqual({"summary.json", "trace.csv", "events.csv", "junit.xml", "moments.csv", "report.html", "resolved.yaml",
                              "tape"}, set(files_of(self.out)))
        summary = summary_of(self.out)
        self.assertAlmostEqual(summary["simulated_s"], 1200.0, delta=0.2)
        self.assertEqual(summary["ticks"], round(summary["simulated_s"] / 0.1))
        self.assertTrue((self.out / "trace.csv").read_text().startswith("time [s],"))

    def test_says_the_summary_on_standard_output_when_asked(self):
        done = saggar("run", DEMO, *SHORT, "--out", self.out, "--json")
        self.assertEqual(json.loads(done.stdout), summary_of(self.out))

    def test_same_input_and_seed_give_the_same_files(self):
        for name in ("a", "b"):
            saggar("run", DEMO, *SHORT, "--seed", 7, "--out", self.scratch / name)
        self.assertSameRun(self.scratch / "a", self.scratch / "b")
        saggar("run", DEMO, *SHORT, "--seed", 8, "--out", self.scratch / "c")
        self.assertNotEqual(summary_of(self.scratch / "a")["hash"], summary_of(self.scratch / "c")["hash"])

    def test_resolved_file_repeats_the_run(self):
        saggar("run", DEMO, *SHORT, "--out", self.scratch / "a")
        saggar("run", self.scratch / "a" / "resolved.yaml", "--out", self.scratch / "b")
        self.assertEqual(summary_of(self.scratch / "a")["hash"], summary_of(self.scratch / "b")["hash"])

    def test_core_in_a_shared_library_sends_the_same_bytes(self):
        saggar("run", DEMO, *SHORT, "--out", self.scratch / "host")
        saggar("run", DEMO, *SHORT, "--controller", "library:" + LIBRARY, "--out", self.scratch / "library")
        self.assertEqual(summary_of(self.scratch / "host")["hash"], summary_of(self.scratch / "library")["hash"])

    def test_number_of_jobs_changes_nothing(self):
        for jobs in (1, 2):
            done = saggar("run", SCENARIOS, *SHORT, "--jobs", jobs, "--out", self.scratch / str(jobs))
            self.assertIn(done.returncode, (0, 1), done.stderr)
        names = sorted(path.parent.relative_to(self.scratch / "1").as_posix() for path in (self.scratch / "1").rglob("tape"))
        self.assertEqual(names, sorted(path.relative_to(SCENARIOS).with_suffix("").as_posix() for path in SCENARIOS.rglob("*.yaml")))
        for name in names:
            self.assertSameRun(self.scratch / "1" / name, self.scratch / "2" / name)

    def test_replay_finds_nothing_in_a_sound_tape_and_the_place_in_a_changed_one(self):
        saggar("run", DEMO, *SHORT, "--out", self.out)
        self.assertExit(saggar("replay", self.out), 0)
        tape = bytearray((self.out / "tape").read_bytes())
        tape[len(tape) * 3 // 4] ^= 0x10
        (self.out / "tape").write_bytes(tape)
        self.assertIn(saggar("replay", self.out).returncode, (2, 4))

    def test_report_is_made_again_as_it_was(self):
        saggar("run", DEMO, *SHORT, "--out", self.out)
        before = (self.out / "report.html").read_bytes()
        (self.out / "report.html").unlink()
        self.assertExit(saggar("report", self.out), 0)
        self.assertTrue((self.out / "report.html").read_bytes() == before)

    def test_report_of_nothing_exits_2(self):
        self.assertExit(saggar("report", self.scratch / "none"), 2)
        self.assertExit(saggar("replay", self.scratch / "none"), 2)


class Breakdowns(ProgramCase):
    def assertNothingHalfWritten(self, folder):
        """Every file there is whole: nothing temporary, JSON parses, CSV ends with a line end."""
        for name, content in files_of(folder).items():
            self.assertNotRegex(name, r"(tmp|temp|part|~)")
            if name == "summary.json":
                json.loads(content)
            if name.endswith((".csv", ".xml", ".html", ".yaml")):
                self.assertTrue(content.endswith(b"\n"), name)

    def test_unwritable_directory_exits_3(self):
        (self.scratch / "file").write_text("not a folder\n")
        self.assertExit(saggar("run", DEMO, *SHORT, "--out", self.scratch / "file" / "out"), 3, "file/out")
        self.assertExit(saggar("run", DEMO, *SHORT, "--out", "/proc/nowhere"), 3, "/proc/nowhere")

    def test_full_disk_exits_3_and_leaves_nothing_half_written(self):
        with self.small_disk() as (folder, options):
            done = saggar("run", DEMO, *SHORT, "--out", folder / "out", **options)
            self.assertExit(done, 3, "the disk is full|too large|can't write")
            if (folder / "out").exists():
                self.assertNothingHalfWritten(folder / "out")
                self.assertFalse((folder / "out" / "summary.json").exists() and (folder / "out" / "report.html").exists())

    @contextlib.contextmanager
    def small_disk(self):
        """A file system of 64 KiB if one may be mounted, else a limit on the size of a file."""
        folder = self.scratch / "disk"
        folder.mkdir()
        mounted = os.geteuid() == 0 and shutil.which("mount") and subprocess.run(
            ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)], capture_output=True).returncode == 0
        if mounted:
            try:
                yield folder, {}
            finally:
                subprocess.run(["umount", str(folder)], check=True)
        else:
            def limit():
                signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
                resource.setrlimit(resource.RLIMIT_FSIZE, (65536, 65536))
            yield folder, {"preexec_fn": limit}

    def test_interrupt_leaves_valid_partial_results(self):
        process = subprocess.Popen([PROGRAM, "run", str(DEMO), "--out", str(self.out)], stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True)
        for _ in range(1000):            # a loaded machine takes its time to begin
            if self.out.exists():
                break
            time.sleep(0.02)
        time.sleep(0.2)
        process.send_signal(signal.SIGINT)
        text, errors = process.communicate(timeout=60)
        self.assertEqual(process.returncode, 130, text + errors)
        summary = summary_of(self.out)
        self.assertEqual(summary["verdict"], "broken")
        self.assertGreater(summary["ticks"], 0)
        self.assertNothingHalfWritten(self.out)
        rows = (self.out / "trace.csv").read_text().splitlines()
        self.assertGreater(len(rows), 2)
        self.assertEqual({row.count(",") for row in rows}, {rows[0].count(",")})
        self.assertLessEqual(float(rows[-1].split(",")[0]), summary["simulated_s"])


if __name__ == "__main__":
    PROGRAM, LIBRARY = sys.argv[1], sys.argv[2]
    unittest.main(argv=sys.argv[:1] + sys.argv[3:])
