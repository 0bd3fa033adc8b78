#!/usr/bin/env python3
"""Loops as `saggar tune` judges them against GNU Octave's control package: every process of configs/processes, sampled every 0.1 s with a
period's latency, under the gains of SIMC (PI, and PID where the rule has one).

    octave_loops.py SAGGAR [UNITTEST_ARGUMENTS]

Octave puts the loop together by itself: transfer function of the process, c2d with a hold, whole periods of delay as z^-n, the controller's
recurrence as a quotient of polynomials. Compared: stability by the closed loop's poles, gain and phase margin (margin), and the peaks of
sensitivity and complementary sensitivity on a grid of its own, refined around the highest point.
"""
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
PROCESSES = sorted((ROOT / "configs" / "processes").glob("*.yaml"))
PERIOD = 0.1

# One line of numbers a loop: stable, Ms, Mt, GM, PM.
OCTAVE = """
pkg load control
function peak = highest(f, w)
  for round = 1:6
    [value, at] = max(f(w));
    w = linspace(w(max(1, at - 1)), w(min(numel(w), at + 1)), 2001);
  end
  peak = max(value, max(f(w)));
end
function judged(num, den, periods, c_num, c_den, h)
  n = num;
  d = den;
  if numel(den) > 1
    [n, d] = tfdata(tf(c2d(ss(tf(num, den)), h, "zoh")), "vector");
  end
  n = conv(n, c_num);
  d = conv(conv(d, c_den), [1, zeros(1, periods)]);
  n = [zeros(1, numel(d) - numel(n)), n];
  poles = roots(d + n);
  response = @(w) polyval(n, exp(1i * w * h)) ./ polyval(d, exp(1i * w * h));
  grid = logspace(log10(1e-6 * pi / h), log10(pi / h), 40001);
  ms = highest(@(w) 1 ./ abs(1 + response(w)), grid);
  mt = highest(@(w) abs(response(w) ./ (1 + response(w))), grid);
  l = response(grid);
  crossing = find(imag(l(1:end-1)) .* imag(l(2:end)) <= 0 & real(l(1:end-1)) < 0 & real(l(2:end)) < 0);
  gm = Inf;
  for k = crossing
    w = fzero(@(w) imag(response(w)), grid([k, k + 1]));
    if abs(response(w)) < 1
      gm = min(gm, 1 / abs(response(w)));
    end
  end
  if real(l(end)) < 0 && abs(l(end)) < 1
    gm = min(gm, 1 / abs(l(end)));
  end
  unity = find((abs(l(1:end-1)) - 1) .* (abs(l(2:end)) - 1) <= 0);
  pm = Inf;
  for k = unity
    w = fzero(@(w) abs(response(w)) - 1, grid([k, k + 1]));
    pm = min(pm, abs(arg(-response(w))) * 180 / pi);
  end
  printf("%d %.12g %.12g %.12g %.12g\\n", all(abs(poles) < 1), ms, mt, gm, pm);
end
"""


def yaml_list(text, key):
    found = re.search(rf"(?m)^{key}: \[(.*)\]$", text)
    return [float(item.strip().removesuffix(" s")) for item in found[1].split(",")] if found else []


def yaml_number(text, key, usual):
    found = re.search(rf"(?m)^{key}: ([-0-9.]+)", text)
    return float(found[1]) if found else usual


def product(factors):
    """Coefficients, highest first, of the product of polynomials."""
    whole = [1.0]
    for factor in factors:
        next_one = [0.0] * (len(whole) + len(factor) - 1)
        for i, a in enumerate(whole):
            for k, b in enumerate(factor):
                next_one[i + k] += a * b
        whole = next_one
    return whole


def polynomials(text):
    gain = yaml_number(text, "gain", 1.0)
    zeros = [[time, 1.0] for time in yaml_list(text, "zeros")]
    lags = [[time, 1.0] for time in yaml_list(text, "lags")] + [[1.0, 0.0]] * int(yaml_number(text, "integrators", 0))
    return [gain * one for one in product(zeros)], product(lags)


def law(gains):
    """kp + ki h / (z - 1) + kd (z - 1) / ((Tf + h) z - Tf): the core's recurrence, whose integral counts from the next sample on."""
    kp, ki, kd = (gains["parallel"][name]["value"] for name in ("proportional", "integral", "derivative"))
    filter_s = gains["derivative_filter"]["value"]
    first, second = [1.0, -1.0], [filter_s + PERIOD, -filter_s]
    both = product([first, second])
    numerator = [kp * one for one in both]
    for i, one in enumerate(second):
        numerator[i + 1] += ki * PERIOD * one
    for i, one in enumerate(product([first, first])):
        numerator[i] += kd * one
    return numerator, both


def matrix(numbers):
    return "[" + " ".join(repr(one) for one in numbers) + "]"


class Loops(unittest.TestCase):
    def test_loops_have_the_margins_that_octave_finds(self):
        loops, script = [], OCTAVE
        with tempfile.TemporaryDirectory() as folder:
            for path in PROCESSES:
                text = path.read_text()
                sampled = pathlib.Path(folder, path.name)
                sampled.write_text(text + f"sampling: {{period: {PERIOD} s}}\n")
                wish = [] if "delay:" in text else ["--closed-loop", "0.5 s"]
                done = subprocess.run([SAGGAR, "tune", "--process", sampled, "--rule", "simc", "--json", *wish],
                                      capture_output=True, text=True)
                self.assertIn(done.returncode, (0, 1), done.stderr)
                num, den = polynomials(text)
                periods = yaml_number(text, "delay", 0.0) / PERIOD + 1
                self.assertAlmostEqual(periods, round(periods), places=9)
                for candidate in json.loads(done.stdout)["candidates"]:
                    if "refused" in candidate:
                        continue
                    loops.append((f"{path.stem} {candidate['controller']}", candidate["margins"]))
                    c_num, c_den = law(candidate["gains"])
                    script += f"judged({matrix(num)}, {matrix(den)}, {round(periods)}, {matrix(c_num)}, {matrix(c_den)}, {PERIOD});\n"
            done = subprocess.run(["octave", "--no-gui", "--quiet", "--no-init-file", "--eval", script], capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        rows = [[float(one) for one in line.split()] for line in done.stdout.strip().splitlines()]
        self.assertEqual(len(rows), len(loops), done.stdout + done.stderr)
        self.assertGreaterEqual(len(loops), 28)
        for (name, ours), (stable, ms, mt, gm, pm) in zip(loops, rows):
            with self.subTest(loop=name):
                self.assertEqual(ours["stable"], bool(stable))
                self.same(ours["Ms"], ms, 1e-5)
                self.same(ours["Mt"], mt, 1e-5)
                self.same(ours["gain_margin"], gm, 1e-5)
                self.same(ours["phase_margin_deg"], pm, 1e-4)

    def same(self, ours, octaves, share):
        if ours is None:
            self.assertTrue(math.isinf(octaves), octaves)
        else:
            self.assertLess(abs(ours - octaves), share * abs(octaves), (ours, octaves))


if __name__ == "__main__":
    SAGGAR = sys.argv.pop(1)
    unittest.main()
