// EquationInputs of a run of the plant as a list of changes, and what CVODE makes of them: tests/golden/plant_inputs.csv and
// plant_trajectory.csv. tests/plant/plant_reference.cpp's program writes both.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "plant/equations.h"

namespace plant_test {

using plant::EquationInputs;
using plant::Equations;
using plant::EquationState;
using plant::inputs_of;
namespace slot = plant::slot;

struct InputChange {
  std::uint64_t tick = 0;  // from this one on
  plant::Commands commands{};
};

struct InputCourse {
  std::uint64_t ticks = 0;           // of 0.1 s
  std::vector<InputChange> changes;  // first at tick 0
};
inline constexpr double course_period_s = 0.1;

bool valves_differ(const plant::Commands& a, const plant::Commands& b);  // anything but a set value
InputCourse read_course(const std::string& path);                        // throws std::runtime_error
void write_course(const InputCourse& course, const std::string& path, const std::string& origin);

// What is compared, by column; `kind` says against which limit.
// Deep cells stand still between the steps of the chains, a second apart: they are compared where such a step ends. Gas: flowing
// (above half an atmosphere) and pumping or filling (below) are kept apart.
enum class Kind {
  thermocouple,
  solid,
  deep_cell,
  gas_temperature,
  thin_gas_temperature,
  pressure,
  thin_pressure,
  hose_pressure,
  amount,
  sensor
};
inline constexpr std::size_t kinds = 10;
inline constexpr double thin_below_pa = 50e3;
struct Column {
  const char* name;
  Kind kind;
  int slot;
};
inline constexpr int slot_gas_k = -1, slot_hose_pa = -2;
const std::vector<Column>& columns();

struct Sample {
  std::uint64_t tick = 0;
  std::vector<double> value;
};  // after so many ticks
std::vector<std::uint64_t> sample_ticks(const InputCourse& course);
std::vector<double> values_of(const Equations& equations, const EquationState& y);

std::vector<double> absolute_tolerances();  // by slot
std::vector<Sample> integrate(const plant::Model& model, const plant::State& start, const InputCourse& course,
                              const std::vector<std::uint64_t>& at_ticks, double relative_tolerance,
                              const plant::Disturbances& disturbances = {});
std::vector<Sample> step_through(const plant::Model& model, const plant::State& start, const InputCourse& course,
                                 const std::vector<std::uint64_t>& at_ticks, const plant::Disturbances& disturbances = {});

std::vector<Sample> read_trajectory(const std::string& path);
void write_trajectory(const std::vector<Sample>& samples, const std::string& path, const std::string& origin);

int chain_ticks(const plant::Model& model);  // from one step of the chains to the next

// Largest difference of a kind. Pressures: relative to max(p, 100 Pa); amounts: as shares; the rest in kelvin.
struct Worst {
  double size = 0.0, at_s = 0.0;
  std::string column;
};
std::vector<Worst> worst_by_kind(const std::vector<Sample>& ours, const std::vector<Sample>& reference,
                                 int chain_ticks);  // index: Kind

}  // namespace plant_test
