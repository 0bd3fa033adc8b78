#include "sim/moment_chart.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include <fmt/format.h>

#include "sim/page.h"
#include "sim/signals.h"

namespace sim {

namespace {

constexpr double left = 50.0, right = 256.0, top = 5.0, bottom = 66.0, width = 262.0;
constexpr std::size_t lines_max = 3;
constexpr std::array<const char*, lines_max> strokes{"", "5 2", "1.5 2"};

// What is drawn: instants, and the values that stand at the ends of the upright axis, which leaves some air beyond them.
struct Frame {
  double from_s, to_s, low, high;
  double air() const { return high > low ? 0.08 * (high - low) : 0.5; }
  double x(double time_s) const { return left + (right - left) * (time_s - from_s) / (to_s - from_s); }
  double y(double value) const { return bottom - (bottom - top) * (value - low + air()) / (high - low + 2.0 * air()); }
  // As many decimals as tell the two ends apart.
  std::string label(double value) const {
    const double range = high > low ? high - low : std::fabs(high);
    const int decimals = range > 0.0 ? static_cast<int>(std::clamp(2.0 - std::floor(std::log10(range)), 0.0, 6.0)) : 0;
    return fmt::format("{:.{}f}", value, range >= 100.0 ? 0 : decimals);
  }
};

bool fits(const std::string& unit, std::string_view margin_unit) {
  return unit == margin_unit || (unit == "degC" && margin_unit == "K");
}

std::vector<const MomentLine*> chosen(const MomentClip& clip, std::string_view margin_unit) {
  std::vector<const MomentLine*> lines;
  for (const MomentLine& line : clip.lines)
    if (fits(line.unit, margin_unit) && lines.size() < lines_max) lines.push_back(&line);
  for (const MomentLine& line : clip.lines)
    if (lines.empty() || (line.unit == lines.front()->unit && lines.size() < lines_max &&
                          std::find(lines.begin(), lines.end(), &line) == lines.end()))
      lines.push_back(&line);
  // gauge and absolute pressures have one unit and no common axis
  const auto quantity = [](const MomentLine& line) { return quantity_named(line.signal, line.unit); };
  const std::string first = lines.empty() ? "" : quantity(*lines.front());
  std::erase_if(lines, [&](const MomentLine* line) { return quantity(*line) != first; });
  return lines;
}

// What the lines cover, and a limit that is not so far off that the lines would be flat beside it.
Frame frame_of(const MomentClip& clip, const std::vector<const MomentLine*>& lines) {
  double low = lines.front()->values.front(), high = low;
  for (const MomentLine* line : lines) {
    low = std::min(low, *std::min_element(line->values.begin(), line->values.end()));
    high = std::max(high, *std::max_element(line->values.begin(), line->values.end()));
  }
  const double range = std::max(high - low, 1e-3 * std::max(std::fabs(low), std::fabs(high)));
  for (const MomentLine* line : lines)
    for (const double limit : line->limits)
      if (limit > low - 4.0 * range && limit < high + 4.0 * range) {
        low = std::min(low, limit);
        high = std::max(high, limit);
      }
  const double from_s = clip.time_s.front(), to_s = clip.time_s.back();
  return {from_s, to_s > from_s ? to_s : from_s + 1.0, low, high};
}

std::string polyline(const MomentClip& clip, const MomentLine& line, const Frame& frame, const char* dashes) {
  std::string points;
  for (std::size_t i = 0; i < clip.time_s.size(); ++i)
    points += fmt::format("{}{:.1f},{:.1f}", i == 0 ? "" : " ", frame.x(clip.time_s[i]), frame.y(line.values[i]));
  return fmt::format("<polyline points=\"{}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.3\" stroke-dasharray=\"{}\"/>", points,
                     dashes);
}

std::string limits(const std::vector<const MomentLine*>& lines, const Frame& frame) {
  std::string text;
  for (const MomentLine* line : lines)
    for (const double limit : line->limits)
      if (limit >= frame.low && limit <= frame.high)
        text += fmt::format("<path d=\"M{} {:.1f}H{}\" class=\"limit\"/>", left, frame.y(limit), right);
  return text;
}

// `seen`: of the first line; empty for what is drawn as recorded.
std::string names(const std::vector<const MomentLine*>& lines, const std::string& seen) {
  std::string text;
  constexpr std::array<const char*, lines_max> words{"drawn through", "dashed", "dotted"};
  for (std::size_t i = 0; i < lines.size(); ++i)
    text += fmt::format("{}{}{}", i == 0 ? "" : ", ", html_text(lines[i]->signal), lines.size() > 1 ? fmt::format(" ({})", words[i]) : "");
  const std::string& own = lines.front()->unit;
  if (!seen.empty()) return text + " [" + html_text(seen) + ", recorded in " + html_text(own) + "]";
  return text + (own == "1" ? "" : " [" + html_text(own == "degC" ? "°C" : own) + "]");
}

ShownUnit seen_unit(const MomentLine& line, const DisplayUnits& units) {
  return shown_unit(quantity_named(line.signal, line.unit), units);
}

// The clip with every value and limit in the units chosen.
MomentClip shown_clip(MomentClip clip, const DisplayUnits& units) {
  for (MomentLine& line : clip.lines) {
    const ShownUnit seen = seen_unit(line, units);
    for (std::vector<double>* values : {&line.values, &line.limits})
      for (double& value : *values) value = seen.number(value);
  }
  return clip;
}

}  // namespace

std::string moment_svg(const MomentClip& recorded, double at_s, std::string_view margin_unit, const DisplayUnits& units) {
  const MomentClip clip = shown_clip(recorded, units);
  const std::vector<const MomentLine*> lines = chosen(clip, margin_unit);
  if (lines.empty() || clip.time_s.empty()) return "";
  const ShownUnit seen = seen_unit(*lines.front(), units);
  const Frame frame = frame_of(clip, lines);
  const auto at = std::min_element(clip.time_s.begin(), clip.time_s.end(),
                                   [&](double a, double b) { return std::fabs(a - at_s) < std::fabs(b - at_s); });
  const double moment_s = *at;
  std::string drawn;
  for (std::size_t i = 0; i < lines.size(); ++i) drawn += polyline(clip, *lines[i], frame, strokes[i]);
  const double value = lines.front()->values[static_cast<std::size_t>(at - clip.time_s.begin())];
  const std::string label = names(lines, seen.same ? "" : seen.text);
  return fmt::format(
      "<figure class=\"moment\"><svg viewBox=\"0 0 {w} 80\" role=\"img\" aria-label=\"{label} around {moment}\">"
      "<path d=\"M{l} {t}V{b}H{r}\" class=\"frame\"/><path d=\"M{x:.1f} {t}V{b}\" class=\"instant\"/>{limits}{drawn}"
      "<circle cx=\"{x:.1f}\" cy=\"{y:.1f}\" r=\"2.6\"/><text x=\"{lt}\" y=\"{ty:.1f}\" text-anchor=\"end\">{high}</text>"
      "<text x=\"{lt}\" y=\"{by:.1f}\" text-anchor=\"end\">{low}</text><text x=\"{l}\" y=\"77\">{from}</text>"
      "<text x=\"{r}\" y=\"77\" text-anchor=\"end\">{to}</text></svg><figcaption>{label}</figcaption></figure>",
      fmt::arg("w", width), fmt::arg("l", left), fmt::arg("lt", left - 4.0), fmt::arg("r", right), fmt::arg("t", top),
      fmt::arg("ty", frame.y(frame.high) + 3.0),
      fmt::arg("by", frame.y(frame.low) + 3.0), fmt::arg("b", bottom), fmt::arg("x", frame.x(moment_s)), fmt::arg("y", frame.y(value)),
      fmt::arg("limits", limits(lines, frame)), fmt::arg("drawn", drawn), fmt::arg("high", frame.label(frame.high)),
      fmt::arg("low", frame.high > frame.low ? frame.label(frame.low) : ""),
      fmt::arg("from", clock_text(frame.from_s, 0)), fmt::arg("to", clock_text(frame.to_s, 0)), fmt::arg("label", label),
      fmt::arg("moment", clock_text(moment_s, 1)));
}

}  // namespace sim
