#include "sim/charts.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include <fmt/format.h>

#include "sim/page.h"

namespace sim {

namespace {

using Role = ChartLine::Role;

std::vector<Chart> all_charts() {
  std::vector<Chart> charts;
  Chart temperatures{"temperatures", "Temperatures", "degC", false, 0.0, 0.0, {}};
  for (const char* zone : {"1", "2", "3", "4"}) {
    const std::string name = std::string("heat.") + zone;
    temperatures.lines.push_back({name + ".pv", std::string("zone ") + zone, Role::process_value});
    temperatures.lines.push_back({name + ".sp", std::string("zone ") + zone + " set point", Role::set_point});
  }
  temperatures.lines.push_back({"load.pv", "load thermocouple", Role::process_value});
  temperatures.lines.push_back({"plant.load.core", "load core, truth", Role::truth});
  temperatures.lines.push_back({"plant.load.surface", "load surface, truth", Role::truth});
  temperatures.lines.push_back({"plant.retort", "retort, truth", Role::truth});
  temperatures.lines.push_back({"plant.casing", "casing, truth", Role::truth});
  charts.push_back(temperatures);
  charts.push_back({"power", "Power", "W", false, 0.0, 0.0, {{"plant.power", "heater power, truth", Role::truth}}});
  Chart outputs{"outputs", "Outputs", "1", false, 0.0, 0.0, {}};
  for (const char* zone : {"1", "2", "3", "4"}) {
    outputs.lines.push_back({std::string("heat.") + zone + ".out", std::string("zone ") + zone + " demand", Role::process_value});
  }
  outputs.lines.push_back({"pressure.out", "back-pressure valve", Role::other});
  charts.push_back(outputs);
  charts.push_back({"vacuum", "Absolute pressure", "Pa, logarithmic", true, 0.1, 2e5,
                    {{"vacuum.pv", "capacitance gauge", Role::process_value}, {"plant.gas.pressure", "retort, truth", Role::truth}}});
  charts.push_back({"gauge", "Gauge pressure", "Pa gauge", false, -2000.0, 16000.0,
                    {{"pressure.pv", "gauge-pressure transmitter", Role::process_value},
                     {"pressure.sp", "set point", Role::set_point},
                     {"plant.gas.gauge", "retort, truth", Role::truth}}});
  charts.push_back({"flows", "Flows", "slm", false, 0.0, 0.0,
                    {{"flow.pv", "mass-flow controller", Role::process_value},
                     {"flow.sp", "set point", Role::set_point},
                     {"plant.flow.in", "into the retort, truth", Role::truth},
                     {"plant.flow.out", "out of the retort, truth", Role::truth}}});
  charts.push_back({"oxygen", "Oxygen", "ppm by volume, logarithmic", true, 0.1, 1e6,
                    {{"oxygen.pv", "zirconia cell", Role::process_value}, {"plant.gas.o2", "in the retort, truth", Role::truth}}});
  charts.push_back({"dew_point", "Dew point", "degC", false, 0.0, 0.0,
                    {{"dew_point.pv", "dew-point transmitter", Role::process_value},
                     {"plant.gas.dew_point", "in the retort, truth", Role::truth}}});
  return charts;
}

// The later interval's cell joined to the earlier one's.
void join(ChartData::Cell& earlier, const ChartData::Cell& later) {
  const bool low_later = later.low < earlier.low, high_later = later.high > earlier.high;
  if (low_later && high_later) earlier.low_first = later.low_first;
  else if (low_later) earlier.low_first = false;
  else if (high_later) earlier.low_first = true;
  earlier.low = std::min(earlier.low, later.low);
  earlier.high = std::max(earlier.high, later.high);
  earlier.last = later.last;
}

}  // namespace

std::vector<Chart> charts_of(const SignalTable& table) {
  std::vector<Chart> charts;
  for (Chart& chart : all_charts()) {
    std::erase_if(chart.lines, [&](const ChartLine& line) { return table.find(line.signal) < 0; });
    if (!chart.lines.empty()) charts.push_back(std::move(chart));
  }
  return charts;
}

Chart shown_chart(Chart chart, const ShownUnit& seen, std::string_view quantity) {
  if (seen.same) return chart;
  if (seen.offset != 0.0) {                  // what may be below nothing has no logarithm
    chart.logarithmic = false;
    chart.low = chart.high = 0.0;
  }
  chart.low *= seen.factor;
  chart.high *= seen.factor;
  chart.axis = fmt::format("{}{} (recorded in {})", seen.text, chart.logarithmic ? ", logarithmic" : "", quantity);
  return chart;
}

std::string recorded_json(const ShownUnit& seen, std::string_view quantity, int decimals) {
  if (seen.same) return "";
  return fmt::format(",\"recorded\":{{\"factor\":{},\"offset\":{},\"unit\":{},\"decimals\":{}}}", seen.factor, seen.offset,
                     json_text(quantity), decimals);
}

ChartData::ChartData(const SignalTable& table, double every_s) : charts_(charts_of(table)), width_s_(every_s) {
  for (const Chart& chart : charts_) {
    for (const ChartLine& line : chart.lines) {
      const int slot = table.find(line.signal);
      signals_.push_back(table.signals()[static_cast<std::size_t>(slot)]);
      slots_.push_back(static_cast<std::uint16_t>(slot));
    }
  }
  index_.reserve(chart_intervals_max);
  cells_.reserve(chart_intervals_max * signals_.size());
}

int ChartData::column(const std::string& signal) const {
  for (std::size_t i = 0; i < signals_.size(); ++i) {
    if (signals_[i].name == signal) return static_cast<int>(i);
  }
  return -1;
}

void ChartData::add(double time_s, std::span<const double> row) {
  end_s_ = time_s;
  auto index = static_cast<std::uint32_t>(std::floor(time_s / width_s_ + 1e-6));
  while (index >= chart_intervals_max) {
    widen();
    index = static_cast<std::uint32_t>(std::floor(time_s / width_s_ + 1e-6));
  }
  const bool begins = index_.empty() || index_.back() != index;
  if (begins) {
    index_.push_back(index);
    cells_.resize(cells_.size() + slots_.size());
  }
  Cell* cells = cells_.data() + (index_.size() - 1) * slots_.size();
  for (std::size_t i = 0; i < slots_.size(); ++i) {
    const double value = row[slots_[i]];
    const Cell now{value, value, value, true};
    if (begins) cells[i] = now;
    else join(cells[i], now);
  }
}

void ChartData::widen() {
  const std::size_t columns = slots_.size();
  std::size_t kept = 0;
  for (std::size_t i = 0; i < index_.size(); ++i) {
    const std::uint32_t index = index_[i] / 2;
    const Cell* from = cells_.data() + i * columns;
    if (kept > 0 && index_[kept - 1] == index) {
      for (std::size_t k = 0; k < columns; ++k) join(cells_[(kept - 1) * columns + k], from[k]);
    } else {
      index_[kept] = index;
      std::copy(from, from + columns, cells_.data() + kept * columns);
      ++kept;
    }
  }
  index_.resize(kept);
  cells_.resize(kept * columns);
  width_s_ *= 2.0;
}

}  // namespace sim
