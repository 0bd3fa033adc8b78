#include "sim/report.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <utility>

#include <fmt/format.h>

#include "sim/cause_effect.h"
#include "sim/cautions.h"
#include "sim/fixed_decimal.h"
#include "sim/input_error.h"
#include "sim/moment_chart.h"
#include "sim/page.h"
#include "sim/result_file.h"
#include "sim/trace.h"

namespace sim {

namespace {

constexpr std::size_t marks_max = 200;        // lines across the charts; all events are in the table
constexpr std::size_t table_rows_max = 60;    // of the table beside a chart

std::string fixed(double value, int decimals) {
  std::string text;
  add_number(text, value, decimals);
  return text;
}

// A unit as a reader sees it: nothing for a pure number.
std::string unit_text(const std::string& unit) { return unit == "1" ? "" : html_text(unit); }

// --- head ---

std::string outcome(const Summary& summary) {
  const auto passed = std::count_if(summary.expectations.begin(), summary.expectations.end(), [](const auto& one) { return one.pass; });
  const auto all = summary.expectations.size();
  if (!summary.broken_by.empty()) {
    return fmt::format("<p class=\"outcome fail\">✕ Broken: {}. What follows is the run as far as it went.</p>",
                       html_text(summary.broken_by));
  }
  if (all == 0) return "<p class=\"outcome fail\">✕ Fail: there is no expectation, so nothing was judged.</p>";
  const bool pass = summary.verdict == "pass";
  return fmt::format("<p class=\"outcome {}\">{} of {} expectations hold.</p>", pass ? "pass" : "fail",
                     (pass ? "✓ Pass: " : "✕ Fail: ") + std::to_string(passed), all);
}

// What the operator got wrong, from the events, so that a report made anew says the same.
void add_mistakes(std::string& page, std::span<const Event> events) {
  for (const Event& event : events) {
    if (event.time_s > 0.0) break;
    if (event.source == "operator" && event.kind == "mistake")
      page += "<p><strong>This run contains a mistake: " + html_text(event.text) + ".</strong></p>\n";
  }
}

void add_head(std::string& page, const ReportData& data) {
  const Summary& summary = data.summary;
  const std::string title = html_text(summary.title.empty() ? summary.scenario : summary.title);
  page += page_begin(title + ": report of a run") + "<h1>" + title + "</h1>\n";
  if (!summary.why.empty()) page += "<p>" + html_text(summary.why) + "</p>\n";
  add_mistakes(page, data.events);
  page += outcome(summary);
  page += fmt::format("\n<p class=\"soft\">Scenario <code>{}</code>, {} simulated, seed {}. A simulated furnace, not a real one.</p>\n",
                      html_text(summary.scenario), clock_text(summary.simulated_s, 0), summary.seed);
  if (summary.display.chosen())
    page += "<p class=\"soft\">Shown: " + html_text(display_remark(summary.display)) + "; as recorded in parentheses.</p>\n";
  page += "<section class=\"caution\" aria-label=\"Caution\">\n<strong>Caution</strong>\n<ul>\n";
  for (const std::string_view line : cautions) page += "<li>" + html_text(line) + "</li>\n";
  page += "</ul>\n</section>\n";
}

// --- expectations ---

// A bar from the zero line: to the right what was left, to the left, hatched, what was missing.
std::string margin_bar(const ExpectationResult& result) {
  if (!result.judged || !(result.scale > 0.0)) return "";
  const double share = std::clamp(result.margin / result.scale, -1.0, 1.0);
  const double size = std::max(1.5, 68.0 * std::fabs(share));
  const std::string bar =
      share < 0.0 ? fmt::format("<rect x=\"{:.1f}\" y=\"2\" width=\"{:.1f}\" height=\"12\" fill=\"url(#hatch)\" stroke=\"currentColor\"/>",
                                72.0 - size, size)
                  : fmt::format("<rect x=\"72\" y=\"2\" width=\"{:.1f}\" height=\"12\" fill=\"currentColor\"/>", size);
  return fmt::format("<svg class=\"margin {}\" viewBox=\"0 0 144 16\" aria-hidden=\"true\">"
                     "<path d=\"M72 0V16M4 15.5H140\" stroke=\"var(--soft)\" stroke-width=\"1\" fill=\"none\"/>{}</svg>",
                     share < 0.0 ? "fail" : "pass", bar);
}

std::string margin_text(const ExpectationResult& result, const DisplayUnits& units) {
  if (!result.judged) return "never judged";
  if (result.scale == 0.0 && result.unit == "1" && std::fabs(result.margin) == 1.0) return result.margin > 0.0 ? "holds" : "does not hold";
  return two_lines(shown_margin(result.margin, result.unit, quantity_in(result.statement, result.unit), units));
}

std::string remark(const ExpectationResult& result) {
  if (result.judged_from_s >= 0.0) {
    ExpectationResult rest = result;
    rest.judged_from_s = -1.0;
    return ". New in this fork: judged from " + clock_text(result.judged_from_s, 1) + " on" + remark(rest);
  }
  if (!result.judged) return ". Not judged: " + html_text(result.unjudged);
  if (result.failed_s >= 0.0) return ". First violated at " + clock_text(result.failed_s, 1);
  return result.took_s >= 0.0 ? ". Held " + clock_text(result.took_s, 1) + " after the window opened" : "";
}

std::string moment_of(const ExpectationResult& result, const std::vector<MomentClip>& moments, const DisplayUnits& units) {
  const auto clip = std::find_if(moments.begin(), moments.end(), [&](const MomentClip& one) { return one.expectation == result.name; });
  return !result.judged || clip == moments.end() ? "" : moment_svg(*clip, result.at_s, result.unit, units);
}

void add_expectations(std::string& page, const Summary& summary, const std::vector<MomentClip>& moments) {
  page += "<h2 id=\"expectations\">Expectations</h2>\n";
  if (summary.expectations.empty()) {
    page += "<p>None were given. A run that nothing is expected of fails.</p>\n";
    return;
  }
  page +=
      "<p class=\"soft\">The margin is the least distance, in the signal's own unit, from the other verdict, over every tick at which the "
      "window was "
      "open. The bar holds it against the limit or, where that is less, against the widest margin seen: to the right of the line what was "
      "left, to the left, hatched, what was missing.</p>\n"
      "<svg width=\"0\" height=\"0\" aria-hidden=\"true\" style=\"position:absolute\"><defs><pattern id=\"hatch\" width=\"5\" height=\"5\" "
      "patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><rect width=\"2\" height=\"5\" "
      "fill=\"var(--bad)\"/></pattern></defs></svg>\n"
      "<div class=\"wide\"><table>\n<thead><tr><th scope=\"col\">Verdict</th><th scope=\"col\">Expectation</th><th scope=\"col\" "
      "class=\"number\">Margin</th>"
      "<th scope=\"col\">Margin, drawn</th><th scope=\"col\" class=\"number\">Tightest at</th><th scope=\"col\">Around that moment</th><th "
      "scope=\"col\" class=\"number\">Judged for</th></tr></thead>\n<tbody>\n";
  for (const ExpectationResult& result : summary.expectations) {
    page += fmt::format(
        "<tr><td class=\"verdict {}\">{}</td><td>{}<div class=\"statement\">{}{}</div></td><td class=\"number\">{}</td><td>{}</td>"
        "<td class=\"number\">{}</td><td>{}</td><td class=\"number\">{}</td></tr>\n",
        result.pass ? "pass" : "fail", result.pass ? "✓ pass" : "✕ fail", html_text(result.name),
        html_text(in_display_units(result.statement, summary.display)), remark(result), margin_text(result, summary.display),
        margin_bar(result), result.judged ? clock_text(result.at_s, 1) : "–", moment_of(result, moments, summary.display),
        clock_text(result.judged_s, 1));
  }
  page += "</tbody></table></div>\n";
}

// --- totals, line, programme ---

void add_pair(std::string& page, const std::string& what, const std::string& value) {
  page += "<tr><th scope=\"row\">" + what + "</th><td class=\"number\">" + value + "</td></tr>\n";
}

void add_figures(std::string& page, const Summary& summary) {
  page += "<div class=\"columns\">\n<section>\n<h2>Totals</h2>\n<table><tbody>\n";
  for (const Total& total : summary.totals) {
    const std::string value =
        total.unit == "s" ? clock_text(total.value, 1)
                          : shown_fixed(total.value, total.decimals, quantity_named(total.name, total.unit), summary.display);
    add_pair(page, html_text(total.meaning.empty() ? total.name : total.meaning), html_text(value));
  }
  const LineStatistics& line = summary.line;
  page += "</tbody></table>\n</section>\n<section>\n<h2>Field line</h2>\n<table><tbody>\n";
  add_pair(page, "exchanges", std::to_string(line.frames));
  add_pair(page, "answers missing, late or damaged", std::to_string(line.errors));
  add_pair(page, "retries", std::to_string(line.retries));
  add_pair(page, "request to last byte of the answer, mean", fixed(line.latency_mean_us / 1000.0, 3) + " ms");
  add_pair(page, "the same, longest", fixed(line.latency_max_us / 1000.0, 3) + " ms");
  add_pair(page, "share of the period the line is busy", fixed(line.utilisation * 100.0, 1) + " %");
  add_pair(page, "ticks of the bench", std::to_string(summary.ticks));
  add_pair(page, "steps of the plant", std::to_string(line.evaluations));
  add_pair(page, "ticks at which expectations were judged", std::to_string(summary.evaluations));
  page += "</tbody></table>\n</section>\n</div>\n";
}

// As the controller keeps it; nothing where it has kept none.
void add_record(std::string& page, const std::vector<std::pair<std::string, std::string>>& record) {
  if (record.empty()) return;
  page += "<section>\n<h2 id=\"record\">Run record of the controller</h2>\n<table><tbody>\n";
  for (const auto& [what, value] : record)
    page += "<tr><th scope=\"row\">" + html_text(what) + "</th><td>" + html_text(value) + "</td></tr>\n";
  page += "</tbody></table>\n</section>\n";
}

void add_stretches(std::string& page, const char* heading, const std::vector<Stretch>& stretches) {
  page += fmt::format(
      "<section>\n<h3>{}</h3>\n<table><thead><tr><th scope=\"col\" class=\"number\">No.</th><th scope=\"col\">Name</th>"
      "<th scope=\"col\" class=\"number\">From</th><th scope=\"col\" class=\"number\">Lasted</th></tr></thead>\n<tbody>\n",
      heading);
  int number = 0;
  for (const Stretch& stretch : stretches) {
    std::string name = stretch.name;
    std::replace(name.begin(), name.end(), '_', ' ');
    page += fmt::format("<tr><td class=\"number\">{}</td><td>{}</td><td class=\"number\">{}</td><td class=\"number\">{}</td></tr>\n",
                        ++number, html_text(name), clock_text(stretch.from_s, 0), clock_text(stretch.to_s - stretch.from_s, 0));
  }
  page += "</tbody></table>\n</section>\n";
}

// --- charts ---

int decimals_in(const ShownUnit& seen, const Signal& signal) { return seen.same ? signal.decimals : seen.decimals(signal.decimals); }

// All lines of a chart are of one quantity.
Chart shown_chart(const Chart& chart, const ChartData& charts, const DisplayUnits& units) {
  const Signal& signal = charts.signals()[static_cast<std::size_t>(charts.column(chart.lines.front().signal))];
  return shown_chart(chart, shown_unit(signal.quantity, units), signal.quantity);
}

// Rows of the table beside the charts: where segments begin, and evenly between.
std::vector<std::size_t> table_rows(const ReportData& data) {
  const std::size_t count = data.charts.intervals();
  std::vector<std::size_t> rows;
  if (count == 0) return rows;
  const std::size_t even = table_rows_max / 2;
  for (std::size_t i = 0; i < even; ++i) rows.push_back(i * (count - 1) / (even - 1));
  for (const Stretch& segment : data.summary.segments) {
    if (rows.size() >= table_rows_max) break;
    std::size_t low = 0, high = count;           // the last interval that begins at or before the segment
    while (high - low > 1) {
      const std::size_t middle = (low + high) / 2;
      (data.charts.index(middle) * data.charts.width_s() <= segment.from_s + 1e-6 ? low : high) = middle;
    }
    rows.push_back(low);
  }
  std::sort(rows.begin(), rows.end());
  rows.erase(std::unique(rows.begin(), rows.end()), rows.end());
  return rows;
}

void add_chart_table(std::string& page, const ReportData& data, const Chart& chart, const std::vector<std::size_t>& rows) {
  page += "<details><summary>Table: " + html_text(chart.title) +
          "</summary>\n<div class=\"wide\"><table><thead><tr><th scope=\"col\" class=\"number\">Time</th>";
  std::vector<std::size_t> columns;
  std::vector<ShownUnit> seen;                 // of each column
  for (const ChartLine& line : chart.lines) {
    columns.push_back(static_cast<std::size_t>(data.charts.column(line.signal)));
    const Signal& signal = data.charts.signals()[columns.back()];
    seen.push_back(shown_unit(signal.quantity, data.summary.display));
    const std::string unit = seen.back().same ? signal.unit : seen.back().text + " (" + signal.quantity + ")";
    page += "<th scope=\"col\" class=\"number\">" + html_text(line.label) + (unit == "1" ? "" : " [" + html_text(unit) + "]") + "</th>";
  }
  page += "</tr></thead>\n<tbody>\n";
  for (const std::size_t row : rows) {
    page += "<tr><td class=\"number\">" + clock_text(data.charts.index(row) * data.charts.width_s(), 0) + "</td>";
    for (std::size_t i = 0; i < columns.size(); ++i) {
      const double value = data.charts.cell(row, columns[i]).last;
      const Signal& signal = data.charts.signals()[columns[i]];
      page += "<td class=\"number\">";
      add_number(page, seen[i].number(value), decimals_in(seen[i], signal));
      if (!seen[i].same) page += " (" + fixed(value, signal.decimals) + ")";
      page += "</td>";
    }
    page += "</tr>\n";
  }
  page += "</tbody></table></div></details>\n";
}

char letter_of(const Event& event) {
  if (event.source == "alarm" && event.kind == "raised") return 'A';
  if (event.source == "interlock") return 'I';
  if (event.source == "fault") return 'F';
  if (event.source == "operator") return 'O';
  if (event.source == "expectation") return 'X';
  return '\0';
}

void add_charts(std::string& page, const ReportData& data) {
  page +=
      "<h2 id=\"charts\">Charts</h2>\n<p class=\"soft\">Drag across a chart to zoom all of them, double-click to see the whole run again; "
      "with Shift held, drag to move. "
      "Each interval shows its least and its greatest value, so no peak of the trace is lost. Segments of the programme are shaded in turn "
      "and named above, "
      "phases of the atmosphere below.</p>\n<p class=\"key "
      "soft\"><span><b>A</b>alarm</span><span><b>I</b>interlock</span><span><b>F</b>fault injected</span>"
      "<span><b>O</b>operator</span><span><b>X</b>expectation violated</span></p>\n<noscript><p>The charts need scripts; the tables below "
      "them do not.</p></noscript>\n"
      "<div class=\"zoom\"><button id=\"zoom-all\" type=\"button\">Whole run</button><label>Segment <select id=\"zoom-to\"><option "
      "value=\"\">all</option>";
  int number = 0;
  for (const Stretch& segment : data.summary.segments) {
    page += fmt::format("<option value=\"{}\">{}: {}</option>", number, number + 1, html_text(segment.name));
    ++number;
  }
  page += "</select></label></div>\n";
  const std::vector<std::size_t> rows = table_rows(data);
  for (const Chart& recorded : data.charts.charts()) {
    const Chart chart = shown_chart(recorded, data.charts, data.summary.display);
    page += fmt::format(
        "<figure>\n<figcaption><h3>{0}</h3><span class=\"unit\">{1}</span></figcaption>\n<div class=\"legend\" id=\"legend-{2}\"></div>\n"
        "<div class=\"chart{3}\" id=\"chart-{2}\"></div>\n",
        html_text(chart.title), unit_text(chart.axis), chart.key, chart.key == "temperatures" ? " tall" : "");
    add_chart_table(page, data, chart, rows);
    page += "</figure>\n";
  }
}

// --- data for the page's script ---

void add_columns(std::string& page, const ChartData& charts, const DisplayUnits& units) {
  page += ",\n\"columns\":[";
  for (std::size_t column = 0; column < charts.signals().size(); ++column) {
    page += column == 0 ? "\n[" : ",\n[";
    const ShownUnit seen = shown_unit(charts.signals()[column].quantity, units);
    const int decimals = decimals_in(seen, charts.signals()[column]);
    for (std::size_t i = 0; i < charts.intervals(); ++i) {
      const ChartData::Cell& cell = charts.cell(i, column);
      if (i > 0) page += ',';
      add_number(page, seen.number(cell.low_first ? cell.low : cell.high), decimals);
      page += ',';
      add_number(page, seen.number(cell.low_first ? cell.high : cell.low), decimals);
    }
    page += ']';
  }
  page += ']';
}

void add_chart_list(std::string& page, const ChartData& charts, const DisplayUnits& units) {
  constexpr const char* roles[] = {"process_value", "set_point", "truth", "other"};
  page += ",\n\"charts\":[";
  bool first = true;
  for (const Chart& recorded : charts.charts()) {
    const Chart chart = shown_chart(recorded, charts, units);
    page += fmt::format("{}\n{{\"key\":{},\"title\":{},\"log\":{},\"low\":{},\"high\":{},\"lines\":[", first ? "" : ",",
                        json_text(chart.key), json_text(chart.title), chart.logarithmic, chart.low, chart.high);
    first = false;
    for (std::size_t i = 0; i < chart.lines.size(); ++i) {
      const ChartLine& line = chart.lines[i];
      const int column = charts.column(line.signal);
      const Signal& signal = charts.signals()[static_cast<std::size_t>(column)];
      const ShownUnit seen = shown_unit(signal.quantity, units);
      page += fmt::format("{}{{\"label\":{},\"role\":\"{}\",\"column\":{},\"decimals\":{}{}}}", i == 0 ? "" : ",", json_text(line.label),
                          roles[static_cast<int>(line.role)], column, decimals_in(seen, signal),
                          recorded_json(seen, signal.quantity, signal.decimals));
    }
    page += "]}";
  }
  page += ']';
}

void add_stretch_list(std::string& page, const char* key, const std::vector<Stretch>& stretches) {
  page += fmt::format(",\n\"{}\":[", key);
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    page += fmt::format("{}{{\"name\":{},\"from\":{},\"to\":{}}}", i == 0 ? "" : ",", json_text(stretches[i].name), stretches[i].from_s,
                        stretches[i].to_s);
  }
  page += ']';
}

void add_run_data(std::string& page, const ReportData& data) {
  page += fmt::format("<script type=\"application/json\" id=\"run\">\n{{\"width\":{},\"end\":{},\"index\":[", data.charts.width_s(),
                      data.charts.end_s());
  for (std::size_t i = 0; i < data.charts.intervals(); ++i) page += (i == 0 ? "" : ",") + std::to_string(data.charts.index(i));
  page += ']';
  add_columns(page, data.charts, data.summary.display);
  add_chart_list(page, data.charts, data.summary.display);
  add_stretch_list(page, "segments", data.summary.segments);
  add_stretch_list(page, "phases", data.summary.phases);
  page += ",\n\"marks\":[";
  std::size_t marks = 0;
  for (const Event& event : data.events) {
    const char letter = letter_of(event);
    if (letter == '\0' || marks == marks_max) continue;
    page += fmt::format("{}{{\"t\":{},\"letter\":\"{}\"}}", marks == 0 ? "" : ",", event.time_s, letter);
    ++marks;
  }
  page += "]}\n</script>\n";
}

// --- events, configuration, identity ---


void add_events(std::string& page, const ReportData& data) {
  page += "<h2 id=\"events\">Events</h2>\n";
  if (data.event_count > data.events.size()) {
    page += fmt::format("<p>The first {} of {} events; all of them are in events.csv.</p>\n", data.events.size(), data.event_count);
  }
  page += fmt::format(
      "<details{}><summary>{} events</summary>\n<div class=\"wide\"><table><thead><tr><th scope=\"col\" class=\"number\">Time</th><th "
      "scope=\"col\">Source</th>"
      "<th scope=\"col\">Kind</th><th scope=\"col\">Text</th></tr></thead>\n<tbody>\n",
      data.events.size() <= 40 ? " open" : "", data.events.size());
  for (const Event& event : data.events) {
    page += "<tr><td class=\"number\">" + clock_text(event.time_s, 1) + "</td><td>" + html_text(event.source) + "</td><td>" +
            html_text(event.kind) + "</td><td>" +
            html_text(event_in_display_units(event.source, event.text, data.summary.display)) + "</td></tr>\n";
  }
  page += "</tbody></table></div></details>\n";
}

void add_identity(std::string& page, const ReportData& data) {
  const Summary& summary = data.summary;
  page += "<h2 id=\"configuration\">Configuration and version</h2>\n<table><tbody>\n";
  add_pair(page, "Saggar", html_text(summary.saggar));
  add_pair(page, "scenario", html_text(summary.scenario));
  add_pair(page, "controller", html_text(summary.controller));
  add_pair(page, "seed", std::to_string(summary.seed));
  if (summary.fork.at_s >= 0.0)
    add_pair(page, "forked", html_text(fmt::format("from {} at {:g} s", summary.fork.run, summary.fork.at_s)));
  add_pair(page, "hash of every byte the controller sent", fmt::format("<code>{:016x}</code>", summary.controller_hash));
  add_pair(page, "hash of every signal at every tick", fmt::format("<code>{:016x}</code>", summary.trace_hash));
  page +=
      "</tbody></table>\n<p class=\"soft\">The same scenario, seed and version give the same bytes and the same figures. The file below "
      "repeats the run.</p>\n"
      "<details><summary>Everything the run used (resolved.yaml)</summary>\n<pre>" +
      html_text(data.resolved_yaml) + "</pre></details>\n";
}

}  // namespace

std::string report_html(const ReportData& data) {
  std::string page;
  page.reserve(data.charts.intervals() * data.charts.signals().size() * 16 + data.resolved_yaml.size() * 2 + 400000);
  add_head(page, data);
  add_expectations(page, data.summary, data.moments);
  add_figures(page, data.summary);
  page += "<h2 id=\"programme\">Programme and atmosphere</h2>\n<div class=\"columns\">\n";
  add_stretches(page, "Segments of the programme", data.summary.segments);
  add_stretches(page, "Phases of the atmosphere", data.summary.phases);
  page += "</div>\n";
  add_record(page, data.record);
  add_charts(page, data);
  add_events(page, data);
  page += "<h2 id=\"interlocks\">Interlocks and alarms of this controller's core</h2>\n";
  for (const PrintedTable& table : cause_effect_tables()) page += html_of(table);
  add_identity(page, data);
  page += "</main>\n";
  add_run_data(page, data);
  page += page_end();
  return page;
}

namespace {

std::string text_of_file(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw InputError({file.string(), 0, 0}, "no such file", "a file of a run");
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

void read_trace(const std::filesystem::path& file, ReportData& data, double every_s) {
  TraceReader trace(file);
  data.charts = ChartData(SignalTable(trace.signals()), every_s);
  std::vector<double> row(trace.signals().size());
  double time_s = 0.0;
  while (trace.next(time_s, row)) data.charts.add(time_s, row);
}

}  // namespace

void read_events(const std::filesystem::path& file, ReportData& data, std::uintmax_t bytes) {
  const CsvTable table = read_csv(file, bytes);
  data.event_count = table.rows.size();
  for (const std::vector<std::string>& row : table.rows) {
    if (data.events.size() == report_events_max || row.size() < 4) break;
    data.events.push_back({std::strtod(row[0].c_str(), nullptr), row[1], row[2], row[3]});
  }
}

namespace {

void read_record(const std::filesystem::path& file, ReportData& data) {
  if (!std::filesystem::exists(file)) return;      // of a version that kept none
  for (const std::vector<std::string>& row : read_csv(file, UINTMAX_MAX).rows)
    if (row.size() == 2 && !row[0].starts_with("deviation in segment")) data.record.emplace_back(row[0], row[1]);
}

}  // namespace

void rebuild_report(const std::filesystem::path& folder, const std::string& units) {
  ReportData data;
  data.summary = read_summary(folder / "summary.json");
  data.summary.display = display_of_run(folder);
  if (!units.empty()) choose_units(data.summary.display, units);
  read_trace(folder / "trace.csv", data, data.summary.record_every_s);
  read_events(folder / "events.csv", data);
  read_record(folder / "run_record.csv", data);
  data.moments = read_moments(folder / "moments.csv");
  data.resolved_yaml = text_of_file(folder / "resolved.yaml");
  ResultFile report(folder, "report.html");
  report.write(report_html(data));
  report.close();
  report.name();
}

}  // namespace sim
