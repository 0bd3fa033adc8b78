#include "sim/baseline.h"

#include <charconv>
#include <cmath>
#include <cstdlib>
#include <limits>
#include <utility>

#include <fmt/format.h>

#include "sim/fixed_decimal.h"
#include "sim/input_error.h"
#include "sim/trace.h"
#include "sim/yaml_tree.h"

namespace sim {

namespace {

namespace fs = std::filesystem;

constexpr std::size_t pairs_per_line = 6;

std::string fixed(double value, int decimals) {
  char number[fixed_decimal_bytes];
  const char* end = write_fixed(number, value, decimals);
  return end == number ? "none" : std::string(number, static_cast<std::size_t>(end - number));
}

// What stands between double quotes.
std::string yaml_inside(std::string_view text) {
  std::string safe;
  for (const char c : text) {
    if (c == '"' || c == '\\') safe += '\\';
    safe += c == '\n' || c == '\r' ? ' ' : c;
  }
  return safe;
}

// --- a run's files ---

void read_signals(const fs::path& file, Baseline& run) {
  TraceReader trace(file);
  std::vector<double> row(trace.signals().size());
  double time_s = 0.0;
  while (trace.next(time_s, row, std::numeric_limits<double>::quiet_NaN())) {
    if (run.signals.empty()) {
      const SignalTable table(trace.signals());
      for (const Signal& signal : table.signals()) {
        run.signals.push_back({signal, {}, 0.0, 0.0});
        run.signals.back().line.hold = tube_of(signal, {}).code;
      }
    }
    for (std::size_t i = 0; i < row.size(); ++i) run.signals[i].line.add(time_s, row[i]);
  }
  if (run.signals.empty()) throw InputError({file.string(), 2, 1}, "no row", "the trace of a run");
  run.end_s = time_s;
}

Baseline read_run(const fs::path& folder, const fs::path& trace) {
  Baseline run;
  run.source = trace.string();
  read_signals(trace, run);
  if (!fs::exists(folder / "summary.json") || !fs::exists(folder / "events.csv")) return run;
  run.whole = true;
  run.summary = read_summary(folder / "summary.json");
  for (const std::vector<std::string>& row : read_csv(folder / "events.csv").rows) {
    run.events.push_back({std::strtod(row[0].c_str(), nullptr), row[1], row[2], row[3]});
  }
  return run;
}

// --- a baseline file: reading ---

const YamlNode& needed(const YamlNode& map, const char* key, YamlNode::Kind kind) {
  const YamlNode* node = map.child(key);
  if (!node) throw InputError(map.place, "no `" + std::string(key) + "`", "`" + std::string(key) + "` of a baseline");
  if (node->kind != kind) throw InputError(node->place, node->found() + " for `" + key + "`", "what `saggar compare --accept` writes");
  return *node;
}

std::string text_at(const YamlNode& map, const char* key) { return needed(map, key, YamlNode::Kind::text).text; }

double number_at(const YamlNode& map, const char* key) {
  const YamlNode& node = needed(map, key, YamlNode::Kind::text);
  const std::optional<double> number = number_of(node.text);
  if (!number) throw InputError(node.place, node.found() + " for `" + key + "`", "a number");
  return *number;
}

std::uint64_t hash_at(const YamlNode& map, const char* key) {
  const YamlNode& node = needed(map, key, YamlNode::Kind::text);
  std::uint64_t hash = 0;
  const char* const end = node.text.data() + node.text.size();
  const auto [at, error] = std::from_chars(node.text.data(), end, hash, 16);
  if (at != end || error != std::errc()) throw InputError(node.place, node.found() + " for `" + key + "`", "16 hexadecimal digits");
  return hash;
}

const std::vector<YamlNode>& items_of(const YamlNode& root, const char* key) {
  const YamlNode* node = root.child(key);
  static const std::vector<YamlNode> none;
  if (!node || (node->is_text() && node->text.empty())) return none;
  if (!node->is_list()) throw InputError(node->place, node->found() + " for `" + key + "`", "a list");
  return node->items;
}

void read_points(const YamlNode& item, Polyline& line) {
  for (const YamlNode& text : items_of(item, "points")) {
    const char *at = text.text.data(), *const end = at + text.text.size();
    while (at < end) {
      double time_s = 0.0, value = std::numeric_limits<double>::quiet_NaN();
      const auto time = std::from_chars(at, end, time_s);
      at = time.ptr;
      const auto refuse = [&] {
        SourcePlace place = text.place;
        place.column += static_cast<int>(at - text.text.data());
        throw InputError(place, "`" + std::string(at, end) + "`", "time and value, comma, time and value, ...");
      };
      if (time.ec != std::errc() || at >= end || *at != ' ' || (!line.empty() && time_s < line.times_s.back())) refuse();
      ++at;
      if (std::string_view(at, static_cast<std::size_t>(end - at)).starts_with("none")) {
        at += 4;
      } else {
        const auto number = std::from_chars(at, end, value);
        if (number.ec != std::errc()) refuse();
        at = number.ptr;
      }
      line.add(time_s, value);
      if (at < end && *at != ',') refuse();
      while (at < end && (*at == ',' || *at == ' ')) ++at;
    }
  }
  if (line.empty()) throw InputError(item.place, "a signal without points", "at least one");
}

RecordedSignal read_signal(const YamlNode& item) {
  RecordedSignal one;
  one.signal.name = text_at(item, "name");
  one.signal.unit = text_at(item, "unit");
  one.signal.decimals = static_cast<int>(number_at(item, "decimals"));
  one.signal.origin = one.signal.name.starts_with("plant.") ? Signal::Origin::plant
                      : one.signal.name.starts_with("line.") ? Signal::Origin::line : Signal::Origin::controller;
  one.signal = SignalTable({one.signal}).signals()[0];
  one.within = number_at(item, "within");
  one.within_relative = number_at(item, "within_relative");
  one.line.hold = tube_of(one.signal, {}).code;
  read_points(item, one.line);
  return one;
}

ExpectationResult read_expectation(const YamlNode& item) {
  ExpectationResult one;
  one.name = text_at(item, "name");
  one.pass = text_at(item, "verdict") == "pass";
  one.judged = text_at(item, "margin") != "none";
  if (one.judged) one.margin = number_at(item, "margin");
  one.unit = text_at(item, "unit");
  one.scale = number_at(item, "scale");
  if (one.judged) one.at_s = number_at(item, "at");
  return one;
}

Baseline read_file(const fs::path& file) {
  const YamlNode root = read_yaml(file);
  if (!root.is_map() || root.find("baseline") < 0) throw InputError(root.place, root.found(), "a baseline file, or the folder of a run");
  Baseline run;
  run.source = file.string();
  run.whole = true;
  Summary& summary = run.summary;
  summary.scenario = text_at(root, "scenario");
  summary.title = text_at(root, "title");
  summary.saggar = text_at(root, "saggar");
  summary.seed = static_cast<std::uint64_t>(number_at(root, "seed"));
  summary.verdict = text_at(root, "verdict");
  summary.simulated_s = number_at(root, "simulated");
  summary.controller_hash = hash_at(root, "hash_controller");
  summary.trace_hash = hash_at(root, "hash_trace");
  for (const YamlNode& item : items_of(root, "expectations")) summary.expectations.push_back(read_expectation(item));
  for (const YamlNode& item : items_of(root, "totals")) {
    summary.totals.push_back({text_at(item, "name"), number_at(item, "value"), text_at(item, "unit"),
                              static_cast<int>(number_at(item, "decimals")), ""});
  }
  for (const YamlNode& item : items_of(root, "segments")) {
    summary.segments.push_back({text_at(item, "name"), number_at(item, "from"), number_at(item, "to")});
  }
  for (const YamlNode& item : items_of(root, "events")) {
    run.events.push_back({number_at(item, "at"), text_at(item, "source"), text_at(item, "kind"), text_at(item, "text")});
  }
  for (const YamlNode& item : items_of(root, "signals")) run.signals.push_back(read_signal(item));
  for (const RecordedSignal& one : run.signals) run.end_s = std::max(run.end_s, one.line.times_s.back());
  return run;
}

// --- a baseline file: writing ---

std::string signal_text(const RecordedSignal& one, const Tube& tube) {
  const double within = thinning_share * tube.absolute, relative = thinning_share * tube.relative;
  const Polyline line = thinned(one.line, [&](double value) { return within + relative * std::fabs(value); });
  std::string text = fmt::format("  - name: {}\n    unit: {}\n    decimals: {}\n", one.signal.name, yaml_text(one.signal.unit),
                                 one.signal.decimals);
  text += fmt::format("    within: {:.6g}\n    within_relative: {:.6g}\n    points:", within, relative);
  for (std::size_t i = 0; i < line.size(); ++i) {
    text += i % pairs_per_line == 0 ? "\n      - " : ", ";
    text += fixed(line.times_s[i], 1) + " " + fixed(line.values[i], one.signal.decimals);
  }
  return text + "\n";
}

std::string margin_text(const ExpectationResult& one) { return one.judged ? fmt::format("{:.6g}", one.margin) : "none"; }

}  // namespace

const RecordedSignal* Baseline::find(std::string_view name) const {
  for (const RecordedSignal& one : signals) {
    if (one.signal.name == name) return &one;
  }
  return nullptr;
}

Baseline read_baseline(const fs::path& path) {
  if (fs::is_directory(path)) return read_run(path, path / "trace.csv");
  if (!fs::exists(path)) throw InputError({path.string(), 0, 0}, "no such file", "the folder of a run, its trace.csv, or a baseline");
  return path.extension() == ".csv" ? read_run(path.parent_path(), path) : read_file(path);
}

std::string write_baseline(const Baseline& run, const Tolerance& tolerance) {
  const Summary& summary = run.summary;
  std::string text =
      "# A run to compare later ones with. Written by `saggar compare RUN THIS --accept`; not to be edited by hand.\n"
      "# A signal's points are joined by straight lines (codes hold their value); every row of the run lay within `within` plus\n"
      "# `within_relative` times the value of them.\n";
  text += fmt::format("baseline: 1\nscenario: {}\ntitle: {}\nsaggar: {}\nseed: {}\n", yaml_text(summary.scenario),
                      yaml_text(summary.title), yaml_text(summary.saggar), summary.seed);
  text += fmt::format("verdict: {}\nsimulated: {}\n", summary.verdict, fixed(summary.simulated_s, 1));
  text += fmt::format("hash_controller: \"{:016x}\"\nhash_trace: \"{:016x}\"\n", summary.controller_hash, summary.trace_hash);
  text += "expectations:\n";
  for (const ExpectationResult& one : summary.expectations) {
    text += fmt::format("  - name: \"{}\"\n    verdict: {}\n    margin: {}\n    unit: \"{}\"\n    scale: {:.6g}\n    at: {}\n",
                        yaml_inside(one.name), one.pass ? "pass" : "fail", margin_text(one), one.unit, one.scale,
                        one.judged ? fixed(one.at_s, 1) : "none");
  }
  text += "totals:\n";
  for (const Total& one : summary.totals) {
    text += fmt::format("  - {{name: {}, value: {}, unit: \"{}\", decimals: {}}}\n", one.name, fixed(one.value, one.decimals), one.unit,
                        one.decimals);
  }
  text += "segments:\n";
  for (const Stretch& one : summary.segments) {
    text += fmt::format("  - {{name: \"{}\", from: {}, to: {}}}\n", yaml_inside(one.name), fixed(one.from_s, 1), fixed(one.to_s, 1));
  }
  text += "events:\n";
  for (const Event& one : run.events) {
    text += fmt::format("  - {{at: {}, source: \"{}\", kind: \"{}\",\n     text: \"{}\"}}\n", fixed(one.time_s, 1), yaml_inside(one.source),
                        yaml_inside(one.kind), yaml_inside(one.text));
  }
  text += "signals:\n";
  for (const RecordedSignal& one : run.signals) {
    const Tube tube = tube_of(one.signal, tolerance);
    if (!tube.ignored) text += signal_text(one, tube);
  }
  return text;
}

}  // namespace sim
