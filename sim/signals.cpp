#include "sim/signals.h"

#include <algorithm>
#include <array>
#include <utility>

#include "firmware/registers.h"
#include "plant/step.h"
#include "sim/input_error.h"

namespace sim {

namespace {

// As the core's register table numbers them (meaning of programme.state and atmosphere.phase; the test compares).
constexpr std::array<std::string_view, 8> states = {"idle",    "running",  "held",    "stopping",
                                                    "stopped", "aborting", "aborted", "complete"};
constexpr std::array<std::string_view, 7> phases = {"rest",    "evacuating", "leak_test", "backfilling",
                                                    "purging", "holding",    "safe"};

constexpr std::array<std::string_view, 8> bit_signals = {"alarms.bits",     "alarms.unacknowledged",   "alarms.withheld",
                                                         "alarms.bits_2",   "alarms.unacknowledged_2", "alarms.withheld_2",
                                                         "controller.outputs", "controller.inputs"};

// heat.3.pv: 3; 0 for a signal of no zone.
int zone_of(std::string_view name) {
  constexpr std::string_view lead = "heat.";
  if (name.substr(0, lead.size()) != lead || name.size() <= lead.size()) return 0;
  const char digit = name[lead.size()];
  return digit >= '1' && digit <= '9' ? digit - '0' : 0;
}

Signal made(std::string_view name, std::string_view unit, int decimals, Signal::Origin origin, std::string_view meaning) {
  Signal signal;
  signal.name = name;
  signal.unit = unit.empty() ? "1" : unit;
  signal.decimals = decimals;
  signal.origin = origin;
  signal.meaning = meaning;
  signal.quantity = quantity_named(name, signal.unit);
  if (name == "programme.state") signal.codes.assign(states.begin(), states.end());
  if (name == "atmosphere.phase") signal.codes.assign(phases.begin(), phases.end());
  signal.bits = std::find(bit_signals.begin(), bit_signals.end(), name) != bit_signals.end();
  return signal;
}

}  // namespace

std::string quantity_named(std::string_view name, std::string_view unit) {
  if (unit != "Pa") return std::string(unit);
  const bool gauge = name.find("gauge") != std::string_view::npos || name == "plant.supply";
  return gauge ? "Pa gauge" : "Pa abs";
}

std::string quantity_in(std::string_view statement, std::string_view unit) {
  static const SignalTable table(4);
  const auto part_of_name = [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '.'; };
  for (std::size_t at = 0; at < statement.size() && unit == "Pa"; ++at) {
    std::size_t end = at;
    while (end < statement.size() && part_of_name(statement[end])) ++end;
    const int slot = table.find(statement.substr(at, end - at));
    const Signal* signal = slot < 0 ? nullptr : &table.signals()[static_cast<std::size_t>(slot)];
    if (signal && signal->unit == unit) return signal->quantity;
    at = end;
  }
  return std::string(unit);
}

std::span<const std::string_view> state_names() { return states; }
std::span<const std::string_view> phase_names() { return phases; }

SignalTable::SignalTable(int zones) {
  for (const fw::RegisterInfo& row : fw::monitor_table()) {
    if (zone_of(row.name) > zones) continue;
    signals_.push_back(made(row.name, row.unit, row.decimals, Signal::Origin::controller, row.meaning));
  }
  controller_count_ = size();
  for (const plant::TruthInfo& row : plant::truth_table()) {
    signals_.push_back(made(row.name, row.unit, row.decimals, Signal::Origin::plant, row.meaning));
  }
  plant_count_ = size() - controller_count_;
  signals_.push_back(
      made("line.errors", "1", 0, Signal::Origin::line, "answers missing, late or damaged since the start, as the bench saw them"));
  signals_.push_back(made("line.reading_age", "s", 1, Signal::Origin::line,
                          "of what the controller told last on the supervisory line; its signals keep that value until it tells again"));
}

SignalTable::SignalTable(std::vector<Signal> signals) : signals_(std::move(signals)) {
  for (Signal& signal : signals_) {
    Signal filled = made(signal.name, signal.unit, signal.decimals, signal.origin, signal.meaning);
    if (!signal.quantity.empty()) filled.quantity = signal.quantity;
    if (!signal.codes.empty()) filled.codes = signal.codes;
    filled.bits = filled.bits || signal.bits;
    signal = std::move(filled);
    if (signal.origin == Signal::Origin::controller) ++controller_count_;
    if (signal.origin == Signal::Origin::plant) ++plant_count_;
  }
}

int SignalTable::find(std::string_view name) const {
  for (int i = 0; i < size(); ++i) {
    if (signals_[static_cast<std::size_t>(i)].name == name) return i;
  }
  return -1;
}

std::string SignalTable::nearest(std::string_view name) const {
  std::vector<std::string> names;
  for (const Signal& signal : signals_) names.push_back(signal.name);
  return nearest_name(name, names);
}

}  // namespace sim
