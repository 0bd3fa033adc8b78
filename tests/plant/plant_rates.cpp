// The plant's equations for a program in another language: a C interface, as a shared library, over the demo furnace and the inputs of the
// demo cycle. tools/bench gives them to SciPy. Not shipped.
#include <algorithm>
#include <memory>
#include <string>

#include "plant/step.h"
#include "tests/checkout.h"
#include "tests/plant/plant_reference.h"

namespace {

using namespace plant_test;

struct Rates {
  plant::Model model = plant::build(plant::Furnace{});   // the demo's: retort_12l.yaml spells the defaults out
  InputCourse course = read_course(std::string(source_folder) + "/tests/golden/plant_inputs.csv");
  std::unique_ptr<plant::State> state = std::make_unique<plant::State>(plant::initial_state(model, 1));
  Equations equations{model, *state};
  std::uint64_t tick = 0;

  const InputChange& change_at(std::uint64_t at) const {
    const auto after = std::upper_bound(course.changes.begin(), course.changes.end(), at,
                                        [](std::uint64_t one, const InputChange& change) { return one < change.tick; });
    return *std::prev(after);
  }
};

}  // namespace

extern "C" {

int plant_rates_size() { return slot::count; }
void* plant_rates_open() { return new Rates; }
void plant_rates_close(void* self) { delete static_cast<Rates*>(self); }
double plant_rates_ticks(void* self) { return static_cast<double>(static_cast<Rates*>(self)->course.ticks); }

// Goes on with the step to a later tick and gives what it comes to.
void plant_rates_at(void* self, double tick, double* y) {
  Rates& r = *static_cast<Rates*>(self);
  for (; r.tick < static_cast<std::uint64_t>(tick); ++r.tick) {
    r.state->station.commands = r.change_at(r.tick).commands;
    r.state->station.silent_ns = 0;
    plant::step(r.model, *r.state, {}, course_period_s);
  }
  const EquationState now = r.equations.vector_of(*r.state);
  std::copy(now.begin(), now.end(), y);
}

// The inputs of a tick are in force from now on; what happens at once happens to y.
void plant_rates_enter(void* self, double tick, double* y) {
  Rates& r = *static_cast<Rates*>(self);
  EquationState now(y, y + slot::count);
  r.equations.enter(inputs_of(r.model, r.change_at(static_cast<std::uint64_t>(tick)).commands, {}), now);
  std::copy(now.begin(), now.end(), y);
}

void plant_rates(void* self, const double* y, double* rate) {
  static_cast<Rates*>(self)->equations.rate({y, slot::count}, {rate, slot::count});
}

void plant_rates_tolerances(double* absolute) {
  const std::vector<double> values = absolute_tolerances();
  std::copy(values.begin(), values.end(), absolute);
}

}  // extern "C"
