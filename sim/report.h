// The report of a run: one HTML file that needs nothing else, made from what the run has recorded.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "sim/charts.h"
#include "sim/moment_clip.h"
#include "sim/summary.h"

namespace sim {

inline constexpr std::size_t report_events_max = 2000;   // the rest is in events.csv, and the report says so

struct ReportData {
  Summary summary;
  ChartData charts;
  std::vector<Event> events;        // at most report_events_max
  std::uint64_t event_count = 0;    // all of them
  std::vector<MomentClip> moments;  // of the expectations that were judged
  std::string resolved_yaml;
  std::vector<std::pair<std::string, std::string>> record{};   // of the run, as the controller keeps it
};

std::string report_html(const ReportData& data);

// The events of a run's events.csv, of its first bytes. Throws InputError.
void read_events(const std::filesystem::path& file, ReportData& data, std::uintmax_t bytes = UINTMAX_MAX);

// Writes report.html again from trace.csv, events.csv, moments.csv, summary.json and resolved.yaml of the folder; the same to the
// byte as the run wrote it, if `units` (over the `display` of resolved.yaml) is what its --units was. Throws InputError
// when a file is missing or not what it should be, RecordingError when it cannot be written.
void rebuild_report(const std::filesystem::path& folder, const std::string& units = "");

}  // namespace sim
