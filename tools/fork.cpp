#include "tools/fork.h"

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <utility>

#include <fmt/format.h>

#include "sim/clock.h"
#include "sim/difference.h"
#include "sim/tape.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

class WatchedEndpoint final : public sim::Endpoint {
 public:
  WatchedEndpoint(std::unique_ptr<sim::Endpoint> core, std::shared_ptr<sim::TapeReader> tape, double until_s)
      : core_(std::move(core)), tape_(std::move(tape)),
        until_(static_cast<std::uint64_t>(std::llround(until_s * 1e9) / tape_->header().period_ns)) {}

  void start(std::span<const std::uint8_t> image, fw::ResetCause cause, std::uint32_t outage_s) override {
    core_->start(image, cause, outage_s);
  }
  void tick(const sim::TickIn& in, sim::TickOut& out) override {
    core_->tick(in, out);
    do {
      if (tape_->read() >= until_ || !tape_->next(recorded_)) return;
    } while (recorded_.idle);
    if (!sim::same_output(recorded_.out, out))
      throw sim::EndpointDifference("this program does not repeat the run that is forked: " +
                                    sim::name_difference(tape_->read() - 1, recorded_.out, out, in.supervisory).text());
  }
  bool adopt(std::span<const std::uint8_t> image) override { return core_->adopt(image); }
  bool visit(sim::Archive& archive) override { return core_->visit(archive); }

 private:
  std::unique_ptr<sim::Endpoint> core_;
  std::shared_ptr<sim::TapeReader> tape_;
  sim::TapeTick recorded_;
  std::uint64_t until_;      // ticks
};

std::string text_of_file(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

// The tape of the run and its nearest snapshot, as far as there are any.
void open_past(Fork& fork, const sim::Summary& summary, const std::string& from) {
  const double at_s = fork.record.at_s;
  try {
    if (fs::is_regular_file(fork.folder / "tape")) fork.tape = std::make_shared<sim::TapeReader>(fork.folder / "tape");
    if (fs::is_regular_file(fork.folder / "snapshots")) {
      const sim::Clock clock{std::int64_t{fork.parent.parameters.period_ms} * 1'000'000};
      fork.snapshot = sim::nearest_snapshot(fork.folder / "snapshots", text_of_file(fork.folder / "resolved.yaml"), clock.ticks(at_s));
    }
  } catch (const sim::TapeError& error) {
    throw UsageError(error.what());
  } catch (const sim::SnapshotError& error) {
    throw UsageError(error.what());
  }
  fork.forked = summary.fork.at_s >= 0.0;
  if (fork.forked && !fork.snapshot)
    throw UsageError(fmt::format("--from {}: this run is itself a fork, of {} at {:g} s, and has no snapshot from before {:g} s: fork "
                                 "that one, or make this one again with --snapshots", from, summary.fork.run, summary.fork.at_s, at_s));
}

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
  const fs::path whole = fs::weakly_canonical(fork.folder);
  fork.record = {whole.filename().string(), summary.trace_hash, time_of(from.substr(sign + 1), summary, from), 0.0};
  fork.parent = sim::load_scenario(fork.folder / "resolved.yaml");
  open_past(fork, summary, from);
  return fork;
}

std::unique_ptr<sim::Endpoint> watched_endpoint(std::unique_ptr<sim::Endpoint> core, const Fork& fork) {
  if (!fork.tape) return core;
  return std::make_unique<WatchedEndpoint>(std::move(core), fork.tape, fork.record.at_s);
}

bool save(sim::Archive& archive, const Course& course) {
  std::optional<sim::TapePlace> place;
  if (course.tape != nullptr) place = course.tape->place();
  archive.part("tape");
  archive(place);
  if (!course.bench.visit(archive)) return false;
  course.recorder.save(archive);
  return true;
}

namespace {

// false: the core can't take a state.
bool restore(const Fork& fork, const Course& course) {
  sim::Archive archive(fork.snapshot->state);
  std::optional<sim::TapePlace> place;
  archive.part("tape");
  archive(place);
  if (!course.bench.visit(archive)) return false;
  course.recorder.restore(archive, fork.folder);
  if (!archive.at_end()) throw sim::ArchiveError("there is more in it than this program knows");
  if (place && fork.tape) {
    if (course.tape != nullptr) course.tape->go_on_from(*fork.tape, *place);
    fork.tape->go_to(*place);
  }
  return true;
}

}  // namespace

void go_to_snapshot(Fork& fork, const sim::Scenario& scenario, const Course& course) {
  if (!fork.snapshot) return;
  if (scenario.record.every_s != fork.parent.record.every_s) fork.from_start_because = "record.every is another one than in the run";
  else if (course.tape != nullptr && !fork.tape) fork.from_start_because = "the run has no tape";
  if (fork.from_start_because.empty()) {
    try {
      if (restore(fork, course)) {
        fork.record.replayed_from_s = fork.snapshot->time_s;
        return;
      }
    } catch (const sim::ArchiveError& error) {
      throw UsageError(fmt::format("{}: {}; without this file the past is computed from its start", (fork.folder / "snapshots").string(),
                                   error.what()));
    } catch (const sim::TapeError& error) {
      throw UsageError(error.what());
    }
    fork.from_start_because = "the state of this controller is out of reach";
  }
  if (fork.forked) throw UsageError(fmt::format("{}: is itself a fork and can only be forked from its snapshots, but {}",
                                                fork.folder.string(), fork.from_start_because));
}

}  // namespace tools
