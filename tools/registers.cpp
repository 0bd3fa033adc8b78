// saggar registers: both register maps, from the tables the code itself uses.
#include <cstdio>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/parameters.h"
#include "firmware/registers.h"
#include "plant/field_bus.h"
#include "sim/faults.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Row {
  std::string line, access, name, unit, type, meaning;
  unsigned address;
};

const char* name_of(fw::RegisterType type) {
  switch (type) {
    case fw::RegisterType::u16: return "u16";
    case fw::RegisterType::u32: return "u32";
    case fw::RegisterType::f32: return "f32";
  }
  return "";
}

void add(std::vector<Row>& rows, std::span<const fw::RegisterInfo> table) {
  for (const fw::RegisterInfo& info : table) {
    rows.push_back({"supervisory", info.writable ? "read/write" : "read", info.name, info.unit, name_of(info.type), info.meaning,
                    info.address});
  }
}

std::string bounds(const fw::ParameterInfo& info) {
  return fmt::format("{} ({:g} to {:g}, preset {:g})", info.meaning, info.low, info.high, info.preset);
}

// What a raw reading means, from the instrument that the station has by default.
std::string reading(const plant::ChannelSettings& channel, const std::string& process_unit) {
  switch (channel.kind) {
    case plant::SignalKind::thermocouple: return "thermocouple, between the terminals of the cold-junction block";
    case plant::SignalKind::pt100: return "Pt100 (IEC 60751)";
    case plant::SignalKind::current_loop: return fmt::format("4..20 = {:g}..{:g} {}", channel.low, channel.high, process_unit);
    case plant::SignalKind::voltage: return fmt::format("0..10 = {:g}..{:g} {}", channel.low, channel.high, process_unit);
    case plant::SignalKind::pirani: return "nitrogen-calibrated, p = 0.1 Pa * 10^((V - 1) / 1.25)";
    case plant::SignalKind::nernst: return "zirconia cell, Nernst against air, positive with less oxygen than air";
  }
  return "";
}

// The fault table names the unit of a channel's change; for temperatures a reading is on the scale.
std::string process_unit_of(int channel) {
  const std::string unit = sim::channel_unit(channel);
  return unit == "K" ? "degC" : unit;
}

const char* raw_unit(plant::SignalKind kind) {
  switch (kind) {
    case plant::SignalKind::thermocouple:
    case plant::SignalKind::nernst: return "mV";
    case plant::SignalKind::pt100: return "ohm";
    case plant::SignalKind::current_loop: return "mA";
    case plant::SignalKind::voltage:
    case plant::SignalKind::pirani: return "V";
  }
  return "";
}

void add_field_inputs(std::vector<Row>& rows) {
  const unsigned base = plant::station_input_address;
  const auto head = [&](unsigned offset, const char* type, const char* name, const char* meaning) {
    rows.push_back({"field", "read", name, "", type, meaning, base + offset});
  };
  head(0, "u16", "station.sequence", "echo of the sequence last written");
  head(1, "u16", "station.channel_status", "bit c: channel c broken or out of range; this register bits 0..15, the next 16..23");
  head(3, "u16", "station.discrete_inputs",
       "bit: 0 door closed, 1 emergency stop healthy, 2 contactor closed, 3 pump up to speed, 4 exhaust shut-off open, "
       "5 pump isolation open, 6 supply present, 7 over-pressure switch made, 8 over-temperature limiter healthy, 9 key switch, "
       "10 bypass open, 11 air admittance open, 12 process valve open, 13 purge valve open");
  head(4, "u16", "station.state", "bit 0: watchdog has acted; bits 8..11: safe row it imposes");
  head(5, "u16", "station.map_version", "1");
  const plant::Instruments instruments = plant::default_instruments(plant::zones_max);
  for (int c = 0; c < plant::channel_count; ++c) {
    const plant::ChannelSettings& channel = instruments.channel[static_cast<std::size_t>(c)];
    rows.push_back({"field", "read", fmt::format("channel.{}", sim::channel_name(c)), raw_unit(channel.kind), "f32",
                    reading(channel, process_unit_of(c)), base + 6 + 2 * static_cast<unsigned>(c)});
  }
}

void add_field_outputs(std::vector<Row>& rows) {
  const unsigned base = plant::station_output_address;
  const auto add_row = [&](unsigned offset, const char* type, std::string name, const char* unit, const char* meaning) {
    rows.push_back({"field", "write", std::move(name), unit, type, meaning, base + offset});
  };
  add_row(0, "u16", "output.sequence", "", "counts exchanges");
  add_row(1, "u16", "output.coils", "",
          "bit, energised: 0 contactor, 1 process gas opens, 2 inert purge SHUTS, 3 exhaust shut-off SHUTS, 4 bypass opens, "
          "5 air admittance opens, 6 pump motor, 7 pump isolation opens, 8 pump inlet vent SHUTS, 9 burn-off pilot, 10 horn");
  add_row(2, "u16", "output.safe_row", "",
          "1 air, 2 inert, 3 combustible, 4 vacuum, 5 over-pressure: imposed when the line is silent for 1 s");
  add_row(3, "u16", "output.gas", "", "0 none, 1 air, 2 nitrogen, 3 argon, 4 helium, 5 hydrogen");
  for (unsigned zone = 0; zone < plant::zones_max; ++zone) {
    add_row(4 + 2 * zone, "f32", fmt::format("output.demand_{}", zone + 1), "1", "heater demand, 0..1");
  }
  add_row(12, "f32", "output.flow_1", "mA", "4..20 = 0..full scale in the calibration gas");
  add_row(14, "f32", "output.flow_2", "mA", "4..20 = 0..full scale in the calibration gas");
  add_row(16, "f32", "output.back_pressure_valve", "1", "0 shut .. 1 open");
}

// One register per alarm and block, then the interlocks' rows.
void add_alarms(std::vector<Row>& rows) {
  const auto add_row = [&](unsigned address, const char* type, std::string name, const char* unit, std::string meaning) {
    rows.push_back({"supervisory", "read", std::move(name), unit, type, std::move(meaning), address});
  };
  const auto alarms = fw::alarm_table();
  for (unsigned n = 0; n < alarms.size(); ++n) {
    add_row(fw::alarm_state_address + n, "u16", fmt::format("alarm.{}.state", n), "",
            fmt::format("{}: 0 normal, 1 unacknowledged, 2 acknowledged, 3 returned unacknowledged, 4 latched unacknowledged, "
                        "5 latched acknowledged, 6 shelved, 7 suppressed by design, 8 out of service", alarms[n].name));
  }
  for (unsigned n = 0; n < alarms.size(); ++n)
    add_row(fw::alarm_shelf_address + n, "u16", fmt::format("alarm.{}.shelved", n), "s", "time left on the shelf");
  const char* const words[] = {"rows.standing_high", "rows.standing", "rows.latched_high", "rows.latched", "detections.found",
                               "detections.late_ticks", "detections.clock_jumps"};
  for (unsigned n = 0; n < std::size(words); ++n)
    add_row(fw::row_address + 2 * n, "u32", words[n], "", n < 4 ? "bit n: row n of the interlock table (high: row 32 + n)" : "");
}

std::vector<Row> all_rows() {
  std::vector<Row> rows;
  add_field_inputs(rows);
  add_field_outputs(rows);
  add(rows, fw::monitor_table());
  add(rows, fw::command_table());
  add_alarms(rows);
  unsigned address = fw::parameter_address;
  for (const fw::ParameterInfo& info : fw::parameter_table()) {
    rows.push_back({"supervisory", "read/write", info.name, info.unit, info.integer ? "i32" : "f32", bounds(info), address});
    address += 2;
  }
  return rows;
}

std::string quoted(const std::string& text) {
  if (text.find_first_of(",\"\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

void print_csv(const std::vector<Row>& rows) {
  fmt::print("line,address,type,access,name,unit,meaning\n");
  for (const Row& row : rows) {
    fmt::print("{},0x{:04X},{},{},{},{},{}\n", row.line, row.address, row.type, row.access, quoted(row.name), quoted(row.unit),
               quoted(row.meaning));
  }
}

void print_markdown(const std::vector<Row>& rows) {
  std::string line;
  for (const Row& row : rows) {
    if (row.line != line) {
      line = row.line;
      fmt::print("\n## {} line\n\n| address | type | access | name | unit | meaning |\n| --- | --- | --- | --- | --- | --- |\n", line);
    }
    fmt::print("| 0x{:04X} | {} | {} | {} | {} | {} |\n", row.address, row.type, row.access, row.name, row.unit, row.meaning);
  }
}

void print_plain(const std::vector<Row>& rows) {
  std::string line;
  for (const Row& row : rows) {
    if (row.line != line) {
      line = row.line;
      fmt::print("{} line\n", line);
    }
    fmt::print("  0x{:04X} {:4} {:10} {:34} {:10} {}\n", row.address, row.type, row.access, row.name, row.unit, row.meaning);
  }
}

}  // namespace

void add_registers(CLI::App& app, Invocation& invocation) {
  struct Options {
    bool markdown = false, csv = false;
  };
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("registers", "print both register maps");
  CLI::Option* markdown = verb->add_flag("--markdown", options->markdown, "as Markdown tables");
  verb->add_flag("--csv", options->csv, "as comma-separated values")->excludes(markdown);
  verb->callback([options, &invocation] {
    invocation.chosen = [options] {
      const std::vector<Row> rows = all_rows();
      if (options->markdown) print_markdown(rows);
      else if (options->csv) print_csv(rows);
      else print_plain(rows);
      return static_cast<int>(all_hold);
    };
  });
}

}  // namespace tools
