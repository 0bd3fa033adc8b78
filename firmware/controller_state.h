// fw::Controller: the whole state of the core, one trivially copyable struct. A host may copy it between calls; what is in
// it is the core's own business.
#pragma once

#include <cstddef>
#include <cstdint>
#include <type_traits>

#include "firmware/alarms.h"
#include "firmware/atmosphere.h"
#include "firmware/auto_tune.h"
#include "firmware/back_pressure.h"
#include "firmware/check.h"
#include "firmware/commissioning.h"
#include "firmware/controller.h"
#include "firmware/detections.h"
#include "firmware/flow.h"
#include "firmware/gas_watch.h"
#include "firmware/heat_zones.h"
#include "firmware/history.h"
#include "firmware/interlocks.h"
#include "firmware/parameter_store.h"
#include "firmware/parameters.h"
#include "firmware/power_loss.h"
#include "firmware/programme.h"
#include "firmware/signals.h"
#include "firmware/station.h"
#include "firmware/supervisory.h"
#include "firmware/temperature.h"

namespace fw {

struct Transmission {
  std::uint16_t size = 0;             // waiting to go out, 0 none
  std::uint8_t bytes[frame_bytes_max] = {};
};

struct Controller {
  // what outlives a power cut
  Parameters parameters;
  ProgrammeStore programmes;
  Journal journal;
  StoreWriter writer;
  std::int32_t store_bad;             // pages and values not usable at start
  std::int32_t parameters_bad;        // those of the parameters: no programme starts on presets nobody chose
  // the two lines
  StationLink station;
  Supervisory supervisory;
  Transmission out_field, out_supervisory;
  // the step
  std::uint32_t tick;                 // periods since start
  std::uint32_t journal_ms;           // since the journal was last looked at
  CheckLatch latch;
  Inputs inputs;
  Outputs outputs;                    // of the last tick, after the interlocks
  Alarms alarms;
  ProgrammeRun run;
  Atmosphere atmosphere;
  AtmosphereDemand demand;            // of the last tick, before the interlocks
  Interlocks interlocks;
  Detections detections;
  HeatLoop heat[zone_count_max];
  BackPressureLoop back_pressure;
  FlowLoop flow;
  FlowTotaliser totaliser;
  HeatZones zones;
  AutoTune tune;
  GasWatch gas_watch;
  std::uint32_t feedback_ms;          // a valve's feedback has differed so long in a segment that makes the atmosphere
  // what is written down
  History history;
  PowerLoss power;
  Commissioning commissioning;
};

static_assert(std::is_trivially_copyable_v<Controller>);
static_assert(sizeof(Controller) <= 64 * 1024, "RAM of the smallest target");

}  // namespace fw
