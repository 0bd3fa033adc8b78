#!/usr/bin/env python3
"""Checks the rules of the house that no compiler checks. Prints file:line: rule: message; exit 1 if there is any finding.

    tools/tidy.py [ROOT]

The rules stand in DEVELOPERS.md ("Rules a program checks"). Only Python's standard library is used.
"""
import ast
import os
import pathlib
import re
import sys

TOP_LEVEL = {"CMakeLists.txt", "README.md", "DEVELOPERS.md", "firmware", "plant", "sim", "tests", "configs", "tools"}
SKIPPED_FOLDERS = {".git", "build", "runs", "__pycache__"}
FUNCTION_LINES_MAX = 70
COLUMNS_MAX = 140
# Some words are split so that this file does not trip over itself.
BANNED_STEMS = {"utils", "util", "help" "er", "help" "ers", "common", "misc", "manager", "base"}
BANNED_WORDS = [re.compile(pattern) for pattern in (
    r"/wo" r"rk/", r"/ro" r"ot/", r"/ho" r"me/", r"/tmp/bu" r"ild", r"\.\./sha" r"red",
    r"\bTO" r"DO\b", r"\bFIX" r"ME\b", r"\bXX" r"X\b",
    r"(?i)\bhelp" r"ers?\b", r"(?i)\bage" r"nts?\b", r"(?i)\bsess" r"ions?\b", r"(?i)\biss" r"ue #?\d")]

FIRMWARE_HEADERS = {"algorithm", "array", "bit", "climits", "cmath", "compare", "concepts", "cstddef", "cstdint", "cstring",
                    "initializer_list", "limits", "new", "span", "tuple", "type_traits", "utility", "stddef.h", "stdint.h"}
FIRMWARE_BANNED = {
    "heap": r"\b(malloc|calloc|realloc|free)\s*\(|\bnew\s+(?!\()\w|\bdelete\b(?!\s*[;,)])|\bmake_(unique|shared)\b",
    "heap type": r"\bstd::(string|vector|function|map|set|deque|list|unordered_\w+|unique_ptr|shared_ptr|any)\b",
    "exception or RTTI": r"\bthrow\b|\btry\s*\{|\bcatch\s*\(|\bdynamic_cast\b|\btypeid\b",
    "double": r"\bdouble\b",
    "libm": r"(?<![\w.>])(std::)?(exp|exp2|expm1|log|log2|log10|log1p|pow|sin|cos|tan|asin|acos|atan|atan2|sinh|cosh|tanh|cbrt|hypot|"
            r"erf|erfc|tgamma|lgamma|ldexp|frexp|modf)f?\s*\(",
    "function pointer": r"\(\s*\*\s*(const\s+)?\w*\s*\)\s*\(",
    "I/O or clock": r"\b(printf|fprintf|puts|fopen|time|clock)\s*\(|\bstd::(cout|cerr|chrono|ios\w*)\b",
}
UNREPEATABLE = re.compile(r"\brandom_device\b|\b(system|steady|high_resolution)_clock\b|(?<![\w.>:])s?rand\s*\(|"
                          r"(?<![\w.>:])(std::)?time\s*\(\s*(nullptr|NULL|0|&\w+)\s*\)|\bgettimeofday\b|\bclock_gettime\b")
WALL_TIME_FILES = {"sim/recording.h", "sim/recording.cpp"}  # wall_s of summary.json
SKIPPED_TEST = re.compile(r"\bGTEST_" r"SKIP\b|\bDIS" r"ABLED_\w")


class Tree:
    """The project's own files, read once."""

    def __init__(self, root):
        self.root = pathlib.Path(root).resolve()
        self.text = {}
        self.binary = set()
        for folder, folders, names in os.walk(self.root):
            folders[:] = sorted(name for name in folders if name not in SKIPPED_FOLDERS)
            for name in sorted(names):
                if name in SKIPPED_FOLDERS:     # .git is a file in a linked working copy
                    continue
                path = pathlib.Path(folder, name)
                relative = path.relative_to(self.root).as_posix()
                try:
                    self.text[relative] = path.read_text(encoding="utf-8")
                except UnicodeDecodeError:
                    self.binary.add(relative)
        self.code = {path: blanked(text) for path, text in self.text.items() if is_cpp(path)}

    def paths(self):
        return sorted(set(self.text) | self.binary)


def is_cpp(path):
    return path.endswith((".cpp", ".h", ".c", ".hpp", ".cc"))


def is_code(path):
    name = path.rsplit("/", 1)[-1]
    return is_cpp(path) or path.endswith((".py", ".yaml", ".S", ".ld")) or name == "CMakeLists.txt" or "." not in name


def blanked(text):
    """C++ text with comments and the insides of literals replaced by spaces, line by line as long as before."""
    token = re.compile(r'//[^\n]*|/\*.*?\*/|R"(?P<tag>[^\s()\\]{0,16})\(.*?\)(?P=tag)"|"(?:\\.|[^"\\\n])*"|'
                       r"(?<![\w])'(?:\\.|[^'\\\n])+'", re.S)

    def blank(match):
        found = match.group(0)
        if found.startswith("/"):
            return re.sub(r"[^\n]", " ", found)
        return found[0] + re.sub(r"[^\n]", " ", found[1:-1]) + found[-1] if len(found) > 1 else found
    return token.sub(blank, text)


def line_of(text, position):
    return text.count("\n", 0, position) + 1


def top_level(tree):
    for name in sorted({path.split("/", 1)[0] for path in tree.paths()}):
        if not name.startswith(".") and name not in TOP_LEVEL:
            yield name, 1, "top level", "is not one of " + " ".join(sorted(TOP_LEVEL)) + " or a dot-file"


def file_names(tree):
    for path in tree.paths():
        stem = path.rsplit("/", 1)[-1].split(".", 1)[0]
        if stem.lower() in BANNED_STEMS:
            yield path, 1, "file name", f"'{stem}' names no noun of the trade; say what the file holds"


def words(tree):
    for path, text in tree.text.items():
        for number, line in enumerate(text.split("\n"), 1):
            for word in BANNED_WORDS:
                found = word.search(line)
                if found:
                    yield path, number, "banned word", f"'{found.group(0)}'"


def columns(tree):
    for path, text in tree.text.items():
        if is_code(path) and not path.startswith("tests/reference/"):  # published data stands as it was published
            for number, line in enumerate(text.split("\n"), 1):
                if len(line) > COLUMNS_MAX:
                    yield path, number, "line length", f"{len(line)} columns, at most {COLUMNS_MAX}"


def includes(tree):
    rules = {  # folder: (own folders it may include, what else it may not)
        "firmware": ({"firmware"}, None),
        "plant": ({"plant"}, re.compile(r"^(boost|asio|yaml-cpp|fmt|nlohmann|pugixml|CLI)")),
        "sim": ({"firmware", "plant", "sim"}, re.compile(r"^(CLI|gtest|gmock)")),
        "tools": ({"firmware", "plant", "sim", "tools"}, re.compile(r"^(gtest|gmock)")),
    }
    for path, text in tree.text.items():
        folder = path.split("/", 1)[0]
        if not is_cpp(path) or folder not in rules:
            continue
        allowed, banned = rules[folder]
        for number, line in enumerate(text.split("\n"), 1):
            found = re.match(r'\s*#\s*include\s*([<"])([^>"]+)[>"]', line)
            if not found:
                continue
            quoted, target = found.group(1) == '"', found.group(2)
            head = target.split("/", 1)[0]
            if quoted and head in TOP_LEVEL and head not in allowed:
                yield path, number, "include direction", f"{folder} may not include {target}"
            elif folder == "firmware" and not quoted and target not in FIRMWARE_HEADERS:
                yield path, number, "include direction", f"firmware may not include <{target}>"
            elif banned and banned.match(target):
                yield path, number, "include direction", f"{folder} may not include {target}"


def calls(tree):
    for path, code in tree.code.items():
        folder = path.split("/", 1)[0]
        for number, line in enumerate(code.split("\n"), 1):
            if folder == "firmware":
                for what, pattern in FIRMWARE_BANNED.items():
                    found = re.search(pattern, line)
                    if found and not line.lstrip().startswith("#"):
                        yield path, number, "firmware call", f"{what}: '{found.group(0).strip()}'"
            if folder in ("plant", "sim", "firmware") and path not in WALL_TIME_FILES:
                found = UNREPEATABLE.search(line)
                if found:
                    yield path, number, "unrepeatable", f"'{found.group(0).strip()}' makes runs differ"


def skipped_tests(tree):
    for path, text in tree.text.items():
        if path.startswith("tests/") and is_cpp(path):
            for number, line in enumerate(text.split("\n"), 1):
                found = SKIPPED_TEST.search(line)
                if found:
                    yield path, number, "skipped test", f"'{found.group(0)}': a test runs or is not there"


def functions(code):
    """Yields (first line, last line, header) of every outermost function body in blanked C++ text."""
    code = re.sub(r"(?m)^[ \t]*#(?:[^\n\\]|\\.|\\\n)*", lambda m: re.sub(r"[^\n]", " ", m.group(0)), code)
    position, start = 0, 0
    while position < len(code):
        char = code[position]
        if char == ";":
            start = position + 1
        elif char == "}":
            start = position + 1
        elif char == "{":
            header = code[start:position]
            plain = strip_parentheses(header)
            scope = re.search(r"\b(namespace|class|struct|union|enum)\b|\bextern\s*\"", plain) and "(" not in plain
            if scope:
                start = position + 1
            else:
                end = matching_brace(code, position)
                after = code[end + 1:].lstrip()[:1]
                initialised = "=" in re.sub(r"operator\s*[=<>!+\-*/]+", "", plain)
                if "(" in header and not initialised and after not in (",", "{"):
                    first = line_of(code, start + len(header) - len(header.lstrip()))
                    yield first, line_of(code, end), " ".join(header.split())
                    start = end + 1
                elif after not in (",", "{", ";", ")"):
                    start = end + 1
                position = end
        position += 1


def strip_parentheses(text):
    depth, kept = 0, []
    for char in text:
        if char == ")":
            depth -= 1
        if depth == 0:
            kept.append(char)
        if char == "(":
            depth += 1
    return "".join(kept)


def matching_brace(code, position):
    depth = 0
    for index in range(position, len(code)):
        if code[index] == "{":
            depth += 1
        elif code[index] == "}":
            depth -= 1
            if depth == 0:
                return index
    return len(code) - 1


def function_lengths(tree):
    for path, code in tree.code.items():
        for first, last, header in functions(code):
            if last - first + 1 > FUNCTION_LINES_MAX:
                yield path, first, "function length", f"{last - first + 1} lines, at most {FUNCTION_LINES_MAX}: {header[:60]}"
    for path, text in tree.text.items():
        if path.endswith(".py"):
            for node in ast.walk(ast.parse(text)):
                if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                    lines = node.end_lineno - node.lineno + 1
                    if lines > FUNCTION_LINES_MAX:
                        yield path, node.lineno, "function length", f"{lines} lines, at most {FUNCTION_LINES_MAX}: {node.name}"


def dead_files(tree):
    lists = "\n".join(re.sub(r"#[^\n]*", "", text) for path, text in tree.text.items() if path.endswith("CMakeLists.txt"))
    included = set()
    for path, text in tree.text.items():
        if is_cpp(path) or path.endswith(".S"):
            for target in re.findall(r'#\s*include\s*[<"]([^>"]+)[>"]', text):
                included.add(target if target in tree.text else os.path.normpath(os.path.join(os.path.dirname(path), target)))
    for path in tree.paths():
        parts = path.split("/")
        name = parts[-1]
        if path.startswith(".") or name in ("CMakeLists.txt", "README.md", "DEVELOPERS.md"):
            continue
        if path.endswith((".cpp", ".c", ".S", ".cc")):
            listed = "/".join(parts[1:-1] + [name.rsplit(".", 1)[0]])
            if not re.search(r"(?<![\w])(" + re.escape(listed) + "|" + re.escape(name) + r")(?![\w])", lists):
                yield path, 1, "dead file", "no CMakeLists.txt lists it"
        elif path.endswith((".h", ".hpp")):
            if path not in included:
                yield path, 1, "dead file", "nothing includes it"
        elif not named_elsewhere(tree, path):
            yield path, 1, "dead file", "nothing names it"


def named_elsewhere(tree, path):
    """Whether the name (of a configuration also the stem) of a file stands as a whole word in another file."""
    name = path.rsplit("/", 1)[-1]
    stem = name.split(".", 1)[0] if path.startswith("configs/") else name
    whole = re.compile(r"(?<![\w])(" + re.escape(name) + "|" + re.escape(stem) + r")(?![\w])")
    for other, text in tree.text.items():
        if other == path or (path.startswith("tests/reference/") and other.startswith("tests/reference/")):
            continue
        if (name in text or stem in text) and whole.search(text):
            return True
    return False


def scenarios(tree):
    lists = "\n".join(re.sub(r"#[^\n]*", "", text) for path, text in tree.text.items()
                      if path.startswith("tests/") and path.endswith("CMakeLists.txt"))
    for path in tree.paths():
        if path.startswith("configs/scenarios/") and path.endswith(".yaml"):
            name = path[len("configs/scenarios/"):-len(".yaml")]
            if not re.search(r"(?<![\w/])" + re.escape(name) + r"(?![\w/])", lists):
                yield path, 1, "scenario", "no test runs it (list it in tests/tools/CMakeLists.txt)"


RULES = (top_level, file_names, words, columns, includes, calls, skipped_tests, function_lengths, dead_files, scenarios)


def findings(root):
    tree = Tree(root)
    return sorted(finding for rule in RULES for finding in rule(tree))


def main():
    root = sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parent.parent
    found = findings(root)
    for path, line, rule, message in found:
        print(f"{path}:{line}: {rule}: {message}")
    print(f"{len(found)} findings")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
