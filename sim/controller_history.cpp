#include "sim/controller_history.h"

#include <algorithm>
#include <array>
#include <bit>
#include <span>

#include <fmt/format.h>

#include "firmware/alarms.h"
#include "firmware/history.h"
#include "firmware/interlocks.h"
#include "firmware/parameters.h"
#include "plant/modbus.h"
#include "sim/operator_station.h"

namespace sim {

namespace {

constexpr std::array programme_states{"idle", "running", "held", "stopping", "stopped", "aborting", "aborted", "complete"};
constexpr std::array alarm_names{"normal", "unacknowledged", "acknowledged", "returned, unacknowledged", "latched, unacknowledged",
                                 "latched, acknowledged", "shelved", "suppressed by design", "out of service"};
constexpr std::array cause_names{"power on", "brown-out", "watchdog", "commanded reset"};
constexpr std::array loss_names{"nothing ran", "left as it was", "held", "resumed", "aborted: outage too long", "aborted: too cold",
                                "aborted: another programme in the store", "aborted: nothing makes the atmosphere again",
                                "aborted: not to be trusted"};
constexpr std::array forced_end_names{"", "by the operator", "after ten minutes", "key turned back", "a programme starts", "a trip"};
constexpr std::array kind_names{"none", "power up", "programme", "trip", "alarm", "parameter", "command", "forced output", "calibration",
                                "parameter dropped", "store damaged", "power loss", "segment changed"};

template <typename Names>
std::string named(const Names& names, std::uint32_t n) {
  return n < names.size() ? std::string(names[n]) : fmt::format("{}", n);
}

std::string alarm_name(std::size_t n) {
  const auto table = fw::alarm_table();
  return n < table.size() ? std::string(table[n].name) : fmt::format("alarm {}", n);
}

std::string row_name(unsigned n) {
  for (const fw::InterlockRow& row : fw::interlock_table())
    if (row.number == n) return row.name;
  return fmt::format("row {}", n);
}

std::string value_text(const fw::ParameterInfo& info, std::uint32_t bits) {
  if (info.integer) return fmt::format("{}", std::bit_cast<std::int32_t>(bits));
  const std::string unit = info.unit;
  return fmt::format("{:g}{}", std::bit_cast<float>(bits), unit.empty() ? "" : " " + unit);
}

std::string parameter_text(const ControllerEvent& event) {
  const auto table = fw::parameter_table();
  if (event.number >= table.size()) return fmt::format("parameter {}", event.number);
  const fw::ParameterInfo& info = table[event.number];
  return fmt::format("{} from {} to {}", info.name, value_text(info, event.before), value_text(info, event.after));
}

// A Modbus client of one request a period.
class Reader {
 public:
  Reader(Endpoint& controller, TickIn first, std::uint64_t period_us, const FieldSide& field)
      : controller_(controller), in_(first), period_us_(period_us), field_(field) {}

  // Moves the window to `number` where it has one, then reads. Empty: no answer.
  std::vector<std::uint16_t> read(std::uint16_t address, std::uint16_t count) {
    return exchange({1, 3, high(address), low(address), high(count), low(count)}, count);
  }
  bool move(std::uint16_t address, std::uint32_t number) {
    const auto upper = static_cast<std::uint16_t>(number >> 16), lower = static_cast<std::uint16_t>(number);
    exchange({1, 16, high(address), low(address), 0, 2, 4, high(upper), low(upper), high(lower), low(lower)}, 0);
    return out_.supervisory_size == 8 && out_.supervisory[1] == 16;
  }

 private:
  static std::uint8_t high(std::uint16_t word) { return static_cast<std::uint8_t>(word >> 8); }
  static std::uint8_t low(std::uint16_t word) { return static_cast<std::uint8_t>(word); }

  std::vector<std::uint16_t> exchange(std::vector<std::uint8_t> request, std::uint16_t count) {
    const std::uint16_t crc = plant::modbus::crc16(request);
    request.push_back(low(crc));
    request.push_back(high(crc));
    in_.supervisory = request;
    in_.supervisory_arrival_us = in_.now_us;
    controller_.tick(in_, out_);
    in_.now_us += period_us_;
    const Arrival arrival = field_({out_.field.data(), out_.field_size});
    in_.field = arrival.bytes();
    in_.field_arrival_us = arrival.last_us;
    std::vector<std::uint16_t> registers;
    const std::size_t data = 2u * count;
    if (count == 0 || out_.supervisory_size != data + 5 || plant::modbus::crc16({out_.supervisory.data(), data + 5}) != 0) return registers;
    for (std::size_t i = 0; i < count; ++i)
      registers.push_back(static_cast<std::uint16_t>(out_.supervisory[3 + 2 * i] << 8 | out_.supervisory[4 + 2 * i]));
    return registers;
  }

  Endpoint& controller_;
  TickIn in_;
  std::uint64_t period_us_;
  const FieldSide& field_;
  TickOut out_;
};

std::uint32_t pair_at(std::span<const std::uint16_t> registers, std::size_t at) {
  return std::uint32_t{registers[at]} << 16 | registers[at + 1];
}

std::vector<ControllerEvent> read_events(Reader& reader) {
  std::vector<ControllerEvent> events;
  const auto status = reader.read(fw::history_address, 4);
  if (status.empty()) return events;
  const std::uint32_t count = pair_at(status, 2);
  for (std::uint32_t first = count > fw::events_kept ? count - fw::events_kept : 0; first < count; first += fw::events_in_window) {
    if (!reader.move(fw::event_window_address, first)) break;
    const auto shown = reader.read(fw::event_window_address + 2, 8 * fw::events_in_window);
    if (shown.empty()) break;
    for (std::size_t i = 0; i < fw::events_in_window && first + i < count; ++i) {
      const std::span<const std::uint16_t> one(shown.data() + 8 * i, 8);
      if (one[3] >> 8 == 0) continue;      // not kept
      events.push_back({pair_at(one, 0), one[3] & 0xFFu, static_cast<unsigned>(one[3] >> 8), one[2], pair_at(one, 4), pair_at(one, 6)});
    }
  }
  return events;
}

ControllerRecord read_record(Reader& reader) {
  ControllerRecord record;
  const auto last = reader.read(fw::record_window_address - 2, 2);
  if (last.empty() || pair_at(last, 0) == 0 || !reader.move(fw::record_window_address, pair_at(last, 0))) return record;
  std::vector<std::uint16_t> all;
  for (std::uint16_t from = 0; from < 164; from = static_cast<std::uint16_t>(from + 82)) {
    const auto part = reader.read(static_cast<std::uint16_t>(fw::record_window_address + 2 + from), 82);
    if (part.empty()) return record;
    all.insert(all.end(), part.begin(), part.end());
  }
  record.hash = pair_at(all, 0);
  record.number = pair_at(all, 2);
  record.started_s = pair_at(all, 4);
  record.ended_s = pair_at(all, 6);
  record.programme_crc = pair_at(all, 8);
  record.parameters_crc = pair_at(all, 10);
  record.alarms = std::uint64_t{pair_at(all, 14)} << 32 | pair_at(all, 12);
  unsigned* const singles[] = {&record.started_boot, &record.ended_boot, &record.operator_actions, &record.outages,
                               &record.programme,    &record.end_state,  &record.first_out,        &record.segments};
  for (std::size_t i = 0; i < std::size(singles); ++i) *singles[i] = all[16 + i];
  for (std::size_t i = 48; i < 72; ++i)
    if (const int byte = all[i / 2] >> (i % 2 == 0 ? 8 : 0) & 0xFF; byte != 0) record.title.push_back(static_cast<char>(byte));
  for (std::size_t i = 0; i < record.segments && 36 + i < all.size(); ++i)
    record.deviation_k.push_back(all[36 + i] == 65535 ? -1.0 : all[36 + i] * 0.1);
  return record;
}

std::string alarms_text(std::uint64_t alarms) {
  std::string text;
  for (; alarms != 0; alarms &= alarms - 1)
    text += (text.empty() ? "" : ", ") + alarm_name(static_cast<std::size_t>(std::countr_zero(alarms)));
  return text.empty() ? "none" : text;
}

std::string quoted(const std::string& text) {
  std::string cell = "\"";
  for (const char c : text) cell += c == '"' ? "\"\"" : std::string(1, c);
  return cell + "\"";
}

}  // namespace

ControllerHistory read_history(Endpoint& controller, TickIn first, std::uint64_t period_us, const FieldSide& field) {
  Reader reader(controller, first, period_us, field);
  ControllerHistory history;
  history.events = read_events(reader);
  history.record = read_record(reader);
  return history;
}

std::string sentence(const ControllerEvent& event) {
  switch (static_cast<fw::EventKind>(event.kind)) {
    case fw::EventKind::power_up:
      return fmt::format("{}, {} s without power, start number {}", named(cause_names, event.number), event.before, event.after);
    case fw::EventKind::programme_state:
      return fmt::format("programme {} from {} to {}", event.number, named(programme_states, event.before),
                         named(programme_states, event.after));
    case fw::EventKind::trip: return fmt::format("{}; first out: {}", row_name(event.number), row_name(event.before));
    case fw::EventKind::alarm:
      return fmt::format("{} from {} to {}", alarm_name(event.number), named(alarm_names, event.before), named(alarm_names, event.after));
    case fw::EventKind::parameter: return parameter_text(event);
    case fw::EventKind::command:
      return fmt::format("command {} with {} and {:g}: result {}", event.number, event.before & 0xFFFFu,
                         std::bit_cast<float>(event.after), event.before >> 16);
    case fw::EventKind::forced_output:
      if (event.number == 255) return "all released: " + named(forced_end_names, event.before);
      return fmt::format("output {} to {:g}", event.number, std::bit_cast<float>(event.after));
    case fw::EventKind::calibration:
      return fmt::format("channel {} corrected by {:g}, before by {:g}", event.number, std::bit_cast<float>(event.after),
                         std::bit_cast<float>(event.before));
    case fw::EventKind::power_loss:
      return fmt::format("programme after {} s without power, {:.1f} K colder: {}", event.before, std::bit_cast<float>(event.after),
                         named(loss_names, event.number));
    case fw::EventKind::segment_changed: return fmt::format("segment {} of the running programme", event.number + 1);
    case fw::EventKind::store_damaged: return fmt::format("{} pages or values not usable", event.before);
    case fw::EventKind::parameter_dropped: return fmt::format("name {:08x} is not in the table", event.before);
    default: return "";
  }
}

std::string controller_log_csv(const std::vector<ControllerEvent>& events) {
  std::string text = "start,time [s],kind,text\n";
  for (const ControllerEvent& event : events)
    text += fmt::format("{},{},{},{}\n", event.boot, event.second, named(kind_names, event.kind), quoted(sentence(event)));
  return text;
}

std::vector<std::pair<std::string, std::string>> record_rows(const ControllerRecord& record) {
  if (record.number == 0) return {};
  const double worst = record.deviation_k.empty() ? -1.0 : *std::max_element(record.deviation_k.begin(), record.deviation_k.end());
  return {{"programme", fmt::format("{} ({}), CRC {:08x}", record.title, record.programme, record.programme_crc)},
          {"parameters", fmt::format("CRC {:08x}", record.parameters_crc)},
          {"ended", named(programme_states, record.end_state)},
          {"from", fmt::format("{} s after start {} of the core", record.started_s, record.started_boot)},
          {"to", fmt::format("{} s after start {} of the core", record.ended_s, record.ended_boot)},
          {"largest deviation while heating", worst < 0.0 ? "not heated" : fmt::format("{:.1f} K", worst)},
          {"alarms", alarms_text(record.alarms)},
          {"first out", record.first_out == 0 ? "no trip" : row_name(record.first_out)},
          {"operator's actions", fmt::format("{}", record.operator_actions)},
          {"power losses gone on after", fmt::format("{}", record.outages)},
          {"hash", fmt::format("{:08x}", record.hash)}};
}

std::string record_csv(const ControllerRecord& record) {
  std::string text = "what,value\n";
  for (const auto& [what, value] : record_rows(record)) text += fmt::format("{},{}\n", quoted(what), quoted(value));
  for (std::size_t i = 0; i < record.deviation_k.size(); ++i)
    text += fmt::format("deviation in segment {} [K],{}\n", i + 1,
                        record.deviation_k[i] < 0.0 ? "" : fmt::format("{:.1f}", record.deviation_k[i]));
  return text;
}

}  // namespace sim
