#!/usr/bin/env python3
"""The sabotage of parameters and programme: what it takes away, and that it tells an expectation that checks something from one that
does not.

    sabotage_test.py SAGGAR
"""
import concurrent.futures
import importlib.machinery
import importlib.util
import pathlib
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SAGGAR = ""
sys.dont_write_bytecode = True
LOADER = importlib.machinery.SourceFileLoader("sabotage", str(ROOT / "tools" / "sabotage"))
SPEC = importlib.util.spec_from_loader("sabotage", LOADER)
sabotage = importlib.util.module_from_spec(SPEC)
LOADER.exec_module(sabotage)

# The demand may rise by 0.01 a second while the zone is below 100 degC, and 0.3 is as much as the ramp may ask for; full power asks for
# more within half a minute. "no demand beyond full" is true of anything.
SCENARIO = """title: a soft start and a power limit
furnace: FURNACES/chamber_air_12l.yaml
controller: controller.yaml
run: {at_most: 1 min}
programme:
  - name: ramp up
    ramp: {to: 500 degC, rate: 60 K/min, power_limit: 0.3}
  - name: soak
    soak: {for: 1 h, within: 5 K, counted_on: heater, timeout: 130 min}
  - name: end
    end:
expectations:
  - name: soft start
    always: heat.1.out < 0.205
    to: 20 s
  - name: power limit
    always: heat.1.out < 0.301
  - name: no demand beyond full
    always: heat.1.out < 1.1
"""
CONTROLLER = """title: soft start
heat:
  gains: {1: {gain: 0.1 1/K}}
  soft_start_below: 100 degC
  soft_start_rate: 0.01 1/s
limits: {response_window: 3 min}
"""


class Sabotage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        folder = pathlib.Path(cls.scratch.name)
        (folder / "controller.yaml").write_text(CONTROLLER)
        (folder / "short.yaml").write_text(SCENARIO.replace("FURNACES", str(ROOT / "configs" / "furnaces")))
        cls.bench = sabotage.Bench(SAGGAR, folder, folder)
        cls.summary, cls.resolved = cls.bench.run("base", folder / "short.yaml")
        cls.preset = sabotage.presets(cls.bench)

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def broken(self, label, text, changes):
        summary, words = self.bench.run(label, self.bench.derive(label, text, []), changes)
        self.assertIsNotNone(summary, words)
        return sabotage.compared(self.summary, summary)[0]

    def test_the_scenario_holds(self):
        self.assertEqual(self.summary["verdict"], "pass")

    def test_reads_nested_values(self):
        self.assertEqual(sabotage.values_of(["  title: a: b", "  heat:", "    gains:", "      1:", "        gain: 2 1/K", "    rate: 3 s",
                                             "  limits:", "    hot: 5 degC"]),
                         {"title": "a: b", "heat.gains.1.gain": "2 1/K", "heat.rate": "3 s", "limits.hot": "5 degC"})

    def test_knows_every_parameter_of_the_core_by_its_preset(self):
        table = {line.split(",")[4] for line in self.bench.tell("registers", "--csv").splitlines() if line.startswith("supervisory,0x1")}
        self.assertGreater(len(table), 100)
        self.assertEqual(table - set(self.preset), set())

    def test_puts_to_its_preset_what_the_file_gives_and_nothing_else(self):
        changes = {}
        for _, faults, change in sabotage.parameter_sabotages(self.resolved, self.preset):
            self.assertEqual(faults, [])
            changes.update(change)
        self.assertEqual(changes, {"controller.heat.gains.1.gain": "0.02 1/K", "controller.heat.soft_start_below": "0 degC",
                                   "controller.heat.soft_start_rate": "0.005 1/s", "controller.limits.response_window": "900 s"})

    def test_a_soft_start_that_is_not_there_is_noticed(self):
        flips = {what.split()[0]: self.broken(f"parameter-{n}", self.resolved, changes)
                 for n, (what, _, changes) in enumerate(sabotage.parameter_sabotages(self.resolved, self.preset))}
        self.assertEqual({what: names for what, names in flips.items() if names}, {"heat.soft_start_below": ["soft start"]})

    def test_leaves_out_each_value_of_a_segment(self):
        left_out = dict(sabotage.programme_sabotages(self.resolved))
        self.assertEqual(list(left_out), ["to left out of ramp up", "rate left out of ramp up", "power_limit left out of ramp up",
                                          "for left out of soak", "within left out of soak", "counted_on left out of soak",
                                          "timeout left out of soak"])
        lines = self.resolved.splitlines()
        for what, text in left_out.items():
            gone = [line for line in lines if line not in text.splitlines()]
            self.assertEqual(len(lines) - len(text.splitlines()), 1, what)
            self.assertEqual([line.strip().partition(":")[0] for line in gone], [what.split()[0]])
        self.assertEqual(self.broken("without-limit", left_out["power_limit left out of ramp up"], {}), ["power limit"])

    def test_strikes_at_once_where_something_is_judged_in_the_first_minute(self):
        self.assertIn("    to: 20 s\n", self.resolved)
        self.assertEqual([name for name, _ in sabotage.moments_of("short", self.resolved)][:2], ["at once", "early"])
        later = self.resolved.replace("    to: 20 s\n", "    to: 90 s\n")
        self.assertEqual(sabotage.moments_of("short", later), sabotage.MOMENTS)

    def test_changes_every_scenario_once_in_as_many_turns_as_there_are_shares(self):
        every = sorted(sabotage.SCENARIOS.rglob("*.yaml"))
        cycles = [path for path in every if path.parent.name == "cycles"]
        turned = []
        for turn in range(24, 48):
            chosen = sabotage.chosen_of(every, ["cycles/*"], sabotage.share(f"{turn}/24"))
            self.assertLessEqual(set(cycles), set(chosen))
            turned += [path for path in chosen if path not in cycles]
        self.assertEqual(sorted(turned + cycles), every)
        self.assertEqual(sabotage.chosen_of(every, ["cycles/*"], None), cycles)
        for text in ("7", "7/0", "-1/24", "a/b"):
            with self.assertRaises(sabotage.argparse.ArgumentTypeError):
                sabotage.share(text)

    def test_tells_the_expectation_that_nothing_flips(self):
        kept = sabotage.fault_sabotages, sabotage.WRONG
        sabotage.fault_sabotages, sabotage.WRONG = (lambda *_: iter(())), []
        try:
            matrix, bases = sabotage.Matrix(), {"short": (self.summary, self.resolved)}
            with concurrent.futures.ThreadPoolExecutor(2) as pool:
                sabotage.every_change(self.bench, pool, matrix, bases)
        finally:
            sabotage.fault_sabotages, sabotage.WRONG = kept
        self.assertEqual(sabotage.unflipped(matrix, bases), ["short: nothing flips 'no demand beyond full'"])


if __name__ == "__main__":
    SAGGAR = sys.argv.pop(1)
    unittest.main()
