#!/usr/bin/env python3
"""Puts the control core through the torture tape, as built by every compiler and for the emulated processor.

    tools/torture.py [--build build/dev] [--variants NAME,...] [--update] [--coverage] [--gaps] [--list]

The tape (tests/torture, 100,000 ticks from one seed) is made once with the core of the build folder; every other build of the
same sources must then send the same bytes: host at several optimisations and instruction sets, two compilers, Cortex-M at -O2
and -Os on an M4 and an M7. The first tick that differs is named. The hash of the tape stands in tests/golden/torture.txt:
--update writes it anew, after a change of the core that is meant to change what it sends. --coverage says which share of lines
and branches of firmware/*.cpp the tape reaches (gcov, -O0), and fails below FLOOR: a part of the core that no tape reaches is
compared by no build. --gaps lists what it does not reach. Exit code 0: all agree; 4: a difference, or too little reached; 2:
something is missing.
"""
import argparse
import concurrent.futures
import json
import os
import pathlib
import re
import shutil
import struct
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
GOLDEN = ROOT / "tests/golden/torture.txt"
FLAGS = ["-std=c++20", "-ffp-contract=off", "-fno-math-errno", "-fno-exceptions", "-fno-rtti"]
ARM = ["-mcpu=cortex-m4", "-mthumb", "-mfloat-abi=hard", "-mfpu=fpv4-sp-d16", "-fno-threadsafe-statics", "-fno-use-cxa-atexit",
       "-ffunction-sections", "-fdata-sections"]
HOST_VARIANTS = {
    "gcc-O0": ["g++", "-O0"],
    "gcc-O2": ["g++", "-O2"],
    "gcc-O3": ["g++", "-O3"],
    "gcc-O3-x86-64-v3": ["g++", "-O3", "-march=x86-64-v3"],
    "clang-O2": ["clang++-14", "-O2"],
}
ARM_VARIANTS = {"cortex-m4-O2": ("-O2", "mps2-an386"), "cortex-m4-Os": ("-Os", "mps2-an386"), "cortex-m7-O2": ("-O2", "mps2-an500")}
ALL_VARIANTS = list(HOST_VARIANTS) + list(ARM_VARIANTS)
OUT_HEADER = 16
KIND_START = 1
FLOOR = {"lines": 95.0, "branches": 85.0}
NEVER = {"row_never": "22 internal fault", "alarm_never": "26 internal fault"}   # a check of the core that fails: nothing may reach it
PORTS = ("field line", "supervisory line", "store")


class Missing(Exception):
    """A tool or a file that is needed is not there."""


def run(command, **options):
    try:
        result = subprocess.run(list(map(str, command)), capture_output=True, check=False, **options)
    except FileNotFoundError as error:
        raise Missing(f"{error.filename} is not installed") from error
    if result.returncode != 0:
        raise Missing(f"{' '.join(map(str, command[:6]))} ...: {result.stderr.decode(errors='replace')[-2000:]}")
    return result.stdout


def firmware_sources(root):
    """As firmware/CMakeLists.txt lists them."""
    text = (root / "firmware/CMakeLists.txt").read_text()
    listed = re.search(r"set\(FIRMWARE_SOURCES\s(.*?)\)", text, re.S).group(1).split()
    return [root / "firmware" / name for name in listed]


def compile_all(compiler, flags, sources, folder, root):
    cache = [shutil.which("ccache")] if shutil.which("ccache") else []
    folder.mkdir(parents=True, exist_ok=True)
    objects = [folder / (path.stem + ".o") for path in sources]
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(lambda pair: run(cache + [compiler, *flags, f"-I{root}", "-c", pair[0], "-o", pair[1]]), zip(sources, objects)))
    return objects


def host_core(name, folder, root=ROOT):
    """Builds a host variant; returns the command that runs it."""
    compiler, *flags = HOST_VARIANTS[name]
    objects = compile_all(compiler, FLAGS + flags, firmware_sources(root) + [root / "tests/torture/core_on_pipe.cpp"], folder, root)
    run([compiler, *objects, "-o", folder / "core"])
    return [folder / "core"]


def arm_core(name, folder, root=ROOT, extra=()):
    """Builds an image; returns the command that runs it."""
    level, machine = ARM_VARIANTS[name]
    own = [root / "firmware/cortex_m/startup.cpp", root / "firmware/cortex_m/image.cpp"]
    objects = compile_all("arm-none-eabi-g++", FLAGS + ARM + [level, *extra], firmware_sources(root) + own, folder, root)
    image = folder / "core.elf"
    run(["arm-none-eabi-g++", *ARM[:4], "-nostdlib", "-nostartfiles", "-T", root / "firmware/cortex_m/cortex_m4.ld", "-Wl,--gc-sections",
         "-Wl,--no-warn-rwx-segments", *objects, "-lm", "-lc_nano", "-lgcc", "-o", image])
    return emulator(machine, image)


def emulator(machine, image):
    return ["qemu-system-arm", "-M", machine, "-nodefaults", "-nic", "user,model=lan9118", "-display", "none", "-monitor", "none",
            "-serial", "null", "-semihosting-config", "enable=on,target=native", "-kernel", image]


def build(name, folder, root=ROOT):
    return host_core(name, folder, root) if name in HOST_VARIANTS else arm_core(name, folder, root)


def play(command, tape, answers):
    """Runs a core on the tape. Code 7 is its clean end."""
    with open(tape, "rb") as source, open(answers, "wb") as sink:
        try:
            code = subprocess.run(list(map(str, command)), stdin=source, stdout=sink, timeout=1200, check=False).returncode
        except FileNotFoundError as error:
            raise Missing(f"{error.filename} is not installed") from error
    if code != 7:
        raise Missing(f"{command[0]} ended with code {code}, expected 7")


def frames(data):
    """(start of the frame, kind, sizes of its three parts)."""
    at = 0
    while at + OUT_HEADER <= len(data):
        sizes = struct.unpack_from("<HHH", data, at + 4)
        yield at, data[at + 2], sizes
        at += OUT_HEADER + sum(sizes)


def first_difference(expected, found):
    """None, or (tick counted from 0 over the whole tape, words for people)."""
    if expected == found:
        return None
    tick, since = -1, -1
    for at, kind, sizes in frames(expected):
        tick, since = (tick, -1) if kind == KIND_START else (tick + 1, since + 1)
        end = at + OUT_HEADER + sum(sizes)
        if expected[at:end] == found[at:end]:
            continue
        begin = at + OUT_HEADER
        if expected[at:begin] == found[at:begin]:
            for port, size in zip(PORTS, sizes):
                mine, other = expected[begin:begin + size], found[begin:begin + size]
                if mine != other:
                    byte = next((i for i in range(len(other)) if mine[i] != other[i]), None)
                    if byte is None:
                        break   # the stream ends here
                    return tick, (f"tick {tick} ({since} after its start), {port}, byte {byte}: {mine[byte]:02x} expected, "
                                  f"{other[byte]:02x} found")
                begin += size
        what = f"sizes or latch {expected[at:begin].hex()} expected, {found[at:begin].hex()} found"
        if len(found) < end:
            what = "the answers end here"
        return tick, f"tick {tick} ({since} after its start): {what}"
    return tick, f"tick {tick}: {len(found)} bytes where {len(expected)} are expected"


def make_tape(program, folder, ticks=None):
    """Writes FOLDER/in and FOLDER/out; returns what the program says, key by key."""
    if not pathlib.Path(program).exists():
        raise Missing(f"{program} is not built (target torture_tape)")
    folder.mkdir(parents=True, exist_ok=True)
    text = run([program, folder] + (["--ticks", ticks] if ticks else [])).decode()
    said = {}
    for line in text.splitlines():
        key, _, value = line.partition(" ")
        said[key] = said[key] + "; " + value if key in said else value
    return said


def golden_differs(said, update):
    line = f"ticks {said['ticks']}, hash {said['hash']}\n"
    if update:
        GOLDEN.write_text(line)
        print(f"{GOLDEN.relative_to(ROOT)}: {line.strip()}")
        return False
    if GOLDEN.exists() and GOLDEN.read_text() == line:
        return False
    print(f"torture.py: {GOLDEN.relative_to(ROOT)} has another hash than this core ({line.strip()}). If the core was meant to change "
          "what it sends: tools/torture.py --update", file=sys.stderr)
    return True


def rows_or_alarms_missed(said):
    """Interlock rows and alarms that no tick of the tape brought up though something can."""
    missed = [name for key, never in NEVER.items() for name in said.get(key, "").split("; ") if name not in ("", never)]
    if missed:
        print(f"torture.py: the tape never brings up: {', '.join(missed)}", file=sys.stderr)
    return bool(missed)


class Coverage:
    """What a core built with gcov's counters has run through, by line of firmware/*.cpp."""

    def __init__(self, tape, folder):
        sources = firmware_sources(ROOT)
        objects = compile_all("g++", FLAGS + ["-O0", "-g", "--coverage", "-DNDEBUG"], sources, folder, ROOT)
        main = compile_all("g++", FLAGS + ["-O0"], [ROOT / "tests/torture/core_on_pipe.cpp"], folder / "main", ROOT)
        run(["g++", "--coverage", *objects, *main, "-o", folder / "core"])
        play([folder / "core"], tape, folder / "out")
        self.lines = {path: self.counted(path, folder) for path in sorted(sources)}

    @staticmethod
    def counted(path, folder):
        """{line: (times, [times of each branch])}; templates and lambdas stand in it several times."""
        report = json.loads(run(["gcov", "-b", "--json-format", "-t", folder / (path.stem + ".gcda")], cwd=folder))
        lines = {}
        for entry in (entry for file in report["files"] if file["file"].endswith(path.name) for entry in file["lines"]):
            times, branches = lines.get(entry["line_number"], (0, []))
            branches = branches + [branch["count"] for branch in entry["branches"]]
            lines[entry["line_number"]] = (max(times, entry["count"]), branches)
        return lines

    @staticmethod
    def shares(files):
        lines = [times for counted in files for times, _ in counted.values()]
        branches = [times for counted in files for _, taken in counted.values() for times in taken]
        return [(100.0 * sum(times > 0 for times in counts) / max(1, len(counts)), len(counts)) for counts in (lines, branches)]

    def print(self, gaps):
        for path, counted in self.lines.items():
            (lines, line_count), (branches, branch_count) = self.shares([counted])
            print(f"  {path.name:24} {lines:6.1f} % of {line_count:4} lines, {branches:6.1f} % of {branch_count:4} branches")
            text = path.read_text().splitlines() if gaps else []
            for number, (times, taken) in sorted(counted.items()) if gaps else ():
                missed = sum(count == 0 for count in taken)
                if times == 0 or missed:
                    print(f"    {'never' if times == 0 else f'{missed} of {len(taken)}':9} {number:4} {text[number - 1]}")

    def too_little(self, gaps):
        self.print(gaps)
        (lines, line_count), (branches, branch_count) = self.shares(self.lines.values())
        print(f"coverage {lines:.1f} % of {line_count} lines, {branches:.1f} % of {branch_count} branches taken")
        below = lines < FLOOR["lines"] or branches < FLOOR["branches"]
        if below:
            print(f"torture.py: less than {FLOOR['lines']} % of lines or {FLOOR['branches']} % of branches; --gaps lists what the tape "
                  "does not reach, the scripts of tests/torture/torture_script.cpp go where chance does not", file=sys.stderr)
        return below


def compare_variants(names, folder):
    expected = (folder / "out").read_bytes()
    differing = 0
    for name in names:
        command = build(name, folder / name)
        play(command, folder / "in", folder / name / "out")
        difference = first_difference(expected, (folder / name / "out").read_bytes())
        verdict = f"the same {len(expected)} bytes" if difference is None else "differs at " + difference[1]
        print(f"{name:18} {verdict}", flush=True)
        differing += difference is not None
    return differing


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--build", type=pathlib.Path, default=ROOT / "build/test", help="build folder with torture_tape")
    arguments.add_argument("--variants", default="", help="comma-separated, or all; none: only the golden hash")
    arguments.add_argument("--update", action="store_true", help="write tests/golden/torture.txt anew")
    arguments.add_argument("--coverage", action="store_true")
    arguments.add_argument("--gaps", action="store_true")
    arguments.add_argument("--list", action="store_true", help="print the names of the variants")
    options = arguments.parse_args()
    if options.list:
        print("\n".join(ALL_VARIANTS))
        return 0
    names = ALL_VARIANTS if options.variants == "all" else [name for name in options.variants.split(",") if name]
    unknown = [name for name in names if name not in ALL_VARIANTS]
    if unknown:
        arguments.error(f"no variant {unknown[0]}; there are {', '.join(ALL_VARIANTS)}")
    with tempfile.TemporaryDirectory() as scratch:
        folder = pathlib.Path(scratch)
        said = make_tape(options.build / "tests/torture_tape", folder)
        for key in ("ticks", "starts", "latched", "hash", "trips", "refusing", "row_never", "alarm_never", "segments", "results"):
            print(f"{key:12} {said.get(key, '')}")
        failed = golden_differs(said, options.update)
        failed |= compare_variants(names, folder) > 0
        if options.coverage or options.gaps:
            failed |= rows_or_alarms_missed(said)
            failed |= Coverage(folder / "in", folder / "coverage").too_little(options.gaps)
        return 4 if failed else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Missing as reason:
        print(f"torture.py: {reason}", file=sys.stderr)
        sys.exit(2)
