// The operating sheet: one printable page, made from the folders of runs of one programme, that a technician follows at the furnace.
// With several runs every time and reading is the median, with the least and the greatest.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "sim/display_units.h"
#include "sim/sheet_run.h"

namespace sim {

// Throws InputError naming the first segment in which the programme of a run is not that of the first.
void check_same_programme(const std::vector<SheetRun>& runs);

std::string sheet_html(const std::vector<SheetRun>& runs, const DisplayUnits& units);

// Writes sheet.html into `out`. units: text of --units, over what the first run's scenario chooses; empty: as that.
// Throws InputError when a file is missing or not what it should be, RecordingError when the sheet cannot be written.
void write_sheet(const std::vector<std::filesystem::path>& folders, const std::filesystem::path& out, const std::string& units);

}  // namespace sim
