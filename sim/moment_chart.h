// A small chart of the moment at which an expectation was nearest to its other verdict, for a page with report_page.css.
#pragma once

#include <string>
#include <string_view>

#include "sim/display_units.h"
#include "sim/moment_clip.h"

namespace sim {

// Signals in the margin's unit (K goes with degC; where none is, those of the first signal's unit), told apart by their strokes
// and named below, in the units chosen; limits dashed; the moment marked by a line and a dot. Empty when there is nothing to draw.
std::string moment_svg(const MomentClip& clip, double at_s, std::string_view margin_unit, const DisplayUnits& units = {});

}  // namespace sim
