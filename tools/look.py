#!/usr/bin/env python3
"""Opens a report in headless Chromium, light and dark: no console error, nothing fetched, not blank, and dark is darker.

    tools/look.py REPORT.html [--keep FOLDER]      FOLDER gets light.png and dark.png
"""
import argparse
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import zlib

WIDTH, HEIGHT = 1280, 1800


def screenshot(report, picture, dark, profile):
    """Returns Chromium's console lines; raises on its failure."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if not browser:
        raise SystemExit("chromium is not installed")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage",
               "--enable-logging=stderr", "--virtual-time-budget=8000", f"--user-data-dir={profile}",
               f"--window-size={WIDTH},{HEIGHT}", f"--blink-settings=preferredColorScheme={0 if dark else 1}",
               "--host-resolver-rules=MAP * ~NOTFOUND", f"--screenshot={picture}", report.resolve().as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, env=dict(os.environ, HOME=str(profile)))
    if not picture.exists():
        raise SystemExit("no screenshot was made:\n" + done.stderr[-2000:])
    return [line for line in done.stderr.splitlines() if "CONSOLE" in line]


def pixels(picture):
    """(width, height, rows of bytes, bytes per pixel) of an 8-bit RGB or RGBA PNG."""
    data = picture.read_bytes()
    position, packed, width, height, size = 8, b"", 0, 0, 3
    while position < len(data):
        length, kind = int.from_bytes(data[position:position + 4], "big"), data[position + 4:position + 8]
        body = data[position + 8:position + 8 + length]
        if kind == b"IHDR":
            width, height = int.from_bytes(body[:4], "big"), int.from_bytes(body[4:8], "big")
            size = {2: 3, 6: 4}[body[9]]
        elif kind == b"IDAT":
            packed += body
        position += 12 + length
    raw, stride, rows, above = zlib.decompress(packed), width * size, [], bytearray(width * size)
    for row in range(height):
        begin = row * (stride + 1)
        above = unfiltered(raw[begin], bytearray(raw[begin + 1:begin + 1 + stride]), above, size)
        rows.append(above)
    return width, height, rows, size


def unfiltered(kind, line, above, size):
    for i in range(len(line)):
        left = line[i - size] if i >= size else 0
        if kind == 1:
            line[i] = (line[i] + left) & 255
        elif kind == 2:
            line[i] = (line[i] + above[i]) & 255
        elif kind == 3:
            line[i] = (line[i] + (left + above[i]) // 2) & 255
        elif kind == 4:
            corner = above[i - size] if i >= size else 0
            estimate = left + above[i] - corner
            nearest = min((abs(estimate - left), 0, left), (abs(estimate - above[i]), 1, above[i]),
                          (abs(estimate - corner), 2, corner))[2]
            line[i] = (line[i] + nearest) & 255
    return line


def look(picture):
    """(mean brightness 0..255, distinct colours) over every fourth pixel of every fourth row."""
    _, _, rows, size = pixels(picture)
    colours, total, count = set(), 0, 0
    for row in rows[::4]:
        for i in range(0, len(row) - size + 1, 4 * size):
            colour = bytes(row[i:i + 3])
            colours.add(colour)
            total += sum(colour)
            count += 3
    return total / count, len(colours)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("report", type=pathlib.Path)
    parser.add_argument("--keep", type=pathlib.Path)
    arguments = parser.parse_args()
    errors, brightness = [], {}
    with tempfile.TemporaryDirectory() as folder:
        text = arguments.report.read_text(encoding="utf-8")
        if re.search(r'<(script|link|img|iframe)[^>]*(src|href)\s*=\s*"(https?:)?//', text):
            errors.append("the report fetches something from outside")
        for name in ("light", "dark"):
            picture = pathlib.Path(folder, name + ".png")
            profile = pathlib.Path(folder, "profile-" + name)
            profile.mkdir()
            console = screenshot(arguments.report, picture, name == "dark", profile)
            errors += [f"{name}: {line}" for line in console]
            brightness[name], colours = look(picture)
            print(f"{name}: mean brightness {brightness[name]:.0f} of 255, {colours} colours")
            if colours < 12:
                errors.append(f"{name}: the page looks blank ({colours} colours)")
            if arguments.keep:
                arguments.keep.mkdir(parents=True, exist_ok=True)
                shutil.copy(picture, arguments.keep)
    if not brightness["dark"] < 110 < 150 < brightness["light"]:
        errors.append("light and dark do not differ as they should")
    for error in errors:
        print("error:", error, file=sys.stderr)
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
