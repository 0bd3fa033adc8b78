// Combustible process gas: hydrogen, or forming gas blended from hydrogen (meter 1) and nitrogen (meter 2). What has to be true
// before it may flow, whether some may still be in the chamber, and how much inert gas has gone through since.
//
// Second hand, from articles and a gas supplier's page that quote NFPA 86 (the standard itself was not read): at least five volume
// changes of inert gas so that oxygen is below 1 %, or every zone above 760 degC (1400 F), before the gas is let in; from memory: the
// burn-off flame proven before and watched while it flows, the inert purge normally open and the combustible valve normally shut,
// the purge repeated before the chamber is opened. Local codes decide; gas detection and ventilation are no part of this.
//
// Volume changes are counted cold: each standard litre is taken for one litre of a chamber at its rated volume. In a hot chamber it
// is more, so that the count is on the safe side.
#pragma once

#include <cstdint>

#include "firmware/flow.h"
#include "firmware/parameters.h"
#include "firmware/programme.h"
#include "firmware/signals.h"

namespace fw {

constexpr bool is_combustible(Gas gas) { return gas == Gas::hydrogen || gas == Gas::forming_gas; }
// Mixed or not, it comes from the same place of the selector.
constexpr Gas selector_place(Gas gas) { return is_combustible(gas) ? Gas::hydrogen : gas; }
constexpr bool is_inert(Gas gas) { return gas == Gas::nitrogen || gas == Gas::argon || gas == Gas::helium; }

// What combustible.state shows.
enum class CombustibleState : std::uint8_t {
  none = 0,       // none in the chamber: pump and door may be opened as far as this goes
  possible = 1,   // some is, or may be, in the chamber
  waiting = 2,    // asked for and not yet permitted
  flowing = 3
};

struct Combustible {
  bool possible = false;          // until it has been purged out
  bool flowing = false;           // its valve was open by command in the last tick
  std::uint32_t shut_ms = 0;      // since the process valve was told to shut
  FlowTotaliser purged;           // inert gas through the chamber since combustible gas or air last came in
};

// A core that starts does not know what the chamber holds: on a unit with combustible gas it may be that.
void combustible_start(Combustible& combustible, const Parameters& parameters);

// One control period, with the outputs that went out in the last one.
void combustible_step(Combustible& combustible, const Parameters& parameters, const Inputs& inputs, const Outputs& before);

// It may flow: fitted, no titanium, burn-off flame proven, exhaust open, chamber above the barometer, and either every zone hot or
// the chamber purged with oxygen below its limit. Gas that flows goes on: from then on the trips watch it.
bool combustible_permitted(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs);

// Cold volume changes of inert gas since combustible gas or air last came in.
float combustible_volume_changes(const Combustible& combustible, const Parameters& parameters);

CombustibleState combustible_state(const Combustible& combustible, bool waiting);

// The causes of the trips, without their delays.
bool blend_off(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs, const Outputs& before);
bool air_in_combustible(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs);
bool combustible_pressure_low(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs);
bool combustible_valve_passes(const Combustible& combustible, const Parameters& parameters, const Inputs& inputs);

}  // namespace fw
