#include "sim/cause_effect.h"

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/interlocks.h"
#include "sim/junit.h"

namespace sim {

namespace {

const char* effect_of(fw::InterlockAction action) {
  switch (action) {
    case fw::InterlockAction::trip: return "trip: heat off, contactor open, safe values of the atmosphere in force";
    case fw::InterlockAction::trip_over_pressure:
      return "trip: heat off, contactor open, all inlets shut, bypass open until the pressure is off; then the safe values";
    case fw::InterlockAction::refuse_heat: return "heat off, contactor open, while it stands";
    case fw::InterlockAction::refuse_air: return "air admittance stays shut";
    case fw::InterlockAction::refuse_bypass: return "bypass stays shut";
    case fw::InterlockAction::refuse_isolation: return "pump isolation stays shut";
    case fw::InterlockAction::refuse_process_gas: return "process valve stays shut, no flow";
  }
  return "";
}

std::string seconds(std::uint32_t ms) { return ms == 0 ? "at once" : fmt::format("{:g} s", ms * 1e-3); }

PrintedTable interlocks() {
  PrintedTable table{"Interlocks", {"row", "name", "cause", "after", "effect"}, {}};
  for (const fw::InterlockRow& row : fw::interlock_table())
    table.rows.push_back({std::to_string(row.number), row.name, row.cause, seconds(row.delay_ms), effect_of(row.action)});
  return table;
}

PrintedTable safe_values() {
  PrintedTable table{"Safe values", {"atmosphere", "process gas", "inert purge", "exhaust", "back-pressure valve", "bypass", "air", "pump"},
                     {}};
  const auto position = [](bool open) { return std::string(open ? "open" : "shut"); };
  for (const fw::SafeValues& row : fw::safe_table()) {
    const auto on = [&](std::uint16_t bit) { return (row.coils & bit) != 0; };
    table.rows.push_back({row.name, position(on(fw::coil::process_open)), position(!on(fw::coil::purge_shut)),
                          position(!on(fw::coil::exhaust_shut)), position(row.valve_frac > 0.5f), position(on(fw::coil::bypass_open)),
                          position(on(fw::coil::air_open)),
                          on(fw::coil::isolation_open) ? "open to the chamber" : "isolated, then stopped"});
  }
  return table;
}

PrintedTable alarms() {
  constexpr const char* priorities[] = {"low", "medium", "high"};
  PrintedTable table{"Alarms", {"alarm", "name", "priority", "meaning", "on after", "off after", "latching"}, {}};
  int number = 0;
  for (const fw::AlarmInfo& info : fw::alarm_table())
    table.rows.push_back({std::to_string(number++), info.name, priorities[static_cast<int>(info.priority)], info.meaning,
                          seconds(info.on_delay_ms), seconds(info.off_delay_ms), info.latching ? "yes" : ""});
  return table;
}

}  // namespace

std::vector<PrintedTable> cause_effect_tables() { return {interlocks(), safe_values(), alarms()}; }

std::string markdown_of(const PrintedTable& table, int level) {
  std::string text = std::string(static_cast<std::size_t>(level), '#') + " " + table.title + "\n\n|";
  for (const std::string& head : table.heads) text += " " + head + " |";
  text += "\n|";
  for (std::size_t i = 0; i < table.heads.size(); ++i) text += " --- |";
  text += "\n";
  for (const std::vector<std::string>& row : table.rows) {
    text += "|";
    for (const std::string& cell : row) text += cell.empty() ? " |" : " " + cell + " |";
    text += "\n";
  }
  return text;
}

std::string html_of(const PrintedTable& table) {
  std::string text = "<details><summary>" + html_text(table.title) + "</summary>\n<div class=\"wide\"><table><thead><tr>";
  for (const std::string& head : table.heads) text += "<th scope=\"col\">" + html_text(head) + "</th>";
  text += "</tr></thead>\n<tbody>\n";
  for (const std::vector<std::string>& row : table.rows) {
    text += "<tr>";
    for (const std::string& cell : row) text += "<td>" + html_text(cell) + "</td>";
    text += "</tr>\n";
  }
  return text + "</tbody></table></div></details>\n";
}

}  // namespace sim
