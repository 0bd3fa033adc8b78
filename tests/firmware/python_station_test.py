#!/usr/bin/env python3
"""A station in Python opposite the core, built from published tables only: nothing of it comes from the core or the plant.

    python_station_test.py LIBRARY

It speaks Modbus RTU as the published frames have it, makes thermocouple voltages with the coefficients of the ITS-90 reference
functions (NIST Monograph 175) and resistances with IEC 60751, and reads the core's process values back over the supervisory line.
Tolerances are published too: the stated errors of the inverse functions, the last digit of a table. Standard library only.
"""
import csv
import ctypes
import math
import os
import pathlib
import struct
import subprocess
import sys
import unittest

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
REFERENCE = ROOT / "tests/reference"
LIBRARY = ""

# DEVELOPERS.md, "Field line".
CHANNELS = 24
ZONE_1, LOAD, COLD_JUNCTION, GAUGE, DEW_POINT, BAROMETER, MAINS = 0, 4, 6, 7, 14, 15, 17
HEALTHY_INPUTS = 0b10001101010011   # door, emergency stop, exhaust, supply, limiter, key switch (instruments are set up), purge
JUNCTION_DEGC = 25.0


def rows(name):
    with open(REFERENCE / name, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def crc(frame):
    """MODBUS over Serial Line V1.02, 6.2.2."""
    value = 0xFFFF
    for byte in frame:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
    return value


def sealed(frame):
    return bytes(frame) + struct.pack("<H", crc(frame))


class ReferenceFunction:
    """E(t) of a thermocouple from the coefficients of its pieces."""

    def __init__(self, letter, table):
        self.pieces, self.exponential = {}, {}
        for row in table:
            if row["type"] != letter:
                continue
            if row["term"].startswith("c"):
                piece = self.pieces.setdefault((float(row["range_lo_C"]), float(row["range_hi_C"])), {})
                piece[int(row["term"][1:])] = float(row["coefficient_mV"])
            else:
                self.exponential[row["term"]] = float(row["coefficient_mV"])

    def mv(self, degc):
        low, high = next(piece for piece in sorted(self.pieces) if degc <= piece[1])
        value = sum(factor * degc ** power for power, factor in self.pieces[low, high].items())
        if self.exponential and degc > 0:   # type K: a0 exp(a1 (t - a2)^2)
            value += self.exponential["a0"] * math.exp(self.exponential["a1"] * (degc - self.exponential["a2"]) ** 2)
        return value


def pt100_ohm(degc):
    """IEC 60751."""
    below = -4.183e-12 * (degc - 100) * degc ** 3 if degc < 0 else 0.0
    return 100.0 * (1 + 3.9083e-3 * degc - 5.775e-7 * degc ** 2 + below)


class Core:
    """The core behind its C face (firmware/controller_c.h)."""

    def __init__(self):
        self.face = ctypes.CDLL(LIBRARY)
        self.face.saggar_core_size.restype = ctypes.c_size_t
        self.face.saggar_core_transmit.restype = ctypes.c_size_t
        size = self.face.saggar_core_size()
        self.memory = ctypes.create_string_buffer(size + 16)
        self.core = ctypes.c_void_p((ctypes.addressof(self.memory) + 15) // 16 * 16)
        image = b"\xff" * 65536
        self.face.saggar_core_start(self.core, image, ctypes.c_size_t(len(image)), ctypes.c_uint8(0), ctypes.c_uint32(0))
        self.now_us = 0
        self.sequence = None
        self.channels = [4.0] * CHANNELS
        for channel in range(ZONE_1, COLD_JUNCTION):
            self.channels[channel] = 0.0
        self.channels[COLD_JUNCTION] = pt100_ohm(JUNCTION_DEGC)
        self.channels[BAROMETER] = 15.2
        self.channels[MAINS] = 16.3
        self.status = 0
        self.echo = True

    def receive(self, port, data):
        size, arrival_us = ctypes.c_size_t(len(data)), ctypes.c_uint64(self.now_us - 20000)
        self.face.saggar_core_receive(self.core, ctypes.c_uint8(port), data, size, arrival_us)

    def transmit(self, port):
        buffer = ctypes.create_string_buffer(256)
        size = self.face.saggar_core_transmit(self.core, ctypes.c_uint8(port), buffer, ctypes.c_size_t(256))
        return buffer.raw[:size]

    def exchange(self, request=b""):
        """One control period; returns the answer on the supervisory line."""
        self.now_us += 100000
        if self.sequence is not None and self.echo:
            words = struct.pack(">6H", self.sequence, self.status & 0xFFFF, self.status >> 16, HEALTHY_INPUTS, 0, 1)
            self.receive(0, sealed(bytes([1, 0x17, 108]) + words + struct.pack(f">{CHANNELS}f", *self.channels)))
        if request:
            self.receive(1, request)
        self.face.saggar_core_step(self.core, ctypes.c_uint64(self.now_us))
        sent = self.transmit(0)
        assert sent[:2] == b"\x01\x17" and crc(sent) == 0, sent.hex()
        self.sequence = struct.unpack_from(">H", sent, 11)[0]
        return self.transmit(1)

    def read(self, address, count):
        reply = self.exchange(sealed(struct.pack(">BBHH", 1, 4, address, count)))
        assert crc(reply) == 0 and reply[:3] == bytes([1, 4, 2 * count]), reply.hex()
        return reply[3:-2]

    def number(self, address):
        return struct.unpack(">f", self.read(address, 2))[0]

    def write_parameter(self, address, value):
        """True if the core takes it."""
        data = struct.pack(">i", value)
        reply = self.exchange(sealed(struct.pack(">BBHHB", 1, 16, address, 2, 4) + data))
        return reply[1] == 16


def register(name):
    """Address of a monitor register or a parameter, from the tables in the source as people read them."""
    return ADDRESSES[name]


class PythonStation(unittest.TestCase):
    def setUp(self):
        self.core = Core()
        self.core.exchange()

    def emf_to_terminals(self, function, degc):
        return function.mv(degc) - function.mv(JUNCTION_DEGC)

    def settle(self, name):
        self.core.exchange()
        return self.core.number(register(name))

    def test_the_published_frames_have_the_crc_this_station_makes(self):
        checked = 0
        for row in rows("modbus_frames.csv"):
            for column in ("request_rtu_adu_hex", "reply_rtu_adu_hex"):
                if row[column]:
                    frame = bytes.fromhex(row[column])
                    self.assertEqual(sealed(frame[:-2]), frame, row["case"])
                    checked += 1
        self.assertGreater(checked, 10)

    def test_published_temperatures_come_back_through_both_lines(self):
        table = rows("thermocouple_reference_functions.csv")
        stated = rows("thermocouple_inverse_functions.csv")
        taken = []
        for letter in sorted({row["type"] for row in table}):
            if not (self.core.write_parameter(register("instruments.zone_thermocouple"), ord(letter)) and
                    self.core.write_parameter(register("instruments.load_thermocouple"), ord(letter))):
                continue
            taken.append(letter)
            function = ReferenceFunction(letter, table)
            limits = sorted({tuple(float(row[key]) for key in ("T_lo_C", "T_hi_C", "stated_error_lo_C", "stated_error_hi_C"))
                             for row in stated if row["type"] == letter})
            for row in rows("thermocouple_check_points.csv"):
                degc = float(row["T_C"])
                piece = [limit for limit in limits if limit[0] <= degc <= limit[1]]
                # From the junction upward is what a furnace measures; the core's own range ends where its inverse does.
                if row["type"] != letter or not piece or degc < JUNCTION_DEGC or degc > limits[-1][1] - 1:
                    continue
                self.assertAlmostEqual(function.mv(degc), float(row["E_published_mV"]), delta=0.0006, msg=f"{letter} {degc}")
                voltage = self.emf_to_terminals(function, degc)
                self.core.channels[ZONE_1] = self.core.channels[LOAD] = voltage
                # The stated error of the inverse function, either sign, and float32 on the line: 2^-24 of up to 80 mV over the least
                # slope of a base-metal couple, 0.005 K for the noble ones.
                tolerance = max(max(abs(limit[2]), abs(limit[3])) for limit in piece) + 0.01
                self.assertAlmostEqual(self.settle("heat.1.pv"), degc, delta=tolerance, msg=f"type {letter}")
                self.assertAlmostEqual(self.core.number(register("load.pv")), degc, delta=tolerance, msg=f"type {letter}")
        self.assertLessEqual({"K", "N"}, set(taken))
        print(f"types taken: {', '.join(taken)}")

    def test_the_cold_junction_is_compensated_by_the_published_pt100_table(self):
        function = ReferenceFunction("K", rows("thermocouple_reference_functions.csv"))
        checked = 0
        for row in rows("pt100_check_points.csv"):
            junction_degc = float(row["t_C"])
            if not 0 <= junction_degc <= 70 or not row["R_published_ohm"]:
                continue
            self.core.channels[COLD_JUNCTION] = float(row["R_published_ohm"])
            self.core.channels[ZONE_1] = function.mv(600.0) - function.mv(junction_degc)
            # 0.005 ohm of the printed table are 0.013 K, times a slope ratio of at most 1.1; 0.06 K of the inverse.
            self.assertAlmostEqual(self.settle("heat.1.pv"), 600.0, delta=0.06 + 0.02, msg=row["t_C"])
            checked += 1
        self.assertGreater(checked, 3)

    def test_ne_43_tells_a_failed_current_loop_from_a_measurement(self):
        """NAMUR NE 43: measurement 3.8 to 20.5 mA, failure below 3.6 and above 21 mA; 4 s for a value no trip uses."""
        bits = register("alarms.bits")
        transmitter_failed = 1 << 14

        def alarm():
            return struct.unpack(">I", self.core.read(bits, 2))[0] & transmitter_failed != 0
        for current, failed in ((3.8, False), (20.5, False), (3.61, False), (20.99, False), (3.59, True), (21.01, True), (0.0, True)):
            with self.subTest(f"{current} mA"):
                self.core.channels[MAINS] = 16.0
                for _ in range(30):
                    self.core.exchange()
                self.assertFalse(alarm())
                self.core.channels[MAINS] = current
                for _ in range(37):
                    self.core.exchange()
                self.assertFalse(alarm(), "before 4 s")
                for _ in range(8):
                    self.core.exchange()
                self.assertEqual(alarm(), failed)

    def test_a_channel_of_the_wrong_scale_would_be_seen(self):
        """The check checks: 1 % of the voltage is far outside the tolerance."""
        function = ReferenceFunction("K", rows("thermocouple_reference_functions.csv"))
        self.core.channels[ZONE_1] = 1.01 * self.emf_to_terminals(function, 800.0)
        self.assertGreater(abs(self.settle("heat.1.pv") - 800.0), 1.0)

    def test_a_silent_station_is_noticed_after_a_second(self):
        trip = register("interlock.trip")
        self.core.exchange()
        self.core.echo = False
        for _ in range(8):
            self.core.exchange()
        self.assertEqual(struct.unpack(">H", self.core.read(trip, 1))[0], 0)
        for _ in range(3):
            self.core.exchange()
        self.assertNotEqual(struct.unpack(">H", self.core.read(trip, 1))[0], 0)


def addresses(saggar):
    # A sanitizer's runtime, put before this interpreter for the library's sake, is in the program already.
    plain = {name: value for name, value in os.environ.items() if name != "LD_PRELOAD"}
    text = subprocess.run([saggar, "registers", "--csv"], capture_output=True, text=True, check=True, env=plain).stdout
    table = list(csv.DictReader(text.splitlines()))
    return {row["name"]: int(row["address"], 0) for row in table if row["line"] == "supervisory"}


if __name__ == "__main__":
    LIBRARY = str(pathlib.Path(sys.argv.pop(1)).resolve())
    ADDRESSES = addresses(sys.argv.pop(1))
    unittest.main()
