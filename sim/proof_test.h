// The proof test (IEC 61511-1, 16.3) of a controller: every row of its cause-and-effect table is provoked by injected signals, through
// bytes, without a plant. A row with a limit gets its signal in steps across it; a row without one gets its cause at once. What it
// gives: the set trip, the trip observed, the delay set and observed, and whether that is a pass.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "firmware/interlocks.h"
#include "firmware/parameters.h"
#include "sim/endpoint.h"

namespace sim {

struct ProofResult {
  enum class Verdict { pass, fail, not_fitted, not_from_terminals };
  int row = 0;
  int zone = 0;                    // of a unit with several, where each zone has its own line for the row; 0: one line for the row
  std::string name, cause, effect;
  std::string stimulus;            // what was done at the terminals
  std::string unit;                // of the limit, empty: there is none
  double set = 0.0, resolution = 0.0, set_delay_s = 0.0;
  std::optional<double> observed, delay_s;   // none: the row did not act
  Verdict verdict = Verdict::fail;
  std::string reason;              // of anything but a pass
};

// All rows of the core's table in order, a row that watches zones for each zone of the unit. A row that nothing here knows how to
// provoke is a failure. Throws EndpointError.
std::vector<ProofResult> proof_test(Endpoint& core, const fw::Parameters& parameters);

std::string proof_name(const ProofResult& result);      // of the row, and its zone where it has one
const char* verdict_text(ProofResult::Verdict verdict);
int proof_count(const std::vector<ProofResult>& results, ProofResult::Verdict verdict);
std::string proof_count(const std::vector<ProofResult>& results);   // how many came out how, in a sentence

// The sheet to sign, self-contained HTML. title: of the controller file; core: what was tested.
std::string proof_sheet(const std::vector<ProofResult>& results, const std::string& title, const std::string& core);

}  // namespace sim
