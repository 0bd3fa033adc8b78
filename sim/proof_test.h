// The proof test (IEC 61511-1, 16.3) of a controller: every row of its cause-and-effect table is provoked by injected signals, through
// bytes, without a plant. A row with a limit gets its signal in steps across it; a row without one gets its cause at once. What it
// gives: the set trip, the trip observed, the delay set and observed, and whether that is a pass. Then every alarm in the same way.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "firmware/parameters.h"
#include "sim/endpoint.h"

namespace sim {

struct ProofResult {
  enum class Verdict { pass, fail, not_fitted, not_from_terminals };
  int number = 0;                  // of the row or alarm
  int zone = 0;                    // of a unit with several, where each zone has its own line for it; 0: one line
  std::string name, cause, effect; // effect of a row; of an alarm its priority
  std::string stimulus;            // what was done at the terminals
  std::string unit;                // of the limit, empty: there is none
  double set = 0.0, resolution = 0.0, set_delay_s = 0.0;
  std::optional<double> observed, delay_s;   // none: it did not act
  std::string alarms;              // of an alarm: what was told when it came, or until it was given up
  Verdict verdict = Verdict::fail;
  std::string reason;              // of anything but a pass
};

struct Proof {
  std::vector<ProofResult> rows, alarms;
};

// All rows and alarms of the core's tables in order, one that watches zones for each zone of the unit. One that nothing here knows
// how to provoke is a failure. Throws EndpointError.
Proof proof_test(Endpoint& core, const fw::Parameters& parameters);

std::string proof_name(const ProofResult& result);      // with its zone where it has one
const char* verdict_text(ProofResult::Verdict verdict);
int proof_count(const std::vector<ProofResult>& results, ProofResult::Verdict verdict);
bool proof_passed(const Proof& proof);                  // nothing failed, and something was there to pass
// How many came out how, in a sentence; what: "rows" or "alarms".
std::string proof_count(const std::vector<ProofResult>& results, const char* what);

// The sheet to sign, self-contained HTML. title: of the controller file; core: what was tested.
std::string proof_sheet(const Proof& proof, const std::string& title, const std::string& core);

}  // namespace sim
