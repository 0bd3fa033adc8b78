#!/usr/bin/env python3
"""The property and state tests of the core fail on a core that breaks a property or leaves a state. planted_defects.py

Each row plants one defect in a copy of one file of firmware/, links the tests against it and names the test that must fail.
The control, a core without a defect, must pass.
"""
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import torture  # noqa: E402

FLAGS = ["-std=c++20", "-O1", "-ffp-contract=off", "-fno-math-errno", f'-DSAGGAR_SOURCE_DIR="{ROOT}"', '-DSAGGAR_BINARY_DIR=""']
LIBRARIES = ["-lrapidcheck", "-lgtest", "-lgtest_main", "-lpthread"]

DEFECTS = [  # (what, file, pattern, replacement, test that must fail)
    ("nothing", "interlocks.cpp", r"\A", "", None),
    ("safe values leave the heat on", "interlocks.cpp", r"  gas_off\(outputs\);\n  heat_off\(outputs\);\n\}", "  gas_off(outputs);\n}",
     "InterlockTable.GivesNoHeatInAnyTripInAnyDiscreteState"),
    ("a latched trip imposes nothing", "interlocks.cpp", r"if \(interlocks\.latched != 0 \|\| ", "if (",
     "InterlockTable.KeepsHeatOffWhileAnyRowIsLatched"),
    ("the door is no condition", "interlocks.cpp", r"healthy = discrete::door_closed \| ", "healthy = ",
     "InterlockTable.GivesNoHeatInAnyTripInAnyDiscreteState"),
    ("a failed load sensor does not trip", "interlocks.cpp", r"set\(causes, row::load_sensor, in\.load_failed && load_used\);", "",
     "InterlockTable.GivesNoHeatWithAMeasurementItRestsOnGone"),
    ("the demand is not limited", "temperature.cpp", r"return demand_frac < 1\.0f \? demand_frac : 1\.0f;", "return demand_frac * 1.5f;",
     "Core.SendsOnlyFiniteOutputsWithinLimitsWhateverTheLinesCarry"),
    # One of the two guards alone does no harm: the other one catches it.
    ("a current is a value whatever it is", "station.cpp",
     r"if \(current_failed\(current_class\(current_ma\)\) \|\| answer\.flagged\(channel\)\) \{[^}]*\}\n"
     r"  value = span_value\(current_ma, low, high\);",
     "suspect |= 0u;\n  value = low + (high - low) * ((current_ma - 4.0f) / 16.0f);",
     "Core.TakesAnyRegistersOfTheStationWithoutANumberThatIsNone"),
    ("a repeat runs once too often", "programme.cpp", r"if \(done < segment\.count\)", "if (done <= segment.count)",
     "Programme.SkipsAndRepeatsNoSegment"),
    ("a segment of no length is skipped with the next", "programme.cpp", r"  \+\+run\.segment;\n  while",
     "  ++run.segment;\n  if (run.copy[run.segment].kind == SegmentKind::wait && run.copy[run.segment].duration_ms < 1000) ++run.segment;\n"
     "  while", "Programme.SkipsAndRepeatsNoSegment"),
    ("a ramp is summed", "programme.cpp",
     r"const float moved = run\.start_degc \+ rate \* \(static_cast<float>\(run\.counted_ms\) \* 0\.001f\);",
     "const float moved = run.setpoint_degc + rate * (static_cast<float>(view.period_ms) * 0.001f);",
     "Ramp.IsExactAfterAHundredHoursAndMovesAtOneKelvinAnHour"),
    ("a latched alarm that comes again stays latched", "alarms.cpp", r"\(gone & latching\)\) & ~now & ~untold;",
     "(gone & latching)) & ~untold;", "AlarmStates.AreThoseOfTheStandardOverTheLines"),
    ("an alarm out of service stays unacknowledged", "alarms.cpp", r"\(alarms\.unacknowledged \| came\) & ~untold",
     "(alarms.unacknowledged | came) & ~alarms.shelved", "AlarmStates.AreThoseOfTheStandardForEveryAlarmOfTheCore"),
    ("a stopped programme is resumed", "supervisory.cpp", r"if \(run\.state != from\) return Refusal::wrong_state;",
     "if (run.state != from && run.state != ProgrammeState::stopped) return Refusal::wrong_state;",
     "ProceduralStates.AreThoseOfTheStandardOverTheLines"),
    ("a trip leaves a programme that stops alone", "controller.cpp", r"programme_abortable\(c\.run\)", "programme_active(c.run)",
     "ProceduralStates.AreThoseOfTheStandardOverTheLines"),
]


def failed_tests(objects, tests, folder):
    torture.run(["g++", *tests, *objects, *LIBRARIES, "-o", folder / "tests"])
    try:
        result = subprocess.run([folder / "tests"], capture_output=True, text=True, check=False, timeout=300)
    except subprocess.TimeoutExpired:
        return None, {"time-out"}
    return result.returncode, set(re.findall(r"\[  FAILED  \] (\w+\.\w+)", result.stdout))


def main():
    with tempfile.TemporaryDirectory() as scratch:
        folder = pathlib.Path(scratch)
        sources = torture.firmware_sources(ROOT)
        objects = torture.compile_all("g++", FLAGS, sources, folder / "right", ROOT)
        own = [ROOT / f"tests/firmware/{name}_test.cpp" for name in ("properties", "alarm_states", "procedural_states")]
        own += [ROOT / "tests/checkout.cpp"]
        own += [ROOT / f"tests/torture/torture{part}.cpp" for part in ("", "_drill", "_operator", "_script", "_store")]
        tests = torture.compile_all("g++", FLAGS, own, folder / "tests_of", ROOT)
        escaped = 0
        for what, name, pattern, replacement, expected in DEFECTS:
            text, count = re.subn(pattern, lambda _: replacement, (ROOT / "firmware" / name).read_text(), count=1)
            if count != 1:
                print(f"planted_defects.py: firmware/{name} no longer has the place for '{what}'", file=sys.stderr)
                escaped += 1
                continue
            (folder / name).write_text(text)
            wrong = torture.compile_all("g++", FLAGS, [folder / name], folder / "wrong", ROOT)
            stem = pathlib.Path(name).stem + ".o"
            code, failed = failed_tests([path for path in objects if path.name != stem] + wrong, tests, folder)
            good = code == 0 if expected is None else expected in failed
            escaped += not good
            print(f"{'caught' if good else 'ESCAPED':8} {what}: {', '.join(sorted(failed)) or 'all pass'}", flush=True)
        return 1 if escaped else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except torture.Missing as reason:
        print(f"planted_defects.py: {reason}", file=sys.stderr)
        sys.exit(2)
