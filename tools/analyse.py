#!/usr/bin/env python3
"""clang-tidy (profile firmware/.clang-tidy) and cppcheck over the control core. Prints every finding; exit code 1 if there is one.

    tools/analyse.py [FILE...]

An exception stands where it is needed, with its reason: // NOLINT(check) or // cppcheck-suppress check.
"""
import concurrent.futures
import os
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tools"))
import torture  # noqa: E402

FLAGS = ["-std=c++20", "-ffp-contract=off", "-fno-math-errno", "-fno-exceptions", "-fno-rtti", "-Wall", "-Wextra", f"-I{ROOT}"]
CPPCHECK = ["cppcheck", "--std=c++20", "--language=c++", "--enable=warning,style,performance,portability", "--inline-suppr", "--quiet",
            "--error-exitcode=1", "--template={file}:{line}: {id}: {message}", f"-I{ROOT}",
            "--suppress=missingIncludeSystem",
            "--suppress=funcArgNamesDifferent",   # the header says controller, the definition c: it stands on every line
            "--suppress=shadowFunction",          # a local named as what it holds
            "--suppress=syntaxError:*interlocks.cpp",   # cppcheck 2.10 does not read a table behind `using enum`; clang-tidy does
            "--suppress=syntaxError:*parameters.cpp",   # nor a constexpr table filled by a lambda called on the spot
            "--suppress=syntaxError:*store_layout_1.h",
            "--suppress=constParameter",   # what hands out a part of its argument to be written
            "--suppress=unmatchedSuppression",
            "--suppress=useStlAlgorithm"]   # a loop on the screen is read more easily than an algorithm with a lambda


def run(command):
    try:
        result = subprocess.run(list(map(str, command)), capture_output=True, text=True, check=False, cwd=ROOT)
    except FileNotFoundError:
        sys.exit(f"analyse.py: {command[0]} is not installed")
    return result.returncode, result.stdout + result.stderr


def tidy(path):
    code, text = run(["clang-tidy-14", "--quiet", path, "--", *FLAGS])
    found = [line for line in text.splitlines() if re.search(r": (warning|error): ", line)]
    return found if code == 0 or found else [text]


def main():
    files = [pathlib.Path(name).resolve() for name in sys.argv[1:]] or torture.firmware_sources(ROOT)
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count()) as pool:
        findings = [line for found in pool.map(tidy, files) for line in found]
    code, text = run([*CPPCHECK, *files])
    findings += text.splitlines() if code else []
    for line in dict.fromkeys(findings):
        print(line.replace(str(ROOT) + "/", ""))
    print(f"{len(dict.fromkeys(findings))} findings in {len(files)} files")
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
