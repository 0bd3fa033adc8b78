// saggar replay: hands a core the bytes of a tape and compares what it sends and stores, tick by tick.
#include <filesystem>
#include <memory>
#include <string>

#include <fmt/format.h>

#include "sim/difference.h"
#include "sim/tape.h"
#include "tools/progress.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Options {
  std::string run;
  std::string controller = "host";
  bool quiet = false;
};

std::filesystem::path tape_of(const std::string& run) {
  const std::filesystem::path path = std::filesystem::is_directory(run) ? std::filesystem::path(run) / "tape" : std::filesystem::path(run);
  if (!std::filesystem::is_regular_file(path)) throw UsageError(fmt::format("{}: there is no tape here", path.string()));
  return path;
}

sim::TapeReader open_tape(const std::filesystem::path& path) {
  try {
    return sim::TapeReader(path);
  } catch (const sim::TapeError& error) {
    throw UsageError(error.what());
  }
}

int replay(const Options& options, std::chrono::steady_clock::time_point begin) {
  const std::filesystem::path path = tape_of(options.run);
  sim::TapeReader tape = open_tape(path);
  sim::EndpointSettings settings;
  settings.kind = options.controller;
  const std::unique_ptr<sim::Endpoint> controller = sim::open_endpoint(settings);
  const sim::TapeHeader& header = tape.header();
  controller->start(header.store_image, header.reset_cause, header.outage_s);

  Progress progress(header.scenario, options.quiet, begin);
  sim::TapeTick recorded;
  sim::TickOut found;
  std::uint64_t tick = 0;
  const auto time_s = [&header](std::uint64_t at) { return static_cast<double>(at) * static_cast<double>(header.period_ns) * 1e-9; };
  for (; tape.next(recorded); ++tick) {
    if (!recorded.adopted.empty() && !controller->adopt(recorded.adopted))
      throw sim::EndpointError(fmt::format("this run was forked with other parameters or another programme, which {} can't take over",
                                           options.controller));
    if (recorded.idle) continue;
    if (!recorded.restarted.empty()) controller->start(recorded.restarted, recorded.cause, recorded.outage_s);
    controller->tick(recorded.in, found);
    if (!sim::same_output(recorded.out, found)) {
      progress.clear();
      const sim::Difference difference = sim::name_difference(tick, recorded.out, found, recorded.in.supervisory);
      fmt::print("{}: first difference at {:.1f} s: {}\n", header.scenario, time_s(tick),
                 difference.text());
      return differs;
    }
    if (tick % 1000 == 0) {
      progress.show(static_cast<double>(tick) / static_cast<double>(tape.ticks()), time_s(tick));
    }
  }
  progress.clear();
  fmt::print("{}: {} ticks repeated by {}, every byte equal; hash.controller {:016x}\n", header.scenario, tick, options.controller,
             tape.controller_hash());
  return all_hold;
}

}  // namespace

void add_replay(CLI::App& app, Invocation& invocation) {
  auto options = std::make_shared<Options>();
  CLI::App* verb = app.add_subcommand("replay", "repeat a tape; name the first tick and register or signal of the core that differ");
  verb->add_option("RUN", options->run, "folder of a run, or its tape")->required();
  verb->add_option("--controller", options->controller, "who repeats it (default: host)")->check(controller_kind());
  verb->add_flag("--quiet", options->quiet, "no progress");
  verb->callback([options, &invocation] {
    invocation.chosen = [options, &invocation] { return replay(*options, invocation.begin); };
  });
}

}  // namespace tools
