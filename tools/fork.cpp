#include "tools/fork.h"

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <utility>

#include <fmt/format.h>

#include "sim/difference.h"
#include "sim/tape.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

class WatchedEndpoint final : public sim::Endpoint {
 public:
  WatchedEndpoint(std::unique_ptr<sim::Endpoint> core, const fs::path& tape, double until_s)
      : core_(std::move(core)), tape_(tape),
        until_(std::llround(until_s * 1e9) / tape_.header().period_ns) {}

  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) override {
    core_->start(image, cause, outage_s);
  }
  void tick(const sim::TickIn& in, sim::TickOut& out) override {
    core_->tick(in, out);
    do {
      if (ticks_ >= until_ || !tape_.next(recorded_)) return;
      ++ticks_;
    } while (recorded_.idle);
    if (!sim::same_output(recorded_.out, out))
      throw sim::EndpointDifference(
          "this program does not repeat the run that is forked: " +
          sim::name_difference(static_cast<std::uint64_t>(ticks_ - 1), recorded_.out, out, in.supervisory).text());
  }
  bool adopt(std::span<const std::uint8_t> image) override { return core_->adopt(image); }

 private:
  std::unique_ptr<sim::Endpoint> core_;
  sim::TapeReader tape_;
  sim::TapeTick recorded_;
  std::int64_t until_;       // ticks
  std::int64_t ticks_ = 0;
};

double time_of(const std::string& when, const sim::Summary& summary, const std::string& from) {
  constexpr std::string_view word = "segment ";
  if (!when.starts_with(word)) {
    const double at_s = duration_of(when);
    if (at_s < 0.0) throw UsageError(fmt::format("--from {}: `{}` is no time; expected 2h30m, 9000s or `segment soak`", from, when));
    if (at_s >= summary.simulated_s)
      throw UsageError(fmt::format("--from {}: the run ends at {:g} s, before {:g} s", from, summary.simulated_s, at_s));
    return at_s;
  }
  std::string known;
  for (const sim::Stretch& stretch : summary.segments) {
    if (stretch.name == when.substr(word.size())) return stretch.from_s;
    known += (known.empty() ? "" : ", ") + stretch.name;
  }
  throw UsageError(fmt::format("--from {}: no segment `{}` has begun in the run; there are: {}", from, when.substr(word.size()), known));
}

}  // namespace

double duration_of(const std::string& text) {
  double total_s = 0.0;
  const char* at = text.c_str();
  if (*at == '\0') return -1.0;
  while (*at != '\0') {
    char* end = nullptr;
    const double number = std::strtod(at, &end);
    if (end == at || !(number >= 0.0) || !std::isfinite(number)) return -1.0;
    while (*end == ' ') ++end;
    std::string unit;
    while (*end >= 'a' && *end <= 'z') unit += *end++;
    while (*end == ' ') ++end;
    if (unit == "d") total_s += number * 86400.0;
    else if (unit == "h") total_s += number * 3600.0;
    else if (unit == "m" || unit == "min") total_s += number * 60.0;
    else if (unit == "s") total_s += number;
    else return -1.0;
    at = end;
  }
  return total_s;
}

Fork find_fork(const std::string& from) {
  const std::size_t sign = from.rfind('@');
  if (sign == std::string::npos || sign == 0)
    throw UsageError(fmt::format("--from {}: expected RUN@TIME, for example runs/demo@2h30m", from));
  Fork fork;
  fork.folder = from.substr(0, sign);
  for (const char* file : {"summary.json", "resolved.yaml"})
    if (!fs::is_regular_file(fork.folder / file))
      throw UsageError(fmt::format("--from {}: {} is no folder of a run: there is no {} in it", from, fork.folder.string(), file));
  const sim::Summary summary = sim::read_summary(fork.folder / "summary.json");
  if (summary.saggar != SAGGAR_VERSION)
    throw UsageError(fmt::format("--from {}: the run was made by version {}, this is {}: run it again", from, summary.saggar,
                                 SAGGAR_VERSION));
  if (summary.fork.at_s >= 0.0)
    throw UsageError(fmt::format("--from {}: this run is itself a fork, of {} at {:g} s; only a run from the start can be forked", from,
                                 summary.fork.run, summary.fork.at_s));
  const fs::path whole = fs::weakly_canonical(fork.folder);
  fork.record = {whole.filename().string(), summary.trace_hash, time_of(from.substr(sign + 1), summary, from)};
  fork.parent = sim::load_scenario(fork.folder / "resolved.yaml");
  return fork;
}

std::unique_ptr<sim::Endpoint> watched_endpoint(std::unique_ptr<sim::Endpoint> core, const Fork& fork) {
  const fs::path tape = fork.folder / "tape";
  if (!fs::is_regular_file(tape)) return core;
  try {
    return std::make_unique<WatchedEndpoint>(std::move(core), tape, fork.record.at_s);
  } catch (const sim::TapeError& error) {
    throw UsageError(error.what());
  }
}

}  // namespace tools
