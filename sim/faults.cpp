#include "sim/faults.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "firmware/parameter_store.h"
#include "plant/process_values.h"
#include "sim/line_fault.h"

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
constexpr std::array<FaultParameter, 1> ahead_parameters{{{"by", "s", 60.0, 0.0, 1800.0, "ahead of the bench's, as long as it stays"}}};
constexpr std::array<FaultParameter, 1> noise_parameters{{{"bytes", "count", 16, 1, 200, "that nobody sent, before every request"}}};
constexpr std::array<FaultParameter, 1> torn_parameters{{{"bytes", "count", 32, 0, 63, "of the 64 of a page that are written"}}};
constexpr std::array<FaultParameter, 1> slow_parameters{{{"delay", "s", 1.0, 0.0, 60.0, "from a write to its being in the store"}}};
constexpr std::array<FaultParameter, 2> flip_parameters{
    {{"byte", "count", 8, 0, fw::store_image_bytes - 1, "place in the store: page * 64 + place in the page"},
     {"bit", "count", 0, 0, 7, "of that byte"}}};

constexpr std::array<FaultParameter, 1> stick_parameters{{{"band", "1", 0.1, 0.0, 1.0, "travel its command goes before it follows"}}};
constexpr std::array<FaultParameter, 1> valve_leak_parameters{{{"flow", "slm", 0.3, 0.0, 10.0, "into the chamber, through its meter"}}};
constexpr FaultParameter meter_parameter{"meter", "count", 1, 1, 2, "mass-flow controller"};
constexpr std::array<FaultParameter, 1> leak_parameters{
    {{"flow", "Pa m3/s", 1e-2, 0.0, 10.0, "at one atmosphere of difference, air at 20 degC; follows the difference and its sign"}}};
constexpr std::array<FaultParameter, 1> oxygen_parameters{{{"oxygen", "ppm", 50.0, 0.0, 100000.0, "by volume, besides its own"}}};
constexpr std::array<FaultParameter, 1> wet_parameters{
    {{"dew_point", "degC", -20.0, -100.0, 20.0, "frost or dew point at 101.325 kPa of the water it carries besides its own"}}};
constexpr std::array<FaultParameter, 1> regulator_parameters{
    {{"by", "Pa diff", -20e3, -1e6, 1e6, "added to the pressure it is set to; the supply never falls below the barometer"}}};
constexpr std::array<FaultParameter, 1> droop_parameters{{{"droop", "Pa/slm", 5e3, 0.0, 1e5, "pressure lost for each slm drawn"}}};
constexpr std::array<FaultParameter, 2> aged_parameters{
    {zone_parameter, {"resistance", "1", 1.3, 1.0, 10.0, "of every element of the zone, as a factor of its own"}}};
constexpr std::array<FaultParameter, 2> shorted_parameters{
    {zone_parameter, {"share", "1", 0.2, 0.0, 0.9, "of the turns of every element of the zone that are bridged"}}};
constexpr std::array<FaultParameter, 1> relief_parameters{{{"scale", "1", 0.3, 0.0, 1.0, "share of its set pressure at which it opens"}}};
constexpr std::array<FaultParameter, 1> check_parameters{{{"area", "mm2", 0.1, 0.0, 100.0, "effective, backward"}}};
constexpr std::array<FaultParameter, 1> worn_parameters{
    {{"leak", "1", 0.05, 0.0, 1.0, "share of the full area that passes when shut; none is added when wide open"}}};
constexpr std::array<FaultParameter, 2> plug_parameters{
    {{"lost", "1", 0.5, 0.0, 1.0, "share of the area that deposits take at every stem position, in the end"},
     {"over", "s", 3600.0, 0.0, 30.0 * 86400.0, "grows from 0 when the fault begins, evenly over this time"}}};
constexpr std::array<FaultParameter, 1> back_parameters{
    {{"area", "mm2", 1.0, 0.0, 1000.0, "effective, from the room through the pump to its hose when it stands"}}};
constexpr std::array<FaultParameter, 1> pump_parameters{{{"scale", "1", 0.3, 0.0, 1.0, "displacement as a share of its own"}}};
constexpr std::array<FaultParameter, 2> meter_zero_parameters{
    {meter_parameter, {"shift", "slm", 0.1, -10.0, 10.0, "what it takes for flow besides the flow, calibration gas; it steers by that"}}};
constexpr std::array<FaultParameter, 2> meter_span_parameters{
    {meter_parameter, {"factor", "1", 1.2, 0.1, 10.0, "of the true flow that it takes for the flow; it steers by that"}}};
constexpr std::array<FaultParameter, 1> meter_only{meter_parameter};
constexpr std::array<FaultParameter, 2> loose_parameters{
    {{"thermocouple", "load thermocouple", 0, 0, 1, "which, by name"},
     {"contact", "1", 0.0, 0.0, 1.0, "conductance to the load as a share of its own; 0: it hangs free and sees the wall"}}};
constexpr std::array<FaultParameter, 2> insulation_parameters{
    {{"thermocouple", "thermocouple", 4, 0, plant::thermocouples_max - 1, "which, by name"},
     {"half", "degC", 900.0, 100.0, 1800.0,
      "of its junction, at which the sheath conducts like the wires: a quarter of what it reads above its cold end is lost"}}};
constexpr std::array<FaultParameter, 2> gain_parameters{
    {channel_parameter, {"factor", "1", 1.1, -10.0, 10.0, "of its signal: mV, V, ohm, of a loop the mA above 4"}}};
constexpr std::array<FaultParameter, 2> sensor_noise_parameters{
    {channel_parameter, {"sd", "channel unit", 1.0, 0.0, 1e6, "standard deviation, each tick anew, besides its own"}}};
constexpr std::array<FaultParameter, 2> sensor_slow_parameters{
    {channel_parameter, {"lag", "s", 30.0, 0.0, 1e5, "time constant, first order, besides its own"}}};
constexpr std::array<FaultParameter, 1> block_parameters{
    {{"rise", "K", 5.0, -100.0, 100.0, "of the terminals above what the cold-junction sensor feels"}}};
constexpr std::array<FaultParameter, 2> input_parameters{
    {{"input", "input", 0, 0, 14, "discrete input, by name"}, {"state", "state", 0, 0, 1, "what it reads"}}};

using A = FaultAction;
using S = Seam;
using T = Together;

constexpr FaultKind kinds[] = {
    {"element_broken", A::element_broken, S::actuator, T::either, zone_only, "the heater element of a zone is open"},
    {"switch_shorted", A::switch_shorted, S::actuator, T::either, zone_only,
     "the power switch of a zone conducts whatever its demand; the contactor still cuts it"},
    {"supply_exhausted", A::supply_exhausted, S::plant, T::either, {}, "the gas supply is empty: its pressure falls to the barometer"},
    {"exhaust_blocked", A::exhaust_blocked, S::plant, T::either, {}, "the exhaust line is blocked after the check valve"},
    {"door_opened", A::door_opened, S::plant, T::either, {}, "the door is open or the plug is out"},
    {"mains_dip", A::mains_dip, S::plant, T::multiply, mains_parameters, "the mains voltage is off nominal"},
    {"emergency_stop", A::emergency_stop, S::plant, T::either, {}, "the emergency stop is pressed"},
    {"key_turned", A::key_turned, S::plant, T::either, {}, "the key switch stands at commissioning"},
    {"pump_stopped", A::pump_stopped, S::actuator, T::either, {}, "the vacuum pump does not turn"},
    {"contactor_welded", A::contactor_welded, S::actuator, T::either, {}, "the contactor, once closed, does not open"},
    {"contactor_stuck_open", A::contactor_stuck_open, S::actuator, T::either, {}, "the contactor does not close"},
    {"limiter_tripped", A::limiter_tripped, S::actuator, T::either, {}, "the over-temperature limiter trips; it stays tripped"},
    {"back_pressure_valve_stuck", A::back_pressure_valve_stuck, S::actuator, T::either, {}, "the back-pressure valve stays where it is"},
    {"valve_stuck_shut", A::valve_stuck_shut, S::actuator, T::shut_wins, valve_only, "a valve is shut, whatever its command"},
    {"valve_stuck_open", A::valve_stuck_open, S::actuator, T::shut_wins, valve_only, "a valve is open, whatever its command"},
    {"thermocouple_open", A::thermocouple_open, S::instrument, T::either, channel_only, "the wire of an instrument is broken"},
    {"sensor_stuck", A::sensor_stuck, S::instrument, T::either, channel_only, "an instrument keeps the value it had"},
    {"sensor_drift", A::sensor_drift, S::instrument, T::add, drift_parameters, "an instrument's error grows steadily"},
    {"sensor_offset", A::sensor_offset, S::instrument, T::add, offset_parameters, "an instrument's zero has shifted"},
    {"glitch", A::glitch, S::instrument, T::add, glitch_parameters, "an instrument is wrong for exactly one tick"},
    {"line_drop", A::line_drop, S::line, T::chances, drop_parameters, "the field line loses bytes"},
    {"line_corrupt", A::line_corrupt, S::line, T::chances, corrupt_parameters, "the field line flips bits"},
    {"line_late", A::line_late, S::line, T::add, late_parameters, "the station's answers come late"},
    {"line_silent", A::line_silent, S::line, T::either, {}, "nothing passes on the field line"},
    {"line_requests_lost", A::line_requests_lost, S::line, T::either, {}, "the station hears nothing; so it is silent"},
    {"line_answers_lost", A::line_answers_lost, S::line, T::either, {}, "the station hears and acts, the core hears nothing"},
    {"line_bit_errors", A::line_bit_errors, S::line, T::add, bit_error_parameters, "noise flips bits on the field line"},
    {"line_inserted", A::line_inserted, S::line, T::chances, insert_parameters, "bytes appear on the field line that nobody sent"},
    {"line_truncated", A::line_truncated, S::line, T::add, cut_parameters, "the station's answers end early"},
    {"line_gap", A::line_gap, S::line, T::greatest, gap_parameters, "the line falls silent within the answers"},
    {"line_tick_late", A::line_tick_late, S::line, T::either, {}, "every answer comes one control period late"},
    {"line_swapped", A::line_swapped, S::line, T::either, {}, "answers change places in pairs: the older one comes behind the newer"},
    {"line_duplicated", A::line_duplicated, S::line, T::either, {}, "the answer before comes once more, ahead of the new one"},
    {"line_repeated", A::line_repeated, S::line, T::either, {}, "an old answer comes again and again in place of the new ones"},
    {"line_echoed", A::line_echoed, S::line, T::either, {}, "the core hears its own requests"},
    {"line_foreign", A::line_foreign, S::line, T::least, unit_parameters, "answers of another unit pass before the station's"},
    {"station_reset", A::station_reset, S::station, T::either, {},
     "the station is without power or starts up, as long as it stays: no answer, every output in its normal position"},
    {"station_watchdog_dead", A::station_watchdog_dead, S::station, T::either, {}, "the station does not act when the line is silent"},
    {"station_answers_frozen", A::station_answers_frozen, S::station, T::either, {},
     "the station gives the same answer again and again, sequence echo and all, with a good CRC"},
    {"station_inputs_frozen", A::station_inputs_frozen, S::station, T::either, {},
     "all inputs of the station keep what they had; its sequence echo is right"},
    {"station_output_dead", A::station_output_dead, S::station, T::either, output_only,
     "an output of the station keeps what it had, whatever is written or imposed"},
    {"station_map_wrong", A::station_map_wrong, S::station, T::least, map_parameters, "the station tells another version of its map"},
    {"station_exception", A::station_exception, S::station, T::least, exception_parameters,
     "the station refuses every request with a Modbus exception"},
    {"retort_leak", A::retort_leak, S::plant, T::add, leak_parameters, "the retort leaks, besides what it always leaks"},
    {"supply_contaminated", A::supply_contaminated, S::plant, T::add, oxygen_parameters, "every bottled gas carries oxygen"},
    {"supply_wet", A::supply_wet, S::plant, T::add, wet_parameters, "every bottled gas carries water"},
    {"regulator_off", A::regulator_off, S::plant, T::add, regulator_parameters, "the supply's regulator is set wrong"},
    {"regulator_droops", A::regulator_droops, S::plant, T::add, droop_parameters, "the supply's pressure falls with the flow drawn"},
    {"element_aged", A::element_aged, S::actuator, T::multiply, aged_parameters, "the elements of a zone have risen in resistance"},
    {"element_shorted", A::element_shorted, S::actuator, T::chances, shorted_parameters, "turns of the elements of a zone are bridged"},
    {"relief_stuck_shut", A::relief_stuck_shut, S::actuator, T::either, {}, "the relief valve does not open"},
    {"relief_opens_early", A::relief_opens_early, S::actuator, T::multiply, relief_parameters,
     "the relief valve opens below its set pressure"},
    {"check_valve_leaks", A::check_valve_leaks, S::actuator, T::add, check_parameters, "the exhaust's check valve lets room air back"},
    {"back_pressure_valve_worn", A::back_pressure_valve_worn, S::actuator, T::add, worn_parameters,
     "the back-pressure valve passes when shut"},
    {"pump_weak", A::pump_weak, S::actuator, T::multiply, pump_parameters, "the vacuum pump moves less than it should, at full speed"},
    {"meter_zero", A::meter_zero, S::actuator, T::add, meter_zero_parameters, "a mass-flow controller's own zero has shifted"},
    {"meter_span", A::meter_span, S::actuator, T::multiply, meter_span_parameters, "a mass-flow controller's own span is wrong"},
    {"meter_stuck", A::meter_stuck, S::actuator, T::either, meter_only, "the valve of a mass-flow controller stays where it is"},
    {"thermocouple_loose", A::thermocouple_loose, S::instrument, T::multiply, loose_parameters, "a load thermocouple has lost its contact"},
    {"insulation_lost", A::insulation_lost, S::instrument, T::least, insulation_parameters,
     "the insulation inside a thermocouple's sheath conducts when hot: it reads low, the more the hotter"},
    {"sensor_reversed", A::sensor_reversed, S::instrument, T::either, channel_only,
     "the wires of an instrument are swapped: a voltage changes sign, a loop carries nothing, a resistance is the same"},
    {"sensor_gain", A::sensor_gain, S::instrument, T::multiply, gain_parameters, "the signal of an instrument is scaled wrong"},
    {"sensor_noise", A::sensor_noise, S::instrument, T::squares, sensor_noise_parameters, "an instrument is noisy"},
    {"sensor_slow", A::sensor_slow, S::instrument, T::add, sensor_slow_parameters, "an instrument has become slow"},
    {"cold_junction_off", A::cold_junction_off, S::instrument, T::add, block_parameters,
     "the thermocouples' terminals are warmer than the cold-junction sensor"},
    {"oxygen_cell_cold", A::oxygen_cell_cold, S::instrument, T::either, {}, "the heater of the oxygen cell has failed"},
    {"input_stuck", A::input_stuck, S::station, T::least, input_parameters, "a discrete input reads the same whatever it is"},
    {"mains_lost", A::mains_lost, S::plant, T::either, {},
     "furnace and station have no electricity; the controller has its own supply"},
    {"supervisory_silent", A::supervisory_silent, S::supervisory, T::either, {},
     "nothing passes on the supervisory line: the operator can't act, and sees the last readings"},
    {"supervisory_corrupt", A::supervisory_corrupt, S::supervisory, T::chances, corrupt_parameters, "the supervisory line flips bits"},
    {"supervisory_noise", A::supervisory_noise, S::supervisory, T::add, noise_parameters,
     "the controller hears noise before each request"},
    {"supervisory_write_doubled", A::supervisory_write_doubled, S::supervisory, T::either, {}, "every request that writes comes twice"},
    {"supervisory_foreign", A::supervisory_foreign, S::supervisory, T::least, unit_parameters,
     "a second master starts, again and again, the programme of another controller on the line"},
    {"controller_power_lost", A::controller_power_lost, S::controller, T::greatest, boot_only,
     "the controller has no power as long as it stays, then starts from its store; the furnace keeps its mains"},
    {"controller_brown_out", A::controller_brown_out, S::controller, T::greatest, boot_only,
     "the controller's supply dips: it loses its memory and starts from its store"},
    {"controller_watchdog_reset", A::controller_watchdog_reset, S::controller, T::greatest, boot_only,
     "the controller's own watchdog resets it: it loses its memory and starts from its store"},
    {"controller_clock_ahead", A::controller_clock_ahead, S::controller, T::add, ahead_parameters,
     "the clock by which the controller is called is ahead: less than a period for one tick, and that step is late"},
    {"power_lost", A::power_lost, S::everything, T::greatest, boot_only, "furnace, station and controller have no electricity"},
    {"store_write_lost", A::store_write_lost, S::store, T::either, {}, "what the controller writes does not reach its store"},
    {"store_write_torn", A::store_write_torn, S::store, T::least, torn_parameters, "only the head of every write reaches the store"},
    {"store_slow", A::store_slow, S::store, T::add, slow_parameters,
     "the store takes its time; what is not in it when the power goes is lost"},
    {"back_pressure_valve_sticks", A::back_pressure_valve_sticks, S::actuator, T::greatest, stick_parameters,
     "the back-pressure valve moves only in jumps"},
    {"burn_off_out", A::burn_off_out, S::actuator, T::either, {}, "the burn-off flame does not burn"},
    {"combustible_valve_leaks", A::combustible_valve_leaks, S::actuator, T::add, valve_leak_parameters,
     "hydrogen passes its valves although they are shut"},
    {"back_pressure_valve_plugs", A::back_pressure_valve_plugs, S::actuator, T::chances, plug_parameters,
     "deposits grow in the back-pressure valve"},
    {"dryer_exhausted", A::dryer_exhausted, S::plant, T::either, {},
     "the supply's dryer, where one is fitted, lets all through that comes to it"},
    {"pump_sucks_back", A::pump_sucks_back, S::actuator, T::add, back_parameters,
     "the vacuum pump does not seal when it stands: room air comes back through it"},
    {"store_bit_flipped", A::store_bit_flipped, S::store, T::either, flip_parameters, "one bit of the store flips, once"},
};

// In the order of the field line's map (DEVELOPERS.md).
constexpr std::array<const char*, channel_count> channels{
    "zone_1", "zone_2", "zone_3", "zone_4", "load", "load_2", "cold_junction", "gauge_pressure", "capacitance_gauge", "pirani_gauge",
    "flow_1", "flow_2", "oxygen", "oxygen_cell", "dew_point", "barometer", "valve_position", "mains", "supply_pressure", "casing",
    "current_1", "current_2", "current_3", "current_4"};
constexpr std::array<const char*, channel_count> channel_units{"K", "K", "K", "K", "K", "K", "K", "Pa", "Pa", "Pa", "slm", "slm",
                                                               "ppm", "K", "K", "Pa", "1", "V", "Pa", "K", "A", "A", "A", "A"};

// As plant::Disturbances has them.
constexpr std::array<const char*, plant::valves_max> valves{"process", "purge", "exhaust", "bypass", "air", "pump"};

// As plant::output numbers them.
constexpr std::array<const char*, plant::output::count_> outputs{
    "contactor", "process", "purge", "exhaust", "bypass", "air", "pump", "isolation", "inlet_vent", "pilot", "horn", "gas",
    "demand_1", "demand_2", "demand_3", "demand_4", "flow_1", "flow_2", "valve"};

// By the bits of the field line's map.
constexpr std::array<const char*, 15> inputs{"door", "emergency_stop", "contactor", "pump_at_speed", "exhaust", "isolation", "supply",
                                             "over_pressure", "limiter", "key", "bypass", "air", "process", "purge", "burn_off"};
constexpr std::array<const char*, 6> thermocouples{"zone_1", "zone_2", "zone_3", "zone_4", "load", "load_2"};
constexpr std::array<const char*, 2> load_thermocouples{"load", "load_2"};
constexpr std::array<const char*, 2> states{"off", "on"};

struct Family {
  const char* name;
  std::span<const char* const> words;
};
constexpr Family families[] = {{"channel", channels}, {"valve", valves}, {"output", outputs},
                              {"input", inputs}, {"load thermocouple", load_thermocouples}, {"thermocouple", thermocouples},
                              {"state", states}};

std::string preset_text(const FaultParameter& parameter) {
  const auto words = fault_words(parameter.unit);
  if (!words.empty()) return words[static_cast<std::size_t>(parameter.preset)];
  return fmt::format("{:g}", parameter.preset);
}

void describe(const FaultKind& kind, std::string& text) {
  text += fmt::format("  {:<26} {}\n", kind.name, kind.meaning);
  for (const FaultParameter& parameter : kind.parameters) {
    const std::string_view unit = parameter.unit;
    const bool plain = unit == "1" || unit == "count";
    text += fmt::format("    {:<24} {:<16} {} (default {})\n", parameter.name, plain ? "" : unit, parameter.meaning,
                        preset_text(parameter));
  }
  if (kind.together != Together::either) text += fmt::format("    two together: {}\n", explanation(kind.together));
}

}  // namespace

std::span<const FaultKind> fault_table() { return kinds; }

bool for_one_tick(FaultAction action) {
  return action == FaultAction::glitch || action == FaultAction::controller_brown_out ||
         action == FaultAction::controller_watchdog_reset || action == FaultAction::store_bit_flipped;
}

const FaultKind* find_fault(std::string_view name) {
  for (const FaultKind& kind : kinds)
    if (name == kind.name) return &kind;
  return nullptr;
}

const char* seam_name(Seam seam) {
  switch (seam) {
    case Seam::plant: return "plant";
    case Seam::actuator: return "actuator";
    case Seam::instrument: return "instrument";
    case Seam::station: return "station";
    case Seam::line: return "line";
    case Seam::supervisory: return "supervisory line";
    case Seam::controller: return "controller";
    case Seam::store: return "store";
    case Seam::everything: return "everything";
  }
  return "";
}

const char* explanation(Together together) {
  switch (together) {
    case Together::either: return "as one, for as long as either lasts";
    case Together::add: return "they add";
    case Together::multiply: return "they multiply";
    case Together::chances: return "1 - (1 - a) (1 - b) is lost";
    case Together::shut_wins: return "of shut and open on one valve, shut";
    case Together::squares: return "their squares add";
    case Together::least: return "the smaller one";
    case Together::greatest: return "the greater one";
  }
  return "";
}

std::span<const char* const> fault_words(std::string_view family) {
  for (const Family& other : families)
    if (family == other.name) return other.words;
  return {};
}

const char* channel_name(int channel) {
  return channel < 0 || channel >= channel_count ? "" : channels[static_cast<std::size_t>(channel)];
}

const char* channel_unit(int channel) {
  return channel < 0 || channel >= channel_count ? "" : channel_units[static_cast<std::size_t>(channel)];
}

int find_channel(std::string_view name) {
  for (int channel = 0; channel < channel_count; ++channel)
    if (name == channel_name(channel) || name == fmt::to_string(channel)) return channel;
  return -1;
}

std::string describe_faults() {
  std::string text;
  for (int seam = 0; seam < seams; ++seam) {
    std::string below;
    for (const FaultKind& kind : kinds)
      if (kind.seam == static_cast<Seam>(seam)) describe(kind, below);
    if (!below.empty()) text += fmt::format("{}\n{}\n", seam_name(static_cast<Seam>(seam)), below);
  }
  text += "Two of a kind on one thing, where nothing is said: as one, for as long as either lasts. A broken wire goes before a stuck\n"
          "reading, and that before shifts of it. What an instrument adds up is added in its own unit, before its signal is made of it.\n"
          "\nchannel            unit\n";
  for (std::size_t channel = 0; channel < channel_count; ++channel)
    text += fmt::format("{:<18} {}\n", channels[channel], channel_units[channel]);
  return text;
}

}  // namespace sim
