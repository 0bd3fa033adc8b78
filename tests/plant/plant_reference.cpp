#include "tests/plant/plant_reference.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <set>
#include <sstream>
#include <stdexcept>
#include <utility>

#include "tests/plant/cvode.h"

namespace plant_test {

using plant::Commands;

namespace {

// Coils in the order in which they stand in the file's column, one digit each.
constexpr bool Commands::*coils[] = {&Commands::contactor,    &Commands::process_open,   &Commands::purge_open,
                                     &Commands::exhaust_open, &Commands::bypass_open,    &Commands::air_open,
                                     &Commands::pump_run,     &Commands::isolation_open, &Commands::inlet_vent_open};

std::vector<std::string> fields_of(const std::string& line) {
  std::vector<std::string> fields;
  std::istringstream text(line);
  for (std::string field; std::getline(text, field, ',');) fields.push_back(field);
  return fields;
}

std::vector<std::vector<std::string>> rows_of(const std::string& path, std::size_t width) {
  std::ifstream file(path);
  std::vector<std::vector<std::string>> rows;
  bool heading = true;
  for (std::string line; std::getline(file, line);) {
    if (line.empty() || line[0] == '#') continue;
    if (!std::exchange(heading, false)) rows.push_back(fields_of(line));
    if (!rows.empty() && rows.back().size() != width)
      throw std::runtime_error(path + ": a row has not " + std::to_string(width) + " fields");
  }
  if (rows.empty()) throw std::runtime_error(path + ": missing or without rows");
  return rows;
}

}  // namespace

bool valves_differ(const Commands& a, const Commands& b) {
  return a.gas != b.gas || std::any_of(std::begin(coils), std::end(coils), [&](auto coil) { return a.*coil != b.*coil; });
}

InputCourse read_course(const std::string& path) {
  InputCourse course;
  for (const std::vector<std::string>& row : rows_of(path, 7)) {
    InputChange change;
    change.tick = std::stoull(row[0]);
    change.commands.demand.fill(std::stod(row[1]));
    change.commands.meter_set = {std::stod(row[2]), std::stod(row[3])};
    change.commands.valve_frac = std::stod(row[4]);
    change.commands.gas = std::stoi(row[5]);
    if (row[6].size() != std::size(coils))
      throw std::runtime_error(path + ": " + std::to_string(std::size(coils)) + " coils expected");
    for (std::size_t i = 0; i < std::size(coils); ++i) change.commands.*coils[i] = row[6][i] == '1';
    course.changes.push_back(change);
  }
  course.ticks = course.changes.back().tick;  // the last row ends the course
  course.changes.pop_back();
  return course;
}

void write_course(const InputCourse& course, const std::string& path, const std::string& origin) {
  std::ofstream file(path);
  file << "# " << origin << "\ntick,demand,meter_1,meter_2,valve,gas,coils\n";
  InputChange end = course.changes.back();
  end.tick = course.ticks;
  std::vector<InputChange> rows = course.changes;
  rows.push_back(end);
  for (const InputChange& row : rows) {
    std::string states;
    for (const auto coil : coils) states += row.commands.*coil ? '1' : '0';
    char line[160];
    std::snprintf(line, sizeof line, "%llu,%.6g,%.6g,%.6g,%.6g,%d,", static_cast<unsigned long long>(row.tick),
                  row.commands.demand[0], row.commands.meter_set[0], row.commands.meter_set[1], row.commands.valve_frac,
                  row.commands.gas);
    file << line << states << '\n';
  }
  if (!file.flush()) throw std::runtime_error(path + ": cannot be written");
}

const std::vector<Column>& columns() {
  using namespace plant::node;
  const auto cell = [](int number, int lane) { return slot::chain + number * plant::chain_lanes + lane; };
  static const std::vector<Column> all{{"zone_junction", Kind::thermocouple, zone_junction},
                                       {"load_junction", Kind::thermocouple, load_junction},
                                       {"load2_junction", Kind::thermocouple, load2_junction},
                                       {"limiter_sensor", Kind::thermocouple, limiter_sensor},
                                       {"panel", Kind::solid, panel},
                                       {"lining_barrel", Kind::solid, lining_barrel},
                                       {"lining_rear", Kind::solid, lining_rear},
                                       {"lining_front", Kind::solid, lining_front},
                                       {"barrel_outside", Kind::solid, barrel_outside},
                                       {"barrel_middle", Kind::solid, barrel_middle},
                                       {"barrel_inside", Kind::solid, barrel_inside},
                                       {"end_outside", Kind::solid, end_outside},
                                       {"end_middle", Kind::solid, end_middle},
                                       {"end_inside", Kind::solid, end_inside},
                                       {"plug_face", Kind::solid, plug_face},
                                       {"load_surface", Kind::solid, load_surface},
                                       {"load_core", Kind::solid, load_core},
                                       {"barrel_0", Kind::deep_cell, cell(0, 0)},
                                       {"rear_0", Kind::deep_cell, cell(0, 1)},
                                       {"front_0", Kind::deep_cell, cell(0, 2)},
                                       {"plug_0", Kind::deep_cell, cell(0, 3)},
                                       {"barrel_10", Kind::deep_cell, cell(10, 0)},
                                       {"rear_10", Kind::deep_cell, cell(10, 1)},
                                       {"front_10", Kind::deep_cell, cell(10, 2)},
                                       {"plug_10", Kind::deep_cell, cell(10, 3)},
                                       {"barrel_19", Kind::deep_cell, cell(19, 0)},
                                       {"rear_19", Kind::deep_cell, cell(19, 1)},
                                       {"front_19", Kind::deep_cell, cell(19, 2)},
                                       {"plug_19", Kind::deep_cell, cell(19, 3)},
                                       {"casing", Kind::deep_cell, slot::casing},
                                       {"gas", Kind::gas_temperature, slot_gas_k},
                                       {"chamber_pa", Kind::pressure, slot::chamber_pa},
                                       {"hose_pa", Kind::hose_pressure, slot_hose_pa},
                                       {"oxygen_mol", Kind::amount, slot::chamber_mol + 1},
                                       {"argon_mol", Kind::amount, slot::chamber_mol + 2},
                                       {"water_mol", Kind::amount, slot::chamber_mol + 4},
                                       {"oxygen_cell", Kind::sensor, slot::oxygen_cell},
                                       {"cold_junction", Kind::sensor, slot::cold_junction}};
  return all;
}

// Every two minutes, and after each switch at ticks that lie ever farther apart.
std::vector<std::uint64_t> sample_ticks(const InputCourse& course) {
  std::set<std::uint64_t> ticks{course.ticks};
  for (std::uint64_t tick = 1200; tick < course.ticks; tick += 1200) ticks.insert(tick);
  for (std::size_t i = 0; i < course.changes.size(); ++i) {
    if (i > 0 && !valves_differ(course.changes[i - 1].commands, course.changes[i].commands)) continue;
    for (const std::uint64_t after : {1, 2, 3, 5, 8, 13, 21, 34, 55, 100, 200, 400}) {
      if (course.changes[i].tick + after < course.ticks) ticks.insert(course.changes[i].tick + after);
    }
  }
  return {ticks.begin(), ticks.end()};
}

std::vector<double> values_of(const Equations& equations, const EquationState& y) {
  std::vector<double> values;
  for (const Column& column : columns()) {
    if (column.slot == slot_gas_k)
      values.push_back(equations.gas_k(y));
    else if (column.slot == slot_hose_pa)
      values.push_back(equations.hose_pa(y));
    else
      values.push_back(y[static_cast<std::size_t>(column.slot)]);
  }
  return values;
}

std::vector<double> absolute_tolerances() {
  std::vector<double> absolute(slot::count, 1e-8);  // K, Pa
  std::fill(absolute.begin() + slot::chamber_mol, absolute.begin() + slot::chamber_pa, 1e-14);
  std::fill(absolute.begin() + slot::adsorbed_mol, absolute.begin() + slot::supply_pa, 1e-14);
  std::fill(absolute.begin() + slot::valve_frac, absolute.begin() + slot::oxygen_cell, 1e-11);
  std::fill(absolute.begin() + slot::oxygen_fraction, absolute.end(), 1e-12);
  return absolute;
}

std::vector<Sample> integrate(const plant::Model& model, const plant::State& start, const InputCourse& course,
                              const std::vector<std::uint64_t>& at_ticks, double relative_tolerance,
                              const plant::Disturbances& disturbances) {
  Equations equations(model, start);
  const std::vector<double> absolute = absolute_tolerances();
  const auto rate = [&](double, std::span<const double> y, std::span<double> out) { equations.rate(y, out); };
  Cvode cvode(rate, absolute, relative_tolerance, Newton::krylov);
  EquationState y = equations.vector_of(start);
  std::vector<Sample> samples;
  auto next = at_ticks.begin();
  const auto time_of = [](std::uint64_t tick) { return static_cast<double>(tick) * course_period_s; };
  for (std::size_t i = 0; i < course.changes.size(); ++i) {
    const std::uint64_t from = course.changes[i].tick,
                        end = i + 1 < course.changes.size() ? course.changes[i + 1].tick : course.ticks;
    equations.enter(inputs_of(model, course.changes[i].commands, disturbances), y);
    cvode.restart(time_of(from), y);
    for (; next != at_ticks.end() && *next <= end; ++next) {
      if (*next > from && (samples.empty() || samples.back().tick < *next)) cvode.advance(time_of(*next), y);
      samples.push_back({*next, values_of(equations, y)});
    }
    if (samples.empty() || samples.back().tick < end) cvode.advance(time_of(end), y);
  }
  return samples;
}

std::vector<Sample> step_through(const plant::Model& model, const plant::State& start, const InputCourse& course,
                                 const std::vector<std::uint64_t>& at_ticks, const plant::Disturbances& disturbances) {
  const Equations equations(model, start);
  plant::State state = start;
  std::vector<Sample> samples;
  auto next = at_ticks.begin();
  auto change = course.changes.begin();
  for (std::uint64_t tick = 0; tick < course.ticks; ++tick) {
    if (change != course.changes.end() && change->tick == tick) state.station.commands = (change++)->commands;
    state.station.silent_ns = 0;
    plant::step(model, state, disturbances, course_period_s);
    if (next == at_ticks.end() || *next != tick + 1) continue;
    samples.push_back({*next++, values_of(equations, equations.vector_of(state))});
  }
  return samples;
}

int chain_ticks(const plant::Model& model) {
  return std::max(1, static_cast<int>(std::lround(model.thermal.macro_s / course_period_s)));
}

std::vector<Sample> read_trajectory(const std::string& path) {
  std::vector<Sample> samples;
  for (const std::vector<std::string>& row : rows_of(path, columns().size() + 1)) {
    samples.push_back({std::stoull(row[0]), {}});
    for (std::size_t i = 1; i < row.size(); ++i) samples.back().value.push_back(std::stod(row[i]));
  }
  return samples;
}

void write_trajectory(const std::vector<Sample>& samples, const std::string& path, const std::string& origin) {
  std::ofstream file(path);
  file << "# " << origin << "\ntick";
  for (const Column& column : columns()) file << ',' << column.name;
  file << '\n';
  for (const Sample& sample : samples) {
    file << sample.tick;
    for (std::size_t i = 0; i < sample.value.size(); ++i) {
      char text[32];
      const bool kelvin =
          columns()[i].kind != Kind::pressure && columns()[i].kind != Kind::hose_pressure && columns()[i].kind != Kind::amount;
      std::snprintf(text, sizeof text, kelvin ? ",%.4f" : ",%.7g", sample.value[i]);
      file << text;
    }
    file << '\n';
  }
  if (!file.flush()) throw std::runtime_error(path + ": cannot be written");
}

namespace {

bool is_pressure(Kind kind) { return kind == Kind::pressure || kind == Kind::hose_pressure; }

Kind kind_of(const Column& column, double chamber_pa) {
  const bool thin = chamber_pa < thin_below_pa;
  if (thin && column.kind == Kind::pressure) return Kind::thin_pressure;
  return thin && column.kind == Kind::gas_temperature ? Kind::thin_gas_temperature : column.kind;
}

double chamber_pa_of(const Sample& sample) {
  for (std::size_t i = 0; i < columns().size(); ++i)
    if (columns()[i].kind == Kind::pressure) return sample.value[i];
  throw std::logic_error("no column of the chamber's pressure");
}

}  // namespace

std::vector<Worst> worst_by_kind(const std::vector<Sample>& ours, const std::vector<Sample>& reference, int chain_ticks) {
  if (ours.size() != reference.size()) throw std::runtime_error("trajectories of different lengths");
  std::vector<Worst> worst(kinds);
  for (std::size_t n = 0; n < ours.size(); ++n) {
    if (ours[n].tick != reference[n].tick) throw std::runtime_error("trajectories of different ticks");
    for (std::size_t i = 0; i < columns().size(); ++i) {
      const Column& column = columns()[i];
      if (column.kind == Kind::deep_cell && ours[n].tick % static_cast<std::uint64_t>(chain_ticks) != 0) continue;
      double size = std::abs(ours[n].value[i] - reference[n].value[i]);
      if (is_pressure(column.kind)) size /= std::max(reference[n].value[i], 100.0);
      if (column.kind == Kind::amount) size /= std::max(reference[n].value[i], 1e-6);
      Worst& w = worst[static_cast<std::size_t>(kind_of(column, chamber_pa_of(reference[n])))];
      if (!(size <= w.size)) w = {size, static_cast<double>(ours[n].tick) * course_period_s, column.name};
    }
  }
  return worst;
}

}  // namespace plant_test
