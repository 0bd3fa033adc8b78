#include "sim/operating_sheet.h"

#include <algorithm>
#include <cmath>
#include <set>

#include <fmt/format.h>

#include "firmware/atmosphere.h"
#include "sim/cautions.h"
#include "sim/input_error.h"
#include "sim/page.h"
#include "sim/programme_file.h"
#include "sim/programme_sentence.h"
#include "sim/report_page.h"
#include "sim/result_file.h"
#include "sim/sheet_figure.h"
#include "sim/sheet_guide.h"

namespace sim {

namespace {

using fw::SegmentKind;

constexpr const char* blank = "<span class=\"blank\"></span>";

std::string paragraph(const std::string& html) { return html.empty() ? "" : "<p>" + html + "</p>\n"; }
std::string item(const std::string& html) { return html.empty() ? "" : "<li>" + html + "</li>\n"; }

bool many(const SheetFigures& figures) { return figures.runs().size() > 1; }

// --- what kind of furnace and programme it is ---

bool gas_controlled(const Scenario& scenario) {
  return scenario.parameters.retort_ceramic != 0 || scenario.parameters.atmosphere_required != 0;
}

bool load_used(const Scenario& scenario) { return applies({.load = true}, scenario, 0, false); }

template <class Condition>
bool any_segment(const Scenario& scenario, Condition condition) {
  return std::any_of(scenario.programme.segments.begin(), scenario.programme.segments.end(), condition);
}

bool has_vacuum(const Scenario& scenario) {
  return any_segment(scenario, [](const fw::Segment& one) {
    return one.kind == SegmentKind::evacuate || (one.kind == SegmentKind::purge && (one.options & fw::by_vacuum_cycles));
  });
}

// --- head ---

void add_warning(std::string& page, const std::string& html) { page += "<p class=\"stop\">" + html + "</p>\n"; }

void add_warnings(std::string& page, const SheetFigures& figures) {
  bool faults = false;
  for (std::size_t i = 0; i < figures.runs().size(); ++i) {
    const SheetRun& run = figures.runs()[i];
    const std::string at = fmt::format("run/{}/", i);
    faults = faults || !run.scenario.faults.empty() || !run.scenario.mistakes.empty();
    if (run.summary.verdict != "pass")
      add_warning(page, "✕ Not to be used at a furnace: the verdict of run " + figures.word(at + "folder") + " is " +
                            figures.word(at + "verdict") + ". " + figures.word(at + "broken_by"));
    if (!run.complete)
      add_warning(page, "✕ Not to be used as it stands, since it is not a whole cycle: the programme of run " +
                            figures.word(at + "folder") + " ended in step “" + figures.word(at + "ended_in") + "”" +
                            (run.ended_by.empty() ? ", when the time of the run was up." : ": " + figures.word(at + "ended_by") + "."));
  }
  if (faults)
    add_warning(page, "✕ Faults or mistakes were planted in what this sheet is made of: times and readings are not those of a sound "
                      "furnace, rightly used.");
}

void add_identity(std::string& page, const SheetFigures& figures) {
  page += "<p class=\"soft\">";
  for (std::size_t i = 0; i < figures.runs().size(); ++i) {
    const std::string at = fmt::format("run/{}/", i);
    page += (i == 0 ? "" : "; ") + std::string("run ") + figures.word(at + "folder") + ": seed " + figures.word(at + "seed") +
            ", verdict " + figures.word(at + "verdict") + ", hash " + figures.word(at + "hash");
  }
  page += ". Scenario " + figures.word("run/0/scenario") + ", controller: " + figures.word("scenario/controller.title") + " (" +
          figures.word("run/0/controller") + "), saggar " + figures.word("run/0/saggar") + ".</p>\n";
}

void add_head(std::string& page, const SheetFigures& figures, const DisplayUnits& units) {
  const Scenario& scenario = figures.runs().front().scenario;
  page += page_begin(html_text(scenario.title) + ": operating sheet", sheet_css, units.chosen() ? "sheet chosen" : "sheet");
  page +=
      "<h1>" + (scenario.title.empty() ? figures.word("run/0/scenario") : figures.word("scenario/title")) + ": operating sheet</h1>\n";
  page += paragraph("Furnace: " + figures.word("scenario/furnace.title"));
  add_warnings(page, figures);
  page += "<p class=\"fields\">";
  for (const char* what : {"Date", "Furnace no.", "Load no.", "Cylinder no.", "Operator"})
    page += fmt::format("<span>{} <span class=\"blank\"></span></span>", what);
  page += "</p>\n";
  add_identity(page, figures);
  if (units.chosen()) page += paragraph("Units chosen are shown first, as recorded in parentheses.");
}

// --- preparation ---

std::set<std::string> gases_of(const Scenario& scenario) {
  static constexpr const char* names[] = {"", "air", "nitrogen", "argon", "helium", "hydrogen", "forming gas"};
  std::set<std::string> gases;
  for (const fw::Segment& one : scenario.programme.segments)
    if (one.gas != fw::Gas::keep) gases.insert(names[static_cast<std::size_t>(one.gas)]);
  if (gas_controlled(scenario)) gases.insert(names[static_cast<std::size_t>(scenario.furnace.supply.purge)]);
  gases.erase("");
  return gases;
}

void add_cautions(std::string& page, const SheetFigures& figures) {
  const Scenario& scenario = figures.runs().front().scenario;
  std::set<std::string> gases = gases_of(scenario);
  gases.erase("air");
  page += "<section class=\"caution\"><strong>Preparation and cautions</strong>\n<ul>\n";
  std::string names;
  for (const std::string& gas : gases) names += (names.empty() ? "" : ", ") + gas;
  if (!gases.empty()) {
    page += item(
        "Asphyxiating gas: " + html_text(names) +
        ". It displaces air without warning. Ventilation runs and an oxygen monitor is worn "
        "or stands by, tested, before the supply is opened. None of these gases burns; with a combustible gas this sheet does not hold.");
    page +=
        item(figures.sentence("Supply open, regulator set to {furnace.supply.regulated}; the controller wants at least "
                              "{furnace.supply.present}. Inert purge carries {furnace.supply.purge_gas}."));
  }
  if (has_vacuum(scenario))
    page += item("Vacuum: down to " + figures.lowest("trace/plant.gas.pressure/run/low") +
                 ". Seals clean, load dry, pump oil in sight; nobody opens anything while the retort is evacuated.");
  if (gas_controlled(scenario))
    page += item(figures.sentence("Pressure: relief valve sealed at {furnace.relief.set}, its outlet and the exhaust line free."));
  page += item(figures.sentence("Over-temperature limiter, independent of the controller: set to {furnace.limiter.trip}, tested."));
  page += item("Hot surfaces: heater side up to " + figures.highest("summary/totals.peak_zone_1_degc") + ", casing up to " +
               figures.highest("summary/totals.peak_casing_degc") + ". Electricity: " + figures.sentence("{furnace.mains.nominal}") +
               ". Emergency stop tested, door shut.");
  page += item(html_text(short_caution) + " Independent protection stays in force. " + html_text(cautions.back()));
  page += "</ul>\n</section>\n";
}

void add_pair(std::string& page, const char* what, const std::string& html) {
  if (!html.empty()) page += fmt::format("<tr><th scope=\"row\">{}</th><td class=\"number\">{}</td></tr>\n", what, html);
}

void add_provisions(std::string& page, const SheetFigures& figures) {
  const Scenario& scenario = figures.runs().front().scenario;
  page += "<section><h2>To provide</h2>\n<table><tbody>\n";
  add_pair(page, "Time, start to end", figures.spread("time/run"));
  add_pair(page, "Energy", figures.spread("summary/totals.energy_kwh"));
  add_pair(page, "Power, highest", figures.highest("trace/plant.power/run/high"));
  if (!gases_of(scenario).empty()) {
    add_pair(page, "Gas used", figures.spread("provide/gas_used"));
    add_pair(page, "with every step at its longest", figures.highest("provide/gas_longest"));
    add_pair(page, "purge through the cooling", figures.highest("provide/gas_reserve"));
    add_pair(page, "Gas to have, the last two", figures.highest("provide/gas"));
    add_pair(page, "as pressure × volume", figures.highest("provide/cylinder"));
  }
  page += "</tbody></table>\n";
  if (!gases_of(scenario).empty())
    page += paragraph("Standard litres: at " + figures.value("constant/standard_degc") + " and " + figures.value("constant/standard_pa") +
                      ". A cylinder at " + figures.sentence("{furnace.surroundings.ambient}") +
                      " loses the last line, divided by its water volume, in pressure. Before " + blank + " after " + blank);
  page += "</section>\n";
}

// --- one step ---

struct Step {
  int index;  // of the segment
  SegmentKind kind;
  std::string item;  // programme.3.evacuate
  std::string at;    // segment/3
  unsigned phases;
  bool heating;
  bool hot;  // heat was asked for in this segment or before: temperatures are worth reading
};

unsigned usual_phases(const Scenario& scenario, SegmentKind kind) {
  const auto bit = [](fw::AtmospherePhase phase) { return 1u << static_cast<unsigned>(phase); };
  if (kind == SegmentKind::evacuate) return bit(fw::AtmospherePhase::evacuating);
  if (kind == SegmentKind::backfill) return bit(fw::AtmospherePhase::backfilling);
  if (kind == SegmentKind::purge) return bit(fw::AtmospherePhase::purging);
  if (kind == SegmentKind::leak_test) return bit(fw::AtmospherePhase::leak_test);
  return bit(gas_controlled(scenario) ? fw::AtmospherePhase::holding : fw::AtmospherePhase::rest);
}

Step step_of(const SheetFigures& figures, int index) {
  const Scenario& scenario = figures.runs().front().scenario;
  const std::vector<fw::Segment>& segments = scenario.programme.segments;
  Step step{};
  step.index = index;
  step.kind = segments[static_cast<std::size_t>(index)].kind;
  step.item = fmt::format("programme.{}.{}", index, name_of(step.kind));
  step.at = fmt::format("segment/{}", index);
  for (const SheetRun& run : figures.runs())
    for (const Passage& passage : run.passages)
      if (passage.segment == index) step.phases |= passage.phases;
  if (step.phases == 0) step.phases = usual_phases(scenario, step.kind);
  const auto heats = [](const fw::Segment& one) { return one.kind == SegmentKind::ramp || one.kind == SegmentKind::soak; };
  step.hot = std::any_of(segments.begin(), segments.begin() + index + 1, heats);
  const bool can = step.kind == SegmentKind::ramp || step.kind == SegmentKind::soak || step.kind == SegmentKind::wait;
  step.heating = step.hot && can;
  return step;
}

struct ValveName {
  const char* signal;
  const char* name;
  const char* on;
  const char* off;
};
constexpr ValveName valves[] = {
    {"plant.valve.process", "process gas", "opens", "shuts"}, {"plant.valve.purge", "inert purge", "opens", "shuts"},
    {"plant.valve.exhaust", "exhaust", "opens", "shuts"},     {"plant.valve.bypass", "bypass", "opens", "shuts"},
    {"plant.valve.air", "air admittance", "opens", "shuts"},  {"plant.valve.pump", "pump isolation", "opens", "shuts"},
    {"plant.pump", "vacuum pump", "starts", "stops"},         {"plant.contactor", "heater contactor", "closes", "opens"}};

// What moves in the segment, as the first run's first time through it went.
std::string moves_of(const SheetRun& run, int index) {
  const auto passage = std::find_if(run.passages.begin(), run.passages.end(), [&](const Passage& one) { return one.segment == index; });
  std::string text;
  for (const ValveName& valve : valves) {
    const int slot = run.table.find(valve.signal);
    if (passage == run.passages.end() || slot < 0) continue;
    const Extent& extent = passage->signals[static_cast<std::size_t>(slot)];
    const bool before = extent.first > 0.5, after = extent.last > 0.5, other = before ? extent.low < 0.5 : extent.high > 0.5;
    const std::string moves = before != after ? (after ? valve.on : valve.off)
                              : other ? fmt::format("{} and {} again", before ? valve.off : valve.on, before ? valve.on : valve.off)
                                      : "";
    if (!moves.empty()) text += fmt::format("{}{} {}", text.empty() ? "" : ", ", valve.name, moves);
  }
  return text.empty() ? "" : "Watch: " + text + ".";
}

std::string zone_label(const SheetFigures& figures, int zone, const char* what) {
  const int zones = figures.runs().front().scenario.parameters.zones;
  if (zones == 1) return what;
  return fmt::format("{}, zone <data value=\"{}\" data-from=\"zone\">{}</data>", what, zone, zone);
}

// Set points at the begin and the end.
std::string set_points_of(const SheetFigures& figures, const Step& step) {
  std::string html;
  for (int zone = 1; step.heating && zone <= figures.runs().front().scenario.parameters.zones; ++zone) {
    const std::string path = fmt::format("trace/heat.{}.sp/{}/", zone, step.at);
    if (!figures.has(path + "last")) continue;
    html += paragraph(zone_label(figures, zone, "Set point") + ": at the begin " + figures.value(path + "first") + ", at the end " +
                      figures.value(path + "last") + ".");
  }
  const std::string flow = "trace/flow.sp/" + step.at + "/last";
  const bool given = figures.has("scenario/" + step.item + ".flow");
  if (given)
    html += paragraph("Flow: " + figures.sentence("{.flow}.", step.item));
  else if (figures.has(flow) && !figures.is_zero(flow))
    html += paragraph("Flow stays " + figures.value(flow) + ".");
  if (figures.has("scenario/" + step.item + ".back_pressure"))
    html += paragraph("Back-pressure: " + figures.sentence("{.back_pressure}.", step.item));
  return html;
}

// The step that an operator's action belongs to, as the first run went; -1: none, it waits for something else.
int step_of_action(const SheetRun& run, const OperatorAction& action) {
  const std::vector<std::string>& names = run.scenario.programme.names;
  const auto name = std::find(names.begin(), names.end(), action.when.segment);
  if (name != names.end()) return static_cast<int>(name - names.begin());
  if (!action.when.timed()) return -1;
  for (const Passage& passage : run.passages)
    if (action.when.at_s < passage.to_s) return passage.segment;  // before the start: with the first step
  return -1;
}

std::string actions_of(const SheetFigures& figures, int step) {
  const SheetRun& run = figures.runs().front();
  std::string html;
  for (std::size_t i = 0; i < run.scenario.actions.size(); ++i) {
    if (step_of_action(run, run.scenario.actions[i]) != step) continue;
    const std::string at = fmt::format("scenario/actions.{}.", i);
    html += "<p><strong>You:</strong> " + figures.word(fmt::format("action/{}/text", i));
    const auto add = [&](const char* lead, const char* key, const char* behind) {
      const std::string number = figures.value(at + key), figure = number.empty() ? figures.word(at + key) : number;
      if (!figure.empty()) html += lead + figure + behind;
    };
    add(" at ", "at", "");
    add(", when the phase begins: ", "phase", "");
    add(", when ", "when", "");
    for (const char* key : {"event.source", "event.kind", "event.text"}) add(", at the event ", key, "");
    add(", ", "after", " later");
    add(", every ", "every", "");
    add(", ", "times", " times in all");
    html += ".</p>\n";
  }
  return html;
}

std::string guide_of(const SheetFigures& figures, const Step& step, bool not_so) {
  std::string html;
  std::set<int> taken;
  for (const GuideText& one : guide_texts()) {
    const bool kind = one.kind == step.kind || (one.kind == SegmentKind::none && step.kind != SegmentKind::end);
    if (!kind || one.not_so != not_so || taken.count(one.group) != 0) continue;
    if (*one.off_at_zero && figures.is_zero(one.off_at_zero)) continue;
    const std::string text = figures.sentence(one.text, step.item);
    if (text.empty()) continue;
    html += paragraph(text);
    if (one.group != 0) taken.insert(one.group);
  }
  return html;
}

bool in_force(const SheetFigures& figures, const GuideRule& rule, unsigned phases, bool heating) {
  const bool off = *rule.off_at_zero && figures.is_zero(rule.off_at_zero);
  return !off && applies(rule.scope, figures.runs().front().scenario, phases, heating) && !figures.sentence(rule.text).empty();
}

// Names of the rules that can act in the step.
std::string rules_of(const SheetFigures& figures, const Step& step) {
  std::string names;
  for (const GuideRule& rule : guide_rules()) {
    if (in_force(figures, rule, step.phases, step.heating)) names += (names.empty() ? "" : ", ") + std::string(rule.name);
  }
  return names.empty() ? "" : "Can act, see below: " + html_text(names) + ".";
}

// --- readings ---

constexpr unsigned gas_phases = 1u << static_cast<unsigned>(fw::AtmospherePhase::backfilling) |
                                1u << static_cast<unsigned>(fw::AtmospherePhase::purging) |
                                1u << static_cast<unsigned>(fw::AtmospherePhase::holding);
constexpr unsigned sampled_phases =
    1u << static_cast<unsigned>(fw::AtmospherePhase::purging) | 1u << static_cast<unsigned>(fw::AtmospherePhase::holding);
constexpr unsigned vacuum_phases =
    1u << static_cast<unsigned>(fw::AtmospherePhase::evacuating) | 1u << static_cast<unsigned>(fw::AtmospherePhase::leak_test);

void add_reading(std::string& rows, const SheetFigures& figures, const std::string& label, const std::string& signal,
                 const std::string& at, const std::string& lead = "") {
  const std::string path = "trace/" + signal + "/" + at + "/";
  const std::string last = path + "last", expected = figures.value(last);
  if (expected.empty()) return;
  rows += "<tr><th scope=\"row\">" + label + "</th><td class=\"number\">" + expected + "</td>";
  if (many(figures))
    rows += "<td class=\"number\">" + (figures.alike(last) ? std::string("alike") : figures.range(last, last, last)) + "</td>";
  rows +=
      "<td class=\"number\">" + figures.range(path + lead + "low", path + lead + "high", last) + "</td><td class=\"box\"></td></tr>\n";
}

// While nothing is measured the last value stays: then least and greatest are the same. With the heat permissive there, it is measured.
bool measured(const SheetFigures& figures, const std::string& signal, const Step& step) {
  const std::string path = "trace/" + signal + "/" + step.at + "/", permissive = "trace/interlock.heat_permissive/" + step.at + "/low";
  const Samples low = figures.samples(path + "low"), high = figures.samples(path + "high");
  const bool permitted = figures.has(permissive) && !figures.is_zero(permissive);
  return !low.values.empty() && (low.values != high.values || permitted);
}

// The band of a soak is that of the time that counted.
std::string lead_of(const SheetFigures& figures, const Step& step, const std::string& signal) {
  const bool counted = step.kind == SegmentKind::soak && figures.has("trace/" + signal + "/" + step.at + "/counted_low");
  return counted ? "counted_" : "";
}

void add_temperatures(std::string& rows, const SheetFigures& figures, const Step& step) {
  const Scenario& scenario = figures.runs().front().scenario;
  for (int zone = 1; zone <= scenario.parameters.zones; ++zone) {
    const std::string signal = fmt::format("heat.{}.pv", zone);
    add_reading(rows, figures, zone_label(figures, zone, "Heater"), signal, step.at, lead_of(figures, step, signal));
  }
  if (load_used(scenario)) add_reading(rows, figures, "Load", "load.pv", step.at, lead_of(figures, step, "load.pv"));
}

std::string readings_of(const SheetFigures& figures, const Step& step) {
  const Scenario& scenario = figures.runs().front().scenario;
  std::string rows;
  if (step.hot || step.kind == SegmentKind::cool) add_temperatures(rows, figures, step);
  if (gas_controlled(scenario)) {
    const Samples vacuum = figures.samples("trace/vacuum.pv/" + step.at + "/last");
    const bool in_range = !vacuum.values.empty() && vacuum.values.front() < scenario.parameters.capacitance_full_scale_pa;
    if ((step.phases & vacuum_phases) && in_range) add_reading(rows, figures, "Vacuum", "vacuum.pv", step.at);
    const Samples gauge = figures.samples("trace/pressure.pv/" + step.at + "/last");
    const bool on_scale = !gauge.values.empty() && gauge.values.front() > scenario.parameters.gauge_low_pa;
    if ((step.phases & gas_phases) && on_scale) add_reading(rows, figures, "Pressure", "pressure.pv", step.at);
    if ((step.phases & gas_phases) && !figures.is_zero("trace/flow.sp/" + step.at + "/last"))
      add_reading(rows, figures, "Flow", "flow.pv", step.at);
    for (const auto& [signal, label] : {std::pair{"oxygen.pv", "Oxygen"}, std::pair{"dew_point.pv", "Dew point"}})
      if ((step.phases & sampled_phases) && measured(figures, signal, step)) add_reading(rows, figures, label, signal, step.at);
  }
  const std::string rise = "trace/atmosphere.pressure_rise/" + step.at + "/next";
  if (step.kind == SegmentKind::leak_test && figures.has(rise))
    rows += fmt::format("<tr><th scope=\"row\">Result</th><td class=\"number\">{}</td>{}<td></td><td class=\"box\"></td></tr>\n",
                        figures.value(rise), many(figures) ? "<td class=\"number\">" + figures.range(rise, rise, rise) + "</td>" : "");
  return rows;
}

std::string reading_table(const SheetFigures& figures, const std::string& rows) {
  if (rows.empty()) return "";
  std::string table =
      fmt::format("<table class=\"{}\"><thead><tr>", many(figures) ? "many" : "one");
  for (const char* column : {"Reading", "at the end", many(figures) ? "spread" : "", "meanwhile", "read"}) {
    const bool number = std::string_view(column) != "Reading" && std::string_view(column) != "read";
    if (*column) table += fmt::format("<th scope=\"col\"{}>{}</th>", number ? " class=\"number\"" : "", column);
  }
  return table + "</tr></thead>\n<tbody>\n" + rows + "</tbody></table>\n";
}

bool ended_in(const SheetFigures& figures, int index) {
  return std::any_of(figures.runs().begin(), figures.runs().end(), [index](const SheetRun& run) {
    return !run.complete && !run.passages.empty() && run.passages.back().segment == index;
  });
}

void add_step(std::string& page, const SheetFigures& figures, int index) {
  const Step step = step_of(figures, index);
  const std::string time = fmt::format("time/{}", index);
  const bool waits = step.kind != SegmentKind::end && step.kind != SegmentKind::repeat;
  page += "<section class=\"step numbered\">\n<header><h3>" + figures.word(fmt::format("scenario/programme.{}.name", index)) + "</h3>";
  const std::string done = guide_of(figures, step, false) + actions_of(figures, step.index);
  if (!waits) {
    page += "</header>\n<div class=\"do\">" + done + "</div>\n</section>\n";
    return;
  }
  if (figures.has(time))
    page += "<span>should take " + figures.spread(time) + "</span>";
  else
    page += "<span><strong>" +
            std::string(ended_in(figures, index) ? "the run ended in this step, after " + figures.value("time/ended")
                                                 : "not reached in this run") +
            "</strong></span>";
  page += "<span>begun " + std::string(blank) + " ended " + blank + " by " + blank +
          "</span></header>\n<div class=\"parts\">\n<div class=\"do\">" + done + set_points_of(figures, step) +
          paragraph(moves_of(figures.runs().front(), index)) + "</div>\n<div>" + reading_table(figures, readings_of(figures, step)) +
          "</div>\n<div class=\"wrong\">" + guide_of(figures, step, true) + paragraph(rules_of(figures, step)) +
          "</div>\n</div>\n</section>\n";
}

// --- what comes after the programme ---

std::string positions(const SheetRun& run) {
  std::string open, shut;
  for (const ValveName& valve : valves) {
    const int slot = run.table.find(valve.signal);
    if (slot < 0 || !std::isfinite(run.after.signals[static_cast<std::size_t>(slot)].last)) continue;
    const bool on = run.after.signals[static_cast<std::size_t>(slot)].last > 0.5;
    std::string& list = on ? open : shut;
    list += (list.empty() ? "" : ", ") + std::string(valve.name);
  }
  return (open.empty() ? "" : "Open or on: " + open + ". ") + (shut.empty() ? "" : "Shut or off: " + shut + ".");
}

void add_after(std::string& page, const SheetFigures& figures) {
  const SheetRun& run = figures.runs().front();
  if (!figures.has("trace/programme.state/after/last")) return;
  Step after{};
  after.index = -1;
  after.at = "after";
  after.kind = SegmentKind::end;
  std::string rows;
  add_temperatures(rows, figures, after);
  if (gas_controlled(run.scenario)) add_reading(rows, figures, "Pressure", "pressure.pv", "after");
  page += "<section class=\"step\">\n<header><h3>" + std::string(run.complete ? "After the end" : "After the programme was broken off") +
          "</h3><span>watched for " + figures.spread("time/after") + "</span><span>at " + blank + " by " + blank +
          "</span></header>\n<div class=\"parts\">\n<div>" +
          paragraph("The safe values stand. " + (gas_controlled(run.scenario) ? positions(run) : "")) + "</div>\n<div>" +
          reading_table(figures, rows) + "</div>\n<div class=\"wrong\">";
  if (run.scenario.parameters.load_titanium != 0)
    page += paragraph(figures.sentence("Do not open before the load is below {controller.limits.air_admittance_max}."));
  page += paragraph(
      gas_controlled(run.scenario)
          ? "Let pressure off, shut the supply, and open only when no vacuum and no pressure stands and the room's oxygen is right."
          : "Open only when the load may be touched and the main switch is off.");
  page += "</div>\n</div>\n</section>\n";
}

// --- all of it ---

void add_reading_rules(std::string& page, const SheetFigures& figures) {
  page += "<p class=\"soft\">Times are hours:minutes:seconds. ";
  if (many(figures))
    page +=
        "Each time and reading is the median of " + figures.value("count/runs") +
        " runs, and beside it the least … the greatest of them (the spread), where the digits shown differ. Meanwhile: the least … the "
        "greatest "
        "in the step, over all runs.";
  else
    page +=
        "From one run: no spread is known. Expected on each instrument: at the end of the step, and meanwhile, which is the least … the "
        "greatest in the step; in a soak, while time counted.";
  page += "</p>\n";
}

void add_rules(std::string& page, const SheetFigures& figures) {
  page += "<h2>If not so: what the controller does (* in any step)</h2>\n<div class=\"rules\">";
  unsigned phases = 0;
  bool heating = false;
  for (int i = 0; i < static_cast<int>(figures.runs().front().scenario.programme.segments.size()); ++i) {
    const Step step = step_of(figures, i);
    phases |= step.phases;
    heating = heating || step.heating;
  }
  for (const GuideRule& rule : guide_rules()) {
    const bool always = in_force(figures, rule, 0, false);
    if (always || in_force(figures, rule, phases, heating))
      page += paragraph("<strong>" + html_text(rule.name) + (always ? "*." : ".") + "</strong> " + figures.sentence(rule.text));
  }
  page += paragraph(
              "<strong>After a trip.</strong> A trip switches heat off, opens the contactor and leaves the safe values in force until "
              "its cause has gone and somebody "
              "has acknowledged it. Write down what tripped and when; find the cause first. A step that takes longer or reads "
              "otherwise than expected here is a reason to ask, even with no alarm.") +
          "</div>\n";
}

void add_all_steps(std::string& page, const SheetFigures& figures) {
  page += "<h2>Steps</h2>\n";
  add_reading_rules(page, figures);
  const bool started = std::any_of(figures.runs().front().scenario.actions.begin(), figures.runs().front().scenario.actions.end(),
                                   [](const OperatorAction& one) {
                                     return one.command == fw::Command::start || one.command == fw::Command::start_at_value;
                                   });
  page += paragraph("<strong>You:</strong> load in place, thermocouples in place, door shut, every line of the preparation done" +
                    std::string(started ? "." : "; then start the programme at the controller.") +
                    " The controller opens, closes and sets what follows; you watch, read and write down.");
  page += actions_of(figures, -1);
  for (std::size_t i = 0; i < figures.runs().front().scenario.programme.segments.size(); ++i)
    add_step(page, figures, static_cast<int>(i));
  add_after(page, figures);
  add_rules(page, figures);
}

}  // namespace

void check_same_programme(const std::vector<SheetRun>& runs) {
  const ProgrammeSource& first = runs.front().scenario.programme;
  for (const SheetRun& run : runs) {
    const ProgrammeSource& other = run.scenario.programme;
    const std::size_t count = std::max(first.segments.size(), other.segments.size());
    for (std::size_t i = 0; i < count; ++i) {
      const bool both = i < first.segments.size() && i < other.segments.size();
      const auto words = [i](const ProgrammeSource& programme) {
        return i < programme.segments.size() ? "`" + programme.names[i] + "`: " + segment_sentence(programme.segments[i], programme.names)
                                             : "no segment";
      };
      if (both && first.names[i] == other.names[i] &&
          write_programme({"", {first.segments[i]}, {first.names[i]}}, 0) ==
              write_programme({"", {other.segments[i]}, {other.names[i]}}, 0))
        continue;
      throw InputError({(run.folder / "resolved.yaml").string(), 0, 0}, fmt::format("as segment {} {}", i + 1, words(other)),
                       fmt::format("the programme of {}, there {}", runs.front().folder.string(), words(first)));
    }
  }
}

std::string sheet_html(const std::vector<SheetRun>& runs, const DisplayUnits& units) {
  const SheetFigures figures(runs, units);
  std::string page;
  add_head(page, figures, units);
  page += "<div class=\"pair\">\n";
  add_cautions(page, figures);
  add_provisions(page, figures);
  page += "</div>\n";
  add_all_steps(page, figures);
  page +=
      "<p class=\"fields\"><span>Remarks <span class=\"blank wide\"></span></span><span>Signature <span class=\"blank "
      "wide\"></span></span></p>\n";
  return page + "</main>\n</body>\n</html>\n";
}

void write_sheet(const std::vector<std::filesystem::path>& folders, const std::filesystem::path& out, const std::string& units) {
  std::vector<SheetRun> runs;
  for (const std::filesystem::path& folder : folders) runs.push_back(read_sheet_run(folder));
  check_same_programme(runs);
  DisplayUnits display = runs.front().scenario.display;
  if (!units.empty()) choose_units(display, units);
  ResultFile file(out, "sheet.html");
  file.write(sheet_html(runs, display));
  file.close();
  file.name();
}

}  // namespace sim
