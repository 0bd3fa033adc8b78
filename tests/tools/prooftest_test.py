#!/usr/bin/env python3
"""saggar prooftest on the shipped controllers, and on cores with a row left out or a limit moved.

    prooftest_test.py SAGGAR

The defective cores are built here, as shared libraries, with the compiler of the host.
"""
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import torture  # noqa: E402

SAGGAR = ""
CONTROLLERS = sorted((ROOT / "configs/controllers").glob("*.yaml"))
TWO_ZONES = ROOT / "configs/controllers/two_zones_air.yaml"
OF_EACH_ZONE = (4, 6, 15, 16, 20, 42, 43, 44, 46)   # rows whose cause is a zone's thermocouple, current or response
COMBUSTIBLE = [path for path in CONTROLLERS if "combustible_gas: yes" in path.read_text()]
BLENDS = next(path for path in COMBUSTIBLE if "premixed: yes" not in path.read_text())      # every row of such a unit
LINE = re.compile(r"^ *(\d+) (.+?)  +(pass|FAIL|not fitted|not from the terminals)\s*(.*)$")
ALARM = re.compile(r"^alarm +(\d+) (.+?)  +(pass|FAIL|not fitted|not from the terminals)\s*(.*)$")


def prove(controller, *options):
    result = subprocess.run([SAGGAR, "prooftest", controller, *options], capture_output=True, text=True, check=False)
    rows = {int(match[1]): match for match in map(LINE.match, result.stdout.splitlines()) if match}
    return result, rows


def alarms_of(result):
    """{(number, zone or 0): match} of the lines of alarms."""
    alarms = {}
    for match in filter(None, map(ALARM.match, result.stdout.splitlines())):
        zone = re.search(r", zone (\d+)$", match[2].strip())
        alarms[int(match[1]), int(zone[1]) if zone else 0] = match
    return alarms


def failed(alarms):
    return [key for key, match in alarms.items() if match[3] == "FAIL"]


def zones_of(result, line=LINE):
    """(row, zone, verdict) of each line that names a zone."""
    matches = filter(None, map(line.match, result.stdout.splitlines()))
    named = [(match, re.search(r", zone (\d+)$", match[2].strip())) for match in matches]
    return [(int(match[1]), int(zone[1]), match[3]) for match, zone in named if zone]


def retort_controller():
    """The one in which most rows are in force."""
    def in_force(controller):
        return sum(row[3] == "pass" for row in prove(controller)[1].values())
    return max(set(CONTROLLERS) - set(COMBUSTIBLE), key=in_force)


def table_rows():
    """Rows of the cause-and-effect table as the source has them."""
    text = (ROOT / "firmware/interlocks.cpp").read_text()
    return len(re.findall(r"^ *\{row::", text, re.M))


def alarm_names():
    """Of the source's table, in order."""
    text = (ROOT / "firmware/alarms.cpp").read_text()
    return re.findall(r'^    \{"([^"]+)", (?:low|medium|high), ', text, re.M)


class ProofTest(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.scratch = tempfile.TemporaryDirectory()
        cls.folder = pathlib.Path(cls.scratch.name)
        flags = torture.FLAGS + ["-O1", "-fPIC"]
        cls.flags = flags
        sources = torture.firmware_sources(ROOT) + [ROOT / "firmware/controller_c.cpp"]
        objects = torture.compile_all("g++", flags, sources, cls.folder / "rest", ROOT)
        cls.objects = dict(zip((path.name for path in sources), objects))

    @classmethod
    def tearDownClass(cls):
        cls.scratch.cleanup()

    def core(self, name, *defines, text=None, of="interlocks.cpp"):
        """A core with one file of its own: compiled with defines, or another text."""
        source = ROOT / "firmware" / of
        if text:
            source = self.folder / f"{name}.cpp"
            source.write_text(text)
        folder = self.folder / name
        objects = torture.compile_all("g++", self.flags + list(defines), [source], folder, ROOT)
        rest = [path for name, path in self.objects.items() if name != of]
        torture.run(["g++", "-shared", *rest, *objects, "-o", folder / "core.so"])
        return f"library:{folder / 'core.so'}"

    def broken(self, name, of, *changes):
        """A core with lines of one file replaced."""
        text = (ROOT / "firmware" / of).read_text()
        for line, by in changes:
            self.assertEqual(text.count(line), 1, line)
            text = text.replace(line, by)
        return self.core(name, text=text, of=of)

    def test_every_row_of_every_shipped_controller_passes_or_says_why_not(self):
        self.assertTrue(CONTROLLERS)
        for controller in CONTROLLERS:
            with self.subTest(controller.name):
                result, rows = prove(controller)
                self.assertEqual(result.returncode, 0, result.stdout + result.stderr)
                self.assertEqual(sorted(rows), list(range(1, table_rows() + 1)))
                alarms = alarms_of(result)
                self.assertEqual(sorted({number for number, _ in alarms}), list(range(len(alarm_names()))))
                for (number, _), match in alarms.items():
                    self.assertEqual(match[2].strip().split(", zone")[0], alarm_names()[number])
                    self.assertEqual(match[3] == "pass", "told: " in match[4], match[0])
                    if match[3] == "pass":
                        self.assertIn(alarm_names()[number], match[4].split("told: ")[1])

    def test_a_row_that_is_not_fitted_names_the_parameter_that_says_so(self):
        for controller in CONTROLLERS:
            for number, row in prove(controller)[1].items():
                if row[3] == "not fitted":
                    self.assertRegex(row[4], r"(unit|limits|combustible)\.\w+", f"row {number} of {controller.name}")

    def test_an_alarm_that_is_not_fitted_names_the_parameter_that_says_so(self):
        for controller in CONTROLLERS:
            for match in alarms_of(prove(controller)[0]).values():
                if match[3] == "not fitted":
                    self.assertRegex(match[4], r"(unit|limits|pressure)\.\w+", match[0])

    def test_every_alarm_is_proved_on_one_unit_or_another(self):
        """But for those that no terminal can bring about, each of which names what shows it."""
        every = self.every_alarm_fitted()
        result, _ = prove(every)
        self.assertEqual(result.returncode, 0, result.stdout)
        left = {key: match for key, match in alarms_of(result).items() if match[3] != "pass"}
        self.assertEqual({alarm_names()[number]: match[3] for (number, _), match in left.items()},
                         dict.fromkeys(("store damaged", "internal fault", "tick late", "clock jumped"), "not from the terminals"))
        for match in left.values():
            test = re.search(r"unit test (\w+)", match[4])[1]
            self.assertTrue((ROOT / "tests/firmware" / f"{test}.cpp").exists(), match[0])

    def every_alarm_fitted(self):
        """The unit with combustible gas, of two zones that differ, with every alarm that a parameter puts out of force in it."""
        return self.changed("every_alarm", BLENDS,
                            (r"(?m)^limits:$", "limits:\n  supply_low: 20 kPa gauge\n  flow_implausible: 0.3\n"
                                               "  load_difference: 15 K\n  heater_difference: 25 K"),
                            (r"(?m)^pressure:$", "pressure:\n  stick_tolerance: 0.05\n  swing_limit: 200 Pa diff"))

    def test_alarms_that_watch_zones_are_proved_on_each(self):
        unit = self.two_zones_apart()
        result, _ = prove(unit)
        self.assertEqual(result.returncode, 0, result.stdout)
        self.assertEqual(zones_of(result, ALARM), [(n, zone, "pass") for n in (1, 3, 5, 16, 17, 19, 34) for zone in (1, 2)])

    def two_zones_apart(self):
        """The second wanted 40 K hotter than the first, and compared with the load."""
        return self.changed("two_zones_apart", TWO_ZONES, (r"(?m)^limits:$", "limits:\n  heater_difference: 25 K"),
                            (r"offset: \{2: 3 K\}", "offset: {2: 40 K}"))

    def test_a_core_that_compares_the_first_zone_alone_with_the_load_fails_on_the_second(self):
        core = self.broken("one_compared", "detections.cpp",
                           ("z < view.parameters.zones; ++z) {\n    differs", "z < 1; ++z) {\n    differs"))
        result, rows = prove(self.two_zones_apart(), "--controller", core)
        self.assertEqual(result.returncode, 1)
        self.assertEqual(failed(alarms_of(result)), [(34, 2)], result.stdout)
        self.assertFalse([n for n, row in rows.items() if row[3] == "FAIL"])
        self.assertIn("1 failed", result.stdout.splitlines()[-2])

    def test_a_core_that_forgets_the_offset_of_a_zone_is_found_out(self):
        core = self.broken("no_offset", "detections.cpp", (" - heat_zone_offset_k(view.parameters, z)", ""))
        result, _ = prove(self.two_zones_apart(), "--controller", core)
        alarms = alarms_of(result)
        self.assertEqual(failed(alarms), [(34, 1), (34, 2)], result.stdout)
        for key in failed(alarms):
            self.assertIn("too early", alarms[key][4], "its condition stood since the soak had counted for ten minutes")

    def test_an_alarm_left_out_fails_alone_and_another_in_its_place_is_named(self):
        every = self.every_alarm_fitted()
        for number, line, by in ((33, "alarm::load_differs", "alarm::heater_differs"),
                                 (35, "alarm::vacuum_lost", "alarm::pressure_high")):
            source = (ROOT / "firmware/controller.cpp").read_text()
            core = self.core(f"without_alarm_{number}", text=source.replace(line + ")", by + ")"), of="controller.cpp")
            result, _ = prove(every, "--controller", core)
            alarms = alarms_of(result)
            self.assertEqual(failed(alarms), [(number, 0)], result.stdout)
            other = {33: "heater and load differ", 35: "pressure high"}[number]
            self.assertIn(f"told: {other}", alarms[number, 0][4])

    def test_an_alarm_with_another_limit_or_delay_fails(self):
        """Held against the program's own table, which is that of a core that is right."""
        for name, of, line, by, words in (
                ("late", "alarms.cpp", '"vacuum lost", medium, 2000', '"vacuum lost", medium, 2600', "too late"),
                ("early", "alarms.cpp", '"vacuum lost", medium, 2000', '"vacuum lost", medium, 1500', "too early"),
                ("limit", "detections.cpp", "pa > d.vacuum_pa + rise_pa", "pa > d.vacuum_pa + rise_pa + 2.5f", "another value")):
            core = self.broken(f"vacuum_{name}", of, (line, by))
            alarms = alarms_of(prove(self.every_alarm_fitted(), "--controller", core)[0])
            self.assertEqual(failed(alarms), [(35, 0)], name)
            self.assertIn(words, alarms[35, 0][4])

    def test_every_row_of_combustible_gas_is_proved_where_it_is_fitted(self):
        """Rows 31 to 41 but for titanium's, and those of the pump, which such a unit gives only when it is purged."""
        self.assertTrue(COMBUSTIBLE)
        for controller in COMBUSTIBLE:
            _, rows = prove(controller)
            without = {32} if "premixed: yes" in controller.read_text() else set()               # no ratio of two meters
            for number in sorted({18, 25, 26, 27, 28, *range(31, 38), 39, 40, 41} - without):
                self.assertEqual(rows[number][3], "pass", rows[number][0])

    def changed(self, name, controller, *changes):
        """A controller file with lines replaced."""
        text = controller.read_text()
        for line, by in changes:
            self.assertEqual(len(re.findall(line, text)), 1, line)
            text = re.sub(line, by, text)
        path = self.folder / f"{name}.yaml"
        path.write_text(text)
        return path

    def two_zones(self):
        """The shipped unit of two zones with every row in force that watches one."""
        return self.changed("two_zones", TWO_ZONES, (r"(?m)^limits:$", "limits:\n  stuck_window: 20 s"))

    def test_rows_that_watch_zones_are_proved_on_each(self):
        result, _ = prove(self.two_zones())
        self.assertEqual(result.returncode, 0, result.stdout + result.stderr)
        self.assertEqual(zones_of(result), [(row, zone, "pass") for row in OF_EACH_ZONE for zone in (1, 2)])
        self.assertIn("rows, each zone counted, passed", result.stdout)
        result, _ = prove(retort_controller())
        self.assertEqual(zones_of(result), [], "one zone, one line")

    def test_a_core_that_looks_at_the_first_zone_alone_fails_on_the_second(self):
        text = (ROOT / "firmware/interlocks.cpp").read_text()
        wrong = text
        for line, by in (("in.hottest_degc >= p.zone_trip_degc", "in.zone_degc[0] >= p.zone_trip_degc"),
                         ("row::zone_sensor, in.zone_failed != 0", "row::zone_sensor, (in.zone_failed & 1u) != 0"),
                         ("z < p.zones; ++z) {\n    const float demand = ", "z < 1; ++z) {\n    const float demand = "),
                         ("z < p.zones; ++z) {\n    const float zone_degc = ", "z < 1; ++z) {\n    const float zone_degc = ")):
            self.assertEqual(wrong.count(line), 1, line)
            wrong = wrong.replace(line, by)
        result, _ = prove(self.two_zones(), "--controller", self.core("first_zone", text=wrong), "--out", self.folder / "first_zone")
        self.assertEqual(result.returncode, 1)
        rows = [(row, zone) for row, zone, verdict in zones_of(result) if verdict == "FAIL"]
        self.assertEqual(rows, [(4, 2), (6, 2), (15, 2), (16, 2), (20, 2)], result.stdout)
        page = (self.folder / "first_zone/prooftest.html").read_text()
        self.assertEqual(failed(alarms_of(result)), [(16, 2), (17, 2)], "what is told of a row's cause")
        self.assertEqual(len(re.findall(r'<tr class="fail">', page)), 5 + 2)
        for zone in (1, 2):
            self.assertIn(f"<td>heater-side sensor, zone {zone}</td>", page)
            self.assertIn(f"<td>zone {zone} thermocouple flagged open</td>", page)

    def test_titanium_in_a_unit_with_combustible_gas(self):
        """Row 38 in place of row 37, and those of air on titanium behind the purge of such a unit."""
        for controller in COMBUSTIBLE:
            titanium = self.changed("titanium", controller, (r"load_titanium: no", "load_titanium: yes"))
            result, rows = prove(titanium)
            self.assertEqual(result.returncode, 0, result.stdout)
            passed = {n for n, row in rows.items() if row[3] == "pass"}
            air_admittance = {24} if "retort_ceramic: yes" in controller.read_text() else set()
            self.assertLessEqual(air_admittance | {30, 35, 36, 38, 39, 40, 41}, passed, result.stdout)
            self.assertFalse({31, 32, 33, 34, 37} & passed, "no combustible gas flows there")

    def test_a_blend_from_the_bottle_has_no_ratio_to_watch(self):
        for controller in COMBUSTIBLE:
            premixed = self.changed("premixed", controller, (r"blend: \{(.*?)(, premixed: yes)?\}", r"blend: {\1, premixed: yes}"))
            result, rows = prove(premixed)
            self.assertEqual(result.returncode, 0, result.stdout)
            self.assertEqual(rows[32][3], "not fitted")

    def test_most_rows_are_in_force_on_the_retort(self):
        _, rows = prove(retort_controller())
        self.assertLessEqual(sum(row[3] not in ("pass", "not fitted") for row in rows.values()), 2, rows)
        self.assertGreaterEqual(sum(row[3] == "pass" for row in rows.values()), 24, rows)

    def without(self, number):
        return self.core(f"without_{number}", f"-DFW_WITHOUT_INTERLOCK_ROW={number}")

    def test_a_row_left_out_fails_and_no_other_is_blamed_for_it(self):
        combustible = BLENDS
        cases = [(retort_controller(), number) for number in (1, 8, 17, 42, 47)]
        cases += [(combustible, number) for number in (18, 25, *range(31, 38), 39, 40, 41, 43, 45)]
        for controller, number in cases:
            with self.subTest(f"{controller.name} without row {number}"):
                result, rows = prove(controller, "--controller", self.without(number))
                self.assertEqual(result.returncode, 1)
                self.assertEqual([n for n, row in rows.items() if row[3] == "FAIL"], [number], result.stdout)

    def test_a_row_that_shows_itself_but_denies_nothing_fails(self):
        """It tells interlock.inhibit 37 and leaves the process valve open."""
        text = (ROOT / "firmware/interlocks.cpp").read_text()
        wrong = text.replace("if (causes & rows_of(refuse_process_gas)) gas_off(outputs);",
                             "if (causes & rows_of(refuse_process_gas) & ~bit_of(37)) gas_off(outputs);", 1)
        self.assertNotEqual(text, wrong)
        _, rows = prove(BLENDS, "--controller", self.core("toothless", text=wrong))
        self.assertEqual([n for n, row in rows.items() if row[3] == "FAIL"], [37])
        self.assertIn("process valve still energised", rows[37][4])

    def test_a_limit_that_acts_elsewhere_fails_with_the_value_observed(self):
        text = (ROOT / "firmware/interlocks.cpp").read_text()
        wrong = text.replace("in.hottest_degc >= p.zone_trip_degc", "in.hottest_degc >= p.zone_trip_degc + 1.7f", 1)
        self.assertNotEqual(text, wrong)
        result, rows = prove(retort_controller(), "--controller", self.core("moved_limit", text=wrong))
        self.assertEqual(result.returncode, 1)
        self.assertEqual(rows[4][3], "FAIL")
        self.assertIn("another value", rows[4][4])

    def test_a_delay_that_is_longer_than_set_fails(self):
        text = (ROOT / "firmware/interlocks.cpp").read_text()
        wrong = text.replace("> table[n - 1].delay_ms)", "> table[n - 1].delay_ms + 900)", 1)
        self.assertNotEqual(text, wrong)
        result, rows = prove(retort_controller(), "--controller", self.core("slow", text=wrong))
        self.assertEqual(result.returncode, 1)
        self.assertIn("too late", rows[1][4])

    def test_the_sheet_holds_every_row_the_cautions_and_a_place_to_sign(self):
        controller = retort_controller()
        result, rows = prove(controller, "--out", self.folder / "sheet")
        page = (self.folder / "sheet/prooftest.html").read_text()
        for match in rows.values():
            self.assertIn(f"<td>{match[2].strip()}</td>", page)
        for match in alarms_of(result).values():
            self.assertIn(f"<td>{match[2].strip()}</td>", page)
        self.assertEqual(page.count("<th class=name>Alarm expected</th>"), 1)
        for words in ("Witnessed by", "asphyxiating", "tested at the furnace"):
            self.assertIn(words, page)
        self.assertIsNone(re.search(r"https?://", page))
        self.assertEqual(page.count("<table"), page.count("</table>"))

    def test_the_sheet_says_at_its_head_whether_a_row_failed(self):
        controller = BLENDS
        for core, head in (("host", "No row and no alarm failed: "), (self.without(37), "Not passed: ")):
            result, rows = prove(controller, "--out", self.folder / "head", "--controller", core)
            page = (self.folder / "head/prooftest.html").read_text()
            verdicts = ("pass", "FAIL", "not fitted", "not from the terminals")
            counted = [sum(row[3] == verdict for row in rows.values()) for verdict in verdicts]
            text = (f"{counted[0]} of {len(rows)} rows passed, {counted[1]} failed, {counted[2]} not fitted, "
                    f"{counted[3]} not from the terminals")
            self.assertIn(text, result.stdout)
            self.assertIn(head + text, page)
            alarms = [sum(match[3] == verdict for match in alarms_of(result).values()) for verdict in verdicts]
            self.assertIn(f"; {alarms[0]} of {len(alarm_names())} alarms passed, {alarms[1]} failed, ", page)
            self.assertEqual(len(re.findall(r'<tr class="fail">', page)), counted[1] + alarms[1])
            self.assertEqual(len(re.findall(r'<tr class="out">', page)), counted[2] + counted[3] + alarms[2] + alarms[3])

    def test_a_file_that_is_no_controller_is_refused(self):
        result, _ = prove(ROOT / "README.md")
        self.assertEqual(result.returncode, 2)


if __name__ == "__main__":
    SAGGAR = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main()
