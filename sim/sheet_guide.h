// The words of an operating sheet, as tables: what each kind of segment does and what to do when it does not, and for each row of the
// controller's interlock table when it can act and at which limits. No text holds a number: {path} is replaced by the value that
// stands there in resolved.yaml, {.key} by the segment's own. A text one of whose values is not there is left out.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/interlocks.h"
#include "sim/scenario.h"

namespace sim {

// Of a segment: the first text of a group whose values are all there is taken (group 0: every one).
struct GuideText {
  fw::SegmentKind kind;  // none: every kind
  std::uint8_t group;
  bool not_so;  // what to do when it is not so, instead of what is done
  const char* text;
  const char* off_at_zero = "";  // path: 0 there switches it off, and the text is left out
};
std::span<const GuideText> guide_texts();

// Where a rule can act.
struct GuideScope {
  unsigned phases = 0;   // bit per atmosphere phase; 0: everywhere, so that it stands once for all steps
  bool heating = false;  // only in segments that heat
  bool gas = false;      // only where the controller looks after a retort or an atmosphere
  bool load = false;     // only where it uses the load thermocouple
  bool titanium = false;
  bool combustible = false;  // only where combustible gas is fitted
  bool atmosphere = false;  // only where heat needs an inert atmosphere
};

struct GuideRule {
  GuideScope scope;
  fw::RowSet rows;     // bit n: row n of the interlock table is spoken of
  const char* name;    // by which a step refers to it; the text stands once, for all steps
  const char* text;
  const char* off_at_zero = "";
};
std::span<const GuideRule> guide_rules();

// Whether a rule belongs to a step (phases: those it goes through) or, with phases 0, to all steps.
bool applies(const GuideScope& scope, const Scenario& scenario, unsigned phases, bool heating);

}  // namespace sim
