// The heat zones together: set points of the zones from the programme's, cascade of the load over them, the zones' loops, decoupling,
// what the elements and the station's time proportioning can take. With everything at its preset a zone's demand is its loop's.
//
// Cascade: the programme's set point is the load's. An outer PI loop gives the heater side its set point: the load's set point plus
// what the load lacks, at most cascade_above_k over and cascade_below_k under the load's temperature, moving at most at
// cascade_rate_k_per_s. Its integral tracks the set point that came of it, and stands while the lead zone's demand is at a limit and
// more of the same would be asked. Switched off (or the load sensor gone, unless cascade_hold) the distance to the programme's set
// point goes back to 0 at the same rate; switched on it begins with the distance there is. Either way nothing steps.
//
// Decoupling: v = what the loops ask, u = inverse(G) v what is sent, G the interaction of the zones (heat_interaction, 1 on its
// diagonal); settled, each zone then follows its own loop alone. Where a zone is at a limit the others are solved for with it there. The
// loops' anti-windup gets G times what went out.
#pragma once

#include <cstdint>

#include "firmware/parameters.h"
#include "firmware/pid.h"
#include "firmware/signals.h"
#include "firmware/temperature.h"

namespace fw {

// What the programme asks of the zones in a tick.
struct HeatView {
  bool on = false;
  float setpoint_degc = 0.0f;
  float rate_k_per_s = 0.0f;
  int gain_set = 1;                // as heat_settings
  float power_max = 1.0f;
  float feed_forward = 1.0f;         // the segment's share of it
  int relay_zone = -1;             // this one is an auto-tune's: it gets relay_frac
  float relay_frac = 0.0f;
};

// Demand with which an element begins whose current is limited and not known yet. At this demand and above its current must be there.
inline constexpr float first_guarded_frac = 0.1f;

// What an element can take: soft start below a temperature, and a demand at which its rms current stays at the limit. Made for whole
// cycles; by phase angle, where the current rises up to three times as fast with a small demand, the limit hunts below half demand.
struct ElementGuard {
  float soft_max = 0.0f;           // limit of the soft start
  float current_max = 0.0f;        // limit by the current
};

// Time proportioning that the station can follow. owed: demand asked less demand sent, over time, in 2^-20 ms at full demand.
struct OnTime {
  std::int64_t owed = 0;
  std::uint32_t ticks = 0;         // until the next cycle
  float sent = 0.0f;
};

struct HeatZones {
  float setpoint_degc[zone_count_max] = {};   // in force, also the relay's
  float asked[zone_count_max] = {};           // before time proportioning
  float sent[zone_count_max] = {};            // wanted of the station
  float offset_k = 0.0f;                      // cascade: heater side's set point over the programme's
  Pid outer;
  std::uint32_t outer_ticks = 0;
  bool cascaded = false;                      // the outer loop is in charge
  bool held_back[zone_count_max] = {};        // by what the element can take
  bool coupled = false;                       // a matrix is given
  float known[12] = {};                       // the interaction that the two matrices belong to
  std::int32_t known_zones = 0;
  float interaction[zone_count_max][zone_count_max] = {};
  float inverse[zone_count_max][zone_count_max] = {};
  float reach[zone_count_max] = {};           // row sums of the interaction
  float solved_for[zone_count_max] = {}, solved[zone_count_max] = {};   // what the loops asked, and the demands that give it
  ElementGuard guard[zone_count_max];
  OnTime on_time[zone_count_max];
};

// Call every tick. demand: of each zone, 0..1, before the interlocks; zones not in use stay as they are.
void heat_zones_step(HeatZones& zones, HeatLoop* loops, const Parameters& parameters, const Inputs& inputs, const HeatView& view,
                     float* demand);

// Call every tick after the interlocks with what went out.
void heat_zones_applied(HeatZones& zones, HeatLoop* loops, const Parameters& parameters, const float* demand);

// By how much a zone of the unit is to be hotter than the lead zone; its own does not count there.
float heat_zone_offset_k(const Parameters& parameters, int zone);

// The zone farthest from its set point, its temperature moved by as much as its set point differs from the programme's.
float heat_zones_farthest_degc(const HeatZones& zones, const Parameters& parameters, const Inputs& inputs, float setpoint_degc);

// What the programme's set point counts for and a ramp starts from: the load in a cascade, else the lead zone.
float heat_zones_lead_degc(const Parameters& parameters, const Inputs& inputs);

// Inverse of a diagonally dominant matrix by elimination without a search for pivots. count: 1..4.
void invert_dominant(const float (&matrix)[zone_count_max][zone_count_max], int count,
                     float (&inverse)[zone_count_max][zone_count_max]);

// One tick of time proportioning: the demand to send. Its mean over cycles is that of the demand asked to within one step of the
// station, exactly: what a cycle gave too much or too little the next ones make up for.
float on_time_step(OnTime& state, const Parameters& parameters, float demand_frac);

// One run of an element's guard, period_s after the last: the highest demand allowed. sent_frac: demand at which current_a was measured.
float element_limit(ElementGuard& guard, const Parameters& parameters, float zone_degc, float sent_frac, float current_a, float period_s);

}  // namespace fw
