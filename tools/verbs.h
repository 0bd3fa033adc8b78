// The verbs of the program, one file each. A verb adds itself to the command line; when it is chosen, it leaves in `chosen` what
// is to be done, and main does it. What is done returns the exit code.
#pragma once

#include <chrono>
#include <functional>
#include <stdexcept>
#include <string>

#include <CLI/CLI.hpp>

namespace tools {

enum ExitCode : int {
  all_hold = 0,
  expectation_failed = 1,
  bad_input = 2,
  run_broke = 3,
  differs = 4,
  interrupted = 130,
};

// A mistake on the command line that only shows once the arguments are looked at (exit 2).
struct UsageError : std::runtime_error {
  using std::runtime_error::runtime_error;
};

struct Invocation {
  std::chrono::steady_clock::time_point begin;   // of main
  std::function<int()> chosen;
};

// Accepts host, emulated, both, library:PATH and process:PROGRAM LIBRARY.
CLI::Validator controller_kind();

// --units on a verb; the text must be one that sim::choose_units accepts.
void add_units(CLI::App& verb, std::string& text);

void add_run(CLI::App& app, Invocation& invocation);
void add_check(CLI::App& app, Invocation& invocation);
void add_compare(CLI::App& app, Invocation& invocation);
void add_fit(CLI::App& app, Invocation& invocation);
void add_report(CLI::App& app, Invocation& invocation);
void add_replay(CLI::App& app, Invocation& invocation);
void add_interlocks(CLI::App& app, Invocation& invocation);
void add_registers(CLI::App& app, Invocation& invocation);
void add_faults(CLI::App& app, Invocation& invocation);
void add_gases(CLI::App& app, Invocation& invocation);
void add_parameters(CLI::App& app, Invocation& invocation);
void add_prooftest(CLI::App& app, Invocation& invocation);
void add_tune(CLI::App& app, Invocation& invocation);

}  // namespace tools
