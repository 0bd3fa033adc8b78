#!/usr/bin/env python3
"""Fuzzes the control core: frames, register requests, programmes, store images (tests/fuzz; libFuzzer, address and undefined sanitizers).

    tools/fuzz.py [--seconds 20] [--only NAME] [--keep FOLDER]

Builds the core and each target with Clang 14, then runs one after the other from a seed or two. A crash, a sanitizer's finding, or a
limit broken (see tests/fuzz/fuzzed_core.h) leaves the input in --keep and ends with exit code 1. A fixed -seed makes the start alike,
not the course: it depends on the time given.
"""
import argparse
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import torture  # noqa: E402

TARGETS = ("frame", "register", "programme", "store")
COMPILER = "clang++-14"
FLAGS = ["-std=c++20", "-O1", "-g1", "-ffp-contract=off", "-fno-math-errno", "-fno-omit-frame-pointer",
         "-fsanitize=fuzzer-no-link,address,undefined", "-fno-sanitize-recover=all"]
READ_MONITOR = bytes.fromhex("0104 0000 000A 700D")   # one whole request, so that the fuzzer need not find one
SEEDS = {   # in the form each target takes apart
    "frame": [bytes([16, 8]) + READ_MONITOR + bytes([21, 0]), bytes([18, 6, 1, 3, 1, 0, 0, 4, 21, 0, 18, 5, 1, 23, 0, 0, 0])],
    "register": [bytes([3, 9, 0, 4]) + bytes(8) + bytes([4, 1, 0, 4, 3, 0, 4]) + bytes(8)],
    "programme": [bytes([0, 1]) + bytes.fromhex("0000000000 0000 4396 0000 3F80 0000") + bytes(27) + bytes([0, 10]) + bytes(102)],
    "store": [bytes([0, 1, 0, 0, 0, 0, 1, 1, 0, 0]) + bytes(56)],
}


def build(folder, root=ROOT):
    """Path of each target's program, by name."""
    sources = torture.firmware_sources(root) + sorted((root / "tests/torture").glob("torture*.cpp"))
    sources = [path for path in sources if path.stem != "torture_tape"]
    objects = torture.compile_all(COMPILER, FLAGS, sources, folder, root)
    programs = {}
    for name in TARGETS:
        own = torture.compile_all(COMPILER, FLAGS, [root / f"tests/fuzz/{name}_fuzz.cpp"], folder, root)
        programs[name] = folder / f"{name}_fuzz"
        torture.run([COMPILER, "-fsanitize=fuzzer,address,undefined", *objects, *own, "-o", programs[name]])
    return programs


def fuzz(name, program, seconds, keep):
    """True if nothing was found."""
    with tempfile.TemporaryDirectory() as corpus:
        for number, seed in enumerate(SEEDS[name]):
            (pathlib.Path(corpus) / f"seed{number}").write_bytes(seed)
        command = [program, corpus, f"-max_total_time={seconds}", "-seed=1", "-max_len=2048", "-print_final_stats=1", "-timeout=10",
                   f"-artifact_prefix={keep}/{name}-"]
        result = subprocess.run(list(map(str, command)), capture_output=True, text=True, check=False)
    runs = re.search(r"stat::number_of_executed_units:\s*(\d+)", result.stderr)
    reached = re.findall(r"cov: (\d+) ft: (\d+)", result.stderr)
    print(f"{name:10} {seconds} s, {runs.group(1) if runs else '?'} inputs, {reached[-1][0] if reached else '?'} edges, "
          f"{reached[-1][1] if reached else '?'} features: {'clean' if result.returncode == 0 else 'FOUND SOMETHING'}", flush=True)
    if result.returncode != 0:
        print(result.stderr[-6000:], file=sys.stderr)
    return result.returncode == 0


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--seconds", type=int, default=20)
    arguments.add_argument("--only", choices=TARGETS)
    arguments.add_argument("--keep", type=pathlib.Path, default=ROOT / "build/fuzz", help="where an input that finds something is left")
    options = arguments.parse_args()
    options.keep.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        programs = build(pathlib.Path(scratch))
        found = [name for name in TARGETS if options.only in (None, name) and not fuzz(name, programs[name], options.seconds, options.keep)]
    return 1 if found else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except torture.Missing as reason:
        print(f"fuzz.py: {reason}", file=sys.stderr)
        sys.exit(2)
