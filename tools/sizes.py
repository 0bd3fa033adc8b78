#!/usr/bin/env python3
"""Checks the image for the emulated processor against its budget, and that it cannot do what the core must not.

    sizes.py IMAGE [--instructions TAPE_FOLDER] [--update]

Flash, RAM, worst stack; no recursion, no indirect call, no frame of unknown size; no heap; no double arithmetic anywhere in the
image, of libm only what the core may use. Stack and calls come from the compiler's own call graph (-fstack-usage
-fcallgraph-info=su, files *.ci beside the image) for the core, and from the disassembly for the few routines of the C library
that are linked. The stack of the processor's own exception entry is not in it: the image takes no interrupt.

--instructions adds the worst and the median count of instructions of a control period (receive, step, transmit, store) over the
torture tape (FOLDER/in, by torture_tape): another build of the image reads the emulated timer around them, with one instruction
lasting 64 ns (-icount shift=6) and the timer ticking every 40 ns. A count is right to a few instructions and the same in every
run; it is of instructions, not of cycles, and the worst that the tape met, not a bound.

Figures are held against tests/golden/sizes.json; growth beyond what that file allows is a finding. --update writes it anew.
Exit code 1 when something is over or wrong.
"""
import argparse
import json
import pathlib
import re
import struct
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
GOLDEN = ROOT / "tests/golden/sizes.json"
BUDGET = {"flash": 128 * 1024, "RAM": 64 * 1024, "stack": 4 * 1024}
ALLOWED_GROWTH = {"flash": 0.03, "RAM": 0.03, "stack": 0.05, "instructions worst": 0.10, "instructions median": 0.05}
TOOLS = "arm-none-eabi-"
ENTRY = "reset"
HEAP = re.compile(r"^(_sbrk(_r)?|_?(malloc|free|realloc|calloc)(_r)?|_Zn[wa].*|_Zd[la].*)$")
# Run-time routines of the ARM ABI (IHI 0043, 4.1.2: double-precision arithmetic and conversions) and libgcc's own names for them.
DOUBLE = re.compile(r"^(__aeabi_c?d\w+|__aeabi_[fhil]2d|__aeabi_u?[il]2d|__aeabi_ul2d|__\w+df[23]?|__(extend|trunc|fix|float)\w*df\w*)$")
DOUBLE_OPERATION = re.compile(r"\.f64\b")
# What of libm would show as a symbol; the core may use sqrt, fabs, floor, ceil, round, fmod and fma.
LIBM_ALLOWED = {"sqrt", "fabs", "floor", "ceil", "round", "fmod", "fma"}
LIBM = re.compile(r"^(?:__ieee754_|__kernel_|_*)(acosh?|asinh?|atanh?|atan2|cbrt|ceil|cosh?|erfc?|exp2?|exp10|expm1|fabs|fdim|floor|"
                  r"fma|fmod|frexp|hypot|ldexp|[lt]gamma|log|log2|log10|log1p|logb|lrint|lround|modf|nearbyint|pow|remainder|remquo|"
                  r"rem_pio2|rint|round|scalbl?n|sinh?|sincos|sqrt|tanh?|trunc)f?$")


def tool(name, *arguments):
    return subprocess.run([TOOLS + name, *map(str, arguments)], check=True, capture_output=True, text=True).stdout


def section_sizes(elf):
    """Bytes by section name."""
    sizes = {}
    for line in tool("size", "-A", elf).splitlines():
        words = line.split()
        if len(words) == 3 and words[0].startswith("."):
            sizes[words[0]] = int(words[1])
    return sizes


def symbols(elf):
    return {line.split()[-1] for line in tool("nm", elf).splitlines()}


class CallGraph:
    """Functions of the image: frame in bytes and callees."""

    def __init__(self, elf):
        self.frames, self.callees, self.complaints = {}, {}, []
        self.linked = symbols(elf)
        for path in sorted(elf.parent.glob("*.ci")):
            self.read_compiler(path.read_text())
        self.core = set(self.frames)
        self.disassembly = tool("objdump", "-d", "--no-show-raw-insn", elf)
        self.read_library(self.disassembly)

    @staticmethod
    def plain(title):
        return title.rsplit(":", 1)[-1]  # local functions are "file.cpp:name"

    def read_compiler(self, text):
        for title, label in re.findall(r'node: \{ title: "([^"]*)" label: "([^"]*)"', text):
            name = self.plain(title)
            frame = re.search(r"(\d+) bytes \(([^)]*)\)", label)
            if not frame or name not in self.linked:
                continue
            if frame.group(2) not in ("static", "dynamic,bounded"):
                self.complaints.append(f"{name}: frame of unknown size ({frame.group(2)})")
            self.frames[name] = max(self.frames.get(name, 0), int(frame.group(1)))
            self.callees.setdefault(name, set())
        for source, target in re.findall(r'edge: \{ sourcename: "([^"]*)" targetname: "([^"]*)"', text):
            name = self.plain(source)
            if name not in self.linked:
                continue
            if target == "__indirect_call":
                self.complaints.append(f"{name}: indirect call")
            else:
                self.callees.setdefault(name, set()).add(self.plain(target))

    def read_library(self, disassembly):
        for block in re.split(r"\n\n", disassembly):
            head = re.match(r"\s*[0-9a-f]+ <([^>]+)>:", block)
            if not head or head.group(1) in self.frames:
                continue
            name, frame, callees = head.group(1), 0, set()
            for line in block.splitlines()[1:]:
                words = line.split("\t")
                if len(words) < 3:
                    continue
                operation, operands = words[1].strip(), words[2]
                frame += self.pushed(operation, operands)
                target = re.search(r"<([^>+]+)>", operands)
                if operation.startswith(("bl", "b.w", "b.n", "b")) and target and target.group(1) != name:
                    callees.add(target.group(1))
                if re.match(r"blx\s*$", operation):
                    self.complaints.append(f"{name}: indirect call")
            self.frames[name], self.callees[name] = frame, callees

    @staticmethod
    def pushed(operation, operands):
        if operation.startswith("vpush"):
            low, _, high = operands.strip("{} ").partition("-")
            count = int(high[1:]) - int(low[1:]) + 1 if high else 1
            return count * (8 if low.startswith("d") else 4)
        if operation.startswith("push") or (operation.startswith("stmdb") and operands.startswith("sp!")):
            names = operands[operands.index("{") + 1:operands.index("}")].split(",")
            return 4 * sum(1 if "-" not in n else 1 + int(n.split("-")[1].strip()[1:]) - int(n.split("-")[0].strip()[1:]) for n in names)
        single = re.match(r"\w+, \[sp, #-(\d+)\]!", operands)
        if operation.startswith("str") and single:
            return int(single.group(1))
        grown = re.match(r"sp,(?: sp,)? #(\d+)", operands)
        return int(grown.group(1)) if operation.startswith("sub") and grown else 0

    def deepest(self, name, above=()):
        """(bytes, path) of the deepest chain of calls from a function."""
        if name in above:
            self.complaints.append("recursion: " + " > ".join(above[above.index(name):] + (name,)))
            return 0, [name]
        if name not in self.frames:
            self.complaints.append(f"{name}: called by {above[-1] if above else 'nobody'}, frame unknown")
            return 0, [name]
        if name not in self.known:
            deepest = max((self.deepest(callee, above + (name,)) for callee in sorted(self.callees[name])), default=(0, []))
            self.known[name] = (self.frames[name] + deepest[0], [name] + deepest[1])
        return self.known[name]

    def worst(self):
        self.known = {}
        return self.deepest(ENTRY)


def forbidden(graph):
    """What is linked or executed that the core must not have."""
    found = [f"heap: {name} is linked" for name in sorted(graph.linked) if HEAP.match(name)]
    for name in sorted(graph.linked):
        if DOUBLE.match(name):
            callers = sorted(caller for caller, callees in graph.callees.items() if name in callees)
            found.append(f"double arithmetic: {name} is linked" + (f", called by {', '.join(callers)}" if callers else ""))
        libm = LIBM.match(name)
        if libm and libm.group(1) not in LIBM_ALLOWED:
            found.append(f"libm: {name} is linked")
    for block in re.split(r"\n\n", graph.disassembly):
        head = re.match(r"\s*[0-9a-f]+ <([^>]+)>:", block)
        if head and DOUBLE_OPERATION.search(block):
            found.append(f"double arithmetic: an instruction of {head.group(1)}")
    return found


def sizes_of(elf):
    """(figures, call graph, path of the deepest chain)."""
    sections = section_sizes(elf)
    graph = CallGraph(elf)
    stack, path = graph.worst()
    figures = {"flash": sum(sections.get(name, 0) for name in (".text", ".ARM.exidx", ".data")),
               "RAM": sum(sections.get(name, 0) for name in (".data", ".bss", ".stack")), "stack": stack}
    return figures, graph, path


def instructions(tape):
    """Of every control period of the tape, in order."""
    sys.path.insert(0, str(ROOT / "tools"))
    import torture  # noqa: PLC0415: needs nothing of it unless asked
    with tempfile.TemporaryDirectory() as scratch:
        folder = pathlib.Path(scratch)
        command = torture.arm_core("cortex-m4-O2", folder, extra=["-DFW_COUNT_INSTRUCTIONS"])
        torture.play(command + ["-icount", "shift=6,sleep=off"], tape / "in", folder / "out")
        data = (folder / "out").read_bytes()
    return [4 * struct.unpack_from("<H", data, at + 10)[0] for at, kind, _ in torture.frames(data) if kind != torture.KIND_START]


def count(tape, figures):
    counts = instructions(tape)
    worst = max(range(len(counts)), key=counts.__getitem__)
    figures["instructions worst"], figures["instructions median"] = counts[worst], sorted(counts)[len(counts) // 2]
    print(f"{len(counts)} control periods of the tape; the worst at tick {worst}")


def grown(figures, update):
    """Against the baseline."""
    if update:
        kept = json.loads(GOLDEN.read_text()) if GOLDEN.exists() else {}
        GOLDEN.write_text(json.dumps({**kept, **figures, "compiler": tool("g++", "-dumpfullversion").strip()}, indent=2) + "\n")
        return []
    if not GOLDEN.exists():
        return [f"{GOLDEN.relative_to(ROOT)} is missing: --update writes it"]
    kept = json.loads(GOLDEN.read_text())
    found = []
    for what, value in figures.items():
        most = round(kept.get(what, 0) * (1 + ALLOWED_GROWTH[what]))
        if value > most:
            found.append(f"{what}: {value}, was {kept.get(what)} and may grow to {most}; if it is worth it: sizes.py ... --update")
    return found


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("elf", type=pathlib.Path)
    arguments.add_argument("--instructions", type=pathlib.Path, metavar="TAPE_FOLDER")
    arguments.add_argument("--update", action="store_true")
    options = arguments.parse_args()
    if not options.elf.exists():
        sys.exit(f"sizes.py: {options.elf}: there is no image; build target saggar_image")
    figures, graph, path = sizes_of(options.elf)
    complaints = graph.complaints + forbidden(graph)
    names = {name: tool("c++filt", name).strip().replace("(anonymous namespace)::", "").split("(")[0] for name in path}
    print("deepest: " + " > ".join(f"{names[name]} {graph.frames.get(name, 0)}" for name in path))
    if options.instructions:
        count(options.instructions, figures)
    for what, found in figures.items():
        most = BUDGET.get(what)
        print(f"{what:20} {found:7}" + (f" of {most} bytes" if most else ""))
        if most and found > most:
            complaints.append(f"{what}: {found} bytes, at most {most}")
    complaints += grown(figures, options.update)
    for complaint in dict.fromkeys(complaints):
        print("sizes.py: " + complaint, file=sys.stderr)
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
