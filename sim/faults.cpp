#include "sim/faults.h"

#include <algorithm>
#include <cmath>
#include <stdexcept>

#include <fmt/format.h>

namespace sim {

namespace {

constexpr FaultParameter zone_parameter{"zone", "zone", 1, 1, plant::zones_max, "heat zone"};
constexpr FaultParameter channel_parameter{"channel", "channel", 4, 0, channel_count - 1, "instrument, by name"};

constexpr std::array<FaultParameter, 1> zone_only{zone_parameter};
constexpr std::array<FaultParameter, 1> valve_only{{{"valve", "valve", 2, 0, plant::valves_max - 1, "valve, by name"}}};
constexpr std::array<FaultParameter, 1> channel_only{channel_parameter};
constexpr std::array<FaultParameter, 1> mains_parameters{{{"scale", "1", 0.8, 0.0, 1.5, "mains voltage as a share of nominal"}}};
constexpr std::array<FaultParameter, 2> drift_parameters{
    {channel_parameter, {"rate", "channel unit/s", 0.01, -1e6, 1e6, "error gained per second, grows from 0 when the fault begins"}}};
constexpr std::array<FaultParameter, 2> offset_parameters{
    {channel_parameter, {"size", "channel unit", 5.0, -1e6, 1e6, "error, constant while the fault stays"}}};
constexpr std::array<FaultParameter, 2> glitch_parameters{
    {channel_parameter, {"size", "channel unit", 50.0, -1e6, 1e6, "error in the one tick it lasts, whatever its interval"}}};
constexpr std::array<FaultParameter, 2> drop_parameters{
    {{"rate", "1", 0.001, 0.0, 1.0, "share of bytes lost, by chance, both directions"},
     {"bytes", "1", 0.0, 0.0, 256.0, "bytes lost from the head of every answer besides"}}};
constexpr std::array<FaultParameter, 1> corrupt_parameters{
    {{"rate", "1", 0.001, 0.0, 1.0, "share of bytes with one bit flipped, by chance, both directions"}}};
constexpr std::array<FaultParameter, 1> late_parameters{
    {{"delay", "ms", 100.0, 0.0, 1000.0, "added to the station's answering time"}}};

constexpr std::array<FaultParameter, 1> bit_error_parameters{
    {{"rate", "1/s", 1.0, 0.0, 1000.0, "bits flipped per second, by chance, spread over the bytes of the exchange"}}};
constexpr std::array<FaultParameter, 1> insert_parameters{
    {{"rate", "1", 0.001, 0.0, 1.0, "share of bytes behind which one comes that nobody sent, by chance, both directions"}}};
constexpr std::array<FaultParameter, 1> cut_parameters{{{"bytes", "count", 1, 1, 256, "bytes lost from the end of every answer"}}};
constexpr std::array<FaultParameter, 2> gap_parameters{
    {{"length", "ms", 5.0, 0.001, 1000.0, "silence within the answer"},
     {"behind", "count", 50, 1, field_answer_bytes - 1, "bytes of the answer that come before it"}}};
constexpr std::array<FaultParameter, 1> unit_parameters{{{"unit", "count", 2, 2, 247, "Modbus unit of the other station"}}};
constexpr std::array<FaultParameter, 1> output_only{
    {{"output", "output", 0, 0, plant::output::count_ - 1, "output of the station, by name"}}};
constexpr std::array<FaultParameter, 1> map_parameters{{{"version", "count", 2, 0, 65535, "map version the station tells"}}};
constexpr std::array<FaultParameter, 1> exception_parameters{
    {{"code", "count", 4, 1, 11, "Modbus exception code: 1 function, 2 address, 3 value, 4 device failure, 6 busy"}}};

constexpr FaultParameter boot_parameter{"boot", "s", 0.0, 0.0, 600.0, "from then to the first period in which the controller takes part"};
constexpr std::array<FaultParameter, 1> boot_only{boot_parameter};
constexpr std::array<FaultParameter, 1> noise_parameters{{{"bytes", "count", 16, 1, 200, "that nobody sent, before every request"}}};
constexpr std::array<FaultParameter, 1> torn_parameters{{{"bytes", "count", 32, 0, 63, "of the 64 of a page that are written"}}};
constexpr std::array<FaultParameter, 1> slow_parameters{{{"delay", "s", 1.0, 0.0, 60.0, "from a write to its being in the store"}}};
constexpr std::array<FaultParameter, 2> flip_parameters{
    {{"byte", "count", 8, 0, fw::store_image_bytes - 1, "place in the store: page * 64 + place in the page"},
     {"bit", "count", 0, 0, 7, "of that byte"}}};

constexpr FaultKind kinds[] = {
    {"element_broken", FaultAction::element_broken, Seam::plant, zone_only, "the heater element of a zone is open"},
    {"switch_shorted", FaultAction::switch_shorted, Seam::plant, zone_only,
     "the power switch of a zone conducts whatever its demand; the contactor still cuts it"},
    {"supply_exhausted", FaultAction::supply_exhausted, Seam::plant, {}, "the gas supply is empty: its pressure falls to the barometer"},
    {"exhaust_blocked", FaultAction::exhaust_blocked, Seam::plant, {}, "the exhaust line is blocked after the check valve"},
    {"door_opened", FaultAction::door_opened, Seam::plant, {}, "the door is open or the plug is out"},
    {"mains_dip", FaultAction::mains_dip, Seam::plant, mains_parameters, "the mains voltage is off nominal"},
    {"emergency_stop", FaultAction::emergency_stop, Seam::plant, {}, "the emergency stop is pressed"},
    {"key_turned", FaultAction::key_turned, Seam::plant, {}, "the key switch stands at commissioning"},
    {"pump_stopped", FaultAction::pump_stopped, Seam::plant, {}, "the vacuum pump does not turn"},
    {"contactor_welded", FaultAction::contactor_welded, Seam::plant, {}, "the contactor, once closed, does not open"},
    {"contactor_stuck_open", FaultAction::contactor_stuck_open, Seam::plant, {}, "the contactor does not close"},
    {"limiter_tripped", FaultAction::limiter_tripped, Seam::plant, {}, "the over-temperature limiter trips; it stays tripped"},
    {"back_pressure_valve_stuck", FaultAction::back_pressure_valve_stuck, Seam::plant, {}, "the back-pressure valve stays where it is"},
    {"valve_stuck_shut", FaultAction::valve_stuck_shut, Seam::plant, valve_only, "a valve is shut, whatever its command"},
    {"valve_stuck_open", FaultAction::valve_stuck_open, Seam::plant, valve_only, "a valve is open, whatever its command"},
    {"thermocouple_open", FaultAction::thermocouple_open, Seam::instrument, channel_only, "the wire of an instrument is broken"},
    {"sensor_stuck", FaultAction::sensor_stuck, Seam::instrument, channel_only, "an instrument keeps the value it had"},
    {"sensor_drift", FaultAction::sensor_drift, Seam::instrument, drift_parameters, "an instrument's error grows steadily"},
    {"sensor_offset", FaultAction::sensor_offset, Seam::instrument, offset_parameters, "an instrument's zero has shifted"},
    {"glitch", FaultAction::glitch, Seam::instrument, glitch_parameters, "an instrument is wrong for exactly one tick"},
    {"line_drop", FaultAction::line_drop, Seam::line, drop_parameters, "the field line loses bytes"},
    {"line_corrupt", FaultAction::line_corrupt, Seam::line, corrupt_parameters, "the field line flips bits"},
    {"line_late", FaultAction::line_late, Seam::line, late_parameters, "the station's answers come late"},
    {"line_silent", FaultAction::line_silent, Seam::line, {}, "nothing passes on the field line"},
    {"line_requests_lost", FaultAction::line_requests_lost, Seam::line, {}, "the station hears nothing; so it is silent"},
    {"line_answers_lost", FaultAction::line_answers_lost, Seam::line, {}, "the station hears and acts, the core hears nothing"},
    {"line_bit_errors", FaultAction::line_bit_errors, Seam::line, bit_error_parameters, "noise flips bits on the field line"},
    {"line_inserted", FaultAction::line_inserted, Seam::line, insert_parameters, "bytes appear on the field line that nobody sent"},
    {"line_truncated", FaultAction::line_truncated, Seam::line, cut_parameters, "the station's answers end early"},
    {"line_gap", FaultAction::line_gap, Seam::line, gap_parameters, "the line falls silent within the answers"},
    {"line_tick_late", FaultAction::line_tick_late, Seam::line, {}, "every answer comes one control period late"},
    {"line_swapped", FaultAction::line_swapped, Seam::line, {}, "answers change places in pairs: the older one comes behind the newer"},
    {"line_duplicated", FaultAction::line_duplicated, Seam::line, {}, "the answer before comes once more, ahead of the new one"},
    {"line_repeated", FaultAction::line_repeated, Seam::line, {}, "an old answer comes again and again in place of the new ones"},
    {"line_echoed", FaultAction::line_echoed, Seam::line, {}, "the core hears its own requests"},
    {"line_foreign", FaultAction::line_foreign, Seam::line, unit_parameters, "answers of another unit pass before the station's"},
    {"station_reset", FaultAction::station_reset, Seam::station, {},
     "the station is without power or starts up, as long as it stays: no answer, every output in its normal position"},
    {"station_watchdog_dead", FaultAction::station_watchdog_dead, Seam::station, {}, "the station does not act when the line is silent"},
    {"station_answers_frozen", FaultAction::station_answers_frozen, Seam::station, {},
     "the station gives the same answer again and again, sequence echo and all, with a good CRC"},
    {"station_inputs_frozen", FaultAction::station_inputs_frozen, Seam::station, {},
     "all inputs of the station keep what they had; its sequence echo is right"},
    {"station_output_dead", FaultAction::station_output_dead, Seam::station, output_only,
     "an output of the station keeps what it had, whatever is written or imposed"},
    {"station_map_wrong", FaultAction::station_map_wrong, Seam::station, map_parameters, "the station tells another version of its map"},
    {"station_exception", FaultAction::station_exception, Seam::station, exception_parameters,
     "the station refuses every request with a Modbus exception"},
    {"mains_lost", FaultAction::mains_lost, Seam::plant, {},
     "furnace and station have no electricity; the controller has its own supply"},
    {"supervisory_silent", FaultAction::supervisory_silent, Seam::supervisory, {},
     "nothing passes on the supervisory line: the operator can't act, and sees the last readings"},
    {"supervisory_corrupt", FaultAction::supervisory_corrupt, Seam::supervisory, corrupt_parameters, "the supervisory line flips bits"},
    {"supervisory_noise", FaultAction::supervisory_noise, Seam::supervisory, noise_parameters,
     "the controller hears noise before each request"},
    {"supervisory_write_doubled", FaultAction::supervisory_write_doubled, Seam::supervisory, {}, "every request that writes comes twice"},
    {"supervisory_foreign", FaultAction::supervisory_foreign, Seam::supervisory, unit_parameters,
     "a second master starts, again and again, the programme of another controller on the line"},
    {"controller_power_lost", FaultAction::controller_power_lost, Seam::controller, boot_only,
     "the controller has no power as long as it stays, then starts from its store; the furnace keeps its mains"},
    {"controller_brown_out", FaultAction::controller_brown_out, Seam::controller, boot_only,
     "the controller's supply dips: it loses its memory and starts from its store"},
    {"controller_watchdog_reset", FaultAction::controller_watchdog_reset, Seam::controller, boot_only,
     "the controller's own watchdog resets it: it loses its memory and starts from its store"},
    {"power_lost", FaultAction::power_lost, Seam::everything, boot_only, "furnace, station and controller have no electricity"},
    {"store_write_lost", FaultAction::store_write_lost, Seam::store, {}, "what the controller writes does not reach its store"},
    {"store_write_torn", FaultAction::store_write_torn, Seam::store, torn_parameters, "only the head of every write reaches the store"},
    {"store_slow", FaultAction::store_slow, Seam::store, slow_parameters,
     "the store takes its time; what is not in it when the power goes is lost"},
    {"store_bit_flipped", FaultAction::store_bit_flipped, Seam::store, flip_parameters, "one bit of the store flips, once"},
};

struct Channel {
  const char* name;
  const char* unit;
};

// In the order of the field line's map (DEVELOPERS.md).
constexpr std::array<Channel, channel_count> channels{{
    {"zone_1", "K"}, {"zone_2", "K"}, {"zone_3", "K"}, {"zone_4", "K"}, {"load", "K"}, {"load_2", "K"},
    {"cold_junction", "K"}, {"gauge_pressure", "Pa"}, {"capacitance_gauge", "Pa"}, {"pirani_gauge", "Pa"},
    {"flow_1", "slm"}, {"flow_2", "slm"}, {"oxygen", "ppm"}, {"oxygen_cell", "K"}, {"dew_point", "K"},
    {"barometer", "Pa"}, {"valve_position", "1"}, {"mains", "V"}, {"supply_pressure", "Pa"}, {"casing", "K"},
    {"current_1", "A"}, {"current_2", "A"}, {"current_3", "A"}, {"current_4", "A"},
}};

// As plant::Disturbances has them.
constexpr std::array<const char*, plant::valves_max> valves{"process", "purge", "exhaust", "bypass", "air", "pump"};

// As plant::output numbers them.
constexpr std::array<const char*, plant::output::count_> outputs{
    "contactor", "process", "purge", "exhaust", "bypass", "air", "pump", "isolation", "inlet_vent", "pilot", "horn", "gas",
    "demand_1", "demand_2", "demand_3", "demand_4", "flow_1", "flow_2", "valve"};

const char* seam_name(Seam seam) {
  switch (seam) {
    case Seam::plant: return "plant";
    case Seam::instrument: return "instrument";
    case Seam::station: return "station";
    case Seam::line: return "line";
    case Seam::supervisory: return "supervisory";
    case Seam::controller: return "controller";
    case Seam::store: return "store";
    case Seam::everything: return "everything";
  }
  return "";
}

void check_value(const FaultKind& kind, const FaultParameter& parameter, double value) {
  if (value >= parameter.low && value <= parameter.high) return;
  throw std::invalid_argument(fmt::format("fault {}: {} {:g}, expected {:g} to {:g}", kind.name, parameter.name, value, parameter.low,
                                          parameter.high));
}

// Of a zone (first 1) or a channel (first 0), already checked.
std::size_t index_of(double value, double first) { return static_cast<std::size_t>(value - first); }

void stick(plant::Disturbances& disturbances, std::size_t valve, plant::ValveFault how) {
  disturbances.any_valve = true;
  disturbances.valve[valve] = how;
}

// Zone numbers count from 1, valves and channels from 0.
void apply_to_plant(FaultAction action, double value, plant::Disturbances& disturbances) {
  switch (action) {
    case FaultAction::element_broken: disturbances.element_broken[index_of(value, 1.0)] = true; break;
    case FaultAction::switch_shorted: disturbances.switch_shorted[index_of(value, 1.0)] = true; break;
    case FaultAction::supply_exhausted: disturbances.supply_exhausted = true; break;
    case FaultAction::exhaust_blocked: disturbances.exhaust_blocked = true; break;
    case FaultAction::door_opened: disturbances.door_open = true; break;
    case FaultAction::mains_dip: disturbances.mains_scale = value; break;
    case FaultAction::emergency_stop: disturbances.emergency_stop_pressed = true; break;
    case FaultAction::key_turned: disturbances.key_commissioning = true; break;
    case FaultAction::pump_stopped: disturbances.pump_stopped = true; break;
    case FaultAction::contactor_welded: disturbances.contactor_welded = true; break;
    case FaultAction::contactor_stuck_open: disturbances.contactor_stuck_open = true; break;
    case FaultAction::limiter_tripped: disturbances.limiter_tripped = true; break;
    case FaultAction::mains_lost:
      disturbances.mains_lost = true;
      disturbances.any_station = disturbances.station.down = true;
      break;
    case FaultAction::back_pressure_valve_stuck: disturbances.back_pressure_valve_stuck = true; break;
    case FaultAction::valve_stuck_shut: stick(disturbances, index_of(value, 0.0), plant::ValveFault::stuck_shut); break;
    case FaultAction::valve_stuck_open: stick(disturbances, index_of(value, 0.0), plant::ValveFault::stuck_open); break;
    default: break;
  }
}

void apply_to_channel(FaultAction action, double rate, double elapsed_s, plant::ChannelFault& channel) {
  using Kind = plant::ChannelFault::Kind;
  switch (action) {
    case FaultAction::thermocouple_open: channel = {Kind::open, 0.0, elapsed_s}; break;
    case FaultAction::sensor_stuck: channel = {Kind::stuck, 0.0, elapsed_s}; break;
    case FaultAction::sensor_drift: channel = {Kind::drift, rate, elapsed_s}; break;
    case FaultAction::sensor_offset:
    case FaultAction::glitch: channel = {Kind::drift, rate, 1.0}; break;  // a drift that has gone on for 1 s
    default: break;
  }
}

void apply_to_station(FaultAction action, double value, plant::Disturbances& disturbances) {
  plant::StationFault& station = disturbances.station;
  disturbances.any_station = true;
  switch (action) {
    case FaultAction::station_reset: station.down = true; break;
    case FaultAction::station_watchdog_dead: station.watchdog_dead = true; break;
    case FaultAction::station_answers_frozen: station.answers_frozen = true; break;
    case FaultAction::station_inputs_frozen: station.inputs_frozen = true; break;
    case FaultAction::station_output_dead: station.outputs_dead |= 1u << index_of(value, 0.0); break;
    case FaultAction::station_map_wrong: station.map_version = static_cast<int>(value); break;
    case FaultAction::station_exception: station.exception = static_cast<std::uint8_t>(value); break;
    default: break;
  }
}

}  // namespace

std::span<const FaultKind> fault_table() { return kinds; }

const FaultKind* find_fault(std::string_view name) {
  for (const FaultKind& kind : kinds)
    if (name == kind.name) return &kind;
  return nullptr;
}

const char* valve_name(int valve) { return valve < 0 || valve >= plant::valves_max ? "" : valves[static_cast<std::size_t>(valve)]; }

const char* output_name(int output) {
  return output < 0 || output >= plant::output::count_ ? "" : outputs[static_cast<std::size_t>(output)];
}

const char* channel_name(int channel) {
  return channel < 0 || channel >= channel_count ? "" : channels[static_cast<std::size_t>(channel)].name;
}

const char* channel_unit(int channel) {
  return channel < 0 || channel >= channel_count ? "" : channels[static_cast<std::size_t>(channel)].unit;
}

int find_channel(std::string_view name) {
  for (int channel = 0; channel < channel_count; ++channel)
    if (name == channel_name(channel) || name == fmt::to_string(channel)) return channel;
  return -1;
}

std::string describe_faults() {
  std::string text;
  for (const FaultKind& kind : kinds) {
    text += fmt::format("{:<25} {:<11} {}\n", kind.name, seam_name(kind.seam), kind.meaning);
    for (const FaultParameter& parameter : kind.parameters) {
      const std::string_view unit = parameter.unit;
      const std::string preset =
          unit == "valve" ? valve_name(static_cast<int>(parameter.preset))
          : unit == "output" ? output_name(static_cast<int>(parameter.preset))
          : unit == "channel" ? channel_name(static_cast<int>(parameter.preset)) : fmt::format("{:g}", parameter.preset);
      const bool plain = unit == "1" || unit == "count";
      text += fmt::format("  {:<16} {:<16} {} (default {})\n", parameter.name, plain ? "" : unit, parameter.meaning, preset);
    }
  }
  text += "\nchannel            unit\n";
  for (const Channel& channel : channels) text += fmt::format("{:<18} {}\n", channel.name, channel.unit);
  return text;
}

FaultBank::FaultBank(const std::vector<FaultSource>& sources) {
  if (sources.size() > faults_max) throw std::invalid_argument(fmt::format("faults: {} given, at most {}", sources.size(), faults_max));
  for (const FaultSource& source : sources) {
    const FaultKind* kind = find_fault(source.kind);
    if (kind == nullptr) throw std::invalid_argument("fault: unknown kind " + source.kind);
    if (source.values.size() != kind->parameters.size())
      throw std::invalid_argument(
          fmt::format("fault {}: {} values, expected {}", kind->name, source.values.size(), kind->parameters.size()));
    for (std::size_t value = 0; value < source.values.size(); ++value) check_value(*kind, kind->parameters[value], source.values[value]);
    Entry& entry = entries_[count_++];
    entry.action = kind->action;
    entry.seam = kind->seam;
    std::copy(source.values.begin(), source.values.end(), entry.values.begin());
  }
}

bool FaultBank::one_tick(std::size_t fault) const {
  switch (entries_[fault].action) {
    case FaultAction::glitch:
    case FaultAction::controller_brown_out:
    case FaultAction::controller_watchdog_reset:
    case FaultAction::store_bit_flipped: return true;
    default: return false;
  }
}

void FaultBank::begin(std::size_t fault) {
  state_.active[fault] = true;
  state_.ticks[fault] = 0;
  state_.changed = true;
}

void FaultBank::take_over(std::size_t fault, const FaultBank& past, std::size_t other) {
  state_.active[fault] = past.state_.active[other];
  state_.ticks[fault] = past.state_.ticks[other];
}

void FaultBank::end(std::size_t fault) {
  state_.active[fault] = false;
  state_.changed = true;
}

bool FaultBank::apply(double period_s, plant::Disturbances& disturbances, LineFault& line) {
  if (!state_.changed && !state_.moving) return false;
  state_.changed = false;
  state_.moving = false;
  disturbances = plant::Disturbances{};
  line = LineFault{};
  controller_ = ControllerFault{};
  for (std::size_t fault = 0; fault < count_; ++fault) {
    if (!state_.active[fault]) continue;
    const Entry& entry = entries_[fault];
    const double elapsed_s = static_cast<double>(state_.ticks[fault]++) * period_s;
    switch (entry.seam) {
      case Seam::plant: apply_to_plant(entry.action, entry.values[0], disturbances); break;
      case Seam::line: apply_to_line(entry.action, entry.values, line); break;
      case Seam::station: apply_to_station(entry.action, entry.values[0], disturbances); break;
      case Seam::supervisory: apply_to_supervisory(entry.action, entry.values, controller_); break;
      case Seam::store: apply_to_store(entry.action, entry.values, controller_); break;
      case Seam::everything:
        apply_to_plant(FaultAction::mains_lost, 0.0, disturbances);
        apply_to_power(entry.action, entry.values, controller_);
        break;
      case Seam::controller: apply_to_power(entry.action, entry.values, controller_); break;
      case Seam::instrument:
        apply_to_channel(entry.action, entry.values[1], elapsed_s, disturbances.channel[index_of(entry.values[0], 0.0)]);
        state_.moving = true;
        break;
    }
  }
  return true;
}

}  // namespace sim
