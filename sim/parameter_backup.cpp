#include "sim/parameter_backup.h"

#include <algorithm>
#include <array>
#include <cstring>

#include <fmt/format.h>

#include "firmware/registers.h"
#include "plant/modbus.h"
#include "plant/step.h"
#include "sim/controller_file.h"
#include "sim/fields.h"
#include "sim/operator_station.h"

namespace sim {

namespace {

constexpr std::size_t answer_bytes_max = 256;
constexpr std::uint16_t registers_at_once = 120;
constexpr int ticks_to_know_the_station = 10, quiet_ticks = 50, settle_ticks_max = 5000;

void put_word(std::vector<std::uint8_t>& bytes, unsigned word) {
  bytes.push_back(static_cast<std::uint8_t>(word >> 8));
  bytes.push_back(static_cast<std::uint8_t>(word));
}

// A map with this one value in it, so that a field's own reader judges it.
YamlNode map_of(const std::string& name, const YamlNode& value) {
  YamlNode node = value;
  for (std::string rest = name; !rest.empty();) {
    const std::size_t dot = rest.rfind('.');
    YamlNode key, map;
    key.text = dot == std::string::npos ? rest : rest.substr(dot + 1);
    key.place = map.place = value.place;
    map.kind = YamlNode::Kind::map;
    map.keys.push_back(key);
    map.items.push_back(node);
    node = map;
    rest = dot == std::string::npos ? "" : rest.substr(0, dot);
  }
  return node;
}

void leaves(const YamlNode& map, const std::string& above, std::vector<std::pair<std::string, const YamlNode*>>& found) {
  for (std::size_t i = 0; i < map.keys.size(); ++i) {
    const std::string name = above.empty() ? map.keys[i].text : above + "." + map.keys[i].text;
    if (map.items[i].is_map()) leaves(map.items[i], name, found);
    else if (name != "title") found.emplace_back(name, &map.items[i]);
  }
}

const Field* field_named(const std::string& name) {
  const auto& fields = controller_fields().fields;
  const auto found = std::find_if(fields.begin(), fields.end(), [&](const Field& field) { return field.key == name; });
  return found == fields.end() ? nullptr : &*found;
}

std::string value_of(const Field& field, const ControllerFile& file) {
  FieldTable one{"parameter", "", {field}};
  std::string text = write_fields(one, &file, 0);
  text.erase(text.find_last_not_of('\n') + 1);
  return text.substr(text.rfind(": ") + 2);
}

std::size_t place_of(const std::string& name) {
  const auto table = fw::parameter_table();
  return static_cast<std::size_t>(
      std::find_if(table.begin(), table.end(), [&](const fw::ParameterInfo& info) { return name == info.name; }) - table.begin());
}

BackupRow unknown(const std::string& name, const YamlNode& value) {
  std::vector<std::string> names;
  for (const fw::ParameterInfo& info : fw::parameter_table()) names.emplace_back(info.name);
  return {name, BackupState::unknown, "", value.text, nearest_name(name, names)};
}

}  // namespace

ParameterLine::ParameterLine(Endpoint& controller, const Scenario& scenario, std::vector<std::uint8_t> store_image)
    : controller_(controller), model_(plant::build(scenario.furnace)), state_(plant::initial_state(model_, scenario.seed)),
      period_us_(static_cast<std::uint64_t>(scenario.parameters.period_ms) * 1000u), image_(std::move(store_image)) {
  key_turned_.key_commissioning = true;
  controller_.start(image_, fw::ResetCause::power_on, 0);
  for (int i = 0; i < ticks_to_know_the_station; ++i) tick({});
}

void ParameterLine::tick(std::vector<std::uint8_t> request) {
  TickIn in;
  now_us_ += period_us_;
  in.now_us = now_us_;
  in.field = answer_;
  in.field_arrival_us = now_us_ - period_us_ / 2;
  if (!request.empty()) {
    const std::uint16_t crc = plant::modbus::crc16(request);
    request.push_back(static_cast<std::uint8_t>(crc));
    request.push_back(static_cast<std::uint8_t>(crc >> 8));
    in.supervisory = request;
    in.supervisory_arrival_us = now_us_;
  }
  controller_.tick(in, out_);
  if (out_.store_size > 0) std::copy_n(out_.store.begin(), out_.store_size, image_.begin() + out_.store_offset);
  std::array<std::uint8_t, answer_bytes_max> answer{};
  const std::size_t size =
      out_.field_size == 0 ? 0 : plant::exchange(model_, state_, key_turned_, std::span(out_.field).first(out_.field_size), answer);
  answer_.assign(answer.begin(), answer.begin() + static_cast<std::ptrdiff_t>(size));
  plant::step(model_, state_, key_turned_, static_cast<double>(period_us_) * 1e-6);
}

fw::Parameters ParameterLine::read() {
  fw::Parameters parameters = fw::default_parameters();
  const auto table = fw::parameter_table();
  for (std::size_t first = 0; first < table.size(); first += registers_at_once / 2) {
    const auto count = static_cast<unsigned>(std::min<std::size_t>(registers_at_once, 2 * (table.size() - first)));
    std::vector<std::uint8_t> request{1, 3};
    put_word(request, static_cast<unsigned>(fw::parameter_address + 2 * first));
    put_word(request, count);
    tick(request);
    if (out_.supervisory_size != 2 * count + 5) throw EndpointError("the controller does not tell its parameters");
    for (std::size_t i = 0; i < count / 2; ++i) {
      const std::uint8_t* at = out_.supervisory.data() + 3 + 4 * i;
      const std::uint32_t bits = std::uint32_t{at[0]} << 24 | std::uint32_t{at[1]} << 16 | std::uint32_t{at[2]} << 8 | at[3];
      fw::set_parameter_bits(parameters, table[first + i], bits);
    }
  }
  return parameters;
}

unsigned ParameterLine::write(std::size_t parameter, std::uint32_t bits) {
  std::vector<std::uint8_t> request{1, 16};
  put_word(request, static_cast<unsigned>(fw::parameter_address + 2 * parameter));
  put_word(request, 2);
  request.push_back(4);
  put_word(request, bits >> 16);
  put_word(request, bits & 0xFFFFu);
  tick(request);
  if (out_.supervisory_size == 5 && out_.supervisory[1] == (16 | 0x80)) return out_.supervisory[2];
  if (out_.supervisory_size != 8) throw EndpointError("the controller does not answer a write");
  return 0;
}

void ParameterLine::settle() {
  for (int i = 0, quiet = 0; i < settle_ticks_max && quiet < quiet_ticks; ++i) {
    tick({});
    quiet = out_.store_size > 0 ? 0 : quiet + 1;
  }
}

std::vector<BackupRow> compare_backup(const YamlNode& file, const fw::Parameters& here) {
  if (!file.is_map()) throw InputError(file.place, file.found(), "a map of parameters");
  std::vector<std::pair<std::string, const YamlNode*>> found;
  leaves(file, "", found);
  std::vector<BackupRow> rows;
  for (const auto& [name, value] : found) {
    const Field* field = field_named(name);
    if (field == nullptr) {
      rows.push_back(unknown(name, *value));
      continue;
    }
    const ControllerFile mine{"", here};
    BackupRow row{name, BackupState::same, value_of(*field, mine), value->text, ""};
    row.parameter = place_of(name);
    ControllerFile theirs{"", here};
    try {
      read_fields(map_of(name, *value), {"parameter", "", {*field}}, &theirs);
      const fw::ParameterInfo& info = fw::parameter_table()[row.parameter];
      row.bits = fw::parameter_bits(theirs.parameters, info);
      row.there = value_of(*field, theirs);
      if (row.bits != fw::parameter_bits(here, info)) row.state = BackupState::differs;
    } catch (const InputError& error) {
      row.state = BackupState::not_accepted;
      row.remark = error.what();
    }
    rows.push_back(row);
  }
  return rows;
}

// Some values hang together: what is refused is tried again once others stand.
int restore_backup(ParameterLine& line, std::vector<BackupRow>& rows) {
  int written = 0;
  for (bool progress = true; progress;) {
    progress = false;
    for (BackupRow& row : rows) {
      if (row.state != BackupState::differs) continue;
      const unsigned exception = line.write(row.parameter, row.bits);
      if (exception == 0) {
        row.state = BackupState::same;
        row.here = row.there;
        progress = true;
        ++written;
      }
      row.remark = exception == 0 ? "" : fmt::format("refused by the controller, Modbus exception {}", exception);
    }
  }
  for (BackupRow& row : rows)
    if (row.state == BackupState::differs) row.state = BackupState::not_accepted;
  return written;
}

std::string backup_text(const fw::Parameters& parameters, const std::string& title) {
  return write_controller(ControllerFile{title, parameters}, 0);
}

}  // namespace sim
