// CVODE of SUNDIALS (BDF, Newton) as the tests use it: one system, restarted where its right-hand side jumps. Throws
// std::runtime_error when CVODE gives up.
#pragma once

#include <functional>
#include <span>
#include <vector>

namespace plant_test {

// direct: dense factors of a Jacobian by differences. banded: of one that is nothing beyond `half_band` beside its diagonal.
// krylov: GMRES without one, cheap where little is stiff within a stretch.
enum class Newton { direct, banded, krylov };

class Cvode {
 public:
  using Rate = std::function<void(double t, std::span<const double> y, std::span<double> rate)>;

  Cvode(Rate rate, std::span<const double> absolute_tolerance, double relative_tolerance, Newton newton,
        int half_band = 0);
  ~Cvode();
  Cvode(const Cvode&) = delete;
  Cvode& operator=(const Cvode&) = delete;

  void restart(double t, std::span<const double> y);  // forgets what it knew of the past
  void advance(double to, std::span<double> y);       // never beyond `to`
  long steps() const;                                 // since the restart

 private:
  struct Impl;
  Impl* impl_;
};

}  // namespace plant_test
