// A station that fails, and a furnace without mains, asked through bytes. What must stand comes from the design sheet (normal
// positions, a second of watchdog, the row last commanded) and from the published exception frames.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <sstream>
#include <vector>

#include "plant/modbus.h"
#include "plant/step.h"
#include "tests/csv_table.h"

namespace plant {
namespace {

using Bytes = std::vector<std::uint8_t>;

constexpr std::uint16_t contactor = 1 << 0, purge_shut = 1 << 2, exhaust_shut = 1 << 3;
constexpr double period_s = 0.1;

struct Rig {
  Model model = build(Furnace{});
  State state = initial_state(model, 1);
  Disturbances disturbances;
  std::uint16_t sequence = 0;

  Rig() { disturbances.any_station = true; }

  // FC 23 with these coils, half demand in zone 1, row 2; the answer as it stands on the line.
  Bytes ask(std::uint16_t coils) {
    std::array<std::uint8_t, 2 * station_output_registers> block{};
    const auto at = [&](int address) { return &block[2 * static_cast<std::size_t>(address - 0x100)]; };
    modbus::put_u16(at(0x100), ++sequence);
    modbus::put_u16(at(0x101), coils);
    modbus::put_u16(at(0x102), 2);
    modbus::put_f32(at(0x104), 0.5f);
    modbus::put_f32(at(0x10C), 4.0f);
    modbus::put_f32(at(0x10E), 4.0f);
    modbus::put_f32(at(0x110), 0.25f);
    std::array<std::uint8_t, modbus::adu_bytes_max> request{}, reply{};
    const std::size_t size = modbus::encode_write_and_read(1, 0, 54, 0x100, block, request);
    const std::size_t got = exchange(model, state, disturbances, std::span(request).first(size), reply);
    return {reply.begin(), reply.begin() + static_cast<std::ptrdiff_t>(got)};
  }
  void run(double for_s) {
    for (long n = std::lround(for_s / period_s); n > 0; --n) step(model, state, disturbances, period_s);
  }
  // Heats: contactor closed, purge and exhaust shut.
  Bytes heat() {
    const Bytes answer = ask(contactor | purge_shut | exhaust_shut);
    run(period_s);
    return answer;
  }
  void heal() {
    const Disturbances sound;
    disturbances = sound;
  }
  double power_w() const { return std::accumulate(state.actuators.panel_w.begin(), state.actuators.panel_w.end(), 0.0); }
};

std::uint16_t word(const Bytes& answer, std::size_t place) { return modbus::get_u16(&answer.at(3 + 2 * place)); }
Bytes inputs(const Bytes& answer) { return {answer.begin() + 5, answer.end() - 2}; }   // all but the sequence

Bytes from_hex(const std::string& hex) {
  Bytes bytes;
  std::istringstream in(hex);
  for (std::string item; in >> item;) bytes.push_back(static_cast<std::uint8_t>(std::stoul(item, nullptr, 16)));
  return bytes;
}

TEST(StationFault, refuses_by_the_published_frame_and_does_nothing) {
  Rig rig;
  rig.disturbances.station.exception = 3;
  for (const CsvTable table("modbus_frames.csv"); const auto& row : table.rows())
    if (row["case"] == "exc_fc23_read126") {
      EXPECT_EQ(rig.heat(), from_hex(row["reply_rtu_adu_hex"]));
    }
  EXPECT_FALSE(rig.state.actuators.contactor_closed);
  EXPECT_EQ(rig.state.station.output[0], 0);            // nothing was written
  rig.run(0.9);
  EXPECT_TRUE(rig.state.station.watchdog_acted);        // a refusal is no valid exchange
}

TEST(StationFault, freezes_its_inputs_with_or_without_the_sequence) {
  for (const bool whole : {false, true}) {
    Rig rig;
    (whole ? rig.disturbances.station.answers_frozen : rig.disturbances.station.inputs_frozen) = true;
    const Bytes first = rig.heat();
    rig.run(1.0);
    const Bytes second = rig.heat();
    ASSERT_EQ(second.size(), 113u);
    EXPECT_EQ(modbus::crc16(second), 0);                // over a frame with its CRC
    EXPECT_EQ(inputs(second), inputs(first));
    EXPECT_EQ(word(second, 0), whole ? 1 : 2);
    EXPECT_EQ(rig.state.station.output[0], 2);          // outputs are taken all the same
    rig.heal();
    const Bytes third = rig.heat();
    EXPECT_NE(inputs(third), inputs(first));
    EXPECT_EQ(word(third, 0), 3);
    rig.disturbances.any_station = rig.disturbances.station.inputs_frozen = true;
    EXPECT_NE(inputs(rig.heat()), inputs(first));       // a second fault freezes what stands then
  }
}

TEST(StationFault, tells_another_map) {
  Rig rig;
  rig.disturbances.station.map_version = 7;
  EXPECT_EQ(word(rig.heat(), 5), 7);
  rig.heal();
  EXPECT_EQ(word(rig.heat(), 5), 1);
}

TEST(StationFault, lets_a_dead_watchdog_leave_everything_as_it_was) {
  for (const bool dead : {false, true}) {
    Rig rig;
    rig.disturbances.station.watchdog_dead = dead;
    rig.heat();
    rig.run(0.8);
    EXPECT_GT(rig.power_w(), 100.0);
    rig.run(5.0);
    EXPECT_EQ(rig.power_w() > 100.0, dead);
    EXPECT_EQ(rig.state.station.commands.purge_open, !dead);
    rig.heal();
    rig.run(1.1);                                       // healed: it counts its second from now
    EXPECT_EQ(rig.power_w(), 0.0);
  }
}

TEST(StationFault, holds_a_dead_output_against_writes_watchdog_and_restart) {
  Rig rig;
  rig.heat();
  rig.disturbances.station.outputs_dead = 1u << output::contactor | 1u << output::demand_1;
  rig.ask(0);
  rig.run(0.5);
  EXPECT_TRUE(rig.state.actuators.contactor_closed);
  EXPECT_GT(rig.power_w(), 100.0);
  EXPECT_TRUE(rig.state.process.purge_open);            // the others obey
  rig.run(5.0);
  EXPECT_TRUE(rig.state.station.watchdog_acted);
  EXPECT_GT(rig.power_w(), 100.0);
  rig.disturbances.station.down = true;
  rig.run(1.0);
  EXPECT_GT(rig.power_w(), 100.0);
  rig.disturbances.limiter_tripped = true;              // what does not go through the station still opens it
  rig.run(0.1);
  EXPECT_EQ(rig.power_w(), 0.0);
  Rig other;
  other.disturbances.station.outputs_dead = 1u << output::valve;
  other.heat();                                         // dead from the first exchange on: it keeps what stood without one, open
  other.run(30.0);
  EXPECT_GT(other.state.actuators.valve_frac, 0.99);
}

TEST(StationFault, restarts_as_switched_on) {
  Rig rig;
  rig.heat();
  rig.disturbances.station.down = true;
  EXPECT_TRUE(rig.ask(contactor).empty());
  rig.run(0.1);
  EXPECT_EQ(rig.power_w(), 0.0);
  EXPECT_TRUE(rig.state.process.purge_open && rig.state.process.exhaust_open);
  EXPECT_FALSE(rig.state.process.process_open || rig.state.process.bypass_open || rig.state.process.air_open);
  rig.run(5.0);
  EXPECT_FALSE(rig.state.station.watchdog_acted);       // it is off, not silent
  rig.heal();
  std::array<std::uint8_t, modbus::adu_bytes_max> request{}, reply{};
  const std::size_t size = modbus::encode_read(1, modbus::read_input, 0, 6, request);   // reads without writing a sequence
  const std::size_t got = exchange(rig.model, rig.state, rig.disturbances, std::span(request).first(size), reply);
  ASSERT_EQ(got, 5u + 12u);
  EXPECT_EQ(word({reply.begin(), reply.begin() + 17}, 0), 0);
  EXPECT_EQ(word({reply.begin(), reply.begin() + 17}, 4), 0);
  rig.run(1.0);
  EXPECT_TRUE(rig.state.station.watchdog_acted);        // no row was commanded: normal positions
  EXPECT_TRUE(rig.state.process.purge_open);
  EXPECT_EQ(word(rig.heat(), 4), 1);
}

// 4 mA is 0 V (transmitter 0..300 V). The cell cools as a body of one time constant: e^-1 of its excess is left after it.
TEST(StationFault, takes_everything_from_a_furnace_without_mains) {
  Rig rig;
  rig.heat();
  rig.disturbances.station = StationFault{};
  rig.disturbances.any_station = false;
  rig.disturbances.mains_lost = true;                   // the station on another supply, so that it can be asked
  const double cell_k = rig.state.oxygen_cell_k, room_k = rig.model.thermal.ambient_k;
  rig.heat();
  EXPECT_EQ(rig.power_w(), 0.0);
  EXPECT_FALSE(rig.state.actuators.contactor_closed);
  rig.run(3.0);                                         // the transmitter's own lag
  EXPECT_NEAR(modbus::get_f32(&rig.heat().at(3 + 2 * (6 + 2 * 17))), 4.0, 0.05);
  rig.run(rig.model.furnace.instruments.oxygen_cell_warm_s - 3.2);
  EXPECT_NEAR((rig.state.oxygen_cell_k - room_k) / (cell_k - room_k), std::exp(-1.0), 0.01);
}

}  // namespace
}  // namespace plant
