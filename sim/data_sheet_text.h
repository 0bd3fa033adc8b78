// The data sheet for people and for machines.
#pragma once

#include <string>
#include <vector>

#include "sim/data_sheet.h"
#include "sim/display_units.h"
#include "sim/handbook.h"

namespace sim {

std::string data_sheet_text(const DataSheet& sheet, const DisplayUnits& units);
// SI; what was not reached is null.
std::string data_sheet_json(const DataSheet& sheet, const std::vector<HandbookRemark>& remarks);

}  // namespace sim
