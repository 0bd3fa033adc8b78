#!/usr/bin/env python3
"""Checks the image for the emulated processor against its budget, and that it cannot do what the core must not.

    sizes.py build/release/firmware/cortex_m/saggar_core.elf

Flash, RAM, worst stack; no recursion, no indirect call, no frame of unknown size; no heap; no double arithmetic. Stack and
calls come from the compiler's own call graph (-fstack-usage -fcallgraph-info=su, files *.ci beside the image) for the core,
and from the disassembly for the few routines of the C library that are linked. Exit code 1 when something is over or wrong.
"""
import argparse
import pathlib
import re
import subprocess
import sys

FLASH_MAX = 128 * 1024
RAM_MAX = 64 * 1024
STACK_MAX = 4 * 1024
TOOLS = "arm-none-eabi-"
ENTRY = "reset"
HEAP = re.compile(r"^(_sbrk(_r)?|_?(malloc|free|realloc|calloc)(_r)?|_Zn[wa].*|_Zd[la].*)$")
DOUBLE = re.compile(r"^(__aeabi_d\w+|__aeabi_f2d|__aeabi_u?[il]2d|__aeabi_ul2d|__\w+df[23]?|__(extend|trunc)\w*df\w*)$")


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
        self.read_library(tool("objdump", "-d", "--no-show-raw-insn", elf))

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


def main():
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("elf", type=pathlib.Path)
    elf = arguments.parse_args().elf
    if not elf.exists():
        sys.exit(f"sizes.py: {elf}: there is no image; build target saggar_image")
    sizes = section_sizes(elf)
    flash = sum(sizes.get(name, 0) for name in (".text", ".ARM.exidx", ".data"))
    ram = sum(sizes.get(name, 0) for name in (".data", ".bss", ".stack"))
    graph = CallGraph(elf)
    stack, path = graph.worst()
    complaints = graph.complaints
    for what, found, most in (("flash", flash, FLASH_MAX), ("RAM", ram, RAM_MAX), ("stack", stack, STACK_MAX)):
        print(f"{what:6} {found:7} of {most} bytes")
        if found > most:
            complaints.append(f"{what}: {found} bytes, at most {most}")
    names = {name: tool("c++filt", name).strip().replace("(anonymous namespace)::", "").split("(")[0] for name in path}
    print("deepest: " + " > ".join(f"{names[name]} {graph.frames.get(name, 0)}" for name in path))
    complaints += [f"heap: {name} is linked" for name in sorted(graph.linked) if HEAP.match(name)]
    # Only calls from the core count: the compiler's own routine for float to int64 is exact and uses doubles inside.
    complaints += [f"double arithmetic: {name} calls {callee}" for name in sorted(graph.core) for callee in sorted(graph.callees[name])
                   if DOUBLE.match(callee)]
    for complaint in dict.fromkeys(complaints):
        print("sizes.py: " + complaint, file=sys.stderr)
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
