#include "plant/wall_stress.h"

#include <cmath>

namespace plant {

double hoop_stress_pa(const CylinderWall& wall, double inside_pa, double outside_pa) {
  const double inner = wall.inner_radius_m * wall.inner_radius_m, outer = std::pow(wall.inner_radius_m + wall.wall_m, 2.0);
  return (inside_pa * (inner + outer) - 2.0 * outside_pa * outer) / (outer - inner);
}

double thin_hoop_stress_pa(const CylinderWall& wall, double inside_pa, double outside_pa) {
  return (inside_pa - outside_pa) * (wall.inner_radius_m + 0.5 * wall.wall_m) / wall.wall_m;
}

double clamped_plate_stress_pa(const CylinderWall& wall, double difference_pa) {
  return 0.75 * std::abs(difference_pa) * std::pow(wall.inner_radius_m / wall.wall_m, 2.0);
}

double supported_plate_stress_pa(const CylinderWall& wall, double difference_pa) {
  return 3.0 * (3.0 + plate_poisson) / 8.0 * std::abs(difference_pa) * std::pow(wall.inner_radius_m / wall.wall_m, 2.0);
}

double collapse_modulus_pa(const CylinderWall& wall, double difference_pa) {
  const double mean = wall.inner_radius_m + 0.5 * wall.wall_m;
  return std::abs(difference_pa) * 4.0 * (1.0 - plate_poisson * plate_poisson) * std::pow(mean / wall.wall_m, 3.0);
}

}  // namespace plant
