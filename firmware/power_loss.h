// What becomes of a programme that a power loss broke off. Its place is kept in the store every ten seconds and whenever it changes:
// small, alternating between two pages. When the power is back and the station has answered, the policy decides once: nothing (the
// core stays idle), hold (the operator resumes), or resume; beyond the longest outage or the largest loss of temperature the
// programme is aborted, and so it is wherever its place can't be trusted.
//
// It goes on honestly: the time of a soak goes on from what was counted and kept, so never twice, and only once the furnace is as
// warm again as it was; a ramp goes on from the process value. Where heat needs an atmosphere, the segments that made it run again
// first, from the last one that began with the chamber emptied or purged; a programme that has none is aborted.
#pragma once

#include <cstdint>
#include <span>

#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/store_page.h"

namespace fw {

enum class PowerLossPolicy : std::int32_t { off = 0, hold = 1, resume = 2 };

// What became of the programme; number of the event.
enum class PowerLossOutcome : std::uint16_t {
  none = 0,               // nothing ran
  left = 1,               // the policy is off
  held = 2, resumed = 3,
  outage_too_long = 4, too_cold = 5,
  other_programme = 6,    // the store holds another one than the one that ran, or its place does not fit
  no_atmosphere = 7,      // nothing in the programme makes the atmosphere again
  not_trusted = 8         // damaged parameters, a trip, a sensor without a value, or more repeats under way than are kept
};

inline constexpr int progress_page_first = 860;
inline constexpr int progress_repeats_max = 4;
inline constexpr std::uint32_t progress_every_ms = 10000;
inline constexpr std::uint32_t power_loss_wait_ms = 30000;      // no longer for the station

struct RunProgress {
  std::uint32_t programme_crc;      // of the private copy
  std::uint32_t elapsed_ms, counted_ms;
  float setpoint_degc;
  float lead_degc;                  // process value then
  float rate_k_per_s;               // of the ramp, signed
  float flow_slm, back_pressure_pa;
  std::uint16_t segment;
  std::uint8_t state, programme;    // ProgrammeState
  std::uint8_t gas, gain_set;
  std::uint8_t begun;               // the segment has begun
  std::uint8_t repeats;             // under way; more than progress_repeats_max: not all are kept
  std::uint8_t repeat_segment[progress_repeats_max];
  std::uint16_t repeats_done[progress_repeats_max];
};
static_assert(sizeof(RunProgress) == page_payload_bytes);

struct PowerLoss {
  RunProgress progress;             // as last kept
  std::uint32_t generation;
  std::uint32_t since_ms;           // since it was kept
  std::uint32_t outage_s;
  std::uint32_t waited_ms;          // for the station to be itself again: its watchdog has acted meanwhile
  bool undecided;                   // a programme was broken off and the station has not answered yet
  bool dirty;
};

void load_progress(std::span<const std::uint8_t> image, PowerLoss& power, std::uint32_t outage_s);
void keep_progress(PowerLoss& power, const ProgrammeRun& run, int programme, std::uint32_t programme_crc, float lead_degc,
                   std::uint32_t period_ms);
int next_progress_page(PowerLoss& power, std::span<std::uint8_t, store_write_bytes> bytes);

struct PowerLossView {
  const Parameters& parameters;
  const ProgrammeEntry& entry;      // stored, of the number that ran
  const Segment* segments;
  bool trusted;                     // parameters whole, no trip, lead zone's sensor good
  float lead_degc;
};
// Decides, and puts the programme where it goes on. Call once, with the station's first answer.
PowerLossOutcome power_loss_decide(PowerLoss& power, const PowerLossView& view, ProgrammeRun& run);

}  // namespace fw
