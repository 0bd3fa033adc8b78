#include "sim/open_loop.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

#include <fmt/format.h>

#include "sim/input_error.h"

namespace sim {

namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
constexpr double cell_valid_degc = 600.0;  // below it an oxygen cell says nothing (DEVELOPERS.md, channel 13)
constexpr double log_floor = 1e-3;         // ppm and Pa: below it a reading is all noise

struct Instrument {
  const char* signal;
  int channel;
  bool logarithmic;
};
constexpr std::array<Instrument, 10> instruments{{{"heat.1.pv", plant::channel::zone, false},
                                                  {"heat.2.pv", plant::channel::zone + 1, false},
                                                  {"heat.3.pv", plant::channel::zone + 2, false},
                                                  {"heat.4.pv", plant::channel::zone + 3, false},
                                                  {"load.pv", plant::channel::load, false},
                                                  {"load_2.pv", plant::channel::load2, false},
                                                  {"casing.pv", plant::channel::casing, false},
                                                  {"pressure.pv", plant::channel::gauge, false},
                                                  {"vacuum.pv", plant::channel::capacitance, true},
                                                  {"oxygen.pv", plant::channel::oxygen, true}}};
constexpr Instrument dew_point{"dew_point.pv", plant::channel::dew_point, false};

// Coils as the field line's register 0x101 has them (DEVELOPERS.md).
void obey_coils(plant::Commands& c, unsigned coils) {
  const auto energised = [coils](int bit) { return (coils >> bit & 1u) != 0; };
  c.contactor = energised(0);
  c.process_open = energised(1);
  c.purge_open = !energised(2);
  c.exhaust_open = !energised(3);
  c.bypass_open = energised(4);
  c.air_open = energised(5);
  c.pump_run = energised(6);
  c.isolation_open = energised(7);
  c.inlet_vent_open = !energised(8);
  c.pilot = energised(9);
}

double straight(double from, double to, double share) { return from + (to - from) * share; }

// What the instrument shows of a process value, without noise: it saturates.
double shown(const plant::StationModel& station, int channel, double value) {
  const auto c = static_cast<std::size_t>(channel);
  const plant::SignalKind kind = station.settings.instruments.channel[c].kind;
  if (kind != plant::SignalKind::current_loop && kind != plant::SignalKind::voltage) return value;
  const double raw = std::clamp(station.offset[c] + station.scale[c] * value, station.low[c], station.high[c]);
  return (raw - station.offset[c]) / station.scale[c];
}

// A recorded value at which the instrument says only that it is at its end: shows nothing.
bool at_its_end(const plant::StationModel& station, int channel, double value) {
  const double span = station.settings.instruments.channel[static_cast<std::size_t>(channel)].high -
                      station.settings.instruments.channel[static_cast<std::size_t>(channel)].low;
  const double margin = 1e-3 * std::fabs(span), low = shown(station, channel, -1e30), high = shown(station, channel, 1e30);
  return value <= low + margin || value >= high - margin;
}

// Fills the gaps of a command with what went before, and what begins with a gap with the first value.
std::vector<double> without_gaps(std::vector<double> values) {
  const auto first = std::find_if(values.begin(), values.end(), [](double value) { return !std::isnan(value); });
  double last = first == values.end() ? 0.0 : *first;
  for (double& value : values) last = value = std::isnan(value) ? last : value;
  return values;
}

}  // namespace

OpenLoop::OpenLoop(const FurnaceLog& log, const plant::Furnace& furnace, plant::Gas gas, double period_s)
    : period_s_(period_s), times_s_(log.times_s) {
  judge(log, furnace);
  steer(log, furnace, gas);
}

void OpenLoop::judge(const FurnaceLog& log, const plant::Furnace& furnace) {
  const plant::StationModel station = plant::build(furnace).station;
  const auto add = [&](const Instrument& instrument) {
    const LoggedSignal* logged = log.find(instrument.signal);
    const int zone = instrument.channel - plant::channel::zone;
    if (logged == nullptr || (instrument.channel < plant::channel::load && zone >= furnace.heaters.zones)) return;
    JudgedSignal judged{logged->signal, instrument.channel, instrument.logarithmic, logged->values};
    for (double& value : judged.recorded)
      if (at_its_end(station, instrument.channel, value)) value = nothing;
    if (judged.logarithmic)
      for (double& value : judged.recorded) value = std::log(std::max(value, log_floor));
    judged.recorded.front() = nothing;  // a controller that has just started shows no reading yet
    if (std::any_of(judged.recorded.begin(), judged.recorded.end(), [](double value) { return !std::isnan(value); }))
      judged_.push_back(std::move(judged));
  };
  for (const Instrument& instrument : instruments) add(instrument);
  add(dew_point);
  if (judged_.empty()) {
    throw InputError(
        {log.source, 0, 0}, "no reading of an instrument",
        "at least one of heat.1.pv, load.pv, load_2.pv, casing.pv, pressure.pv, vacuum.pv, oxygen.pv, dew_point.pv");
  }
}

void OpenLoop::steer_valves(const FurnaceLog& log) {
  if (const LoggedSignal* coils = log.find("controller.outputs")) {
    const std::vector<double> values = without_gaps(coils->values);
    for (std::size_t i = 0; i < values.size(); ++i)
      obey_coils(steered_[i].commands, static_cast<unsigned>(std::max(values[i], 0.0)));
    return;
  }
  using Set = void (*)(plant::Commands&, bool);
  struct Contact {
    const char* signal;
    Set set;
    Set otherwise;
    const char* assumed;
  };
  static constexpr Contact contacts[] = {
      {"plant.contactor", [](plant::Commands& c, bool on) { c.contactor = on; },
       [](plant::Commands& c, bool) { c.contactor = *std::max_element(c.demand.begin(), c.demand.end()) > 0.0; },
       "closed whenever there is a heater demand"},
      {"plant.valve.process", [](plant::Commands& c, bool on) { c.process_open = on; },
       [](plant::Commands& c, bool) { c.process_open = c.meter_set[0] > 0.0; }, "open whenever there is a flow"},
      {"plant.valve.purge", [](plant::Commands& c, bool on) { c.purge_open = on; },
       [](plant::Commands& c, bool) { c.purge_open = false; }, "shut"},
      {"plant.valve.exhaust", [](plant::Commands& c, bool on) { c.exhaust_open = on; },
       [](plant::Commands& c, bool) { c.exhaust_open = true; }, "open"},
      {"plant.valve.bypass", [](plant::Commands& c, bool on) { c.bypass_open = on; },
       [](plant::Commands& c, bool) { c.bypass_open = false; }, "shut"},
      {"plant.valve.air", [](plant::Commands& c, bool on) { c.air_open = on; },
       [](plant::Commands& c, bool) { c.air_open = false; }, "shut"},
      {"plant.pump",
       [](plant::Commands& c, bool on) {
         c.pump_run = on;
         c.inlet_vent_open = !on;
       },
       [](plant::Commands& c, bool) { c.pump_run = false; }, "at rest"},
      {"plant.valve.pump", [](plant::Commands& c, bool on) { c.isolation_open = on; },
       [](plant::Commands& c, bool) { c.isolation_open = false; }, "shut"}};
  for (const Contact& contact : contacts) {
    const LoggedSignal* logged = log.find(contact.signal);
    const std::vector<double> values =
        logged != nullptr ? without_gaps(logged->values) : std::vector<double>(times_s_.size(), 0.0);
    for (std::size_t i = 0; i < steered_.size(); ++i)
      (logged != nullptr ? contact.set : contact.otherwise)(steered_[i].commands, values[i] > 0.5);
    if (logged == nullptr)
      assumptions_.push_back(fmt::format("no {} (nor controller.outputs) in the log: {}", contact.signal, contact.assumed));
  }
}

void OpenLoop::steer(const FurnaceLog& log, const plant::Furnace& furnace, plant::Gas gas) {
  steered_.resize(times_s_.size());
  const plant::Environment here{furnace.surroundings.barometer_pa, furnace.surroundings.ambient_degc, furnace.mains.actual_v,
                                furnace.supply.regulated_pa};
  bool any = false;
  const auto take = [&](const std::string& name, const std::function<void(Steered&, double)>& set) {
    const LoggedSignal* logged = log.find(name);
    if (logged == nullptr) return false;
    const std::vector<double> values = without_gaps(logged->values);
    for (std::size_t i = 0; i < values.size(); ++i) set(steered_[i], values[i]);
    return any = true;
  };
  for (Steered& one : steered_) {
    one.environment = here;
    one.commands.gas = static_cast<int>(gas == plant::Gas::none ? furnace.supply.purge : gas);
  }
  for (std::size_t zone = 0; zone < static_cast<std::size_t>(furnace.heaters.zones); ++zone) {
    const std::string name = fmt::format("heat.{}.out", zone + 1);
    if (!take(name, [zone](Steered& s, double value) { s.commands.demand[zone] = std::clamp(value, 0.0, 1.0); }))
      assumptions_.push_back("no " + name + " in the log: that zone is taken to be off");
  }
  if (!take("pressure.out", [](Steered& s, double value) { s.commands.valve_frac = std::clamp(value, 0.0, 1.0); }))
    assumptions_.push_back("no pressure.out in the log: the back-pressure valve is taken to stand open");
  if (!take("flow.out", [](Steered& s, double value) { s.commands.meter_set[0] = std::clamp(value, 0.0, 1.0); })) {
    const auto& factors = plant::build(furnace).gas.supplied;
    const double full_slm =
        furnace.meter.full_scale_slm * factors[static_cast<std::size_t>(steered_[0].commands.gas)].conversion;
    const auto share = [full_slm](Steered& s, double slm) { s.commands.meter_set[0] = std::clamp(slm / full_slm, 0.0, 1.0); };
    assumptions_.push_back(take("flow.pv", share)
                               ? "no flow.out in the log: the meter is taken to be told what flow.pv shows"
                               : "neither flow.out nor flow.pv in the log: no gas is taken to flow through the meter");
  }
  if (!any) throw InputError({log.source, 0, 0}, "no command", "at least one of heat.1.out, pressure.out, flow.out");
  steer_valves(log);
  const bool flows =
      std::any_of(steered_.begin(), steered_.end(), [](const Steered& s) { return s.commands.meter_set[0] > 0.0; });
  if (flows && gas == plant::Gas::none)
    assumptions_.emplace_back("the gas of the meter is in no log: that of the inert purge (--gas says another)");
  surrounded_[0] = take("plant.barometer", [](Steered& s, double value) { s.environment.barometer_pa = value; });
  surrounded_[1] = take("plant.ambient", [](Steered& s, double value) { s.environment.ambient_degc = value; });
  surrounded_[2] = take("plant.mains", [](Steered& s, double value) { s.environment.mains_v = value; });
  constexpr const char* surroundings[] = {"barometer", "ambient", "mains"};
  for (std::size_t i = 0; i < surrounded_.size(); ++i)
    if (!surrounded_[i])
      assumptions_.push_back(fmt::format("no plant.{} in the log: as the furnace file has it, all the time", surroundings[i]));
}

// Outputs that move steadily run straight from row to row; what switches does so half-way between two rows, as nobody knows
// when.
OpenLoop::Steered OpenLoop::between(std::size_t row, double time_s) const {
  const Steered& from = steered_[row];
  if (row + 1 >= steered_.size()) return from;
  const double share = (time_s - times_s_[row]) / (times_s_[row + 1] - times_s_[row]);
  const Steered& to = steered_[row + 1];
  Steered now = share < 0.5 ? from : to;
  for (std::size_t z = 0; z < now.commands.demand.size(); ++z)
    now.commands.demand[z] = straight(from.commands.demand[z], to.commands.demand[z], share);
  now.commands.meter_set[0] = straight(from.commands.meter_set[0], to.commands.meter_set[0], share);
  now.commands.valve_frac = straight(from.commands.valve_frac, to.commands.valve_frac, share);
  now.environment.barometer_pa = straight(from.environment.barometer_pa, to.environment.barometer_pa, share);
  now.environment.ambient_degc = straight(from.environment.ambient_degc, to.environment.ambient_degc, share);
  now.environment.mains_v = straight(from.environment.mains_v, to.environment.mains_v, share);
  return now;
}

std::vector<double> OpenLoop::readings(const plant::Furnace& furnace) const {
  const plant::Model model = plant::build(furnace);
  const plant::Environment own = plant::environment_of(model);
  const auto surround = [&](plant::Environment logged) {
    if (!surrounded_[0]) logged.barometer_pa = own.barometer_pa;
    if (!surrounded_[1]) logged.ambient_degc = own.ambient_degc;
    if (!surrounded_[2]) logged.mains_v = own.mains_v;
    logged.supply_pa = own.supply_pa;
    return logged;
  };
  const bool moves = surrounded_[0] || surrounded_[1] || surrounded_[2];
  plant::State state = plant::initial_state(model, 1, surround(steered_.front().environment));
  const plant::Disturbances none{};
  const std::size_t rows = times_s_.size();
  std::vector<double> values(points(), nothing);
  // A row shows what was latched one period before it: tick k's answer is read at k + 1 (DEVELOPERS.md, time).
  for (std::size_t row = 0, next = 1, tick = 0; next < rows; ++tick) {
    const double time_s = static_cast<double>(tick) * period_s_;
    for (; next < rows && times_s_[next] < time_s + 1.5 * period_s_; ++next) {
      for (std::size_t i = 0; i < judged_.size(); ++i) {
        const JudgedSignal& one = judged_[i];
        double value = shown(model.station, one.channel, state.station.lagged[static_cast<std::size_t>(one.channel)]);
        if (one.channel == plant::channel::oxygen && state.process.oxygen_cell_degc < cell_valid_degc + 5.0) value = nothing;
        values[i * rows + next] = one.logarithmic ? std::log(std::max(value, log_floor)) : value;
      }
    }
    while (row + 1 < rows && times_s_[row + 1] <= time_s + 1e-6 * period_s_) ++row;
    const Steered now = between(row, time_s);
    if (moves) plant::set_environment(model, state, surround(now.environment));
    state.station.commands = now.commands;
    state.station.silent_ns = 0;
    plant::step(model, state, none, period_s_);
  }
  return values;
}

}  // namespace sim
