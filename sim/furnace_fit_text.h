// A fit as people and machines read it: table, JSON, one page with the charts, and the furnace file with its new values.
#pragma once

#include <string>

#include "sim/furnace_fit.h"

namespace sim {

// What was fitted to what.
struct FitSources {
  std::string log, furnace;              // files
  std::string title;                     // of the furnace
  std::vector<std::string> assumptions;  // of OpenLoop, and notes of the log
};

std::string fit_text(const FurnaceFit& fit, const FitSources& sources);
std::string fit_json(const FurnaceFit& fit, const FitSources& sources);
std::string fit_page(const FurnaceFit& fit, const FitSources& sources, const OpenLoop& loop);

// The furnace file's text with the fitted values in it, six digits each; comments stay, and each new value gets one that says
// where it comes from. What the fit left as it was stays as it is written. Throws InputError.
std::string fitted_furnace_yaml(const FurnaceFit& fit, const FitSources& sources, const std::string& text);

}  // namespace sim
