// The expectations of a run as JUnit XML, for continuous integration. Times are simulated ones.
#pragma once

#include <string>
#include <string_view>

#include "sim/summary.h"

namespace pugi {
class xml_node;
}

namespace sim {

// One suite of the scenario's name, one case per expectation; a broken run is an error of the suite's case "run".
std::string junit_xml(const Summary& summary);

// Cases of a document with many suites. time_s is simulated.
struct JunitCounts {
  int tests = 0, failures = 0, errors = 0;
  double time_s = 0.0;
};
// Appends the suite of a run under another name than its scenario's.
JunitCounts add_suite(pugi::xml_node suites, const Summary& summary, const std::string& name);
// Appends a suite whose only case "run" is an error.
JunitCounts add_error_suite(pugi::xml_node suites, const std::string& name, const std::string& why);

// What XML 1.0 can hold: control characters are left out, bytes that are not UTF-8 become U+FFFD.
std::string xml_text(std::string_view text);
// The same, quoted so that it may stand in HTML, also in an attribute.
std::string html_text(std::string_view text);

}  // namespace sim
