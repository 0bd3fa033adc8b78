// The section `environment` of a scenario: barometer, ambient, mains and gas supply of a run, each constant or a profile over the
// run's time. What it does not name is as the furnace file says. The profile's points themselves are in resolved.yaml.
#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

#include "plant/environment.h"
#include "sim/profile.h"

namespace sim {

inline constexpr std::size_t environment_signals = 4;
inline constexpr std::size_t environment_points_max = 2000;      // of one signal: resolved.yaml holds them all

struct EnvironmentSignal {
  ProfileRange range;                    // name: the key
  double plant::Environment::* member;   // in the unit of the range
  const char* meaning;
};
const std::array<EnvironmentSignal, environment_signals>& environment_table();

struct Environment {
  std::array<Profile, environment_signals> profile;      // as environment_table has them; one point: constant

  bool moves() const;
  // At this time of the run, in a place of which the furnace file says `furnace`.
  plant::Environment at(double time_s, const plant::Environment& furnace) const;
};

FieldTable environment_file_fields();                                     // on a ProfileSource
FieldTable environment_profile_fields();                                  // on a Profile, without `points`
FieldTable environment_point_fields(const EnvironmentSignal& signal);     // on a ProfilePoint: an item of `points`

// Throws InputError: in the YAML file, or with line and column of a CSV file.
Environment read_environment(const YamlNode& map);
std::string write_environment(const Environment& environment, int indent);     // empty where the furnace file says all

// A sentence for each signal: what it is when, between which values, how far apart its points are.
std::vector<std::string> environment_sentences(const Environment& environment);

}  // namespace sim
