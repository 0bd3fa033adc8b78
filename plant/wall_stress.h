// Stress in a closed cylinder under a difference of pressure. Elastic, at rest, at one temperature: nothing about flaws, supports,
// seals, thermal stress or creep, which decide whether a ceramic retort breaks. Pa and m; tension is positive.
//
// Sources: Lame's thick cylinder and circular plates as in Timoshenko and Goodier, Theory of Elasticity (1951), art. 28, and
// Timoshenko and Woinowsky-Krieger, Theory of Plates and Shells (1959), art. 16; collapse of a long tube after Bresse as in
// Timoshenko and Gere, Theory of Elastic Stability (1961), art. 7.5. Formulas from memory, checked by their limits.
#pragma once

namespace plant {

inline constexpr double plate_poisson = 0.25;                // dense oxide ceramics 0.22 to 0.27; hardly matters

struct CylinderWall {
  double inner_radius_m = 0.1;
  double wall_m = 7e-3;
};

// Hoop stress at the inner surface, where it is greatest: thick wall.
double hoop_stress_pa(const CylinderWall& wall, double inside_pa, double outside_pa);
// The same by the thin-wall formula difference * mean radius / wall.
double thin_hoop_stress_pa(const CylinderWall& wall, double inside_pa, double outside_pa);
// Greatest tension in a flat end of the same thickness: clamped (at its edge) and simply supported (at its centre).
double clamped_plate_stress_pa(const CylinderWall& wall, double difference_pa);
double supported_plate_stress_pa(const CylinderWall& wall, double difference_pa);
// Elastic modulus below which a long tube collapses under this difference of pressure from outside.
double collapse_modulus_pa(const CylinderWall& wall, double difference_pa);

}  // namespace plant
