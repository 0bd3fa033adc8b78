// A fit put into the units of its record, with intervals and tests.
#pragma once

#include "sim/identification.h"
#include "sim/output_error.h"
#include "sim/parameter_spread.h"

namespace sim {

// Units in which a record is fitted: its duration, the spans of input and output, output counted from `base`.
struct RecordUnits {
  double time_s = 1.0, input = 1.0, output = 1.0, base = 0.0;
};

// A fit with all that is said of it, in those units.
struct JudgedFit {
  OutputErrorFit fit;
  Eigen::MatrixXd own;    // sensitivities
  ResidualColour colour;
  ParameterSpread spread;
  double criterion = 0.0;
};

IdentifiedModel identified_model(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record,
                                 const RecordUnits& units);

// Half the width of the gain's interval, as a share of the gain, had the record no drift.
double gain_share_without_drift(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record, double quantum);

// The shortest lag, in the record's units, that an integrator's fit does not exclude (95 %): the pole s = -1/T for s = 0, to first order.
double shortest_lag(const JudgedFit& judged, const NuisanceTerms& terms, const PreparedRecord& record, double quantum);

}  // namespace sim
