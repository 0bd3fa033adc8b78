#include "tools/folder_run.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <exception>
#include <map>
#include <mutex>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <fmt/format.h>
#include <unistd.h>

#include "sim/input_error.h"
#include "sim/run_index.h"
#include "sim/yaml_tree.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct Found {
  std::map<std::string, fs::path> scenarios;   // by path below the folder, without ".yaml"
  std::vector<std::string> left_aside;
};

// A file that cannot be read as YAML counts as a scenario: it is shown as refused rather than passed over.
bool is_scenario(const fs::path& file) {
  try {
    const sim::YamlNode root = sim::read_yaml(file);
    return !root.is_map() || root.child("programme") != nullptr || root.child("expectations") != nullptr ||
           root.child("furnace") != nullptr;
  } catch (const sim::InputError&) {
    return true;
  }
}

Found found_below(const fs::path& folder, const fs::path& results) {
  Found found;
  const fs::path own = fs::weakly_canonical(results);
  for (auto at = fs::recursive_directory_iterator(folder); at != fs::recursive_directory_iterator(); ++at) {
    if (at->is_directory()) {
      // results of earlier runs hold a resolved.yaml that would run again
      if (fs::weakly_canonical(at->path()) == own || fs::exists(at->path() / "resolved.yaml")) at.disable_recursion_pending();
      continue;
    }
    if (!at->is_regular_file()) continue;
    fs::path name = at->path().lexically_relative(folder);
    if (name.extension() != ".yaml" || !is_scenario(at->path())) found.left_aside.push_back(name.generic_string());
    else found.scenarios.emplace(name.replace_extension().generic_string(), at->path());
  }
  std::sort(found.left_aside.begin(), found.left_aside.end());
  if (found.scenarios.empty()) throw UsageError(fmt::format("{}: no scenario (*.yaml) below this folder", folder.string()));
  return found;
}

// One line for all that run.
class FolderProgress {
 public:
  FolderProgress(std::size_t total, bool quiet)
      : share_(total, 0.0), simulated_s_(total, 0.0), shown_(!quiet && isatty(STDERR_FILENO) == 1) {}

  void start() { change(1, 0); }
  void end(std::size_t index) {
    {
      const std::lock_guard lock(guard_);
      share_[index] = 1.0;
    }
    change(-1, 1);
  }
  void look(std::size_t index, double done, double simulated_s) {
    const std::lock_guard lock(guard_);
    share_[index] = done;
    simulated_s_[index] = simulated_s;
    draw();
  }
  void clear() const {
    if (shown_) fmt::print(stderr, "\r{:100}\r", "");
  }

 private:
  void change(int running, int done) {
    const std::lock_guard lock(guard_);
    running_ += running;
    done_ += done;
    draw();
  }
  void draw() {
    const auto now = std::chrono::steady_clock::now();
    if (!shown_ || now < next_) return;
    next_ = now + std::chrono::milliseconds(200);
    double share = 0.0, simulated_s = 0.0;
    for (std::size_t i = 0; i < share_.size(); ++i) {
      share += share_[i] / static_cast<double>(share_.size());
      simulated_s += simulated_s_[i];
    }
    const double wall_s = std::max(1e-3, std::chrono::duration<double>(now - begin_).count());
    const std::string left = share > 0.02 ? duration_text(wall_s * (1.0 - share) / share) : "...";
    fmt::print(stderr, "\r{} of {} done, {} running, {:.0f} x real time, about {} left   ", done_, share_.size(), running_,
               simulated_s / wall_s, left);
    std::fflush(stderr);
  }

  std::mutex guard_;
  std::vector<double> share_, simulated_s_;
  int running_ = 0, done_ = 0;
  bool shown_;
  std::chrono::steady_clock::time_point begin_ = std::chrono::steady_clock::now(), next_ = begin_;
};

struct Outcome {
  sim::IndexEntry entry;
  ExitCode code = interrupted;
};

Outcome outcome_of(const ScenarioRun& run, const std::string& path) {
  Outcome outcome{{path, "", {}}, all_hold};
  try {
    ScenarioResult result = perform(run);
    outcome.code = result.code;
    outcome.entry.summary = std::move(result.summary);
  } catch (const sim::InputError& error) {
    outcome.entry.refused = error.what();
    outcome.code = bad_input;
  } catch (const std::exception& error) {
    outcome.entry.refused = error.what();
    outcome.code = run_broke;
  }
  return outcome;
}

int worst_of(const std::vector<Outcome>& outcomes) {
  for (const ExitCode code : {interrupted, run_broke, bad_input, differs, expectation_failed}) {
    if (std::any_of(outcomes.begin(), outcomes.end(), [code](const Outcome& outcome) { return outcome.code == code; })) return code;
  }
  return all_hold;
}

std::string line_of(const sim::IndexEntry& entry, std::size_t width) {
  const std::string head = fmt::format("{:7}  {:{}}  ", sim::verdict_of(entry), entry.path, width);
  if (!entry.refused.empty()) return head + entry.refused + "\n";
  const auto& all = entry.summary.expectations;
  const auto held = std::count_if(all.begin(), all.end(), [](const auto& r) { return r.pass; });
  std::string line = head + fmt::format("{} of {} hold", held, all.size());
  const sim::Tightest tightest = sim::tightest_of(entry.summary);
  if (!entry.summary.broken_by.empty()) line += "; " + entry.summary.broken_by;
  if (tightest.result == nullptr) return line + "; nothing was judged\n";
  if (!tightest.result->judged) return line + fmt::format("; never judged: {}\n", tightest.result->name);
  const sim::ExpectationResult& result = *tightest.result;
  const std::string quantity = sim::quantity_in(result.statement, result.unit);
  return line + fmt::format("; tightest: {}, {} ({:+.1f} %)\n", result.name,
                            sim::shown_margin(result.margin, result.unit, quantity, entry.summary.display, true),
                            100.0 * tightest.relative);
}

void print_table(const sim::RunIndex& index, const fs::path& folder) {
  std::size_t width = 0, pass = 0;
  for (const sim::IndexEntry& entry : index.by_margin()) {
    width = std::max(width, entry.path.size());
    pass += sim::verdict_of(entry) == "pass" ? 1u : 0u;
  }
  for (const sim::IndexEntry& entry : index.by_margin()) fmt::print("{}", line_of(entry, width));
  fmt::print("{} of {} scenarios pass; index: {}\n", pass, index.by_margin().size(), (folder / "index.html").string());
}

}  // namespace

int perform(const FolderRun& run) {
  const Found found = found_below(run.folder, run.each.folder);
  std::vector<Outcome> outcomes;
  for (const auto& [path, file] : found.scenarios) outcomes.push_back({{path, "not run: interrupted before", {}}, interrupted});
  FolderProgress progress(outcomes.size(), run.each.quiet);
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t i = next++; i < outcomes.size() && !interrupt_asked; i = next++) {
      const std::string path = outcomes[i].entry.path;
      ScenarioRun one = run.each;
      one.file = found.scenarios.at(path);
      one.folder = run.each.folder / path;
      one.quiet = true;
      one.begin = std::chrono::steady_clock::now();
      one.watch = [&progress, i](double done, double simulated_s) { progress.look(i, done, simulated_s); };
      progress.start();
      outcomes[i] = outcome_of(one, path);
      progress.end(i);
    }
  };
  std::vector<std::thread> threads;
  for (std::size_t job = 1; job < std::min<std::size_t>(run.jobs, outcomes.size()); ++job) threads.emplace_back(work);
  work();
  for (std::thread& thread : threads) thread.join();
  progress.clear();

  std::vector<sim::IndexEntry> entries;
  for (const Outcome& outcome : outcomes) entries.push_back(outcome.entry);
  const sim::RunIndex index(std::move(entries), found.left_aside);
  index.write(run.each.folder);
  for (const std::string& name : found.left_aside) {
    if (!run.each.quiet) fmt::print(stderr, "no scenario, left aside: {}\n", name);
  }
  if (run.json) fmt::print("{}", index.json());
  else if (!run.each.quiet) print_table(index, run.each.folder);
  return worst_of(outcomes);
}

}  // namespace tools
