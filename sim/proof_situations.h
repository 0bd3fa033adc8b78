// Where a proof test stands before something is provoked: programmes and signals that bring a core there, and what a unit must have
// for it. A situation that could not be reached gives false.
#pragma once

#include <functional>
#include <initializer_list>
#include <vector>

#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "sim/injector.h"

namespace sim::proof {

using fw::Gas;
using fw::Segment;
using fw::SegmentKind;
using P = const fw::Parameters&;
inline constexpr auto d = [](float value) { return static_cast<double>(value); };

// --- Segments ----------------------------------------------------------------------------------------------------------

Segment waiting(Gas gas = Gas::keep, float flow_slm = -1.0f);
Segment ramp(double target_degc = 2000.0);
Segment backfill(Gas gas);
Segment cool();

// --- Situations --------------------------------------------------------------------------------------------------------

bool until(Injector& injector, const std::function<bool()>& reached, double longest_s = 7200.0);
bool has_retort(P p);
int zone_of(const Injector& injector);                       // channel of the zone chosen
bool begun(Injector& injector, const std::vector<Segment>& segments);
bool idle(Injector& injector);
bool at_rest(Injector& injector);                            // longer than valve and meter are given to come to rest
bool settled(Injector& injector);                            // no demand for so long that a zone's own heat has gone
bool running(Injector& injector);                            // a programme that minds the load
bool runs_with_load(Injector& injector, const std::vector<Segment>& segments, float degc);   // the load 10 K below it
bool zone_below(Injector& injector, float degc);             // at rest, the zone chosen 10 K below it
double hot(P p);                                             // temperature of the situations that heat
bool heating(Injector& injector);                            // at full demand
bool heating_others_rise(Injector& injector);
bool soaking(Injector& injector, float tolerance_k = 0.0f);  // each zone at its set point; in a hold phase where there is a retort
bool soaked(Injector& injector);                             // for longer than heater side and load are given to come together
bool pumping(Injector& injector);                            // on a retort whose gauge stands at the barometer
bool pumping_at(Injector& injector, double absolute_pa);
bool about_to_pump(Injector& injector);                      // the isolation is to open with the next period
bool admitting_air(Injector& injector);
bool flowing(Injector& injector, double slm);                // nitrogen, at rest but for that
bool filling(Injector& injector);                            // argon into a shut retort, the process valve just opened
bool burning(Injector& injector);                            // forming gas flows, purged and lit

// Commissioning: the key turned, outputs forced one by one.
bool force(Injector& injector, std::uint16_t coil);
bool forced(Injector& injector, std::initializer_list<std::uint16_t> coils);
bool key_turned(Injector& injector);
bool bypass_forced(Injector& injector);
bool hydrogen_selected(Injector& injector);
bool pump_forced(Injector& injector);                        // all that opening the isolation asks for, but for the purge
bool motor_forced(Injector& injector);

// A thermocouple moved in steps that are no jump, five kelvins a second.
void approach(Injector& injector, int channel, double from_degc, double to_degc);

// --- Units that something does not apply to: why, null where it does ----------------------------------------------------

const char* unless(bool fits, const char* why);
const char* no_retort(P p);
const char* no_atmosphere(P p);
const char* no_titanium(P p);
const char* no_titanium_in_retort(P p);
const char* no_combustible(P p);
const char* none_flows(P p);
const char* no_blend(P p);
const char* titanium_instead(P p);
const char* no_titanium_or_retort(P p);

}  // namespace sim::proof
