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

void add_case(pugi::xml_node suite, const Summary& summary, const ExpectationResult& result) {
  pugi::xml_node one = suite.append_child("testcase");
  one.append_attribute("classname") = xml_text(summary.scenario).c_str();
  one.append_attribute("name") = xml_text(result.name).c_str();
  one.append_attribute("time") = fmt::format("{:.3f}", result.judged_s).c_str();
  const std::string margin = result.judged ? fmt::format("margin {:.6g} {} at {:.3f} s", result.margin, result.unit, result.at_s)
                                           : std::string("never judged: its window never opened");
  if (!result.pass) {
    pugi::xml_node failure = one.append_child("failure");
    failure.append_attribute("message") = xml_text(margin).c_str();
    failure.text() = xml_text(result.statement).c_str();
  }
  one.append_child("system-out").text() = xml_text(result.statement + "\n" + margin).c_str();
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

std::string junit_xml(const Summary& summary) {
  int failures = 0;
  for (const ExpectationResult& result : summary.expectations) failures += result.pass ? 0 : 1;
  const bool broken = !summary.broken_by.empty(), none = summary.expectations.empty();
  pugi::xml_document document;
  pugi::xml_node suite = document.append_child("testsuites").append_child("testsuite");
  suite.append_attribute("name") = xml_text(summary.scenario).c_str();
  suite.append_attribute("tests") = static_cast<int>(summary.expectations.size()) + (broken || none ? 1 : 0);
  suite.append_attribute("failures") = failures + (none && !broken ? 1 : 0);
  suite.append_attribute("errors") = broken ? 1 : 0;
  suite.append_attribute("skipped") = 0;
  suite.append_attribute("time") = fmt::format("{:.3f}", summary.simulated_s).c_str();
  for (const ExpectationResult& result : summary.expectations) add_case(suite, summary, result);
  if (broken || none) {
    pugi::xml_node run = suite.append_child("testcase");
    run.append_attribute("classname") = xml_text(summary.scenario).c_str();
    run.append_attribute("name") = "run";
    run.append_attribute("time") = fmt::format("{:.3f}", summary.simulated_s).c_str();
    const std::string message = broken ? xml_text(summary.broken_by) : std::string("no expectations: nothing was judged");
    run.append_child(broken ? "error" : "failure").append_attribute("message") = message.c_str();
  }
  std::ostringstream stream;
  document.save(stream, "  ", pugi::format_indent, pugi::encoding_utf8);
  return stream.str();
}

}  // namespace sim
