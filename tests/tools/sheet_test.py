#!/usr/bin/env python3
"""The operating sheet from outside: every number on it is looked up again where it says it comes from, by means of this file's own.

    sheet_test.py SAGGAR
"""
import csv
import html.parser
import json
import math
import pathlib
import re
import statistics
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
SCENARIOS = ROOT / "configs" / "scenarios"
DEMO = SCENARIOS / "cycles" / "titanium_stress_relief.yaml"
PROGRAM = ""
# the demo in little: every segment of it, an hour and a half instead of eighteen
SHORT = ["programme.ramp to dry.ramp.to=60 degC", "programme.dry out.wait.for=2 min", "programme.ramp to stress relief.ramp.to=90 degC",
         "programme.soak.soak.for=3 min", "programme.soak.soak.within=25 K", "programme.cool.cool.load_below=85 degC", "run.settle=1 min"]
# no number of the programme, of the limits or of the furnace that stands on a sheet is as it was
OTHER = ["programme.first evacuation.evacuate.below=21 Pa abs", "programme.first evacuation.evacuate.timeout=17 min",
         "programme.leak test.leak_test.rise_below=27 Pa/min", "programme.leak test.leak_test.for=4 min",
         "programme.backfill.backfill.to=4.3 kPa gauge", "programme.purge.purge.volumes=2.5", "programme.purge.purge.flow=4.7 slm",
         "programme.purge.purge.to=4.3 kPa gauge", "programme.hold.wait.flow=0.7 slm", "programme.hold.wait.back_pressure=4.3 kPa gauge",
         "programme.ramp to dry.ramp.rate=4 K/min", "programme.soak.soak.within=28 K", "programme.cool.cool.load_below=83 degC",
         "controller.limits.zone_trip=855 degC", "controller.limits.load_trip=833 degC", "controller.limits.pressure_trip=8.2 kPa gauge",
         "controller.limits.pressure_low=2.2 kPa gauge", "controller.limits.oxygen_heat=23 ppm", "controller.limits.oxygen_trip=230 ppm",
         "controller.limits.response_window=190 s", "controller.limits.current_off=1.1 A", "controller.limits.bypass_min=320 Pa gauge",
         "controller.unit.chamber_volume=14.5 L", "controller.atmosphere.pump_spin_up=6 s", "furnace.limiter.trip=910 degC",
         "furnace.relief.set=15.5 kPa gauge", "furnace.load.mass=0.6 kg", "furnace.leak=0.0002 Pa m3/s", "furnace.purge.flow=1.1 slm",
         "furnace.supply.regulated=41 kPa gauge", "furnace.surroundings.barometer=99 kPa abs", "furnace.surroundings.ambient=22 degC",
         "furnace.initial.furnace=22 degC", "furnace.initial.pressure=99 kPa abs"]


def saggar(*arguments):
    return subprocess.run([PROGRAM, *map(str, arguments)], capture_output=True, text=True, timeout=280)


# --- the page ---

class Page(html.parser.HTMLParser):
    """All text of the body outside <data>, and the <data> elements."""

    def __init__(self, text):
        super().__init__()
        self.outside, self.data, self.inside, self.silent = [], [], None, None
        self.feed(text[text.index("<body>"):])

    def handle_starttag(self, tag, attributes):
        if tag == "data":
            self.inside = dict(attributes, text="")
            self.data.append(self.inside)
        elif tag in ("style", "script"):
            self.silent = tag

    def handle_endtag(self, tag):
        if tag == "data":
            self.inside = None
        elif tag == self.silent:
            self.silent = None

    def handle_data(self, text):
        if self.inside is not None:
            self.inside["text"] += text
        elif self.silent is None:
            self.outside.append(text)


# --- what a run left, read with nothing of the program's ---

def scalar(text):
    text = text.strip()
    return json.loads(text) if text.startswith('"') else text


def yaml_of(lines, indent=0):
    """The part of YAML in which resolved.yaml is written: maps and lists by indentation."""
    listed, mapped = [], {}
    while lines:
        depth = len(lines[0]) - len(lines[0].lstrip(" "))
        if depth < indent:
            break
        line = lines[0][depth:]
        if line.startswith("- "):
            lines[0] = " " * (depth + 2) + line[2:]
            listed.append(yaml_of(lines, depth + 2))
            continue
        key, _, value = line.partition(":")
        lines.pop(0)
        below = len(lines[0]) - len(lines[0].lstrip(" ")) if lines else 0
        nested = bool(lines) and not value.strip() and below > depth
        mapped[scalar(key)] = yaml_of(lines, below) if nested else scalar(value)
    return listed or mapped


class Run:
    def __init__(self, folder):
        self.folder = folder
        self.summary = json.loads((folder / "summary.json").read_text())
        text = (folder / "resolved.yaml").read_text().splitlines()
        self.resolved = yaml_of([line for line in text if line.strip() and not line.lstrip().startswith("#")])
        with open(folder / "trace.csv", newline="") as file:
            header, *rows = list(csv.reader(file))
        self.column = {name.rpartition(" [")[0]: (place, name.rpartition(" [")[2][:-1]) for place, name in enumerate(header)}
        self.rows = [[float(cell) if cell else math.nan for cell in row] for row in rows]
        self.complete = self.series("programme.state")[-1][1] == 7.0
        self.names = [item["name"] for item in self.resolved["programme"]]
        stretches = self.summary["segments"]
        self.passages = [(self.names.index(one["name"]), one["from_s"], one["to_s"], self.complete or place + 1 < len(stretches))
                         for place, one in enumerate(stretches)]

    def series(self, signal):
        place = self.column[signal][0]
        return [(row[0], row[place]) for row in self.rows if not math.isnan(row[place])]

    def at(self, path):
        node = self.resolved
        for step in path.split("."):
            node = node[int(step)] if isinstance(node, list) else node[step]
        return node

    def number_at(self, path):
        """(value, unit); rates of pressure and temperature per minute."""
        text = self.at(path)
        number, _, unit = text.partition(" ")
        value = float(number)
        return (value * 60.0, unit[:-1] + "min") if unit in ("Pa/s", "K/s") else (value, unit or "1")

    def si(self, path):
        return self.number_at(path)[0]


def of_rows(values, which):
    return {"first": values[0], "last": values[-1], "low": min(values), "high": max(values)}[which]


def trace_values(run, parts):
    signal = parts[1]
    if signal not in run.column:
        return []
    series = run.series(signal)
    if parts[2] == "run":
        return [of_rows([value for _, value in series], parts[3])]
    if parts[2] == "after":
        end = run.passages[-1][2]
        return [of_rows([value for time, value in series if time >= end - 1e-6], parts[3])]
    counted = [time for time, value in run.series("programme.soak_counted") if value > 0.0]
    found = []
    for segment, begin, end, left in run.passages:
        if segment != int(parts[3]) or not left:
            continue
        values = [value for time, value in series if begin - 1e-6 <= time < end - 1e-6]
        if parts[4] == "next":
            values = [next(value for time, value in series if time >= end - 1e-6)]
            found.append(values[0])
        elif parts[4].startswith("counted_"):
            times = set(counted)
            values = [value for time, value in series if begin - 1e-6 <= time < end - 1e-6 and time in times]
            found.append(of_rows(values, parts[4][8:]))
        else:
            found.append(of_rows(values, parts[4]))
    return found


def time_values(run, which):
    if which == "run":
        return [run.passages[-1][2] - run.passages[0][1]]
    if which == "after":
        return [run.summary["simulated_s"] - run.passages[-1][2]]
    if which == "ended":
        return [] if run.complete else [run.passages[-1][2] - run.passages[-1][1]]
    return [end - begin for segment, begin, end, left in run.passages if segment == int(which) and left]


def gas_of(run, what):
    """Litres at 0 degC and 101.325 kPa; R is CODATA 2018."""
    used = run.series("plant.gas_used")
    whole = used[-1][1] + run.series("plant.purge_used")[-1][1]
    longest, cooling = whole, 0.0
    for segment, begin, end, _ in run.passages:
        item = run.resolved["programme"][segment]
        kind = next(key for key in item if key != "name")
        keys = item[kind] if isinstance(item[kind], dict) else {}
        preset = {"evacuate": "evacuate_timeout", "backfill": "backfill_timeout", "purge": "purge_timeout"}.get(kind)
        most = float(keys["timeout"].split()[0]) if "timeout" in keys else run.si("controller.atmosphere." + preset) if preset else 0.0
        inside = [value for time, value in used if begin - 1e-6 <= time < end - 1e-6]
        behind = next((value for time, value in used if time >= end - 1e-6), inside[-1])
        if most > end - begin:
            longest += (behind - inside[0]) * (most / (end - begin) - 1.0)
        cooling += end - begin if kind == "cool" else 0.0
    cooling = cooling or run.summary["simulated_s"] - run.passages[-1][2]
    reserve = run.si("furnace.purge.flow") * cooling / 60.0
    moles = (longest + reserve) * 0.001 * 101325.0 / (8.31446261815324 * 273.15)
    cylinder = moles * 8.31446261815324 * (run.si("furnace.surroundings.ambient") + 273.15) * 1000.0
    return {"gas_used": whole, "gas_longest": longest, "gas_reserve": reserve, "gas": longest + reserve, "cylinder": cylinder}[what]


def looked_up(runs, path):
    """The values that the path stands for, and their unit where it can be known."""
    parts = path.split("/")
    if parts[0] == "scenario":
        found = [run.number_at(parts[1]) for run in runs]
        return [value for value, _ in found], found[0][1]
    if parts[0] == "trace":
        return [value for run in runs for value in trace_values(run, parts)], runs[0].column[parts[1]][1]
    if parts[0] == "time":
        return [value for run in runs for value in time_values(run, parts[1])], "s"
    if parts[0] == "summary":
        return [run.summary["totals"][parts[1].removeprefix("totals.")] for run in runs], ""
    if parts[0] == "provide":
        return [gas_of(run, parts[1]) for run in runs], "Pa L" if parts[1] == "cylinder" else "sL"
    return {"constant/standard_degc": ([0.0], "degC"), "constant/standard_pa": ([101325.0], "Pa abs"),
            "count/runs": ([float(len(runs))], "1")}[path]


def word_of(runs, path):
    kind, number, key = (path.split("/") + ["", ""])[:3]
    if kind == "scenario":
        return runs[0].at(number)
    if kind == "zone":
        return None
    if kind == "action":
        name, value = next(iter(runs[0].resolved["actions"][int(number)].items()))
        return (name + " " + value).strip()
    run = runs[int(number)]
    summary = run.summary
    return {"seed": str(summary["seed"]), "verdict": summary["verdict"], "hash": summary["hash"]["trace"], "folder": run.folder.name,
            "scenario": summary["scenario"], "controller": summary["controller"], "saggar": summary["saggar"],
            "ended_in": run.names[run.passages[-1][0]], "ended_by": None}[key]


def shown_right(text, value, unit):
    """Whether the text says the value, to the digits it has: in the unit, or with k for Pa; times as h:mm:ss."""
    if unit in ("s", "ms"):
        hours, minutes, seconds = text.split(":")
        whole = value / 1000.0 if unit == "ms" else value
        return int(hours) * 3600 + int(minutes) * 60 + int(seconds) == math.floor(whole + 1e-6) and len(minutes) == len(seconds) == 2
    number, _, name = text.partition(" ")
    digits = len(number.partition(".")[2])
    factors = {unit: 1.0, "k" + unit: 1e-3, "": 1.0} if unit.startswith("Pa") else {unit: 1.0, "": 1.0}
    if unit == "Pa L":                       # three digits, rounded up
        seen = value * 1e-3
        return name == "kPa L" and seen <= float(number) <= seen + 10.0 ** (math.floor(math.log10(seen)) - 2)
    if name and name not in factors:
        return False
    tries = [factors[name]] if name else ([1.0, 1e-3] if unit.startswith("Pa") else [1.0])
    return any(abs(float(number) - value * factor) <= 0.5001 * 10.0 ** -digits for factor in tries)


# ISO 80000 and NIST SP 811: conventional millimetre of water, torr, degree Fahrenheit; an hour has 60 min
CHOSEN = {"Pa gauge": ("mmH2O gauge", lambda pa: pa / 9.80665), "Pa abs": ("Torr abs", lambda pa: pa * 760.0 / 101325.0),
          "Pa": ("mmH2O", lambda pa: pa / 9.80665), "Pa/min": ("mmH2O/min", lambda pa: pa / 9.80665),
          "degC": ("degF", lambda degc: 1.8 * degc + 32.0), "K": ("degF diff", lambda kelvin: 1.8 * kelvin),
          "K/min": ("degF/min", lambda kelvin: 1.8 * kelvin), "slm": ("sL/h", lambda slm: 60.0 * slm),
          "Pa L": ("mmH2O L", lambda pa: pa / 9.80665)}
UNITS = "pressure=mmH2O gauge,vacuum=Torr abs,flow=sL/h,temperature=degF"


def shown_chosen(text, value, unit):
    """The same in the units of UNITS: `30.2 mmH2O gauge (296 Pa gauge)`, or the number alone."""
    if unit not in CHOSEN:
        return shown_right(text, value, unit)
    chosen, _, recorded = text.partition(" (")
    number, _, name = chosen.partition(" ")
    unit_text, convert = CHOSEN[unit]
    seen, digits = convert(value), len(number.partition(".")[2])
    slack = 10.0 ** (math.floor(math.log10(abs(seen) or 1.0)) - 2) if unit == "Pa L" else 0.5001 * 10.0 ** -digits
    right = abs(float(number) - seen) <= slack and name in ("", unit_text)
    return right and (not recorded or shown_right(recorded.rstrip(")"), value, unit))


def defects(text, runs, shown=shown_right):
    """What is wrong with a sheet, in words."""
    page = Page(text)
    found = [f"a typed number: {one.strip()!r}" for one in page.outside if re.search(r"\d", one)]
    for one in page.data:
        path = one["data-from"]
        if "data-unit" not in one:
            wanted = word_of(runs, path)
            if wanted is not None and not one["value"] == one["text"] == wanted:
                found.append(f"{path}: {one['text']!r}, there {wanted!r}")
            continue
        values, unit = looked_up(runs, path)
        if not values:
            found.append(f"{path}: nothing is there")
            continue
        over = {"median": statistics.median, "lowest": min, "highest": max}[one["data-over"]]
        value = float(one["value"])
        if abs(over(values) - value) > 1e-6 * abs(value) + 1e-9:
            found.append(f"{path}: {value}, there {over(values)}")
        if unit not in ("", one["data-unit"]) and unit + " abs" != one["data-unit"]:
            found.append(f"{path}: in {one['data-unit']}, there {unit}")
        if not shown(one["text"], value, one["data-unit"]):
            found.append(f"{path}: {one['text']!r} for {value} {one['data-unit']}")
    return found


def texts_of(text):
    return {(one["data-from"], one.get("data-over")): one["text"] for one in Page(text).data}


# --- tests ---

class Sheets(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        place = tempfile.TemporaryDirectory()
        cls.addClassCleanup(place.cleanup)
        cls.place = pathlib.Path(place.name)
        cls.plain = cls.run_to("plain", DEMO, SHORT)
        cls.seeded = cls.run_to("seeded", DEMO, SHORT + ["seed=5", "furnace.load.mass=0.8 kg"])
        cls.other = cls.run_to("other", DEMO, SHORT + OTHER)

    @classmethod
    def run_to(cls, name, scenario, changes):
        options = [word for change in changes for word in ("--set", change)]
        done = saggar("run", scenario, "--quiet", "--out", cls.place / name, *options)
        assert done.returncode in (0, 1), done.stderr
        return cls.place / name

    def sheet(self, *arguments):
        done = saggar("report", *arguments, "--sheet")
        self.assertEqual(done.returncode, 0, done.stderr)
        return pathlib.Path(done.stdout.strip()).read_text(encoding="utf-8")

    def assertSound(self, text, *folders):
        self.assertEqual(defects(text, [Run(folder) for folder in folders]), [])

    def test_every_number_is_where_it_says_it_comes_from(self):
        for folder in (self.plain, self.other):
            text = self.sheet(folder)
            self.assertSound(text, folder)
            self.assertGreater(len(Page(text).data), 200)

    def test_nothing_of_one_run_stands_on_the_sheet_of_another(self):
        plain, other = texts_of(self.sheet(self.plain)), texts_of(self.sheet(self.other))
        for change in OTHER:
            path = change.partition("=")[0]
            parts = path.split(".")
            if parts[0] == "programme":
                parts[1] = str(Run(self.plain).names.index(parts[1]))
            key = ("scenario/" + ".".join(parts), "median")
            if key in plain:
                self.assertNotEqual(plain[key], other[key], path)
        shown = sum(("scenario/" + c.partition("=")[0], "median") in plain for c in OTHER if not c.startswith("programme"))
        self.assertGreaterEqual(shown, 15)

    def test_several_runs_give_median_least_and_greatest(self):
        third = self.run_to("third", DEMO, SHORT + ["seed=9", "furnace.leak=0.0003 Pa m3/s"])
        folders = [self.plain, self.seeded, third]
        text = self.sheet(*folders, "--out", self.place)
        self.assertSound(text, *folders)
        spoilt = text.replace("data-over=\"highest\"", "data-over=\"lowest\"")
        self.assertTrue(defects(spoilt, [Run(folder) for folder in folders]))
        over = {one["data-over"] for one in Page(text).data if one["data-from"] == "time/run"}
        self.assertEqual(over, {"median", "lowest", "highest"})
        self.assertEqual(texts_of(text)["count/runs", "median"], "3")
        self.assertNotIn("no spread is known", text)
        self.assertIn("no spread is known", self.sheet(self.plain))

    def test_refuses_another_programme_and_names_the_segment(self):
        done = saggar("report", self.plain, self.other, "--sheet", "--out", self.place)
        self.assertEqual(done.returncode, 2)
        self.assertIn("as segment 1 `first evacuation`", done.stderr)

    def test_a_run_that_failed_or_ended_early_is_not_to_be_used_and_says_where(self):
        text = self.sheet(self.plain)        # the demo in little does not do what the demo must
        self.assertIn("Not to be used at a furnace", text)
        broken = self.run_to("opens", SCENARIOS / "sensors" / "load_thermocouple_opens.yaml", ["run.settle=1 min"])
        text = self.sheet(broken)
        self.assertSound(text, broken)
        self.assertIn("not a whole cycle", text)
        self.assertIn("Faults or mistakes were planted", text)
        self.assertEqual(texts_of(text)["run/0/ended_in", None], "ramp")
        self.assertIn("the run ended in this step", text)
        self.assertIn("load sensor", texts_of(text)["run/0/ended_by", None])

    def test_a_run_with_a_mistake_of_the_operator_says_so(self):
        mistaken = self.run_to("mistaken", SCENARIOS / "operator" / "wrong_gas.yaml", ["run.at_most=2 min"])
        self.assertIn("Faults or mistakes were planted", self.sheet(mistaken))
        self.assertNotIn("Faults or mistakes were planted", self.sheet(self.plain))

    def test_air_cycle_without_gas_speaks_of_none(self):
        folder = self.run_to("air", SCENARIOS / "cycles" / "air_cycle.yaml", ["programme.ramp up.ramp.to=150 degC",
                                                                              "programme.cool.cool.load_below=140 degC"])
        text = self.sheet(folder)
        either = lambda *one: shown_right(*one) or shown_chosen(*one)   # the file itself may choose units
        self.assertEqual(defects(text, [Run(folder)], either), [])
        words = " ".join(Page(text).outside)
        for word in ("Asphyxiating", "Vacuum", "Standard litres", "Supply", "relief valve"):
            self.assertNotIn(word, words)

    def test_operator_actions_stand_at_their_step(self):
        scenario = self.place / "acted.yaml"
        text = DEMO.read_text().replace("../../", str(ROOT / "configs") + "/")
        actions = "actions:\n  - start:\n    at: 2 s\n  - set_flow: 0.8 slm\n    segment: dry out\n    after: 30 s\n"
        actions += "  - acknowledge:\n    when: load.pv > 45 degC\n"
        scenario.write_text(text.replace("\nprogramme:\n", "\n" + actions + "\nprogramme:\n"))
        folder = self.run_to("acted", scenario, SHORT)
        sheet = self.sheet(folder)
        self.assertSound(sheet, folder)
        step = sheet[sheet.index(">dry out</data>"):sheet.index(">ramp to stress relief</data>")]
        self.assertIn("<data value=\"load.pv &gt; 45 degC\"", sheet[:sheet.index("<section class=\"step")])
        self.assertIn("<strong>You:</strong> <data value=\"start\"", sheet[sheet.index(">first evacuation</data>"):])
        self.assertIn("<strong>You:</strong> <data value=\"set_flow 0.8 slm\"", step)

    def test_what_is_wrong_is_found(self):
        text, runs = self.sheet(self.plain), [Run(self.plain)]
        typed = text.replace("Touch nothing.", "Touch nothing for 5 min.")
        self.assertIn("a typed number", defects(typed, runs)[0])
        at = "data-from=\"scenario/controller.limits.zone_trip\""
        for spoilt in (text.replace(">850 degC</data>", ">851 degC</data>"), text.replace(f"value=\"850\" {at}", f"value=\"851\" {at}"),
                       text.replace(at, at.replace("zone", "load")), text.replace("segment/10/last", "segment/9/last")):
            self.assertNotEqual(spoilt, text)
            self.assertTrue(defects(spoilt, runs))

    def test_units_chosen_are_seen_and_what_is_recorded_beside_them(self):
        text = self.sheet(self.plain, "--units", UNITS, "--out", self.place)
        self.assertEqual(defects(text, [Run(self.plain)], shown_chosen), [])
        self.assertNotEqual(defects(text, [Run(self.plain)]), [])
        self.assertIn(">1562 degF (850 degC)</data>", text)                 # 850 * 1.8 + 32
        self.assertIn(">815.77 mmH2O gauge (8 kPa gauge)</data>", text)     # 8000 / 9.80665

    def test_usage(self):
        for wrong, words in (([self.plain, self.other], "only into one --sheet"), ([self.plain, "--out", self.place], "goes with --sheet"),
                             ([self.plain, "--sheet", "--overlay", "x", "--mapping", "y"], "two pages")):
            done = saggar("report", *wrong)
            self.assertEqual(done.returncode, 2)
            self.assertIn(words, done.stderr)
        self.assertEqual(saggar("report", self.place / "nowhere", "--sheet").returncode, 2)


if __name__ == "__main__":
    PROGRAM = sys.argv.pop(1)
    unittest.main()
