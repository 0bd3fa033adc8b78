// Torture: how a drill's script is followed, tick by tick.
#include <algorithm>
#include <string>

#include "firmware/registers.h"
#include "tests/torture/torture.h"

namespace torture {

namespace {

using fw::SegmentKind;
using enum DrillLine::When;

Bytes parameter_write(const char* name, float value) {
  const auto table = fw::parameter_table();
  for (std::size_t i = 0; i < table.size(); ++i) {
    if (std::string(table[i].name) != name) continue;
    Bytes data;
    if (table[i].integer) {
      put16(data, 0);
      put16(data, static_cast<unsigned>(value));
    } else {
      put_float(data, value);
    }
    return rtu::write_request(fw::parameter_address + static_cast<unsigned>(2 * i), data);
  }
  return {};
}

bool stands(const fw::Controller& core, fw::SegmentKind kind) {
  const fw::Segment* segment = fw::programme_segment(core.run);
  return segment != nullptr && segment->kind == kind;
}

bool met(const fw::Controller& core, DrillLine::When when) {
  using fw::ProgrammeState;
  const fw::ProgrammeState state = core.run.state;
  switch (when) {
    case idle: return state == ProgrammeState::idle && core.inputs.known;
    case soaking: return stands(core, SegmentKind::soak) && state == ProgrammeState::running;
    case holding: return core.atmosphere.phase == fw::AtmospherePhase::holding;
    case pumping: return (core.outputs.coils & fw::coil::isolation_open) != 0;
    case flowing: return core.atmosphere.combustible.flowing;
    case over: return state == ProgrammeState::stopped || state == ProgrammeState::aborted || state == ProgrammeState::complete;
    case tuned: return core.tune.state != fw::TuneState::running;
    case leaking: return stands(core, SegmentKind::leak_test);
    case heating: return stands(core, SegmentKind::ramp);
    default: return true;
  }
}

}  // namespace

// True while the line's moment has not come; what does not come in a while is not waited for.
bool Torture::drill_waits(const fw::Controller& core, const DrillLine& line) {
  constexpr std::uint32_t carried_out_ticks = 3;
  const std::uint32_t longest_ticks = line.when == over || line.when == tuned ? 900 : 500;
  ++drill_since_;
  if (!drill_met_) {
    if (line.when != now && drill_since_ < carried_out_ticks) return true;   // the line before has had its effect by then
    if (!met(core, line.when) && drill_since_ < longest_ticks) return true;
    drill_met_ = true;
    drill_since_ = 0;
  }
  return drill_since_ < line.ticks;
}

// The script's next request; empty where it has none in this tick.
Bytes Torture::drill_request(const fw::Controller& core) {
  if (drill_ == nullptr) return {};
  if (drill_line_ == drill_->lines.size()) {
    ++drill_line_;
    act_left_ = std::min(act_left_, drill_->watched_ticks + 60 + chance_.below(200));
  }
  if (drill_line_ > drill_->lines.size()) return {};
  const DrillLine& line = drill_->lines[drill_line_];
  if (drill_waits(core, line)) return {};
  ++drill_line_;
  drill_since_ = 0;
  drill_met_ = false;
  switch (line.what) {
    case DrillLine::command: return rtu::command_request(line.code, line.argument, line.value);
    case DrillLine::parameter: return parameter_write(line.name, line.value);
    case DrillLine::segment: return window_write(drill_segment(line.argument), line.code, 37);
    case DrillLine::read: return rtu::read_request(3, line.code, line.argument);
    case DrillLine::key: key_ = line.code != 0; return {};
    case DrillLine::trouble: {
      const bool on = line.value != 0.0f;
      if (troubles_[1].left > 0 && troubles_[1].kind == Trouble::plant) apply_to_plant(troubles_[1], false);
      troubles_[1] = {static_cast<Trouble::Kind>(line.code), line.argument, line.value, on, line.last_ticks};
      if (troubles_[1].kind == Trouble::plant) apply_to_plant(troubles_[1], true);
      return {};
    }
    case DrillLine::restart:
      outage_s_ = static_cast<std::uint32_t>(line.value);
      drill_left_ = act_left_;
      act_left_ = 0;
      return {};
    default: return {};
  }
}

}  // namespace torture
