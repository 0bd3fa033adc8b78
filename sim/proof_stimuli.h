// How each interlock row and each alarm is provoked in a proof test: the situation it needs, what is done at the terminals, its
// limit and its delay; and, of what no signal can bring about, what shows it instead.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/parameters.h"
#include "sim/injector.h"

namespace sim {

struct Stimulus {
  std::uint8_t number;                                       // of the row (fw::row) or alarm (fw::alarm)
  const char* words;                                         // what is done at the terminals; `{}`: the number of the zone, for each
  bool (*prepare)(Injector&);                                // false: the situation could not be reached
  void (*apply)(Injector&, double value);                    // value: of the signal; without a limit any
  const char* unit;                                          // of the limit, null: there is none
  double (*limit)(const fw::Parameters&);
  double step;                                               // of the signal, positive: rising
  double (*delay_s)(const fw::Parameters&);                  // beyond that of its table, null: none
  const char* (*unfit)(const fw::Parameters&);               // why it does not apply to a unit, null: it does; null: to every unit
};
std::span<const Stimulus> proof_stimuli();

struct Elsewhere {
  std::uint8_t number;
  const char* why;
};

struct ProofTable {
  std::span<const Stimulus> stimuli;
  std::span<const Elsewhere> elsewhere;
};
ProofTable proof_rows();
ProofTable proof_alarms();

}  // namespace sim
