// Parameters of a controller as a file by name: read out of it, laid beside a file, put back. All of it goes over the supervisory line,
// so putting back is a write like any other: checked, refused or logged by the core. A file of another version of the core is
// welcome: a name that this core does not have is told, one that the file does not have stays as it is.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "firmware/parameters.h"
#include "plant/model.h"
#include "plant/process_values.h"
#include "plant/state.h"
#include "sim/endpoint.h"
#include "sim/scenario.h"
#include "sim/yaml_tree.h"

namespace sim {

// A controller at a furnace at rest, with the key switch at commissioning.
class ParameterLine {
 public:
  // Starts the controller from the store image.
  ParameterLine(Endpoint& controller, const Scenario& scenario, std::vector<std::uint8_t> store_image);
  fw::Parameters read();                                     // throws EndpointError when it gives no answer
  // 0: accepted; else the code of the Modbus exception.
  unsigned write(std::size_t parameter, std::uint32_t bits);
  void settle();                                             // until its store holds what it should
  const std::vector<std::uint8_t>& store_image() const { return image_; }

 private:
  void tick(std::vector<std::uint8_t> request);

  Endpoint& controller_;
  plant::Model model_;
  plant::State state_;
  plant::Disturbances key_turned_;
  std::uint64_t period_us_, now_us_ = 0;
  std::vector<std::uint8_t> image_, answer_;
  TickOut out_;
};

enum class BackupState : std::uint8_t { same, differs, unknown, not_accepted };

struct BackupRow {
  std::string name;
  BackupState state = BackupState::same;
  std::string here, there;      // in the controller, in the file
  std::string remark;           // why not; of an unknown name the nearest one
  std::size_t parameter = 0;    // place in the core's table
  std::uint32_t bits = 0;       // of the file
};

// One row for every value of the file, in its order. Throws InputError where the file is no map.
std::vector<BackupRow> compare_backup(const YamlNode& file, const fw::Parameters& here);

// Writes what differs; a row that the controller refuses says so in its remark, and becomes not_accepted. Returns how many were written.
int restore_backup(ParameterLine& line, std::vector<BackupRow>& rows);

std::string backup_text(const fw::Parameters& parameters, const std::string& title);

}  // namespace sim
