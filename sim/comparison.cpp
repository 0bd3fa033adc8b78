#include "sim/comparison.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <utility>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "sim/fixed_decimal.h"

namespace sim {

namespace {

constexpr double instant_s = 1e-6;
constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr double steep = 4.0;          // half widths from one row to the next: rows do not follow such a line
constexpr double as_deep = 0.9;        // depths no further apart count as equal

// One signal, both ways.
struct Walk {
  SignalComparison& result;
  double extra, extra_relative;        // what the thinning of a baseline file may be off
  bool recorded;
  bool started = false, open = false;
  double before_s = -1.0, sum = 0.0, squares = 0.0;

  double depth_of(double value, const BoxWindow::Box& box, double reference) const {
    if (std::isnan(box.low)) return std::isnan(value) || recorded ? 0.0 : infinite;
    if (std::isnan(value)) return std::isnan(reference) ? 0.0 : infinite;
    if (std::isnan(reference)) reference = box.high;
    const double distance = std::max({box.low - value, value - box.high, 0.0});
    const double half = result.tube.half_width(reference) + extra + extra_relative * std::fabs(reference);
    if (distance == 0.0) return 0.0;
    return half > 0.0 ? distance / half : 2.0;   // a code is right or it is not
  }

  // Bits one by one: two that change within a row of each other are never seen apart in one of two runs.
  static double depth_of(double value, const BitWindow::Bits& bits) {
    if (!bits.any || std::isnan(value)) return bits.any == !std::isnan(value) ? 0.0 : infinite;
    const auto word = static_cast<std::uint64_t>(value);
    return (word & ~bits.some) == 0 && (~word & bits.all) == 0 ? 0.0 : 2.0;
  }

  // Depths of values in what a line does around an instant.
  class Around {
   public:
    Around(const Walk& walk, const Polyline& line)
        : walk_(walk),
          line_(walk.recorded ? line : with_unseen_turns(line, [&](double value) { return steep * walk.result.tube.half_width(value); })),
          box_(line_, walk.result.tube.shift_s),
          bits_(line_, walk.result.tube.shift_s) {}
    double depth_of(double time_s, double value, double reference) {
      return walk_.result.signal.bits ? Walk::depth_of(value, bits_.at(time_s)) : walk_.depth_of(value, box_.at(time_s), reference);
    }

   private:
    const Walk& walk_;
    Polyline line_;
    BoxWindow box_;
    BitWindow bits_;
  };

  void note(const Deviation& found) {
    if (!started || found.depth > result.worst.depth) result.worst = found;
    started = true;
    if (!(found.depth > 1.0)) return;
    if (result.state != SignalComparison::State::differs || found.time_s < result.first.time_s ||
        (found.time_s == result.first.time_s && found.depth > result.first.depth)) {
      result.first = found;
    }
    result.state = SignalComparison::State::differs;
  }

  // One instant of the two at once: deviation, plain difference, stretches outside.
  void take(const Deviation& found, double difference) {
    note(found);
    ++result.points;
    if (before_s >= 0.0 && std::isfinite(difference)) {
      const double lasted = found.time_s - before_s;
      result.covered_s += lasted;
      sum += difference * lasted;
      squares += difference * difference * lasted;
    }
    if (std::isfinite(difference)) result.greatest = std::max(result.greatest, std::fabs(difference));
    before_s = found.time_s;
    if (found.depth > 1.0) {
      if (open) result.outside.back().to_s = found.time_s;
      else if (result.outside.size() < SignalComparison::outside_max) result.outside.push_back({"", found.time_s, found.time_s});
    }
    open = found.depth > 1.0 && !result.outside.empty();
  }

  void skip() {
    open = false;
    before_s = -1.0;
  }

  // The run's rows against the baseline's box.
  void forwards(const Polyline& run, const Polyline& baseline, double until_s) {
    Around around(*this, baseline);
    for (std::size_t i = 0; i < run.size(); ++i) {
      const double time_s = run.times_s[i], value = run.values[i];
      if (time_s < baseline.times_s.front() - instant_s || time_s > until_s) continue;
      const double there = baseline.at(std::clamp(time_s, baseline.times_s.front(), baseline.times_s.back()));
      take({time_s, value, there, around.depth_of(time_s, value, there)}, value - there);
    }
  }

  // The baseline's points against the run's box. Of a recorded log these are all: what lay between its rows nobody knows.
  void backwards(const Polyline& run, const Polyline& baseline, double until_s) {
    Around around(*this, run);
    for (std::size_t i = 0; i < baseline.size(); ++i) {
      const double time_s = baseline.times_s[i], value = baseline.values[i];
      if (time_s < run.times_s.front() - instant_s || time_s > until_s) continue;
      const double there = run.at(std::clamp(time_s, run.times_s.front(), run.times_s.back()));
      if (recorded && std::isnan(value)) {
        skip();
        continue;
      }
      const Deviation found{time_s, there, value, around.depth_of(time_s, value, value)};
      if (recorded) take(found, there - value);
      else note(found);
    }
  }

  void finish() {
    if (!(result.covered_s > 0.0)) return;
    result.mean = sum / result.covered_s;
    result.rms = std::sqrt(squares / result.covered_s);
  }
};

SignalComparison compare_signal(const RecordedSignal& run, const RecordedSignal& baseline, const Tube& tube, bool recorded) {
  SignalComparison result;
  result.signal = run.signal;
  result.tube = tube;
  if (tube.ignored) {
    result.state = SignalComparison::State::ignored;
    return result;
  }
  Walk walk{result, baseline.within, baseline.within_relative, recorded};
  const double until_s = std::min(run.line.times_s.back(), baseline.line.times_s.back()) + instant_s;
  if (!recorded) walk.forwards(run.line, baseline.line, until_s);
  walk.backwards(run.line, baseline.line, until_s);
  walk.finish();
  return result;
}

std::vector<ExpectationMove> expectation_moves(const Summary& run, const Summary& baseline, const Tolerance& tolerance) {
  std::vector<ExpectationMove> moves;
  const auto find = [](const Summary& in, const std::string& name) -> const ExpectationResult* {
    for (const ExpectationResult& one : in.expectations) {
      if (one.name == name) return &one;
    }
    return nullptr;
  };
  for (const ExpectationResult& before : baseline.expectations) {
    ExpectationMove move{before.name, before.unit, before, {}, false, false};
    if (const ExpectationResult* now = find(run, before.name)) {
      move.now = *now;
      move.flipped = now->pass != before.pass || now->judged != before.judged;
      // six digits are what a baseline file keeps
      const double moved = now->judged && before.judged ? std::fabs(now->margin - before.margin) : 0.0;
      if (!move.flipped && moved <= 1e-5 * std::fabs(before.margin) + 1e-12) continue;
      const double scale = std::max(before.scale, std::fabs(before.margin));
      move.beyond = moved > tolerance.margins * scale;
    } else {
      move.beyond = true;
    }
    moves.push_back(std::move(move));
  }
  for (const ExpectationResult& now : run.expectations) {
    if (!find(baseline, now.name)) moves.push_back({now.name, now.unit, {}, now, false, false});
  }
  return moves;
}

// The nth event of the same source, kind and text stands for the nth.
std::vector<EventMove> event_moves(const std::vector<Event>& run, const std::vector<Event>& baseline, double tolerance_s) {
  std::map<std::string, std::pair<std::vector<const Event*>, std::vector<const Event*>>> pairs;
  const auto key = [](const Event& event) { return event.source + "\n" + event.kind + "\n" + event.text; };
  for (const Event& event : run) pairs[key(event)].first.push_back(&event);
  for (const Event& event : baseline) pairs[key(event)].second.push_back(&event);
  std::vector<EventMove> moves;
  for (const auto& [text, pair] : pairs) {
    const auto& [now, before] = pair;
    for (std::size_t i = 0; i < std::max(now.size(), before.size()); ++i) {
      if (i >= now.size()) moves.push_back({EventMove::Way::vanished, *before[i], before[i]->time_s});
      else if (i >= before.size()) moves.push_back({EventMove::Way::appeared, *now[i], 0.0});
      else if (std::fabs(now[i]->time_s - before[i]->time_s) > tolerance_s + instant_s)
        moves.push_back({EventMove::Way::moved, *now[i], before[i]->time_s});
    }
  }
  std::stable_sort(moves.begin(), moves.end(), [](const EventMove& a, const EventMove& b) { return a.event.time_s < b.event.time_s; });
  return moves;
}

std::vector<TotalMove> total_moves(const Summary& run, const Summary& baseline, double tolerance) {
  std::vector<TotalMove> moves;
  for (const Total& before : baseline.totals) {
    for (const Total& now : run.totals) {
      if (now.name != before.name) continue;
      double digit = 1.0;                         // a baseline file keeps so many decimals
      for (int i = 0; i < before.decimals; ++i) digit /= 10.0;
      const double moved = std::fabs(now.value - before.value);
      if (moved > 0.501 * digit) moves.push_back({before, now, moved > tolerance * std::fabs(before.value) + digit});
    }
  }
  return moves;
}

std::string clock(double time_s) {
  const auto whole = static_cast<long long>(std::floor(time_s + 1e-6));
  return fmt::format("{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60);
}

std::string number(double value, int decimals) {
  char text[fixed_decimal_bytes];
  const char* end = write_fixed(text, value, decimals);
  return end == text ? "no value" : std::string(text, static_cast<std::size_t>(end - text));
}

std::string depth_text(double depth) { return std::isfinite(depth) ? fmt::format("{:.2f}", depth) : "without end"; }

std::string value_text(double value, const Signal& signal, const DisplayUnits& units) {
  return shown_fixed(value, signal.decimals, signal.quantity, units);
}

// Without the unit, which stands in a column of its own where a unit is chosen.
std::string cell_text(double value, const Signal& signal, const DisplayUnits& units) {
  const ShownUnit seen = shown_unit(signal.quantity, units);
  const std::string own = number(value, signal.decimals);
  return seen.same || !std::isfinite(value) ? own : fmt::format("{} ({})", number(seen.number(value), seen.decimals(signal.decimals)), own);
}

std::string unit_cell(const Signal& signal, const DisplayUnits& units) {
  const ShownUnit seen = shown_unit(signal.quantity, units);
  return seen.same ? seen.text : fmt::format("{} ({})", seen.text, signal.quantity);
}

std::string deviation_text(const SignalComparison& one, const Deviation& at, const DisplayUnits& units) {
  return fmt::format("{} at {} ({:.1f} s): {}, baseline {}; {} times the tube", one.signal.name, clock(at.time_s), at.time_s,
                     value_text(at.run, one.signal, units), value_text(at.baseline, one.signal, units), depth_text(at.depth));
}

std::string margin_text(const std::optional<ExpectationResult>& one, const DisplayUnits& units) {
  if (!one) return "not there";
  const std::string verdict = one->pass ? "pass " : "fail ";
  return verdict + (one->judged ? shown_margin(one->margin, one->unit, quantity_in(one->statement, one->unit), units) : "(never judged)");
}

void add_signals(std::string& text, const Comparison& comparison) {
  using State = SignalComparison::State;
  const auto count = [&](State state) {
    return std::count_if(comparison.signals.begin(), comparison.signals.end(), [&](const auto& one) { return one.state == state; });
  };
  text += fmt::format("signals: {} compared, {} differ\n", count(State::same) + count(State::differs), comparison.deviating.size());
  const DisplayUnits& units = comparison.display;
  const bool chosen = units.chosen();
  const int width = chosen ? 22 : 12;                       // of a value
  if (!comparison.deviating.empty()) {
    text += fmt::format("  {:<28} {:>10} {:>{}} {:>{}} {:>10} {:>12}{}\n", "signal", "first", "run", width, "baseline", width, "worst at",
                        "times tube", chosen ? "  unit" : "");
  }
  for (const std::size_t index : comparison.deviating) {
    const SignalComparison& one = comparison.signals[index];
    text += fmt::format("  {:<28} {:>10} {:>{}} {:>{}} {:>10} {:>12}{}\n", one.signal.name, clock(one.first.time_s),
                        cell_text(one.first.run, one.signal, units), width, cell_text(one.first.baseline, one.signal, units), width,
                        clock(one.worst.time_s), depth_text(one.worst.depth), chosen ? "  " + unit_cell(one.signal, units) : "");
  }
  for (const State side : {State::only_in_run, State::only_in_baseline}) {
    std::string names;
    for (const SignalComparison& one : comparison.signals) {
      if (one.state == side) names += (names.empty() ? "" : ", ") + one.signal.name;
    }
    if (!names.empty()) text += fmt::format("  only in the {}: {}\n", side == State::only_in_run ? "run" : "baseline", names);
  }
}

void add_moves(std::string& text, const Comparison& comparison) {
  if (!comparison.expectations.empty()) text += "expectations that moved (before -> now):\n";
  for (const ExpectationMove& move : comparison.expectations) {
    text += fmt::format("  {}{}: {} -> {}\n", move.flipped ? "FLIPPED " : move.beyond ? "beyond tolerance: " : "", move.name,
                        margin_text(move.before, comparison.display), margin_text(move.now, comparison.display));
  }
  if (!comparison.events.empty()) text += "events:\n";
  for (const EventMove& move : comparison.events) {
    const Event& event = move.event;
    const char* way = move.way == EventMove::Way::appeared ? "appeared" : move.way == EventMove::Way::vanished ? "vanished" : "moved";
    text += fmt::format("  {} at {:.1f} s: {} {} {}", way, event.time_s, event.source, event.kind,
                        event_in_display_units(event.source, event.text, comparison.display));
    if (move.way == EventMove::Way::moved) {
      text += fmt::format(", before at {:.1f} s ({:+.1f} s)", move.before_s, event.time_s - move.before_s);
    }
    text += '\n';
  }
  if (!comparison.totals.empty()) text += "totals that moved (before -> now):\n";
  for (const TotalMove& move : comparison.totals) {
    const std::string unit = quantity_named(move.before.name, move.before.unit);
    text += fmt::format("  {}{}: {} -> {}\n", move.beyond ? "beyond tolerance: " : "", move.before.name,
                        shown_fixed(move.before.value, move.before.decimals, unit, comparison.display),
                        shown_fixed(move.now.value, move.before.decimals, unit, comparison.display));
  }
}

nlohmann::ordered_json json_number(double value) {
  return std::isfinite(value) ? nlohmann::ordered_json(value) : nlohmann::ordered_json(nullptr);
}

nlohmann::ordered_json json_deviation(const SignalComparison& one, const Deviation& at) {
  return {{"signal", one.signal.name}, {"unit", one.signal.unit}, {"at_s", at.time_s}, {"run", json_number(at.run)},
          {"baseline", json_number(at.baseline)}, {"times_tube", json_number(at.depth)}};
}

std::string hash_text(std::uint64_t hash) { return fmt::format("{:016x}", hash); }

nlohmann::ordered_json json_moves(const Comparison& comparison) {
  nlohmann::ordered_json json;
  json["expectations"] = nlohmann::ordered_json::array();
  for (const ExpectationMove& move : comparison.expectations) {
    const auto side = [](const std::optional<ExpectationResult>& one) -> nlohmann::ordered_json {
      if (!one) return nullptr;
      return {{"verdict", one->pass ? "pass" : "fail"}, {"margin", one->judged ? json_number(one->margin) : json_number(infinite)}};
    };
    json["expectations"].push_back({{"name", move.name}, {"unit", move.unit}, {"before", side(move.before)}, {"now", side(move.now)},
                                    {"flipped", move.flipped}, {"beyond", move.beyond}});
  }
  json["events"] = nlohmann::ordered_json::array();
  for (const EventMove& move : comparison.events) {
    json["events"].push_back(
        {{"way", move.way == EventMove::Way::appeared ? "appeared" : move.way == EventMove::Way::vanished ? "vanished" : "moved"},
         {"at_s", move.event.time_s}, {"before_s", move.before_s}, {"source", move.event.source}, {"kind", move.event.kind},
         {"text", move.event.text}});
  }
  json["totals"] = nlohmann::ordered_json::array();
  for (const TotalMove& move : comparison.totals) {
    json["totals"].push_back({{"name", move.before.name}, {"before", move.before.value}, {"now", move.now.value}, {"beyond", move.beyond}});
  }
  return json;
}

}  // namespace

std::vector<std::size_t> order_of_deviations(const std::vector<SignalComparison>& signals) {
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < signals.size(); ++i) {
    if (signals[i].state == SignalComparison::State::differs) order.push_back(i);
  }
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    const Deviation &first = signals[a].first, &second = signals[b].first;
    return first.time_s != second.time_s ? first.time_s < second.time_s : first.depth > second.depth;
  });
  // Among those of one instant: those as deep as the deepest, the controller's first, stand before the rest.
  for (std::size_t from = 0; from < order.size();) {
    std::size_t to = from, deep = from;
    const Deviation& lead = signals[order[from]].first;
    while (to < order.size() && signals[order[to]].first.time_s == lead.time_s) ++to;
    while (deep < to && signals[order[deep]].first.depth >= as_deep * lead.depth) ++deep;
    std::stable_sort(order.begin() + static_cast<std::ptrdiff_t>(from), order.begin() + static_cast<std::ptrdiff_t>(deep),
                     [&](std::size_t a, std::size_t b) { return a < b; });
    from = to;
  }
  return order;
}

Comparison compare_runs(const Baseline& run, const Baseline& baseline, const Tolerance& tolerance, bool recorded) {
  using State = SignalComparison::State;
  Comparison result;
  result.run = run.source;
  result.baseline = baseline.source;
  for (const RecordedSignal& one : run.signals) {
    const Tube tube = tube_of(one.signal, tolerance);
    if (const RecordedSignal* other = baseline.find(one.signal.name)) {
      result.signals.push_back(compare_signal(one, *other, tube, recorded));
    } else if (!recorded) {
      result.signals.push_back({one.signal, tube, tube.ignored ? State::ignored : State::only_in_run, {}, {}, 0, 0, 0, 0, 0, {}});
    }
  }
  for (const RecordedSignal& one : baseline.signals) {
    const Tube tube = tube_of(one.signal, tolerance);
    if (!run.find(one.signal.name) && !tube.ignored) {
      result.signals.push_back({one.signal, tube, State::only_in_baseline, {}, {}, 0, 0, 0, 0, 0, {}});
    }
  }
  result.deviating = order_of_deviations(result.signals);
  for (const std::size_t index : result.deviating) {
    if (!result.worst || result.signals[index].worst.depth > result.signals[*result.worst].worst.depth) result.worst = index;
  }
  result.run_end_s = run.end_s;
  result.baseline_end_s = baseline.end_s;
  result.length_differs = !recorded && std::fabs(run.end_s - baseline.end_s) > tolerance.events_s + instant_s;
  if (run.whole && baseline.whole) {
    result.expectations = expectation_moves(run.summary, baseline.summary, tolerance);
    result.events = event_moves(run.events, baseline.events, tolerance.events_s);
    result.totals = total_moves(run.summary, baseline.summary, tolerance.totals);
    result.verdict_run = run.summary.verdict;
    result.verdict_baseline = baseline.summary.verdict;
    result.controller_hash[0] = run.summary.controller_hash;
    result.controller_hash[1] = baseline.summary.controller_hash;
    result.trace_hash[0] = run.summary.trace_hash;
    result.trace_hash[1] = baseline.summary.trace_hash;
  }
  const auto lost = [](const SignalComparison& one) { return one.state == State::only_in_baseline; };
  result.differs = !result.deviating.empty() || result.length_differs || !result.events.empty() ||
                   result.verdict_run != result.verdict_baseline || std::any_of(result.signals.begin(), result.signals.end(), lost) ||
                   std::any_of(result.expectations.begin(), result.expectations.end(),
                               [](const auto& m) { return m.flipped || m.beyond; }) ||
                   std::any_of(result.totals.begin(), result.totals.end(), [](const auto& m) { return m.beyond; });
  return result;
}

std::string comparison_text(const Comparison& comparison) {
  std::string text = fmt::format("{} {} {}\n", comparison.run, comparison.differs ? "differs from" : "is the same as", comparison.baseline);
  if (!comparison.deviating.empty()) {
    const SignalComparison& first = comparison.signals[comparison.deviating.front()];
    const SignalComparison& worst = comparison.signals[*comparison.worst];
    text += "first deviation: " + deviation_text(first, first.first, comparison.display) + "\n";
    text += "worst deviation: " + deviation_text(worst, worst.worst, comparison.display) + "\n";
  }
  if (comparison.length_differs) {
    text += fmt::format("the run ends at {:.1f} s, the baseline at {:.1f} s\n", comparison.run_end_s, comparison.baseline_end_s);
  }
  if (comparison.verdict_run != comparison.verdict_baseline) {
    text += fmt::format("verdict: {}, baseline {}\n", comparison.verdict_run, comparison.verdict_baseline);
  }
  add_signals(text, comparison);
  add_moves(text, comparison);
  if (!comparison.verdict_run.empty()) {
    const bool equal = comparison.controller_hash[0] == comparison.controller_hash[1];
    text += fmt::format("hash.controller {}{}, hash.trace {}\n", hash_text(comparison.controller_hash[0]),
                        equal ? " equal" : ", baseline " + hash_text(comparison.controller_hash[1]),
                        comparison.trace_hash[0] == comparison.trace_hash[1] ? "equal" : "not equal");
  }
  return text;
}

std::string comparison_json(const Comparison& comparison) {
  constexpr const char* states[] = {"same", "differs", "only_in_run", "only_in_baseline", "ignored"};
  nlohmann::ordered_json json{{"schema", 1}, {"run", comparison.run}, {"baseline", comparison.baseline}, {"differs", comparison.differs}};
  json["first"] = json["worst"] = nullptr;
  if (!comparison.deviating.empty()) {
    const SignalComparison& first = comparison.signals[comparison.deviating.front()];
    json["first"] = json_deviation(first, first.first);
    json["worst"] = json_deviation(comparison.signals[*comparison.worst], comparison.signals[*comparison.worst].worst);
  }
  json["ends_s"] = {{"run", comparison.run_end_s}, {"baseline", comparison.baseline_end_s}, {"differs", comparison.length_differs}};
  json["verdict"] = {{"run", comparison.verdict_run}, {"baseline", comparison.verdict_baseline}};
  json["signals"] = nlohmann::ordered_json::array();
  for (const SignalComparison& one : comparison.signals) {
    nlohmann::ordered_json item{{"name", one.signal.name}, {"unit", one.signal.unit}, {"state", states[static_cast<int>(one.state)]}};
    item["tube"] = {{"absolute", one.tube.absolute}, {"relative", one.tube.relative}, {"shift_s", one.tube.shift_s}};
    if (one.points > 0) {
      item["worst"] = json_deviation(one, one.worst);
      if (one.state == SignalComparison::State::differs) item["first"] = json_deviation(one, one.first);
      item["mean"] = one.mean;
      item["rms"] = one.rms;
      item["greatest"] = one.greatest;
      item["covered_s"] = one.covered_s;
    }
    json["signals"].push_back(std::move(item));
  }
  json.update(json_moves(comparison));
  json["hash"] = {{"run", {{"controller", hash_text(comparison.controller_hash[0])}, {"trace", hash_text(comparison.trace_hash[0])}}},
                  {"baseline", {{"controller", hash_text(comparison.controller_hash[1])}, {"trace", hash_text(comparison.trace_hash[1])}}}};
  return json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace sim
