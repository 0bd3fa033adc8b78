// saggar parameters: reads a controller's parameters into a file by name, shows how they differ from a file, puts a file back.
#include <fstream>
#include <iterator>
#include <memory>
#include <string>
#include <vector>

#include <fmt/format.h>

#include "sim/bench.h"
#include "sim/parameter_backup.h"
#include "sim/scenario.h"
#include "tools/verbs.h"

namespace tools {
namespace {

struct Wishes {
  std::string scenario, image, backup, against, restore;
};

std::vector<std::uint8_t> image_of(const std::string& file) {
  std::ifstream stream(file, std::ios::binary);
  std::vector<std::uint8_t> image{std::istreambuf_iterator<char>(stream), std::istreambuf_iterator<char>()};
  if (!stream || image.size() != fw::store_image_bytes)
    throw UsageError(fmt::format("--image {}: not the {} bytes of a controller's store", file, fw::store_image_bytes));
  return image;
}

void write_whole(const std::string& file, const char* bytes, std::size_t size) {
  std::ofstream stream(file, std::ios::binary);
  stream.write(bytes, static_cast<std::streamsize>(size));
  if (!stream.flush()) throw std::runtime_error("can't write " + file);
}

const char* word_for(sim::BackupState state) {
  switch (state) {
    case sim::BackupState::same: return "same";
    case sim::BackupState::differs: return "differs";
    case sim::BackupState::unknown: return "unknown";
    case sim::BackupState::not_accepted: return "not accepted";
  }
  return "";
}

// Rows that are not the same; true if there are any.
bool print_rows(const std::vector<sim::BackupRow>& rows) {
  bool any = false;
  for (const sim::BackupRow& row : rows) {
    if (row.state == sim::BackupState::same) continue;
    any = true;
    const std::string here = row.here.empty() ? "" : fmt::format(" in the controller, {},", row.here);
    const bool unknown = row.state == sim::BackupState::unknown;
    const std::string remark = row.remark.empty() ? "" : (unknown ? "; nearest: " : "; ") + row.remark;
    fmt::print("{}: {}:{} in the file {}{}\n", word_for(row.state), row.name, here, row.there, remark);
  }
  return any;
}

int perform(const Wishes& wishes) {
  const sim::Scenario scenario = sim::load_scenario(wishes.scenario);
  const std::unique_ptr<sim::Endpoint> core = sim::open_endpoint({});
  std::vector<std::uint8_t> image;
  if (wishes.image.empty()) {
    const sim::Bench bench(scenario, sim::open_endpoint({}));
    image.assign(bench.store_image().begin(), bench.store_image().end());
  } else {
    image = image_of(wishes.image);
  }
  sim::ParameterLine line(*core, scenario, std::move(image));
  bool differs_somewhere = false;
  if (!wishes.restore.empty()) {
    auto rows = sim::compare_backup(sim::read_yaml(wishes.restore), line.read());
    const int written = sim::restore_backup(line, rows);
    fmt::print("{} written\n", written);
    differs_somewhere = print_rows(rows);
    line.settle();
    if (!wishes.image.empty())
      write_whole(wishes.image, reinterpret_cast<const char*>(line.store_image().data()), line.store_image().size());
  }
  if (!wishes.against.empty()) differs_somewhere = print_rows(sim::compare_backup(sim::read_yaml(wishes.against), line.read()));
  const std::string text = sim::backup_text(line.read(), "parameters of a controller");
  if (!wishes.backup.empty()) write_whole(wishes.backup, text.data(), text.size());
  else if (wishes.against.empty() && wishes.restore.empty()) fmt::print("{}", text);
  return differs_somewhere ? differs : all_hold;
}

}  // namespace

void add_parameters(CLI::App& app, Invocation& invocation) {
  auto wishes = std::make_shared<Wishes>();
  CLI::App* verb = app.add_subcommand("parameters", "read a controller's parameters by name, lay them beside a file, put a file back");
  verb->add_option("SCENARIO", wishes->scenario, "furnace and controller; the controller is at rest, its key switch turned")->required();
  verb->add_option("--image", wishes->image, "64 KiB of a controller's store to start from; what is put back is written to it");
  verb->add_option("--backup", wishes->backup, "write all parameters to this file");
  verb->add_option("--against", wishes->against, "show what differs from this file (exit code 4)");
  verb->add_option("--restore", wishes->restore, "write what this file says; what is unknown or not accepted is told (exit code 4)");
  verb->callback([wishes, &invocation] { invocation.chosen = [wishes] { return perform(*wishes); }; });
}

}  // namespace tools
