// saggar fit: a furnace file fitted to the log of a furnace.
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/furnace_file.h"
#include "sim/furnace_fit_text.h"
#include "sim/furnace_log.h"
#include "sim/result_file.h"
#include "tools/progress.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct FitOptions {
  std::string log, furnace, mapping, out, gas;
  std::vector<std::string> keys;
  int threads = 2;
  double accuracy_percent = 0.05;
  bool json = false, quiet = false;
  std::chrono::steady_clock::time_point begin;
};

plant::Gas gas_of(const std::string& word) {
  const std::vector<std::string> words{"", "air", "nitrogen", "argon", "helium", "hydrogen"};  // in the order of plant::Gas
  const auto found = std::find(words.begin(), words.end(), word);
  if (found == words.end()) throw UsageError("found --gas " + word + "; expected air, nitrogen, argon, helium or hydrogen");
  return static_cast<plant::Gas>(found - words.begin());
}

std::string text_in(const fs::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
}

// All of them or, when one cannot be written, none.
void write_results(const FitOptions& options, const sim::FurnaceFit& fit, const sim::FitSources& sources,
                   const sim::OpenLoop& loop) {
  const std::string name = fs::path(options.furnace).filename().string();
  const std::string yaml = sim::fitted_furnace_yaml(fit, sources, text_in(options.furnace));
  (void)sim::read_furnace(sim::parse_yaml(yaml, name));
  sim::make_folder(options.out);
  if (fs::exists(fs::path(options.out) / name) && fs::equivalent(fs::path(options.out) / name, options.furnace))
    throw UsageError("--out " + options.out + " would replace the furnace file that is read; expected another folder");
  sim::ResultFile furnace(options.out, name), json(options.out, "fit.json"), page(options.out, "fit.html");
  furnace.write(yaml);
  json.write(sim::fit_json(fit, sources));
  page.write(sim::fit_page(fit, sources, loop));
  for (sim::ResultFile* one : {&furnace, &json, &page}) one->close();
  for (sim::ResultFile* one : {&furnace, &json, &page}) one->name();
}

int fit(const FitOptions& options) {
  std::optional<sim::LogMapping> mapping;
  if (!options.mapping.empty()) mapping = sim::read_mapping_file(options.mapping);
  std::vector<sim::FitRequest> requests;
  for (const std::string& key : options.keys) requests.push_back(sim::fit_request(key));
  const sim::FurnaceFile furnace = sim::load_furnace(options.furnace);
  const fs::path file = fs::is_directory(options.log) ? fs::path(options.log) / "trace.csv" : fs::path(options.log);
  const sim::FurnaceLog log = sim::read_furnace_log(file, mapping);
  const sim::OpenLoop loop(log, furnace.furnace, gas_of(options.gas));
  sim::FitSources sources{file.string(), options.furnace, furnace.title, loop.assumptions()};
  sources.assumptions.insert(sources.assumptions.end(), log.notes.begin(), log.notes.end());
  sim::FurnaceFit result;
  {
    Progress progress("fit", options.quiet || options.json, options.begin);
    // How many runs it takes nobody knows: the share done nears one.
    const auto show = [&](int runs) { progress.show(1.0 - 40.0 / (40.0 + runs), runs * log.end_s()); };
    result = sim::fit_furnace(loop, furnace, requests, {options.threads, 0.01 * options.accuracy_percent}, show);
  }
  if (options.json)
    fmt::print("{}", sim::fit_json(result, sources));
  else if (!options.quiet)
    fmt::print("{}{}\n", sim::fit_text(result, sources), sim::short_caution);
  if (!options.out.empty()) write_results(options, result, sources, loop);
  return result.passed ? all_hold : expectation_failed;
}

}  // namespace

void add_fit(CLI::App& app, Invocation& invocation) {
  const auto options = std::make_shared<FitOptions>();
  options->begin = invocation.begin;
  CLI::App* verb =
      app.add_subcommand("fit", "estimate numbers of a furnace file from the log of a furnace, with their intervals");
  verb->add_option("LOG", options->log, "CSV file of a logger, trace.csv of a run, or its folder")->required();
  verb->add_option("FURNACE", options->furnace, "furnace file to begin with")->required();
  verb->add_option(
          "--fit", options->keys,
          "key of the furnace file to estimate, again for each: load.emissivity or leak:prior=100%,low=VALUE,high=VALUE; "
          "the usual ones if not given")
      ->type_name("KEY[:OPTIONS]")
      ->allow_extra_args(false);
  verb->add_option("--map", options->mapping, "how the log is to be read, where its header is not `time [s],NAME [UNIT],...`");
  verb->add_option("--gas", options->gas, "what the mass-flow controller carried; else the gas of the inert purge");
  verb->add_option("--out", options->out, "folder for the new furnace file, fit.json and fit.html");
  verb->add_option("--threads", options->threads, "runs at a time; the result is the same")->check(CLI::Range(1, 64));
  verb->add_option("--accuracy", options->accuracy_percent,
                   "of readings and model, % of what a signal spans, errors that last; preset 0.05")
      ->check(CLI::Range(0.0, 100.0));
  verb->add_flag("--json", options->json, "print the fit as JSON");
  verb->add_flag("--quiet", options->quiet, "print nothing");
  verb->callback([&invocation, options] { invocation.chosen = [options] { return fit(*options); }; });
}

}  // namespace tools
