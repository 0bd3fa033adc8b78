// Programmes as they stand in the store: 16 programmes share 512 segments.
#pragma once

#include <cstdint>

namespace fw {

inline constexpr int programme_count = 16;
inline constexpr int segment_count = 512;
inline constexpr int programme_segments_max = 128;  // longest single programme; the running one is a private copy

// forming_gas: hydrogen through meter 1 and nitrogen through meter 2, in the share that a parameter gives.
enum class Gas : std::uint8_t { keep = 0, air = 1, nitrogen = 2, argon = 3, helium = 4, hydrogen = 5, forming_gas = 6 };
inline constexpr int gas_count = 7;

enum class SegmentKind : std::uint8_t {
  none = 0, ramp = 1, soak = 2, wait = 3, evacuate = 4, backfill = 5, purge = 6, leak_test = 7, cool = 8, repeat = 9, end = 10
};

// Bits of Segment::options.
enum SegmentOption : std::uint8_t {
  ramp_by_time = 1,        // ramp: reach target in duration_ms instead of at rate
  count_on_load = 2,       // soak, ramp: tolerance judged by the load thermocouple (else the heater-side one)
  by_vacuum_cycles = 4,    // purge: count evacuate/backfill cycles instead of volume changes
  end_keep_purge = 8,      // end: reserved, safe values stay in force either way
  no_feed_forward = 16,    // heat by feedback alone
  until_dry = 32,          // purge by volume changes: also until the dew point has stayed at or below rate for duration_ms
};

// One segment. Fields that its kind does not use are zero. For flow_slm and back_pressure_pa a negative value means "as before".
struct Segment {
  SegmentKind kind = SegmentKind::none;
  Gas gas = Gas::keep;
  std::uint8_t gain_set = 0;        // 1..4, 0 as before
  std::uint8_t options = 0;         // SegmentOption bits
  float target = 0.0f;              // ramp: degC; evacuate: Pa abs; backfill and purge: Pa gauge to hold; leak_test: none; cool: load degC
  float rate = 0.0f;                // ramp: K/s (> 0); leak_test: highest pressure rise accepted, Pa/s; purge until dry: degC
  std::uint32_t duration_ms = 0;    // ramp by time, soak, wait, leak_test; purge until dry: of the dew point
  float tolerance_k = 0.0f;         // soak: half width of the band in which time counts; ramp: how far it runs ahead (0: the parameter)
  float flow_slm = -1.0f;           // flow set point (0 degC, 101.325 kPa) while the segment runs
  float back_pressure_pa = -1.0f;   // gauge set point of the back-pressure loop
  float amount = 0.0f;              // purge: volume changes, or evacuation pressure in Pa abs with by_vacuum_cycles
  std::uint16_t count = 0;          // repeat: times in all; purge by cycles: number of cycles
  std::uint16_t jump = 0;           // repeat: index within the programme to go back to
  std::uint32_t timeout_ms = 0;     // evacuate, backfill, purge, cool, soak (0: none): longer is a failure of the segment
  // Highest demand of the heat loops while it runs, 0: the parameters' own. Below it the interlock "no response" does not watch: what
  // less than full power must bring, nobody has said. The deviation alarm does.
  float power_limit = 0.0f;
  // Share of the heat loops' feed-forward while it runs, 0: the whole of it (none: no_feed_forward). Above 1 where this segment needs
  // more than the parameters say, a heavier load for one.
  float feed_forward = 0.0f;
};
static_assert(sizeof(Segment) == 48);
inline constexpr float feed_forward_share_max = 1.5f;

// 0..feed_forward_share_max.
float segment_feed_forward(const Segment& segment);

// Where a programme's segments lie. segment_count_ 0: empty slot.
struct ProgrammeEntry {
  char title[24] = {};               // UTF-8, zero padded
  std::uint16_t first_segment = 0;
  std::uint16_t segments = 0;
};

enum class ProgrammeState : std::uint8_t {
  idle = 0, running = 1, held = 2, stopping = 3, stopped = 4, aborting = 5, aborted = 6, complete = 7
};

inline constexpr std::uint16_t no_segment = 65535;

// The running programme: a private copy, so that the store may be edited meanwhile. Trivially copyable.
struct ProgrammeRun {
  ProgrammeState state = ProgrammeState::idle;
  bool heat_wanted = false;          // a ramp has given the heat loops a set point
  bool starting = false;             // begins with the next step
  bool waiting = false;              // the segment's time stands still: tolerance or no heat permissive
  bool failed = false;               // a segment did (time-out, leak test): the reason of an abort
  bool load_needed = false;          // some segment judges by the load thermocouple
  Gas gas = Gas::keep;
  std::uint8_t gain_set = 1;
  std::uint16_t segment = 0;
  std::uint16_t segments = 0;        // of the copy, 0: none
  std::uint32_t serial = 0;          // counts segments begun: the atmosphere sees a new task by it
  std::uint32_t elapsed_ms = 0;      // in the segment, waiting included
  std::uint32_t counted_ms = 0;      // in the segment, waiting left out
  std::uint32_t settle_ms = 0;       // in stopping or aborting
  float start_degc = 0.0f;           // of the ramp
  float rate_k_per_s = 0.0f;         // of the ramp now, signed; 0 outside ramps and while it waits
  float setpoint_degc = 0.0f;
  float flow_slm = 0.0f;             // asked for
  float back_pressure_pa = 0.0f;     // asked for, gauge
  std::uint16_t repeats[programme_segments_max] = {};   // done so far, by index of the repeat segment
  Segment copy[programme_segments_max] = {};
  // operator and power loss
  bool returning = false;            // segments that make the atmosphere run again before it goes on where it was
  bool return_now = false;           // there are none of these: to its place at once
  bool recovering = false;           // the furnace is not yet as warm as it was: a soak's time stands still
  std::uint8_t return_gain_set = 1;
  Gas return_gas = Gas::keep;
  std::uint16_t return_segment = 0;
  std::uint16_t return_last = 0;     // the last of those segments
  std::uint16_t pass_until = 0;      // start at the process value: ramps, soaks and waits before this one are passed over
  std::uint16_t begun_highest = 0;   // highest segment begun: those beyond may still be edited
  std::uint32_t return_counted_ms = 0;
  float return_setpoint_degc = 0.0f;
  float return_rate_k_per_s = 0.0f;  // of the ramp it was in, signed
  float return_flow_slm = 0.0f;
  float return_back_pressure_pa = 0.0f;
  float recover_degc = 0.0f;         // lead zone, before the power went
};

// A place to go on from.
struct ProgrammeReturn {
  std::uint16_t segment;
  std::uint8_t gain_set;
  Gas gas;
  std::uint32_t counted_ms;
  float setpoint_degc;
  float rate_k_per_s;                // of a ramp, signed
  float recover_degc;                // lead zone then
  float flow_slm, back_pressure_pa;
};

// What the programme has to know of the plant and the atmosphere in a tick.
struct ProgrammeView {
  std::uint32_t period_ms;
  float lead_degc;                   // what the set point counts for, lead zone or load: a ramp starts from it
  float farthest_degc;               // heater side, the zone farthest from its set point, as if that were the programme's
  float load_degc;
  bool heat_permissive;
  bool heater_good, load_good;       // sensors
  bool task_done, task_failed;       // atmosphere, of the segment running
  bool plant_settled;                // pump isolated and stopped, heat off: a stop is complete
  float ramp_tolerance_k;                 // 0 off
  std::uint32_t task_timeout_ms;     // for evacuate, backfill and purge without their own
};

// Copies a programme in and starts it at the process value. The caller has checked that it exists.
void programme_start(ProgrammeRun& run, const ProgrammeEntry& entry, const Segment* segments, float back_pressure_pa);
// After programme_start: go on at a place, after segments first..last have run once more (first < 0: none).
void programme_return(ProgrammeRun& run, const ProgrammeReturn& to, int first, int last);
// After programme_start: begin where the furnace is. The first ramp whose way holds lead_degc is entered there, at its own rate;
// ramps, soaks and waits before it are passed over, segments that make the atmosphere are not. Nothing changes if none holds it.
void programme_enter(ProgrammeRun& run, float lead_degc);
// Changes a segment that has not begun yet; false: it has, or there is none, or it is invalid.
bool programme_edit(ProgrammeRun& run, std::uint16_t index, const Segment& segment);
// Signed rate of a ramp that runs, K/s.
float programme_ramp_rate(const ProgrammeRun& run, const Segment& segment);
// Replaces the segments of a programme that runs or has run; its progress stays. false: it would end before the one in force.
bool programme_adopt(ProgrammeRun& run, const ProgrammeEntry& entry, const Segment* segments);
// One control period of running, stopping and aborting.
void programme_step(ProgrammeRun& run, const ProgrammeView& view);
void programme_stop(ProgrammeRun& run);     // to stopping
void programme_abort(ProgrammeRun& run);    // to aborting
// Leaves the programme for a few segments of the core's own, which stand behind its last one in the private copy (over its end
// where there is no room). Of a programme that runs or is held.
void programme_divert(ProgrammeRun& run, const Segment* segments, int count, float lead_degc);
bool programme_skip(ProgrammeRun& run, const ProgrammeView& view);  // false: this kind of segment is not skipped

// The segment in force, or null when nothing runs.
const Segment* programme_segment(const ProgrammeRun& run);
inline bool programme_active(const ProgrammeRun& run) {
  return run.state == ProgrammeState::running || run.state == ProgrammeState::held;
}
// A trip ends it in aborted: that one came while it stopped must stand in its record.
inline bool programme_abortable(const ProgrammeRun& run) {
  return programme_active(run) || run.state == ProgrammeState::stopping;
}

// Whether every field of a segment is finite and within bounds for its kind; index: its place in the programme (a repeat
// goes back, never on).
bool segment_valid(const Segment& segment, int index);

}  // namespace fw
