// The programme of a scenario: a list of segments, each a map with one key that names its kind and, if wanted, `name`.
//
//   - name: ramp to dry
//     ramp: {to: 180 degC, rate: 5 K/min, gas: argon, flow: 0.6 slm, back_pressure: 4 kPa gauge}
//   - repeat: {back_to: ramp to dry, times: 2}
//   - end:
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "sim/fields.h"
#include "sim/scenario.h"

namespace sim {

// What one segment table reads into.
struct SegmentDraft {
  fw::Segment segment{};
  std::string back_to;         // repeat: name of the segment to go back to
};

// One per kind in the order of fw::SegmentKind, from ramp to end. kind: "ramp", ...
const std::vector<FieldTable>& segment_fields();
std::string_view name_of(fw::SegmentKind kind);      // "ramp", ...

// One segment without a name of its own, to stand at `index` of a programme whose segments have these names. bounded: only one that
// the core takes there; throws InputError.
SegmentDraft read_segment_alone(const YamlNode& map, const std::vector<std::string>& names, std::size_t index, bool bounded);
std::string write_segment_alone(const SegmentDraft& draft, int indent);

ProgrammeSource read_programme(const YamlNode& list);       // throws InputError
std::string write_programme(const ProgrammeSource& programme, int indent);

// `programmes:`, a list of maps with `name`, `stored` and `segments`.
const FieldTable& other_programme_fields();                  // on an OtherProgramme; without the segments
std::vector<OtherProgramme> read_other_programmes(const YamlNode& list);
std::string write_other_programmes(const std::vector<OtherProgramme>& programmes, int indent);

}  // namespace sim
