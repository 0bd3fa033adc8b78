#include "tools/progress.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>

#include <fmt/format.h>
#include <unistd.h>

namespace tools {
namespace {

constexpr double guess_atmosphere_s = 600.0;
constexpr double guess_cool_k_per_s = 4.0 / 60.0;

double nominal_s(const fw::Segment& segment, const sim::Scenario& scenario, double& degc) {
  const double duration_s = segment.duration_ms * 1e-3;
  switch (segment.kind) {
    case fw::SegmentKind::ramp: {
      const double change_k = std::abs(static_cast<double>(segment.target) - degc);
      degc = static_cast<double>(segment.target);
      if ((segment.options & fw::ramp_by_time) != 0 || !(segment.rate > 0.0f)) return duration_s;
      return change_k / static_cast<double>(segment.rate);
    }
    case fw::SegmentKind::purge: {
      const double slm = std::max(0.1, static_cast<double>(segment.flow_slm));
      const double volume_l = static_cast<double>(scenario.parameters.chamber_volume_l);
      if ((segment.options & fw::by_vacuum_cycles) != 0) return guess_atmosphere_s * segment.count;
      return static_cast<double>(segment.amount) * volume_l / slm * 60.0;
    }
    case fw::SegmentKind::cool: {
      const double change_k = std::max(0.0, degc - static_cast<double>(segment.target));
      degc = std::min(degc, static_cast<double>(segment.target));
      return change_k / guess_cool_k_per_s;
    }
    case fw::SegmentKind::evacuate:
    case fw::SegmentKind::backfill: return guess_atmosphere_s;
    case fw::SegmentKind::soak:
    case fw::SegmentKind::wait:
    case fw::SegmentKind::leak_test: return duration_s;
    case fw::SegmentKind::none:
    case fw::SegmentKind::repeat:
    case fw::SegmentKind::end: break;
  }
  return 0.0;
}

}  // namespace

ProgrammeShare::ProgrammeShare(const sim::Scenario& scenario) {
  double total_s = 0.0, degc = 20.0;
  for (const fw::Segment& segment : scenario.programme.segments) {
    begin_s_.push_back(total_s);
    total_s += nominal_s(segment, scenario, degc);
  }
  begin_s_.push_back(total_s + scenario.run.settle_s);
  if (!scenario.run.until_programme_ends) begin_s_ = {0.0, scenario.run.at_most_s};
}

double ProgrammeShare::done(int segment, double time_s) {
  if (segment != segment_) {
    segment_ = segment;
    segment_begin_s_ = time_s;
  }
  const bool by_time = begin_s_.size() == 2;
  if (!by_time && (segment < 0 || segment + 1 >= static_cast<int>(begin_s_.size()))) return done_;
  const auto index = by_time ? std::size_t{0} : static_cast<std::size_t>(segment);
  const double elapsed_s = by_time ? time_s : time_s - segment_begin_s_;
  const double reached_s = std::min(begin_s_[index] + elapsed_s, begin_s_[index + 1]);
  done_ = std::max(done_, std::min(1.0, reached_s / std::max(1.0, begin_s_.back())));
  return done_;
}

std::string duration_text(double seconds) {
  const auto whole = static_cast<long long>(std::llround(std::max(0.0, seconds)));
  if (whole < 60) return fmt::format("{} s", whole);
  if (whole < 3600) return fmt::format("{} min {:02} s", whole / 60, whole % 60);
  return fmt::format("{} h {:02} min", whole / 3600, whole % 3600 / 60);
}

bool may_colour(int descriptor) {
  const char* no_colour = std::getenv("NO_COLOR");
  return isatty(descriptor) == 1 && (no_colour == nullptr || *no_colour == '\0');
}

Progress::Progress(std::string title, bool quiet, std::chrono::steady_clock::time_point begin)
    : title_(std::move(title)), shown_(!quiet && isatty(STDERR_FILENO) == 1), begin_(begin), next_(begin) {}

Progress::~Progress() { clear(); }

void Progress::show(double done, double simulated_s) {
  if (!shown_) return;
  const auto now = std::chrono::steady_clock::now();
  if (now < next_) return;
  next_ = now + std::chrono::milliseconds(200);
  const double wall_s = std::chrono::duration<double>(now - begin_).count();
  const std::string left = done > 0.02 ? duration_text(wall_s * (1.0 - done) / done) : "...";
  fmt::print(stderr, "\r{}: about {:3.0f} % done, simulated {}, {:.0f} x real time, {} left   ", title_, 100.0 * done,
             duration_text(simulated_s), wall_s > 0.0 ? simulated_s / wall_s : 0.0, left);
  std::fflush(stderr);
  drawn_ = true;
}

void Progress::clear() {
  if (!drawn_) return;
  fmt::print(stderr, "\r{:100}\r", "");
  std::fflush(stderr);
  drawn_ = false;
}

}  // namespace tools
