// saggar prooftest: every row of the cause-and-effect table and every alarm against the core, by injected signals; prints the results
// and leaves a sheet to sign.
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include <fmt/format.h>

#include "sim/cautions.h"
#include "sim/controller_file.h"
#include "sim/proof_test.h"
#include "sim/result_file.h"
#include "tools/verbs.h"

namespace tools {
namespace {

namespace fs = std::filesystem;

struct ProofOptions {
  std::string controller, kind = "host", out;
};

void print(const char* before, const sim::ProofResult& r) {
  const bool tested = r.verdict == sim::ProofResult::Verdict::pass || r.verdict == sim::ProofResult::Verdict::fail;
  std::string figures;
  const auto seen = [](const std::optional<double>& value) { return value ? fmt::format("{:.6g}", *value) : std::string("none"); };
  if (tested && !r.unit.empty()) figures = fmt::format("set {:.6g} {}, observed {}; ", r.set, r.unit, seen(r.observed));
  const std::string delay = r.delay_s ? fmt::format("{:.1f} s", *r.delay_s) : "none";
  if (tested) figures += fmt::format("delay {:.1f} s, observed {}", r.set_delay_s, delay);
  const char* const between = figures.empty() || r.reason.empty() ? "" : "; ";
  if (!r.alarms.empty()) figures += fmt::format("; told: {}", r.alarms);
  fmt::print("{}{:3} {:34} {:22} {}{}{}\n", before, r.number, sim::proof_name(r), sim::verdict_text(r.verdict), figures, between, r.reason);
}

int prove(const ProofOptions& options) {
  const sim::ControllerFile controller = sim::load_controller(options.controller);
  sim::EndpointSettings settings;
  settings.kind = options.kind;
  const std::unique_ptr<sim::Endpoint> core = sim::open_endpoint(settings);
  const sim::Proof proof = sim::proof_test(*core, controller.parameters);
  for (const sim::ProofResult& result : proof.rows) print("", result);
  for (const sim::ProofResult& result : proof.alarms) print("alarm ", result);
  if (!options.out.empty()) {
    sim::make_folder(options.out);
    sim::ResultFile sheet(options.out, "prooftest.html");
    sheet.write(sim::proof_sheet(proof, controller.title, options.kind));
    sheet.close();
    sheet.name();
    fmt::print("sheet to sign: {}\n", (fs::path(options.out) / "prooftest.html").string());
  }
  fmt::print("{}\n{}\n{}\n", sim::proof_count(proof.rows, "rows"), sim::proof_count(proof.alarms, "alarms"), sim::short_caution);
  return sim::proof_passed(proof) ? all_hold : expectation_failed;
}

}  // namespace

void add_prooftest(CLI::App& app, Invocation& invocation) {
  CLI::App* verb = app.add_subcommand("prooftest", "provoke every interlock row and alarm by injected signals, without a plant");
  const auto options = std::make_shared<ProofOptions>();
  verb->add_option("CONTROLLER", options->controller, "controller file (configs/controllers)")->required();
  verb->add_option("--controller", options->kind, "who is tested")->check(controller_kind());
  verb->add_option("--out", options->out, "folder for the sheet to sign, prooftest.html");
  verb->callback([&invocation, options] { invocation.chosen = [options] { return prove(*options); }; });
}

}  // namespace tools
