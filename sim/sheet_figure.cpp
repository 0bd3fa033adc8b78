#include "sim/sheet_figure.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <functional>
#include <numeric>

#include <fmt/format.h>

#include "sim/page.h"
#include "sim/trace.h"
#include "sim/units.h"

namespace sim {

namespace {

std::vector<std::string> parts_of(std::string_view path) {
  std::vector<std::string> parts;
  for (std::size_t begin = 0; begin <= path.size();) {
    const std::size_t end = std::min(path.find('/', begin), path.size());
    parts.emplace_back(path.substr(begin, end - begin));
    begin = end + 1;
  }
  return parts;
}

int number_in(std::string_view text) {
  int number = -1;
  std::from_chars(text.data(), text.data() + text.size(), number);
  return number;
}

// --- set values ---

const YamlNode* node_at(const YamlNode& root, std::string_view path) {
  const YamlNode* node = &root;
  for (std::size_t begin = 0; node && begin <= path.size();) {
    const std::size_t end = std::min(path.find('.', begin), path.size());
    const std::string step(path.substr(begin, end - begin));
    const int index = number_in(step);
    if (node->is_list())
      node = index >= 0 && index < static_cast<int>(node->items.size()) ? &node->items[static_cast<std::size_t>(index)] : nullptr;
    else
      node = node->child(step);
    begin = end + 1;
  }
  return node;
}

Samples scenario_samples(const std::vector<SheetRun>& runs, std::string_view path) {
  Samples samples;
  for (const SheetRun& run : runs) {
    const YamlNode* node = node_at(run.resolved, path);
    if (!node || !node->is_text() || node->text.empty() || node->quoted) return {};
    try {
      const Quantity quantity = quantity_of(node->text);
      const bool rate = quantity.unit.text == "Pa/s" || quantity.unit.text == "K/s";  // people read them per minute
      samples.unit = rate ? quantity.unit.text.substr(0, quantity.unit.text.size() - 1) + "min" : quantity.unit.text;
      samples.values.push_back(rate ? quantity.value * 60.0 : quantity.value);
    } catch (const UnitError&) {
      return {};
    }
  }
  return samples;
}

// --- what signals did ---

double of_extent(const Extent& extent, const std::string& which) {
  if (which == "last") return extent.last;
  if (which == "first") return extent.first;
  return which == "low" ? extent.low : extent.high;
}

double of_passage(const Passage& passage, std::size_t slot, const std::string& which) {
  if (which == "next") return passage.next.empty() ? std::numeric_limits<double>::quiet_NaN() : passage.next[slot];
  if (which.rfind("counted_", 0) == 0) return of_extent(passage.counted[slot], which.substr(8));
  return of_extent(passage.signals[slot], which);
}

// trace/SIGNAL/segment/N/WHICH, trace/SIGNAL/after/WHICH, trace/SIGNAL/run/WHICH
Samples trace_samples(const std::vector<SheetRun>& runs, const std::vector<std::string>& parts) {
  Samples samples;
  const auto add = [&](const Passage& passage, std::size_t slot, const std::string& which) {
    const double value = of_passage(passage, slot, which);
    if (std::isfinite(value)) samples.values.push_back(value);
  };
  for (const SheetRun& run : runs) {
    const int slot = run.table.find(parts[1]);
    if (slot < 0) continue;
    const auto at = static_cast<std::size_t>(slot);
    samples.unit = run.table.signals()[at].quantity;
    if (parts[2] == "run") add(run.whole, at, parts[3]);
    if (parts[2] == "after") add(run.after, at, parts[3]);
    for (const Passage& passage : run.passages) {
      if (parts[2] == "segment" && passage.segment == number_in(parts[3]) && passage.left) add(passage, at, parts[4]);
    }
  }
  return samples;
}

Samples time_samples(const std::vector<SheetRun>& runs, const std::string& which) {
  Samples samples{{}, "s"};
  for (const SheetRun& run : runs) {
    if (which == "run" && !run.passages.empty()) samples.values.push_back(run.passages.back().to_s - run.passages.front().from_s);
    if (which == "ended" && !run.complete && !run.passages.empty())
      samples.values.push_back(run.passages.back().to_s - run.passages.back().from_s);
    if (which == "after") samples.values.push_back(run.after.to_s - run.after.from_s);
    for (const Passage& passage : run.passages) {
      if (passage.segment == number_in(which) && passage.left) samples.values.push_back(passage.to_s - passage.from_s);
    }
  }
  return samples;
}

Samples total_samples(const std::vector<SheetRun>& runs, std::string_view name) {
  Samples samples;
  for (const SheetRun& run : runs) {
    for (const Total& total : run.summary.totals) {
      if (total.name != name) continue;
      samples.values.push_back(total.value);
      samples.unit = total.unit;
    }
  }
  return samples;
}

// --- gas to provide ---

// Longest that the controller lets a segment take; 0: as long as it takes.
double timeout_s(const fw::Segment& segment, const fw::Parameters& parameters) {
  if (segment.timeout_ms > 0) return segment.timeout_ms * 1e-3;
  if (segment.kind == fw::SegmentKind::evacuate) return parameters.evacuate_timeout_s;
  if (segment.kind == fw::SegmentKind::backfill) return parameters.backfill_timeout_s;
  return segment.kind == fw::SegmentKind::purge ? parameters.purge_timeout_s : 0.0;
}

double grown(const Passage& passage, int slot) {
  if (slot < 0) return 0.0;
  const auto at = static_cast<std::size_t>(slot);
  const double end = passage.next.empty() ? passage.signals[at].last : passage.next[at];
  const double gone = end - passage.signals[at].first;
  return std::isfinite(gone) ? gone : 0.0;
}

double used_sl(const SheetRun& run) {
  double sum = 0.0;
  for (const char* name : {"plant.gas_used", "plant.purge_used"}) {
    const int slot = run.table.find(name);
    if (slot >= 0) sum += run.whole.signals[static_cast<std::size_t>(slot)].last;
  }
  return sum;
}

// As if every segment with a time-out went on to it with the mean flow it had.
double longest_sl(const SheetRun& run) {
  double sum = used_sl(run);
  const int slot = run.table.find("plant.gas_used");
  for (const Passage& passage : run.passages) {
    const double took_s = passage.to_s - passage.from_s;
    const double most_s = timeout_s(run.scenario.programme.segments[static_cast<std::size_t>(passage.segment)], run.scenario.parameters);
    if (took_s > 0.0 && most_s > took_s) sum += grown(passage, slot) * (most_s / took_s - 1.0);
  }
  return sum;
}

// Without power or line the inert purge opens by itself: its flow for as long as the cooling took.
double reserve_sl(const SheetRun& run) {
  double cooling_s = 0.0;
  for (const Passage& passage : run.passages) {
    const fw::SegmentKind kind = run.scenario.programme.segments[static_cast<std::size_t>(passage.segment)].kind;
    if (kind == fw::SegmentKind::cool) cooling_s += passage.to_s - passage.from_s;
  }
  if (cooling_s == 0.0) cooling_s = run.after.to_s - run.after.from_s;
  return run.scenario.furnace.purge.flow_slm * cooling_s / 60.0;
}

// Pressure times water volume that a cylinder at the room's temperature loses: n R T, in Pa L.
double cylinder_pa_l(const SheetRun& run) {
  const double mol = (longest_sl(run) + reserve_sl(run)) * standard_litre_mol();
  return mol * gas_constant_j_per_mol_k * (run.scenario.furnace.surroundings.ambient_degc + 273.15) * 1000.0;
}

Samples provide_samples(const std::vector<SheetRun>& runs, const std::string& what) {
  Samples samples{{}, what == "cylinder" ? "Pa L" : "sL"};
  for (const SheetRun& run : runs) {
    if (what == "gas_used") samples.values.push_back(used_sl(run));
    if (what == "gas_longest") samples.values.push_back(longest_sl(run));
    if (what == "gas_reserve") samples.values.push_back(reserve_sl(run));
    if (what == "gas") samples.values.push_back(longest_sl(run) + reserve_sl(run));
    if (what == "cylinder") samples.values.push_back(cylinder_pa_l(run));
  }
  return samples;
}

double median_of(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

std::string run_word(const SheetRun& run, const std::string& what) {
  if (what == "seed") return std::to_string(run.summary.seed);
  if (what == "verdict") return run.summary.verdict;
  if (what == "hash") return fmt::format("{:016x}", run.summary.trace_hash);
  if (what == "folder") return std::filesystem::weakly_canonical(run.folder).filename().string();
  if (what == "scenario") return run.summary.scenario;
  if (what == "controller") return run.summary.controller;
  if (what == "saggar") return run.summary.saggar;
  if (what == "ended_by") return run.ended_by;
  if (what == "broken_by") return run.summary.broken_by;
  if (what == "ended_in" && !run.passages.empty())
    return run.scenario.programme.names[static_cast<std::size_t>(run.passages.back().segment)];
  return "";
}

}  // namespace

Samples SheetFigures::samples(std::string_view path) const {
  const std::vector<std::string> parts = parts_of(path);
  if (parts[0] == "scenario") return scenario_samples(runs_, path.substr(path.find('/') + 1));
  if (parts[0] == "trace") return trace_samples(runs_, parts);
  if (parts[0] == "time") return time_samples(runs_, parts[1]);
  if (parts[0] == "summary") return total_samples(runs_, std::string_view(parts[1]).substr(7));  // behind "totals."
  if (parts[0] == "provide") return provide_samples(runs_, parts[1]);
  if (path == "constant/standard_degc") return {{standard_degc}, "degC"};
  if (path == "constant/standard_pa") return {{standard_pa}, "Pa abs"};
  if (path == "count/runs") return {{static_cast<double>(runs_.size())}, "1"};
  return {};
}

bool SheetFigures::has(std::string_view path) const { return !samples(path).values.empty() || !word(path).empty(); }

bool SheetFigures::is_zero(std::string_view path) const {
  const Samples all = samples(path);
  return !all.values.empty() && std::all_of(all.values.begin(), all.values.end(), [](double value) { return value == 0.0; });
}

std::string SheetFigures::shown_text(double value, const std::string& unit, std::string_view path) const {
  if (unit == "s" || unit == "ms") return clock_text(unit == "ms" ? value * 1e-3 : value, 0);
  const Digits digits = path.rfind("scenario/", 0) == 0 || path.rfind("count/", 0) == 0 || path.rfind("constant/", 0) == 0
                            ? Digits::written
                            : Digits::reading;
  if (unit != "Pa L") return shown(value, unit, units_, digits);
  const ShownUnit pressure = shown_unit("Pa", units_);
  const ShownUnit seen = pressure.same ? ShownUnit{"kPa", 1e-3} : pressure;
  const double power = std::pow(10.0, std::floor(std::log10(std::max(seen.number(value), 1.0))) - 2.0);  // three digits, rounded up
  return fmt::format("{:.0f} {} L", std::ceil(seen.number(value) / power) * power, seen.text);
}

std::string SheetFigures::element(const Samples& all, std::string_view path, Over over, bool unit_too, bool both) const {
  if (all.values.empty()) return "";
  static constexpr const char* names[] = {"median", "lowest", "highest"};
  const double value = over == Over::median   ? median_of(all.values)
                       : over == Over::lowest ? *std::min_element(all.values.begin(), all.values.end())
                                              : *std::max_element(all.values.begin(), all.values.end());
  std::string text = shown_text(value, all.unit, path);
  if (!both) text = text.substr(0, text.find(" ("));
  if (!unit_too) text = text.substr(0, text.find(' '));
  return fmt::format("<data value=\"{}\" data-from=\"{}\" data-over=\"{}\" data-unit=\"{}\">{}</data>", text_of(value), html_text(path),
                     names[static_cast<int>(over)], html_text(all.unit), html_text(text));
}

std::string SheetFigures::value(std::string_view path) const {
  const Samples all = samples(path);
  const std::string low = element(all, path, Over::lowest), high = element(all, path, Over::highest);
  const bool set = path.rfind("scenario/", 0) == 0;
  const auto shown_of = [](const std::string& html) { return html.substr(html.find('>')); };
  if (set && !low.empty() && shown_of(low) != shown_of(high)) return low + " to " + high;
  return element(all, path, Over::median);
}

std::string SheetFigures::highest(std::string_view path) const { return element(samples(path), path, Over::highest); }
std::string SheetFigures::lowest(std::string_view path) const { return element(samples(path), path, Over::lowest); }

bool SheetFigures::alike(std::string_view path) const {
  const Samples all = samples(path);
  const auto text = [&](double value) {
    const std::string both = shown_text(value, all.unit, path);
    return both.substr(0, both.find(" ("));
  };
  return std::all_of(all.values.begin(), all.values.end(), [&](double value) { return text(value) == text(all.values.front()); });
}

std::string SheetFigures::spread(std::string_view path) const {
  const std::string middle = element(samples(path), path, Over::median);
  return alike(path) ? middle : middle + " (" + range(path, path, path) + ")";
}

std::string SheetFigures::range(std::string_view low_path, std::string_view high_path, std::string_view beside) const {
  const Samples low = samples(low_path), high = samples(high_path);
  if (low.values.empty() || high.values.empty()) return "";
  const auto unit_of_text = [](const std::string& html) {
    const std::string text = html.substr(html.find('>') + 1);
    return text.find(' ') == std::string::npos ? std::string() : text.substr(text.find(' '));
  };
  const std::string unit = unit_of_text(element(high, high_path, Over::highest, true, false));
  const bool same = unit == unit_of_text(element(low, low_path, Over::lowest, true, false));
  const bool known = same && !beside.empty() && unit == unit_of_text(element(samples(beside), beside, Over::median, true, false));
  return element(low, low_path, Over::lowest, !same, false) + " … " + element(high, high_path, Over::highest, !known, false);
}

std::string SheetFigures::word(std::string_view path) const {
  const std::vector<std::string> parts = parts_of(path);
  std::string text;
  if (parts[0] == "scenario") {
    const YamlNode* node = node_at(runs_.front().resolved, path.substr(path.find('/') + 1));
    if (node && node->is_text()) text = node->text;
  } else if (parts[0] == "run") {
    text = run_word(runs_[static_cast<std::size_t>(number_in(parts[1]))], parts[2]);
  } else if (parts[0] == "action") {
    text = runs_.front().scenario.actions[static_cast<std::size_t>(number_in(parts[1]))].text;
  }
  return text.empty() ? "" : fmt::format("<data value=\"{0}\" data-from=\"{1}\">{0}</data>", html_text(text), html_text(path));
}

std::string SheetFigures::sentence(std::string_view text, const std::string& item) const {
  std::string html;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t open = std::min(text.find('{', at), text.size());
    html += html_text(text.substr(at, open - at));
    if (open == text.size()) break;
    const std::size_t close = text.find('}', open);
    const std::string_view key = text.substr(open + 1, close - open - 1);
    const std::string path = "scenario/" + (key.front() == '.' ? item + std::string(key) : std::string(key));
    const std::string figure = value(path).empty() ? word(path) : value(path);
    if (figure.empty()) return "";
    html += figure;
    at = close + 1;
  }
  return html;
}

}  // namespace sim
