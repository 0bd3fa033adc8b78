#include "sim/furnace_fit_text.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <limits>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "sim/cautions.h"
#include "sim/overlay.h"
#include "sim/page.h"
#include "sim/tolerance.h"
#include "sim/yaml_edit.h"

namespace sim {

namespace {

std::string digits(double value) { return fmt::format("{:.4g}", value); }
std::string with_unit(const std::string& number, const std::string& unit) { return unit == "1" ? number : number + " " + unit; }

std::string unit_of_misfit(const SignalMisfit& s) {
  if (s.logarithmic) return "ln";
  return s.signal.unit == "degC" ? "K" : s.signal.unit;
}

std::vector<std::string> remarks_of(const FurnaceFit& fit, const FitSources& sources) {
  std::vector<std::string> all;
  for (const Indistinct& one : fit.indistinct) all.push_back(one.words);
  all.insert(all.end(), fit.notes.begin(), fit.notes.end());
  for (const std::string& one : fit.experiments) all.push_back("would tell more, " + one);
  for (const std::string& one : sources.assumptions) all.push_back("assumed: " + one);
  return all;
}

std::string verdict(const FurnaceFit& fit) {
  return fit.passed      ? "passed: the fitted furnace shows what the log has, as far as its noise lets one see"
         : fit.converged ? "not passed: some of the log is not explained"
                         : "not passed: the search did not come to rest";
}

}  // namespace

std::string fit_text(const FurnaceFit& fit, const FitSources& sources) {
  std::string text = fmt::format("{} fitted to {}: {}\n\n", sources.furnace, sources.log, verdict(fit));
  text += fmt::format("  {:<38} {:>11} {:>11} {:>11} {:>11} {:>6}  {}\n", "", "before", "after", "95 % from", "to", "prior",
                      "unit");
  for (const FittedParameter& p : fit.parameters) {
    text += fmt::format("  {:<38} {:>11} {:>11} {:>11} {:>11} {:>4.0f} %  {}{}\n", p.field->key, digits(p.before),
                        digits(p.after), digits(p.low95), digits(p.high95), 100.0 * p.prior_share, p.field->unit,
                        p.at_bound ? "  at its bound" : "");
  }
  text += fmt::format("\n  {:<38} {:>11} {:>11} {:>11} {:>11} {:>6}  {}\n", "simulated less recorded", "rms before",
                      "rms after", "noise", "rows alike", "rows", "unit");
  for (const SignalMisfit& s : fit.signals) {
    text += fmt::format("  {:<38} {:>11} {:>11} {:>11} {:>11} {:>6}  {}\n", s.signal.name, digits(s.before), digits(s.after),
                        digits(s.noise), digits(s.alike_rows), s.rows, unit_of_misfit(s));
  }
  const std::vector<std::string> remarks = remarks_of(fit, sources);
  if (!remarks.empty()) text += "\n";
  for (const std::string& one : remarks) text += "  " + one + "\n";
  return text;
}

std::string fit_json(const FurnaceFit& fit, const FitSources& sources) {
  nlohmann::ordered_json json;
  json["log"] = sources.log;
  json["furnace"] = sources.furnace;
  json["passed"] = fit.passed;
  json["converged"] = fit.converged;
  json["iterations"] = fit.iterations;
  for (const FittedParameter& p : fit.parameters) {
    json["parameters"].push_back({{"key", p.field->key},
                                  {"unit", p.field->unit},
                                  {"before", p.before},
                                  {"after", p.after},
                                  {"low_95", p.low95},
                                  {"high_95", p.high95},
                                  {"low", p.low},
                                  {"high", p.high},
                                  {"logarithmic", p.logarithmic},
                                  {"prior_width", p.prior_width},
                                  {"deviation", p.deviation},
                                  {"prior_share", p.prior_share},
                                  {"influence", p.influence},
                                  {"at_bound", p.at_bound}});
  }
  json["correlation"] = fit.correlation;
  for (const SignalMisfit& s : fit.signals) {
    json["signals"].push_back({{"name", s.signal.name},
                               {"unit", unit_of_misfit(s)},
                               {"rows", s.rows},
                               {"rms_before", s.before},
                               {"rms_after", s.after},
                               {"noise", s.noise},
                               {"scale", s.scale},
                               {"rows_alike", s.alike_rows},
                               {"explained", s.explained}});
  }
  json["indistinct"] = nlohmann::ordered_json::array();
  for (const Indistinct& one : fit.indistinct) {
    std::vector<std::string> keys;
    for (const std::size_t i : one.parameters) keys.push_back(fit.parameters[i].field->key);
    json["indistinct"].push_back(
        {{"parameters", keys}, {"weights", one.weights}, {"information", one.information}, {"words", one.words}});
  }
  json["notes"] = fit.notes;
  json["experiments"] = fit.experiments;
  json["assumptions"] = sources.assumptions;
  return json.dump(2) + "\n";
}

namespace {

std::string row_of(std::initializer_list<std::string> cells) {
  std::string row = "<tr>";
  bool first = true;
  for (const std::string& cell : cells) {
    row += first ? "<th scope=\"row\">" + html_text(cell) + "</th>" : "<td class=\"number\">" + html_text(cell) + "</td>";
    first = false;
  }
  return row + "</tr>\n";
}

std::string table_of(const char* title, std::initializer_list<const char*> heads, const std::string& rows) {
  std::string table = fmt::format("<h2>{}</h2>\n<div class=\"wide\"><table><thead><tr>", title);
  bool first = true;
  for (const char* head : heads) {
    table += fmt::format("<th scope=\"col\"{}>{}</th>", first ? "" : " class=\"number\"", head);
    first = false;
  }
  return table + "</tr></thead>\n<tbody>\n" + rows + "</tbody></table></div>\n";
}

std::string tables_of(const FurnaceFit& fit, const FitSources& sources) {
  std::string rows;
  for (const FittedParameter& p : fit.parameters) {
    rows += row_of({p.field->key, with_unit(digits(p.before), p.field->unit), digits(p.after), digits(p.low95),
                    digits(p.high95), fmt::format("{:.0f} %", 100.0 * p.prior_share)});
  }
  std::string page = table_of("Parameters", {"Key", "Before", "After", "95 % from", "to", "Told by the prior"}, rows);
  rows.clear();
  for (const SignalMisfit& s : fit.signals)
    rows += row_of({s.signal.name + " [" + unit_of_misfit(s) + "]", digits(s.before), digits(s.after), digits(s.noise),
                    digits(s.alike_rows)});
  page += table_of("Simulated less recorded, root mean square",
                   {"Signal", "Before", "After", "Noise of the log", "Rows that err alike"}, rows);
  page += "<h2>What to know of it</h2>\n<ul>";
  for (const std::string& one : remarks_of(fit, sources)) page += "<li>" + html_text(one) + "</li>";
  page += "</ul>\n<h2>Cautions</h2>\n<ul>";
  for (const std::string_view one : cautions) page += "<li>" + html_text(std::string(one)) + "</li>";
  return page + "</ul>\n";
}

}  // namespace

std::string fit_page(const FurnaceFit& fit, const FitSources& sources, const OpenLoop& loop) {
  std::vector<DrawnSignal> drawn;
  const std::size_t rows = loop.times_s().size();
  for (std::size_t k = 0; k < loop.judged().size(); ++k) {
    const JudgedSignal& judged = loop.judged()[k];
    const auto line = [&](const char* label, auto&& value) {
      DrawnSignal::Line made{label, {}};
      for (std::size_t i = 0; i < rows; ++i)
        made.line.add(loop.times_s()[i], judged.logarithmic ? std::exp(value(i)) : value(i));
      return made;
    };
    DrawnSignal one{judged.signal, judged.logarithmic, {}};
    one.lines.push_back(line("recorded", [&](std::size_t i) { return judged.recorded[i]; }));
    one.lines.push_back(line("before", [&](std::size_t i) { return fit.before[k * rows + i]; }));
    one.lines.push_back(line("after", [&](std::size_t i) { return fit.after[k * rows + i]; }));
    drawn.push_back(std::move(one));
  }
  const std::string title = sources.title + ": fitted to a log";
  std::string top =
      fmt::format("<p class=\"outcome {}\">{} {}</p>\n<p class=\"soft\">Furnace <code>{}</code>, log <code>{}</code>.</p>\n",
                  fit.passed ? "pass" : "fail", fit.passed ? "✓" : "✕", html_text(verdict(fit)), html_text(sources.furnace),
                  html_text(sources.log));
  return drawn_page(title, top + tables_of(fit, sources), drawn);
}

std::string fitted_furnace_yaml(const FurnaceFit& fit, const FitSources& sources, const std::string& text) {
  std::vector<YamlEdit> edits;
  const std::string log = std::filesystem::path(sources.log).filename().string();
  for (const FittedParameter& p : fit.parameters) {
    if (p.after == p.before) continue;
    edits.push_back(
        {p.field->key, text_of(p.after, p.field->unit),
         fmt::format("fitted to {}, 95 % {} to {}, was {}", log, digits(p.low95), digits(p.high95), digits(p.before))});
  }
  return edit_yaml(text, sources.furnace, edits);
}

}  // namespace sim
