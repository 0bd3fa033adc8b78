// The auto-tune's place in the controller: which loop may be tuned when, what its relay acts on, and what becomes of its result.
//
// A heat zone: in a soak, a wait or a held programme with the set point standing, heat permitted, in an atmosphere's hold phase where
// one is required, and alone: neither in a cascade nor decoupled. The back-pressure: in the hold phase with the loop in charge and gas
// flowing; the relay acts on the linearised opening, as the loop does, and sees the filtered pressure. A proposal writes nothing: the
// operator accepts it into a gain set (an accepted write of parameters) or rejects it.
#pragma once

#include <cstdint>

#include "firmware/auto_tune.h"
#include "firmware/parameters.h"
#include "firmware/registers.h"

namespace fw {

struct Controller;

TuneSettings tuning_settings(const Parameters& parameters, int loop);

// Call every tick, after the atmosphere and before the loops: watches what stands settled and runs the relay.
void tuning_step(Controller& controller);

// Commands of the operator. loop: 1..4 heat zone, 5 back-pressure. set: the gain set of a heat loop, 1..4.
Refusal tuning_start(Controller& controller, std::uint16_t loop);
Refusal tuning_abort(Controller& controller);
Refusal tuning_accept(Controller& controller, std::uint16_t set);
Refusal tuning_reject(Controller& controller);

}  // namespace fw
