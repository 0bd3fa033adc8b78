#include "sim/run_index.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <sstream>
#include <tuple>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <pugixml.hpp>

#include "sim/cautions.h"
#include "sim/junit.h"
#include "sim/page.h"
#include "sim/report_page.h"
#include "sim/result_file.h"

namespace sim {

namespace {

using Json = nlohmann::ordered_json;

constexpr double infinity = std::numeric_limits<double>::infinity();

constexpr std::string_view filter_script = R"(<script>
const box = document.getElementById('filter');
box.parentElement.hidden = false;
box.addEventListener('input', () => {
  const words = box.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const row of document.querySelectorAll('tbody tr')) {
    const text = row.textContent.toLowerCase();
    row.hidden = !words.every(word => text.includes(word));
  }
});
</script>
)";

constexpr std::string_view index_css = R"(
svg.margin .track { fill: var(--band); stroke: var(--rule); }
svg.margin .share { fill: currentColor; }
input { font: inherit; color: inherit; background: var(--plate); border: 1px solid var(--rule); padding: .2rem .5rem; width: 20rem; }
input:focus-visible { outline: 2px solid var(--mark); outline-offset: 2px; }
a { color: inherit; }
@media print { .filter { display: none; } main { max-width: none; padding: 0; } tr { break-inside: avoid; } a { text-decoration: none; } }
)";

double relative_of(const ExpectationResult& result) {
  if (!result.judged || std::isnan(result.margin)) return -infinity;
  return result.scale > 0.0 ? result.margin / result.scale : result.margin;
}

bool passes(const IndexEntry& entry) { return verdict_of(entry) == "pass"; }

double relative_of(const IndexEntry& entry) {
  if (!entry.refused.empty()) return -infinity;
  const Tightest tightest = tightest_of(entry.summary);
  return tightest.result == nullptr ? -infinity : tightest.relative;
}

std::string theme_of(const std::string& path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string::npos ? "" : path.substr(0, slash);
}

std::string clock_of(double seconds) {
  const auto whole = static_cast<long long>(std::floor(std::max(0.0, seconds)));
  return fmt::format("{}:{:02}:{:02}", whole / 3600, whole % 3600 / 60, whole % 60);
}

// A path as it may stand in a link: every byte that could mean something else as %XX.
std::string link_of(const std::string& path) {
  std::string link;
  for (const char c : path) {
    const bool plain = (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                       std::string_view("/-_.~").find(c) != std::string_view::npos;
    if (plain) link += c;
    else link += fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return link;
}

std::string margin_text(const ExpectationResult& result, const DisplayUnits& units) {
  return shown_margin(result.margin, result.unit, quantity_in(result.statement, result.unit), units, true);
}

// What was tightest, its margin and its bar: three cells.
std::string margin_cells(const IndexEntry& entry) {
  if (!entry.refused.empty()) return fmt::format("<td colspan=\"3\">{}</td>", html_text(entry.refused));
  const Tightest tightest = tightest_of(entry.summary);
  const std::string broken = entry.summary.broken_by.empty() ? "" : fmt::format("<div>{}</div>", html_text(entry.summary.broken_by));
  if (tightest.result == nullptr) return fmt::format("<td colspan=\"3\">no expectation: nothing was judged{}</td>", broken);
  const ExpectationResult& result = *tightest.result;
  const std::string name = fmt::format("<td>{}<div class=\"statement\">{}</div>{}</td>", html_text(result.name),
                                       html_text(in_display_units(result.statement, entry.summary.display)), broken);
  if (!result.judged) return name + "<td colspan=\"2\">never judged: " + result.unjudged + "</td>";
  const double share = std::min(1.0, std::abs(tightest.relative));
  return name + fmt::format("<td class=\"number\">{}<div class=\"soft\">at {}</div></td>"
                            "<td class=\"{}\"><svg class=\"margin\" viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" role=\"img\" "
                            "aria-label=\"{:.1f} % of its scale\"><rect class=\"track\" width=\"100\" height=\"10\"/>"
                            "<rect class=\"share\" width=\"{:.1f}\" height=\"10\"/></svg><span class=\"soft\">{:+.1f} %</span></td>",
                            two_lines(margin_text(result, entry.summary.display)), clock_of(result.at_s),
                            result.pass ? "pass" : "fail", 100.0 * tightest.relative, 100.0 * share, 100.0 * tightest.relative);
}

std::string row_of(const IndexEntry& entry) {
  const bool pass = passes(entry), has_result = entry.refused.empty();
  const std::string title = has_result && !entry.summary.title.empty() ? entry.summary.title : entry.path;
  const std::string heading =
      has_result ? fmt::format("<a href=\"{}/report.html\">{}</a>", link_of(entry.path), html_text(title)) : html_text(title);
  return fmt::format("<tr><td class=\"verdict {}\">{} {}</td><td>{}</td><td>{}<div class=\"statement\">{}</div></td>"
                     "<td class=\"number\">{}</td>{}</tr>\n",
                     pass ? "pass" : "fail", pass ? "✓" : "✕", verdict_of(entry), html_text(theme_of(entry.path)), heading,
                     has_result ? html_text(entry.summary.why) : "", has_result ? clock_of(entry.summary.simulated_s) : "",
                     margin_cells(entry));
}

struct Counts {
  int pass = 0, fail = 0, broken = 0, refused = 0;
  int expectations = 0, held = 0, unjudged = 0;
};

Counts counts_of(const std::vector<IndexEntry>& entries) {
  Counts counts;
  for (const IndexEntry& entry : entries) {
    const std::string verdict = verdict_of(entry);
    ++(verdict == "pass" ? counts.pass : verdict == "fail" ? counts.fail : verdict == "broken" ? counts.broken : counts.refused);
    if (!entry.refused.empty()) continue;
    for (const ExpectationResult& result : entry.summary.expectations) {
      ++counts.expectations;
      counts.held += result.pass ? 1 : 0;
      counts.unjudged += result.judged ? 0 : 1;
    }
  }
  return counts;
}

Json json_of(const IndexEntry& entry) {
  Json one;
  one["path"] = entry.path;
  one["verdict"] = verdict_of(entry);
  if (!entry.refused.empty()) {
    one["refused"] = entry.refused;
    return one;
  }
  one["title"] = entry.summary.title;
  if (!entry.summary.broken_by.empty()) one["broken_by"] = entry.summary.broken_by;
  one["simulated_s"] = entry.summary.simulated_s;
  one["expectations"] = entry.summary.expectations.size();
  one["held"] = std::count_if(entry.summary.expectations.begin(), entry.summary.expectations.end(), [](const auto& r) { return r.pass; });
  const Tightest tightest = tightest_of(entry.summary);
  if (tightest.result == nullptr) return one;
  const bool judged = tightest.result->judged;
  one["tightest"] = {{"name", tightest.result->name},
                     {"margin", judged ? Json(tightest.result->margin) : Json(nullptr)},
                     {"unit", tightest.result->unit},
                     {"relative", judged ? Json(tightest.relative) : Json(nullptr)},
                     {"at_s", judged ? Json(tightest.result->at_s) : Json(nullptr)}};
  return one;
}

}  // namespace

std::string verdict_of(const IndexEntry& entry) { return entry.refused.empty() ? entry.summary.verdict : "refused"; }

Tightest tightest_of(const Summary& summary) {
  Tightest tightest;
  for (const ExpectationResult& result : summary.expectations) {
    const double relative = relative_of(result);
    if (tightest.result == nullptr || relative < tightest.relative) tightest = {&result, relative};
  }
  return tightest;
}

RunIndex::RunIndex(std::vector<IndexEntry> entries, std::vector<std::string> left_aside)
    : entries_(std::move(entries)), left_aside_(std::move(left_aside)) {
  std::sort(entries_.begin(), entries_.end(), [](const IndexEntry& a, const IndexEntry& b) {
    const double x = relative_of(a), y = relative_of(b);
    const bool first = passes(a), second = passes(b);
    return std::tie(first, x, a.path) < std::tie(second, y, b.path);
  });
}

std::string RunIndex::junit() const {
  pugi::xml_document document;
  pugi::xml_node suites = document.append_child("testsuites");
  JunitCounts sum;
  std::vector<const IndexEntry*> by_path;
  for (const IndexEntry& entry : entries_) by_path.push_back(&entry);
  std::sort(by_path.begin(), by_path.end(), [](const auto* a, const auto* b) { return a->path < b->path; });
  for (const IndexEntry* entry : by_path) {
    const JunitCounts one = entry->refused.empty() ? add_suite(suites, entry->summary, entry->path)
                                                   : add_error_suite(suites, entry->path, entry->refused);
    sum.tests += one.tests;
    sum.failures += one.failures;
    sum.errors += one.errors;
    sum.time_s += one.time_s;
  }
  suites.append_attribute("tests") = sum.tests;
  suites.append_attribute("failures") = sum.failures;
  suites.append_attribute("errors") = sum.errors;
  suites.append_attribute("time") = fmt::format("{:.3f}", sum.time_s).c_str();
  std::ostringstream stream;
  document.save(stream, "  ", pugi::format_indent, pugi::encoding_utf8);
  return stream.str();
}

std::string RunIndex::html() const {
  const Counts counts = counts_of(entries_);
  std::string page = "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
                     "<meta name=\"viewport\" content=\"width=device-width\">\n<title>Runs by margin</title>\n<style>";
  page += page_css;
  page += index_css;
  page += "</style>\n</head>\n<body>\n<main>\n<h1>Runs by margin</h1>\n";
  page += fmt::format("<p>{} scenarios: {} pass, {} fail, {} broken, {} refused. {} of {} expectations hold, {} never judged.</p>\n",
                      entries_.size(), counts.pass, counts.fail, counts.broken, counts.refused, counts.held,
                      counts.expectations, counts.unjudged);
  page += "<p class=\"soft\">What does not pass stands first, then the smallest margin. A share is the margin over what it is held "
          "against: the limit of its statement.</p>\n";
  page += fmt::format("<p class=\"caution\">{}</p>\n", html_text(short_caution));
  page += "<p class=\"filter\" hidden><label for=\"filter\">Show those with </label><input id=\"filter\" type=\"search\"></p>\n";
  page += "<div class=\"wide\"><table>\n<thead><tr><th>verdict</th><th>theme</th><th>scenario</th><th class=\"number\">simulated</th>"
          "<th>tightest</th><th class=\"number\">margin</th><th>share</th></tr></thead>\n<tbody>\n";
  for (const IndexEntry& entry : entries_) page += row_of(entry);
  page += "</tbody>\n</table></div>\n";
  if (!left_aside_.empty()) {
    page += fmt::format("<details><summary>{} files are no scenarios</summary>\n<ul>\n", left_aside_.size());
    for (const std::string& name : left_aside_) page += fmt::format("<li>{}</li>\n", html_text(name));
    page += "</ul></details>\n";
  }
  page += "</main>\n";
  page += filter_script;
  return page + "</body>\n</html>\n";
}

std::string RunIndex::json() const {
  const Counts counts = counts_of(entries_);
  Json json;
  json["schema"] = 1;
  json["kind"] = "folder";
  json["counts"] = {{"scenarios", entries_.size()}, {"pass", counts.pass}, {"fail", counts.fail}, {"broken", counts.broken},
                    {"refused", counts.refused}, {"expectations", counts.expectations}, {"held", counts.held},
                    {"unjudged", counts.unjudged}};
  json["runs"] = Json::array();
  for (const IndexEntry& entry : entries_) json["runs"].push_back(json_of(entry));
  json["left_aside"] = left_aside_;
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

void RunIndex::write(const std::filesystem::path& folder) const {
  make_folder(folder);
  using Part = std::pair<const char*, std::string>;
  for (const auto& [name, text] : {Part{"junit.xml", junit()}, Part{"index.html", html()}, Part{"summary.json", json()}}) {
    ResultFile file(folder, name);
    file.write(text);
    file.close();
    file.name();
  }
}

}  // namespace sim
