#include "sim/junit.h"

#include <sstream>

#include <fmt/format.h>
#include <pugixml.hpp>

namespace sim {

namespace {

// Bytes of the UTF-8 sequence at `at`, 0 if there is none.
std::size_t sequence(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t i) { return at + i < text.size() ? static_cast<unsigned char>(text[at + i]) : 0u; };
  const unsigned lead = byte(0);
  if (lead < 0x80) return 1;
  const std::size_t size = lead >= 0xF0 && lead < 0xF5 ? 4 : lead >= 0xE0 && lead < 0xF0 ? 3 : lead >= 0xC2 && lead < 0xE0 ? 2 : 0;
  for (std::size_t i = 1; i < size; ++i) {
    if ((byte(i) & 0xC0) != 0x80) return 0;
  }
  if (lead == 0xE0 && byte(1) < 0xA0) return 0;                          // overlong
  if (lead == 0xED && byte(1) > 0x9F) return 0;                          // surrogates
  if (lead == 0xEF && byte(1) == 0xBF && byte(2) > 0xBD) return 0;       // U+FFFE, U+FFFF
  if (lead == 0xF0 && byte(1) < 0x90) return 0;                          // overlong
  if (lead == 0xF4 && byte(1) > 0x8F) return 0;                          // beyond U+10FFFF
  return size;
}

void add_case(pugi::xml_node suite, const std::string& name, const ExpectationResult& result) {
  pugi::xml_node one = suite.append_child("testcase");
  one.append_attribute("classname") = name.c_str();
  one.append_attribute("name") = xml_text(result.name).c_str();
  one.append_attribute("time") = fmt::format("{:.3f}", result.judged_s).c_str();
  const std::string margin = result.judged ? fmt::format("margin {:.6g} {} at {:.3f} s", result.margin, result.unit, result.at_s)
                                           : "never judged: " + result.unjudged;
  if (!result.pass) {
    pugi::xml_node failure = one.append_child("failure");
    failure.append_attribute("message") = xml_text(margin).c_str();
    failure.text() = xml_text(result.statement).c_str();
  }
  one.append_child("system-out").text() = xml_text(result.statement + "\n" + margin).c_str();
}

pugi::xml_node begin_suite(pugi::xml_node suites, const std::string& name, const JunitCounts& counts) {
  pugi::xml_node suite = suites.append_child("testsuite");
  suite.append_attribute("name") = xml_text(name).c_str();
  suite.append_attribute("tests") = counts.tests;
  suite.append_attribute("failures") = counts.failures;
  suite.append_attribute("errors") = counts.errors;
  suite.append_attribute("skipped") = 0;
  suite.append_attribute("time") = fmt::format("{:.3f}", counts.time_s).c_str();
  return suite;
}

void add_run_case(pugi::xml_node suite, const std::string& name, double time_s, const char* kind, const std::string& message) {
  pugi::xml_node run = suite.append_child("testcase");
  run.append_attribute("classname") = xml_text(name).c_str();
  run.append_attribute("name") = "run";
  run.append_attribute("time") = fmt::format("{:.3f}", time_s).c_str();
  run.append_child(kind).append_attribute("message") = xml_text(message).c_str();
}

}  // namespace

std::string xml_text(std::string_view text) {
  std::string clean;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t size = sequence(text, at);
    const auto lead = static_cast<unsigned char>(text[at]);
    if (size == 0) clean += "\xEF\xBF\xBD";
    else if (size > 1 || lead == '\t' || lead == '\n' || (lead >= 0x20 && lead != 0x7F)) clean += text.substr(at, size);
    at += size == 0 ? 1 : size;
  }
  return clean;
}

std::string html_text(std::string_view text) {
  std::string safe;
  for (const char c : xml_text(text)) {
    switch (c) {
      case '&': safe += "&amp;"; break;
      case '<': safe += "&lt;"; break;
      case '>': safe += "&gt;"; break;
      case '"': safe += "&quot;"; break;
      default: safe += c;
    }
  }
  return safe;
}

JunitCounts add_suite(pugi::xml_node suites, const Summary& summary, const std::string& name) {
  int failures = 0;
  for (const ExpectationResult& result : summary.expectations) failures += result.pass ? 0 : 1;
  const bool broken = !summary.broken_by.empty(), none = summary.expectations.empty();
  const JunitCounts counts{static_cast<int>(summary.expectations.size()) + (broken || none ? 1 : 0),
                           failures + (none && !broken ? 1 : 0), broken ? 1 : 0, summary.simulated_s};
  pugi::xml_node suite = begin_suite(suites, name, counts);
  for (const ExpectationResult& result : summary.expectations) add_case(suite, xml_text(name), result);
  if (broken) add_run_case(suite, name, summary.simulated_s, "error", summary.broken_by);
  else if (none) add_run_case(suite, name, summary.simulated_s, "failure", "no expectations: nothing was judged");
  return counts;
}

JunitCounts add_error_suite(pugi::xml_node suites, const std::string& name, const std::string& why) {
  const JunitCounts counts{1, 0, 1, 0.0};
  add_run_case(begin_suite(suites, name, counts), name, 0.0, "error", why);
  return counts;
}

std::string junit_xml(const Summary& summary) {
  pugi::xml_document document;
  add_suite(document.append_child("testsuites"), summary, summary.scenario);
  std::ostringstream stream;
  document.save(stream, "  ", pugi::format_indent, pugi::encoding_utf8);
  return stream.str();
}

}  // namespace sim
