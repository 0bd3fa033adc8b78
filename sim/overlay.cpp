#include "sim/overlay.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <utility>

#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/charts.h"
#include "sim/page.h"

namespace sim {

namespace {

constexpr std::size_t intervals_max = 1500;
constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

using Role = ChartLine::Role;

// Two values for each interval, in the order of time.
struct Column {
  std::string label;
  Role role;
  int decimals;                             // of the recorded values
  std::vector<double> values;               // as recorded
};

struct OverlayChart {
  Chart chart;                              // its lines are not used
  std::vector<Column> columns;
  std::string quantity = "1";               // of the signal
  std::string recorded = "1";               // what is recorded: the same, or the unit of differences
  bool difference = false;
};

struct Grid {
  double width_s, end_s;
  std::size_t intervals;
  explicit Grid(double end) : width_s(std::max(1.0, std::ceil(end / static_cast<double>(intervals_max)))), end_s(end),
                              intervals(static_cast<std::size_t>(end / width_s) + 1) {}
};

// The least and the greatest of each interval, as they come; where no point lies, the line between.
std::vector<double> sampled(const Polyline& line, const Grid& grid) {
  std::vector<double> values;
  std::size_t next = 0;
  while (next < line.size() && line.times_s[next] < 0.0) ++next;
  for (std::size_t i = 0; i < grid.intervals; ++i) {
    const double from_s = static_cast<double>(i) * grid.width_s, to_s = from_s + grid.width_s;
    double low = nothing, high = nothing;
    bool low_first = true;
    for (; next < line.size() && line.times_s[next] < to_s; ++next) {
      const double value = line.values[next];
      if (std::isnan(value)) continue;
      if (!(value >= low)) {
        low = value;
        low_first = false;                  // until a greater one comes
      }
      if (!(value <= high)) {
        high = value;
        low_first = true;
      }
    }
    if (std::isnan(low)) {
      low = line.at(from_s);
      high = line.at(from_s + 0.5 * grid.width_s);
      low_first = true;
    }
    values.push_back(low_first ? low : high);
    values.push_back(low_first ? high : low);
  }
  return values;
}

// The edges of the tube around a baseline, at the instants of the grid.
std::pair<std::vector<double>, std::vector<double>> tube_edges(const RecordedSignal& baseline, const Tube& tube, const Grid& grid) {
  std::pair<std::vector<double>, std::vector<double>> edges;
  BoxWindow window(baseline.line, std::max(tube.shift_s, 0.25 * grid.width_s));
  for (std::size_t i = 0; i < 2 * grid.intervals; ++i) {
    const double time_s = 0.5 * static_cast<double>(i) * grid.width_s;
    const BoxWindow::Box box = window.at(time_s);
    const bool there = !std::isnan(baseline.line.at(time_s));
    const auto half = [&](double value) { return tube.half_width(value) + baseline.within + baseline.within_relative * std::fabs(value); };
    edges.first.push_back(there ? box.low - half(box.low) : nothing);
    edges.second.push_back(there ? box.high + half(box.high) : nothing);
  }
  return edges;
}

OverlayChart deviation_chart(const SignalComparison& one, const RecordedSignal& run, const RecordedSignal& other, const char* label,
                             const Grid& grid) {
  OverlayChart made;
  made.chart.key = one.signal.name;
  std::replace(made.chart.key.begin(), made.chart.key.end(), '.', '_');
  made.chart.title = one.signal.name;
  made.chart.axis = one.signal.unit;
  made.quantity = made.recorded = one.signal.quantity;
  const int decimals = one.signal.decimals;
  made.columns.push_back({"run", Role::process_value, decimals, sampled(run.line, grid)});
  made.columns.push_back({label, Role::other, decimals, sampled(other.line, grid)});
  auto [low, high] = tube_edges(other, one.tube, grid);
  if (one.tube.code) return made;
  made.columns.push_back({"tube, lower edge", Role::truth, decimals, std::move(low)});
  made.columns.push_back({"tube, upper edge", Role::truth, decimals, std::move(high)});
  return made;
}

// Run less baseline at the run's rows, so that a deviation shows whatever the signal's own size; beside it the tube's half width
// (without what the shift allows).
OverlayChart difference_chart(const SignalComparison& one, const RecordedSignal& run, const RecordedSignal& other, const Grid& grid) {
  OverlayChart made;
  made.chart.key = one.signal.name + "_difference";
  std::replace(made.chart.key.begin(), made.chart.key.end(), '.', '_');
  made.chart.title = one.signal.name + ", run less baseline";
  made.chart.axis = difference_unit(one.signal);
  made.quantity = one.signal.quantity;
  made.recorded = made.chart.axis;
  made.difference = true;
  Polyline difference, low, high;
  for (std::size_t i = 0; i < run.line.size(); ++i) {
    const double time_s = run.line.times_s[i], there = other.line.at(time_s);
    const double half = one.tube.half_width(there) + other.within + other.within_relative * std::fabs(there);
    difference.add(time_s, run.line.values[i] - there);
    low.add(time_s, -half);
    high.add(time_s, half);
  }
  const int decimals = std::min(one.signal.decimals + 1, 9);
  made.columns.push_back({"difference", Role::process_value, decimals, sampled(difference, grid)});
  made.columns.push_back({"tube, lower edge", Role::truth, decimals, sampled(low, grid)});
  made.columns.push_back({"tube, upper edge", Role::truth, decimals, sampled(high, grid)});
  return made;
}

ShownUnit seen_unit(const OverlayChart& one, const DisplayUnits& units) {
  return one.difference ? shown_difference_unit(one.quantity, units) : shown_unit(one.quantity, units);
}

// --- the page's data ---

void add_stretches(std::string& page, const char* key, const std::vector<Stretch>& stretches) {
  page += fmt::format(",\n\"{}\":[", key);
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    page += fmt::format("{}{{\"name\":{},\"from\":{},\"to\":{}}}", i == 0 ? "" : ",", json_text(stretches[i].name), stretches[i].from_s,
                        stretches[i].to_s);
  }
  page += ']';
}

void add_data(std::string& page, const std::vector<OverlayChart>& charts, const Grid& grid, const Summary& summary,
              const Comparison& comparison) {
  constexpr const char* roles[] = {"process_value", "set_point", "truth", "other"};
  page += fmt::format("<script type=\"application/json\" id=\"run\">\n{{\"width\":{},\"end\":{},\"gaps\":true,\"index\":[", grid.width_s,
                      grid.end_s);
  for (std::size_t i = 0; i < grid.intervals; ++i) page += (i == 0 ? "" : ",") + std::to_string(i);
  std::string lists;
  page += "],\n\"columns\":[";
  std::size_t column = 0;
  for (const OverlayChart& one : charts) {
    const ShownUnit seen = seen_unit(one, comparison.display);
    const Chart chart = shown_chart(one.chart, seen, one.recorded);
    lists += fmt::format("{}\n{{\"key\":{},\"title\":{},\"log\":{},\"low\":{},\"high\":{},\"lines\":[", lists.empty() ? "" : ",",
                         json_text(chart.key), json_text(chart.title), chart.logarithmic, chart.low, chart.high);
    for (std::size_t k = 0; k < one.columns.size(); ++k) {
      const Column& line = one.columns[k];
      const int decimals = seen.same ? line.decimals : seen.decimals(line.decimals);
      page += column == 0 ? "\n[" : ",\n[";
      for (std::size_t i = 0; i < line.values.size(); ++i) {
        if (i > 0) page += ',';
        add_number(page, seen.number(line.values[i]), decimals);
      }
      page += ']';
      lists += fmt::format("{}{{\"label\":{},\"role\":\"{}\",\"column\":{},\"decimals\":{}{}}}", k == 0 ? "" : ",", json_text(line.label),
                           roles[static_cast<int>(line.role)], column++, decimals,
                           recorded_json(seen, one.recorded, line.decimals));
    }
    lists += "]}";
  }
  page += "],\n\"charts\":[" + lists + ']';
  add_stretches(page, "segments", summary.segments);
  add_stretches(page, "phases", summary.phases);
  page += ",\n\"marks\":[";
  for (std::size_t i = 0; i < std::min(comparison.deviating.size(), overlay_charts_max); ++i) {
    const SignalComparison& one = comparison.signals[comparison.deviating[i]];
    page += fmt::format("{}{{\"t\":{},\"letter\":\"D\"}},{{\"t\":{},\"letter\":\"W\"}}", i == 0 ? "" : ",", one.first.time_s,
                        one.worst.time_s);
  }
  page += "]}\n</script>\n";
}

// marked: letters on the charts say where something was compared.
void add_charts(std::string& page, const std::vector<OverlayChart>& charts, const Summary& summary, const DisplayUnits& units,
                bool marked) {
  if (charts.empty()) return;
  page +=
      "<h2 id=\"charts\">Charts</h2>\n<p class=\"soft\">Drag across a chart to zoom all of them, double-click to see the whole run again; "
      "with Shift held, drag to move.</p>\n";
  if (marked)
    page += "<p class=\"key soft\"><span><b>D</b>first outside its tube</span><span><b>W</b>furthest outside</span></p>\n";
  page +=
      "<noscript><p>The charts need scripts; the tables do not.</p></noscript>\n"
      "<div class=\"zoom\"><button id=\"zoom-all\" type=\"button\">Whole run</button><label>Segment <select id=\"zoom-to\"><option "
      "value=\"\">all</option>";
  for (std::size_t i = 0; i < summary.segments.size(); ++i) {
    page += fmt::format("<option value=\"{}\">{}: {}</option>", i, i + 1, html_text(summary.segments[i].name));
  }
  page += "</select></label></div>\n";
  for (const OverlayChart& one : charts) {
    const std::string axis = shown_chart(one.chart, seen_unit(one, units), one.recorded).axis;
    page += fmt::format(
        "<figure>\n<figcaption><h3>{0}</h3><span class=\"unit\">{1}</span></figcaption>\n<div class=\"legend\" id=\"legend-{2}\"></div>\n"
        "<div class=\"chart{3}\" id=\"chart-{2}\"></div>\n</figure>\n",
        html_text(one.chart.title), axis == "1" ? "" : html_text(axis), one.chart.key,
        one.chart.key == "temperatures" ? " tall" : "");
  }
}

// --- tables ---

// In the unit that is seen, and as recorded where that is another.
std::string number(double value, const Signal& signal, const ShownUnit& seen, int more = 0) {
  if (!std::isfinite(value)) return "no value";
  std::string text;
  add_number(text, seen.number(value), seen.same ? std::min(signal.decimals + more, 9) : seen.decimals(signal.decimals + more));
  if (seen.same) return text;
  text += " (";
  add_number(text, value, std::min(signal.decimals + more, 9));
  return text + ")";
}

std::string times(double depth) { return std::isfinite(depth) ? fmt::format("{:.2f}", depth) : "–"; }

void add_row(std::string& page, std::initializer_list<std::string> cells, const char* first = "") {
  page += "<tr>";
  bool lead = true;
  for (const std::string& cell : cells) {
    page += lead ? fmt::format("<th scope=\"row\"{}>{}</th>", first, cell) : "<td class=\"number\">" + cell + "</td>";
    lead = false;
  }
  page += "</tr>\n";
}

void begin_table(std::string& page, const char* title, std::initializer_list<const char*> heads) {
  page += fmt::format("<h2>{}</h2>\n<div class=\"wide\"><table><thead><tr>", title);
  bool lead = true;
  for (const char* head : heads) {
    page += fmt::format("<th scope=\"col\"{}>{}</th>", lead ? "" : " class=\"number\"", head);
    lead = false;
  }
  page += "</tr></thead>\n<tbody>\n";
}

void end_table(std::string& page) { page += "</tbody></table></div>\n"; }

std::string name_and_unit(const Signal& signal, const ShownUnit& seen, const std::string& recorded) {
  const std::string unit = seen.same ? signal.unit : seen.text + " (" + recorded + ")";
  return html_text(unit == "1" ? signal.name : signal.name + " [" + unit + "]");
}

void add_outcome(std::string& page, const Comparison& comparison, const char* other) {
  if (comparison.deviating.empty()) {
    page += comparison.differs ? "<p class=\"outcome fail\">✕ No signal leaves its tube, but the runs differ; see below.</p>\n"
                               : "<p class=\"outcome pass\">✓ Every signal lies in its tube.</p>\n";
    return;
  }
  const SignalComparison& first = comparison.signals[comparison.deviating.front()];
  const auto value = [&](double of) {
    return html_text(shown_fixed(of, first.signal.decimals, first.signal.quantity, comparison.display));
  };
  page += fmt::format("<p class=\"outcome fail\">✕ Differs, first in {} at {}: {}, {} {}.</p>\n", html_text(first.signal.name),
                      clock_text(first.first.time_s, 1), value(first.first.run), other, value(first.first.baseline));
}

// other: what the run is held against, as a heading.
void add_deviations(std::string& page, const Comparison& comparison, const char* other) {
  if (comparison.deviating.empty()) return;
  begin_table(page, "Signals that leave their tubes", {"Signal", "First at", "Run", other, "Worst at", "Run", other, "Times the tube"});
  for (const std::size_t index : comparison.deviating) {
    const SignalComparison& one = comparison.signals[index];
    const ShownUnit seen = shown_unit(one.signal.quantity, comparison.display);
    add_row(page, {name_and_unit(one.signal, seen, one.signal.quantity), clock_text(one.first.time_s, 1),
                   number(one.first.run, one.signal, seen), number(one.first.baseline, one.signal, seen),
                   clock_text(one.worst.time_s, 1), number(one.worst.run, one.signal, seen),
                   number(one.worst.baseline, one.signal, seen), times(one.worst.depth)});
  }
  end_table(page);
}

std::string margin(const std::optional<ExpectationResult>& one, const DisplayUnits& units) {
  if (!one) return "not there";
  const std::string size =
      one->judged ? html_text(shown_margin(one->margin, one->unit, quantity_in(one->statement, one->unit), units)) : "never judged";
  return fmt::format("{} {}", one->pass ? "✓ pass" : "✕ fail", size);
}

void add_moves(std::string& page, const Comparison& comparison) {
  if (!comparison.expectations.empty()) {
    begin_table(page, "Expectations that moved", {"Expectation", "Margin before", "Margin now", ""});
    for (const ExpectationMove& move : comparison.expectations) {
      add_row(page, {html_text(move.name), margin(move.before, comparison.display), margin(move.now, comparison.display),
                     move.flipped  ? "<span class=\"fail\">flipped</span>"
                     : move.beyond ? "<span class=\"fail\">beyond tolerance</span>"
                                   : ""});
    }
    end_table(page);
  }
  if (!comparison.events.empty()) {
    begin_table(page, "Events", {"Event", "", "At", "Before at"});
    for (const EventMove& move : comparison.events) {
      const bool moved = move.way == EventMove::Way::moved;
      const std::string event = event_in_display_units(move.event.source, move.event.text, comparison.display);
      add_row(page, {html_text(move.event.source + " " + move.event.kind + " " + event),
                     moved ? "moved" : move.way == EventMove::Way::appeared ? "appeared" : "vanished", clock_text(move.event.time_s, 1),
                     moved ? clock_text(move.before_s, 1) : ""});
    }
    end_table(page);
  }
  if (comparison.totals.empty()) return;
  begin_table(page, "Totals that moved", {"Total", "Before", "Now", ""});
  for (const TotalMove& move : comparison.totals) {
    const std::string unit = quantity_named(move.before.name, move.before.unit);
    const auto value = [&](const Total& total) {
      return html_text(shown_fixed(total.value, move.before.decimals, unit, comparison.display));
    };
    add_row(page, {html_text(move.before.name), value(move.before), value(move.now),
                   move.beyond ? "<span class=\"fail\">beyond tolerance</span>" : ""});
  }
  end_table(page);
}

std::string head_of(const std::string& title, const DisplayUnits& units) {
  std::string page = page_begin(html_text(title)) + "<h1>" + html_text(title) + "</h1>\n";
  if (units.chosen()) page += "<p class=\"soft\">Shown: " + html_text(display_remark(units)) + "; as recorded in parentheses.</p>\n";
  return page + "<p class=\"soft\">The run is of a simulated furnace. " + html_text(short_caution) + "</p>\n";
}

}  // namespace

std::string comparison_page(const Comparison& comparison, const Baseline& run, const Baseline& baseline) {
  const Grid grid(std::max(run.end_s, baseline.end_s));
  std::vector<OverlayChart> charts;
  for (const std::size_t index : comparison.deviating) {
    const SignalComparison& one = comparison.signals[index];
    if (charts.size() >= overlay_charts_max) break;
    const RecordedSignal &own = *run.find(one.signal.name), &other = *baseline.find(one.signal.name);
    charts.push_back(deviation_chart(one, own, other, "baseline", grid));
    if (!one.tube.code) charts.push_back(difference_chart(one, own, other, grid));
  }
  const std::string name = run.summary.title.empty() ? run.source : run.summary.title;
  std::string page = head_of(name + ": run and baseline", comparison.display);
  add_outcome(page, comparison, "baseline");
  page += fmt::format("<p class=\"soft\">Run <code>{}</code>, baseline <code>{}</code>.</p>\n", html_text(run.source),
                      html_text(baseline.source));
  add_charts(page, charts, run.summary, comparison.display, true);
  add_deviations(page, comparison, "Baseline");
  add_moves(page, comparison);
  page += "</main>\n";
  add_data(page, charts, grid, run.summary, comparison);
  return page + page_end();
}

std::string recorded_title(const Baseline& run) {
  return (run.summary.title.empty() ? run.source : run.summary.title) + ": run and recorded log";
}

std::string recorded_page(const Comparison& comparison, const Baseline& run, const RecordedLog& log, const std::string& title) {
  const Grid grid(std::max(run.end_s, log.recorded.end_s));
  std::vector<Signal> signals;
  for (const RecordedSignal& one : run.signals) signals.push_back(one.signal);
  std::vector<OverlayChart> charts;
  std::vector<std::string> drawn;
  for (const Chart& chart : charts_of(SignalTable(signals))) {
    OverlayChart made;
    made.chart = chart;
    made.quantity = made.recorded = run.find(chart.lines.front().signal)->signal.quantity;
    bool recorded = false;
    for (const ChartLine& line : chart.lines) {
      const RecordedSignal& own = *run.find(line.signal);
      made.columns.push_back({line.label, line.role, own.signal.decimals, sampled(own.line, grid)});
      const RecordedSignal* other = log.recorded.find(line.signal);
      if (!other) continue;
      made.columns.push_back({line.label + ", recorded", Role::other, own.signal.decimals, sampled(other->line, grid)});
      drawn.push_back(line.signal);
      recorded = true;
    }
    if (recorded) charts.push_back(std::move(made));
  }
  for (const SignalComparison& one : comparison.signals) {
    const RecordedSignal* other = log.recorded.find(one.signal.name);
    if (!other || std::find(drawn.begin(), drawn.end(), one.signal.name) != drawn.end()) continue;
    charts.push_back(deviation_chart(one, *run.find(one.signal.name), *other, "recorded", grid));
  }
  std::string page = head_of(title, comparison.display);
  add_outcome(page, comparison, "recorded");
  page += fmt::format("<p class=\"soft\">Run <code>{}</code>, log <code>{}</code>.</p>\n<ul>", html_text(run.source),
                      html_text(log.recorded.source));
  for (const std::string& note : log.notes) page += "<li>" + html_text(note) + "</li>";
  std::string ignored;
  for (const std::string& column : log.ignored) ignored += (ignored.empty() ? "" : ", ") + column;
  if (!ignored.empty()) page += "<li>columns not used: " + html_text(ignored) + "</li>";
  page += "</ul>\n";
  begin_table(page, "Run less recorded", {"Signal", "Mean", "Root mean square", "Greatest", "Compared for"});
  for (const SignalComparison& one : comparison.signals) {
    if (one.points == 0) continue;
    const ShownUnit seen = shown_difference_unit(one.signal.quantity, comparison.display);
    add_row(page, {name_and_unit(one.signal, seen, difference_unit(one.signal)), number(one.mean, one.signal, seen, 1),
                   number(one.rms, one.signal, seen, 1), number(one.greatest, one.signal, seen), clock_text(one.covered_s, 0)});
  }
  end_table(page);
  add_deviations(page, comparison, "Recorded");
  add_charts(page, charts, run.summary, comparison.display, true);
  page += "</main>\n";
  add_data(page, charts, grid, run.summary, comparison);
  return page + page_end();
}

std::string drawn_page(const std::string& title, const std::string& top, const std::vector<DrawnSignal>& signals) {
  double end_s = 0.0;
  for (const DrawnSignal& one : signals)
    for (const DrawnSignal::Line& line : one.lines) end_s = std::max(end_s, line.line.times_s.back());
  const Grid grid(end_s);
  constexpr Role roles[] = {Role::process_value, Role::other, Role::set_point};
  std::vector<OverlayChart> charts;
  for (const DrawnSignal& one : signals) {
    OverlayChart made;
    made.chart.key = one.signal.name;
    std::replace(made.chart.key.begin(), made.chart.key.end(), '.', '_');
    made.chart.title = one.signal.name;
    made.chart.axis = one.signal.unit;
    made.chart.logarithmic = one.logarithmic;
    made.quantity = made.recorded = one.signal.quantity;
    for (std::size_t i = 0; i < one.lines.size(); ++i)
      made.columns.push_back({one.lines[i].label, roles[i % 3], one.signal.decimals, sampled(one.lines[i].line, grid)});
    charts.push_back(std::move(made));
  }
  std::string page = head_of(title, {}) + top;
  add_charts(page, charts, {}, {}, false);
  page += "</main>\n";
  add_data(page, charts, grid, {}, {});
  return page + page_end();
}

}  // namespace sim
