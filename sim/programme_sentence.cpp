#include "sim/programme_sentence.h"

#include <cmath>

#include <fmt/format.h>

#include "sim/moment_sentence.h"

namespace sim {

namespace {

using fw::Segment;
using fw::SegmentKind;

std::string value(float recorded, const char* unit, const DisplayUnits& units) {
  return shown(static_cast<double>(recorded), unit, units, Digits::written);
}

// A rate, stored per second, as it is said: per minute.
std::string per_minute(float per_s, const char* unit, const DisplayUnits& units) {
  return shown(60.0 * static_cast<double>(per_s), unit, units, Digits::written);
}

double seconds(std::uint32_t ms) { return static_cast<double>(ms) / 1e3; }

std::string gas_name(fw::Gas gas) {
  constexpr const char* names[] = {"the gas as before", "air", "nitrogen", "argon", "helium", "hydrogen", "forming gas"};
  return names[static_cast<std::size_t>(gas)];
}

std::string ramp(const Segment& segment, const DisplayUnits& units, double& from_degc) {
  const double way_k = static_cast<double>(segment.target) - from_degc;
  const std::string from = shown(from_degc, "degC", units, Digits::written), to = value(segment.target, "degC", units);
  from_degc = static_cast<double>(segment.target);
  if ((segment.options & fw::ramp_by_time) == 0) {
    const double lasts_s = std::fabs(way_k) / static_cast<double>(segment.rate);
    return fmt::format("From {} at {} to {} (about {})", from, per_minute(segment.rate, "K/min", units), to, about_time_sentence(lasts_s));
  }
  const double lasts_s = seconds(segment.duration_ms);
  const std::string rate = shown(std::fabs(way_k) / lasts_s * 60.0, "K/min", units);
  return fmt::format("From {} in {} to {} (about {})", from, time_sentence(lasts_s), to, rate);
}

std::string soak(const Segment& segment, const DisplayUnits& units, double from_degc) {
  const bool on_load = (segment.options & fw::count_on_load) != 0;
  const std::string band = shown_difference(static_cast<double>(segment.tolerance_k), "K", units, Digits::written);
  return fmt::format("Hold {} for {}; only time counts in which the {} thermocouple is within {} of it",
                     shown(from_degc, "degC", units, Digits::written), time_sentence(seconds(segment.duration_ms)),
                     on_load ? "load" : "heater-side", band);
}

std::string purge(const Segment& segment, const DisplayUnits& units) {
  if ((segment.options & fw::by_vacuum_cycles) != 0)
    return fmt::format("Exchange the gas: {} times down to {} and back to {}", segment.count, value(segment.amount, "Pa abs", units),
                       value(segment.target, "Pa gauge", units));
  std::string text =
      fmt::format("Exchange the gas {} times over at {}", value(segment.amount, "1", units), value(segment.target, "Pa gauge", units));
  if ((segment.options & fw::until_dry) != 0)
    text += fmt::format(", and go on until its dew point has stayed below {} for {}", value(segment.rate, "degC", units),
                        time_sentence(seconds(segment.duration_ms)));
  return text;
}

std::string what_is_done(const Segment& segment, const std::vector<std::string>& names, const DisplayUnits& units, double& from_degc) {
  switch (segment.kind) {
    case SegmentKind::ramp: return ramp(segment, units, from_degc);
    case SegmentKind::soak: return soak(segment, units, from_degc);
    case SegmentKind::wait: return "Wait for " + time_sentence(seconds(segment.duration_ms));
    case SegmentKind::evacuate: return "Pump down to below " + value(segment.target, "Pa abs", units);
    case SegmentKind::backfill: return "Fill with gas up to " + value(segment.target, "Pa gauge", units);
    case SegmentKind::purge: return purge(segment, units);
    case SegmentKind::leak_test:
      return fmt::format("Leave the retort shut for {}; its pressure may rise by at most {}", time_sentence(seconds(segment.duration_ms)),
                         per_minute(segment.rate, "Pa/min", units));
    case SegmentKind::cool:
      from_degc = static_cast<double>(segment.target);
      return "Cool until the load is below " + value(segment.target, "degC", units);
    case SegmentKind::repeat:
      return fmt::format("Back to `{}`; what stands from there to here is done {} times in all", names[segment.jump], segment.count);
    case SegmentKind::end: return "The programme is over; the safe values stay in force";
    case SegmentKind::none: break;
  }
  return "";
}

// What comes with any kind of segment.
std::string beside(const Segment& segment, const DisplayUnits& units) {
  std::string text;
  if (segment.gas != fw::Gas::keep) text += "; gas: " + gas_name(segment.gas);
  if (segment.flow_slm >= 0.0f) text += "; flow: " + value(segment.flow_slm, "slm", units);
  if (segment.back_pressure_pa >= 0.0f) text += "; back-pressure: " + value(segment.back_pressure_pa, "Pa gauge", units);
  const bool ramps = segment.kind == SegmentKind::ramp, on_load = (segment.options & fw::count_on_load) != 0;
  if (ramps && segment.tolerance_k > 0.0f)
    text += fmt::format("; waits while the {} thermocouple is more than {} behind", on_load ? "load" : "heater-side",
                        shown_difference(static_cast<double>(segment.tolerance_k), "K", units, Digits::written));
  if (ramps && segment.tolerance_k <= 0.0f && on_load) text += "; judged by the load thermocouple";
  if (segment.power_limit > 0.0f) text += "; demand at most " + value(segment.power_limit, "1", units);
  if ((segment.options & fw::no_feed_forward) != 0) text += "; without feed-forward";
  else if (segment.feed_forward > 0.0f) text += "; feed-forward: " + value(segment.feed_forward, "1", units) + " of it";
  if (segment.gain_set > 0) text += fmt::format("; gain set {}", segment.gain_set);
  if (segment.timeout_ms > 0) text += fmt::format("; failed if it takes longer than {}", time_sentence(seconds(segment.timeout_ms)));
  return text;
}

}  // namespace

std::string segment_sentence(const Segment& segment, const std::vector<std::string>& names, const DisplayUnits& units,
                             double& from_degc) {
  return what_is_done(segment, names, units, from_degc) + beside(segment, units);
}

std::string segment_sentence(const Segment& segment, const std::vector<std::string>& names) {
  double from_degc = 0.0;
  return segment_sentence(segment, names, {}, from_degc);
}

std::vector<std::string> programme_sentences(const ProgrammeSource& programme, double start_degc, const DisplayUnits& units) {
  std::vector<std::string> sentences;
  double from_degc = start_degc;
  for (const Segment& segment : programme.segments) sentences.push_back(segment_sentence(segment, programme.names, units, from_degc));
  return sentences;
}

}  // namespace sim
