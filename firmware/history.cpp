#include "firmware/history.h"

#include <bit>
#include <cmath>
#include <cstddef>
#include <cstring>

#include "firmware/controller_state.h"

namespace fw {

namespace {

std::uint32_t second_of(const Controller& c) {
  return static_cast<std::uint32_t>(std::uint64_t{c.tick} * static_cast<std::uint32_t>(c.parameters.period_ms) / 1000u);
}

// A lost line suppresses dozens that were normal: the line's own alarm tells it, and the log has no room for them.
bool only_suppressed(AlarmState before, AlarmState after) {
  return (before == AlarmState::normal && after == AlarmState::suppressed) ||
         (before == AlarmState::suppressed && after == AlarmState::normal);
}

void note_alarms(Controller& c) {
  History& h = c.history;
  for (AlarmSet left = alarms_changed(h.alarms, c.alarms); left != 0; left &= left - 1) {
    const int number = std::countr_zero(left);
    const AlarmState before = alarm_state(h.alarms, number), after = alarm_state(c.alarms, number);
    if (only_suppressed(before, after)) continue;
    history_log(c, EventKind::alarm, static_cast<std::uint16_t>(number), static_cast<std::uint32_t>(before),
                static_cast<std::uint32_t>(after));
  }
  h.alarms = static_cast<const AlarmSets&>(c.alarms);
  h.records.now.alarms[0] |= static_cast<std::uint32_t>(c.alarms.active);
  h.records.now.alarms[1] |= static_cast<std::uint32_t>(c.alarms.active >> 32);
}

void note_trips(Controller& c) {
  const std::uint64_t latched = c.interlocks.latched;
  for (std::uint64_t left = latched & ~c.history.trips; left != 0; left &= left - 1) {
    history_log(c, EventKind::trip, static_cast<std::uint16_t>(std::countr_zero(left)), c.interlocks.first_out, 0);
  }
  if (c.interlocks.latched != 0 && c.history.records.now.first_out == 0) c.history.records.now.first_out = c.interlocks.first_out;
  c.history.trips = latched;
}

constexpr std::uint32_t draft_every_ms = 600000;

// What a record says of its run is not whole yet.
bool record_incomplete(const History& h) { return h.hash.part != RunHash::Part::none && h.hash.of_record; }

void hash_on(Controller& c) {
  History& h = c.history;
  std::uint32_t crc = 0;
  switch (run_hash_step(h.hash, c.parameters, c.run, crc)) {
    case RunHash::Part::parameters:
      h.records.now.parameters_crc = crc;
      return;
    case RunHash::Part::programme:
      h.programme_crc = crc;
      if (h.hash.of_record) h.records.now.programme_crc = crc;
      return;
    default:
      return;
  }
}

// Of a run in progress, as each segment begins and now and again.
void draft_record(Controller& c) {
  RunRecords& records = c.history.records;
  if (!programme_active(c.run) || records.now.number == 0 || record_incomplete(c.history)) return;
  records.undrafted_ms += static_cast<std::uint32_t>(c.parameters.period_ms);
  if (records.writing != 0 || (c.run.segment == c.history.segment && records.undrafted_ms < draft_every_ms)) return;
  c.history.segment = c.run.segment;
  draft_run_record(records, second_of(c), c.journal.boots);
}

bool over(ProgrammeState state) {
  return state == ProgrammeState::stopped || state == ProgrammeState::aborted || state == ProgrammeState::complete;
}

// A run that is over: its record is closed with its hash, or without where the next one begins before.
void ends(Controller& c, ProgrammeState state) {
  c.history.ending = state;
  c.history.ended_s = second_of(c);
}

void close_ended(Controller& c) {
  History& h = c.history;
  if (h.ending == ProgrammeState::idle) return;
  end_run_record(h.records, h.ending, h.ended_s, c.journal.boots);
  h.ending = ProgrammeState::idle;
}

void note_programme(Controller& c) {
  History& h = c.history;
  if (c.run.state != h.state) {
    history_log(c, EventKind::programme_state, static_cast<std::uint16_t>(c.journal.programme), static_cast<std::uint32_t>(h.state),
                static_cast<std::uint32_t>(c.run.state));
    if (over(c.run.state)) ends(c, c.run.state);
    h.state = c.run.state;
  }
  if (!record_incomplete(h)) close_ended(c);
  draft_record(c);
  if (c.run.state != ProgrammeState::running || !c.run.heat_wanted || c.run.starting) return;
  for (int z = 0; z < c.parameters.zones; ++z) note_deviation(h.records, c.run.segment, c.inputs.zone_degc[z] - c.run.setpoint_degc);
}

// The record of a run that a power loss broke off: its draft, or else what the place it had says, and the parameters as they are.
void take_up_record(Controller& c, const RunProgress& progress) {
  RunRecord& now = c.history.records.now;
  now.programme_crc = progress.programme_crc;
  now.programme = progress.programme;
  now.started_boot = static_cast<std::uint16_t>(c.journal.boots - 1);
  if (!take_up_draft(c.history.records)) run_hash_begin(c.history.hash, 0);
}

// The part of a record that is known when it begins.
void begin_record(Controller& c, int number) {
  close_ended(c);
  RunRecord& begun = c.history.records.now;
  begun = RunRecord{};
  const ProgrammeEntry& entry = c.programmes.entries[number];
  std::memcpy(begun.title, entry.title, sizeof begun.title);
  begun.programme = static_cast<std::uint8_t>(number);
  begun.segments = static_cast<std::uint8_t>(entry.segments);
  begun.started_s = second_of(c);
  begun.started_boot = static_cast<std::uint16_t>(c.journal.boots);
  begin_run_record(c.history.records);
  c.history.segment = no_segment;
}

// --- Registers ---------------------------------------------------------------------------------------------------------

std::uint16_t half(std::uint32_t value, int low) { return static_cast<std::uint16_t>(low != 0 ? value : value >> 16); }

std::uint16_t event_register(const LoggedEvent& event, int at) {
  switch (at) {
    case 0: case 1: return half(event.second, at);
    case 2: return event.number;
    case 3: return static_cast<std::uint16_t>(event.kind << 8 | event.boot);
    case 4: case 5: return half(event.before, at - 4);
    default: return half(event.after, at - 6);
  }
}

std::uint16_t record_register(const RunRecord& record, int at) {
  const std::uint32_t words[6] = {record.hash,    record.number,        record.started_s,
                                  record.ended_s, record.programme_crc, record.parameters_crc};
  if (at < 12) return half(words[at / 2], at % 2);
  if (at < 16) return half(record.alarms[(at - 12) / 2], at % 2);
  const std::uint16_t singles[8] = {record.started_boot, record.ended_boot, record.operator_actions, record.outages,
                                    record.programme,    record.end_state,  record.first_out,        record.segments};
  if (at < 24) return singles[at - 16];
  if (at < 36) {
    const char* pair = record.title + 2 * (at - 24);
    const auto high = static_cast<std::uint8_t>(pair[0]), low = static_cast<std::uint8_t>(pair[1]);
    return static_cast<std::uint16_t>(high << 8 | low);
  }
  return record.deviation_dk[at - 36 < programme_segments_max ? at - 36 : 0];
}

std::uint16_t status_register(const Controller& c, int at) {
  const std::uint32_t boots = c.journal.boots, events = c.history.events.count;
  switch (at) {
    case 0: case 1: return half(boots, at);
    case 2: case 3: return half(events, at - 2);
    case 4: return static_cast<std::uint16_t>(c.store_bad < 65535 ? c.store_bad : 65535);
    case 5: return c.writer.parameters.dropped_count;
    case 6: return static_cast<std::uint16_t>(c.power.undecided ? 1 : 0);
    default: return 0;
  }
}

}  // namespace

void history_log(Controller& c, EventKind kind, std::uint16_t number, std::uint32_t before, std::uint32_t after) {
  const auto boot = static_cast<std::uint8_t>(c.journal.boots);
  log_event(c.history.events, {second_of(c), number, static_cast<std::uint8_t>(kind), boot, before, after});
}

void history_operator(Controller& c) {
  std::uint16_t& actions = c.history.records.now.operator_actions;
  if (actions < 65535) ++actions;
}

void history_start(Controller& c, std::span<const std::uint8_t> image, ResetCause cause, std::uint32_t outage_s) {
  load_event_log(image, c.history.events);
  load_run_records(image, c.history.records);
  load_progress(image, c.power, outage_s);
  ++c.journal.boots;
  keep_journal(c.writer);
  if (!c.power.undecided) end_left_draft(c.history.records, c.journal.boots);
  history_log(c, EventKind::power_up, static_cast<std::uint16_t>(cause), outage_s, c.journal.boots);
  if (c.store_bad > 0) history_log(c, EventKind::store_damaged, 0, static_cast<std::uint32_t>(c.store_bad), 0);
  for (int i = 0; i < c.writer.parameters.dropped_count && i < dropped_max; ++i)
    history_log(c, EventKind::parameter_dropped, 0, c.writer.parameters.dropped[i], 0);
}

void history_power_loss(Controller& c) {
  if (!c.power.undecided || !c.inputs.known) return;
  // A station that was without power, or without its controller, says so in its first answers: that trips a programme that runs.
  const bool station_acted = (c.inputs.station & 1u) != 0;
  c.power.waited_ms += static_cast<std::uint32_t>(c.parameters.period_ms);
  if (station_acted && c.power.waited_ms < power_loss_wait_ms) return;
  const RunProgress progress = c.power.progress;
  const int number = progress.programme < programme_count ? progress.programme : 0;
  const ProgrammeEntry& entry = c.programmes.entries[number];
  const bool trusted = c.parameters_bad == 0 && c.interlocks.latched == 0 && c.inputs.zone_failed == 0 && c.latch.line == 0 &&
                       !station_acted;
  const float lead_degc = c.inputs.zone_degc[0];
  const PowerLossView view{c.parameters, entry, c.programmes.segments + entry.first_segment, trusted, lead_degc};
  const PowerLossOutcome outcome = power_loss_decide(c.power, view, c.run);
  history_log(c, EventKind::power_loss, static_cast<std::uint16_t>(outcome), c.power.outage_s,
              std::bit_cast<std::uint32_t>(progress.lead_degc - lead_degc));
  begin_record(c, number);
  take_up_record(c, progress);
  if (programme_active(c.run)) {
    c.journal.programme = number;
    c.history.programme_crc = progress.programme_crc;
    ++c.history.records.now.outages;
  } else {
    ends(c, ProgrammeState::aborting);
  }
  c.history.state = c.run.state;
}

void history_run_begins(Controller& c) {
  begin_record(c, c.journal.programme);
  run_hash_begin(c.history.hash, c.run.segments);
}

void history_parameters_changed(Controller& c) { run_hash_parameters_changed(c.history.hash); }

void history_segment_changed(Controller& c, std::uint16_t index, std::uint32_t before) {
  history_log(c, EventKind::segment_changed, index, before, segments_crc({c.run.copy + index, 1}, sizeof(Segment)));
  run_hash_segment_changed(c.history.hash, c.run.segments);
}

void history_step(Controller& c) {
  hash_on(c);
  note_alarms(c);
  note_trips(c);
  note_programme(c);
  if (c.history.hash.part == RunHash::Part::programme) return;      // the place is known again by it
  keep_progress(c.power, c.run, c.journal.programme, c.history.programme_crc, c.inputs.zone_degc[0],
                static_cast<std::uint32_t>(c.parameters.period_ms));
}

std::uint16_t history_register(const Controller& c, std::uint16_t address) {
  const int at = address - history_address;
  constexpr int events_at = 10, records_at = 0x3A, record_at = 0x3E;
  if (at < 8) return status_register(c, at);
  if (at < events_at) return half(c.history.event_window, at - 8);
  if (at < records_at) {
    const LoggedEvent event = logged_event(c.history.events, c.history.event_window + static_cast<std::uint32_t>(at - events_at) / 8);
    return event_register(event, (at - events_at) % 8);
  }
  if (at < records_at + 2) return half(c.history.records.last, at - records_at);
  if (at < record_at) return half(c.history.record_window, at - records_at - 2);
  return record_register(run_record(c.history.records, c.history.record_window), at - record_at);
}

bool history_move_window(Controller& c, std::uint16_t address, std::uint32_t number) {
  if (address == event_window_address) {
    c.history.event_window = number;
  } else if (address == record_window_address) {
    c.history.record_window = number;
  } else {
    return false;
  }
  return true;
}

}  // namespace fw
