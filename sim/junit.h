// The expectations of a run as JUnit XML, for continuous integration. Times are simulated ones.
#pragma once

#include <string>
#include <string_view>

#include "sim/summary.h"

namespace sim {

// One suite of the scenario's name, one case per expectation; a broken run is an error of the suite's case "run".
std::string junit_xml(const Summary& summary);

// What XML 1.0 can hold: control characters are left out, bytes that are not UTF-8 become U+FFFD.
std::string xml_text(std::string_view text);

}  // namespace sim
