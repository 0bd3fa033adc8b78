#include "sim/output_error.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace sim {
namespace {

// Scaled, so that only columns that say the same are taken for one.
Eigen::VectorXd solved(const Eigen::MatrixXd& phi, const Eigen::VectorXd& y) {
  Eigen::VectorXd scale = phi.colwise().norm();
  for (double& s : scale) s = s > 0.0 ? 1.0 / s : 0.0;
  const Eigen::MatrixXd scaled = phi * scale.asDiagonal();
  Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(scaled);
  qr.setThreshold(1e-10);
  return scale.asDiagonal() * qr.solve(y);
}

struct Bounds {
  Eigen::VectorXd low, high;
};

Bounds bounds(Structure structure, const PreparedRecord& record) {
  const double reach = std::max(record.answering(), record.period);
  const NonLinear low{0.02 * record.period, 0.05, 0.0};
  const NonLinear high{30.0 * record.end, 30.0, 0.7 * reach};
  return {packed(structure, low), packed(structure, high)};
}

Eigen::VectorXd within(const Eigen::VectorXd& theta, const Bounds& box) { return theta.cwiseMax(box.low).cwiseMin(box.high); }

// Forward differences of the projected residual; backward at the upper bound.
Eigen::MatrixXd slope(const OutputErrorFit& fit, const NuisanceTerms& terms, const PreparedRecord& record, const Bounds& box) {
  Eigen::MatrixXd j(fit.residual.size(), fit.theta.size());
  for (Eigen::Index i = 0; i < fit.theta.size(); ++i) {
    const bool is_delay = shape(fit.structure).responds && i + 1 == fit.theta.size();
    double step = is_delay ? 1e-3 * record.period : 1e-5;
    if (fit.theta[i] + step > box.high[i]) step = -step;
    Eigen::VectorXd moved = fit.theta;
    moved[i] += step;
    j.col(i) = (project(fit.structure, terms, record, moved).residual - fit.residual) / step;
  }
  return j;
}

struct GridPoint {
  double squares;
  NonLinear values;
};

std::vector<double> delays(const PreparedRecord& record) {
  const double most = 0.6 * record.answering();
  std::vector<double> tries{0.0};
  for (double d = 0.5 * record.period; d < most; d *= 1.5) tries.push_back(d);
  for (int i = 1; i <= 8; ++i) tries.push_back(most * i / 8.0);
  return tries;
}

std::vector<double> lags(const PreparedRecord& record) {
  std::vector<double> tries;
  for (double t = std::max(0.5 * record.period, 1e-3 * record.end); t < 4.0 * record.end; t *= 2.0) tries.push_back(t);
  return tries;
}

std::vector<GridPoint> searched(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record) {
  const Shape s = shape(structure);
  const std::vector<double> none{1.0};
  const std::vector<double> no_delay{0.0};
  const std::vector<double> damping = s.damping ? std::vector<double>{0.3, 0.8, 1.5} : none;
  std::vector<GridPoint> grid;
  for (const double delay : s.responds ? delays(record) : no_delay) {
    for (const double lag : s.lag ? lags(record) : none) {
      for (const double zeta : damping) {
        const NonLinear values{lag, zeta, delay};
        grid.push_back({project(structure, terms, record, packed(structure, values)).squares, values});
      }
    }
  }
  std::stable_sort(grid.begin(), grid.end(), [](const GridPoint& a, const GridPoint& b) { return a.squares < b.squares; });
  return grid;
}

// The best points of the grid, none near a better one.
std::vector<NonLinear> starts(const std::vector<GridPoint>& grid, std::size_t count, double period) {
  std::vector<NonLinear> chosen;
  for (const GridPoint& point : grid) {
    const auto near = [&](const NonLinear& other) {
      return std::fabs(std::log(point.values.lag / other.lag)) < 1.0 && point.values.damping == other.damping &&
             std::fabs(point.values.delay - other.delay) < 0.3 * other.delay + period;
    };
    if (std::none_of(chosen.begin(), chosen.end(), near)) chosen.push_back(point.values);
    if (chosen.size() == count) break;
  }
  return chosen;
}

const OutputErrorFit& better(const OutputErrorFit& a, const OutputErrorFit& b) { return b.squares < a.squares ? b : a; }

// An input that arrives at a reading makes a kink there, where going down by slopes may stop short: looks on either side.
OutputErrorFit past_kinks(OutputErrorFit best, const NuisanceTerms& terms, const PreparedRecord& record) {
  if (!shape(best.structure).responds) return best;
  for (const double share : {0.5, -0.5, 0.15, -0.15}) {
    Eigen::VectorXd start = best.theta;
    start[start.size() - 1] = std::max(0.0, start[start.size() - 1] + share * record.period);
    best = better(best, fit_from(best.structure, terms, record, start));
  }
  return best;
}

}  // namespace

OutputErrorFit project(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record, const Eigen::VectorXd& theta) {
  const Eigen::MatrixXd phi = regressors(structure, unpacked(structure, theta), terms, record);
  OutputErrorFit fit{structure, theta, solved(phi, record.output), {}, 0.0};
  fit.residual = record.output - phi * fit.linear;
  fit.squares = fit.residual.squaredNorm();
  return fit;
}

OutputErrorFit fit_from(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record, const Eigen::VectorXd& start) {
  const Bounds box = bounds(structure, record);
  OutputErrorFit fit = project(structure, terms, record, within(start, box));
  double damping = 1e-3;   // of the step, after Levenberg and Marquardt
  for (int round = 0; round < 40 && fit.theta.size() > 0; ++round) {
    const Eigen::MatrixXd j = slope(fit, terms, record, box);
    Eigen::MatrixXd normal = j.transpose() * j;
    const Eigen::VectorXd gradient = j.transpose() * fit.residual;
    const Eigen::VectorXd diagonal = normal.diagonal().cwiseMax(1e-12 * (1e-300 + normal.diagonal().maxCoeff()));
    const double before = fit.squares;
    for (int tries = 0; tries < 8; ++tries, damping *= 8.0) {
      Eigen::MatrixXd eased = normal;
      eased.diagonal() += damping * diagonal;
      const OutputErrorFit next = project(structure, terms, record, within(fit.theta - eased.ldlt().solve(gradient), box));
      if (!(next.squares < fit.squares)) continue;
      fit = next;
      damping = std::max(1e-9, 0.1 * damping);
      break;
    }
    if (!(fit.squares < before * (1.0 - 1e-9))) break;
  }
  return fit;
}

OutputErrorFit fit_structure(Structure structure, const NuisanceTerms& terms, const PreparedRecord& record) {
  const PreparedRecord few = record.thinned((record.times.size() + 299) / 300);
  OutputErrorFit best;
  bool any = false;
  for (const NonLinear& start : starts(searched(structure, terms, few), 5, record.period)) {
    const Eigen::VectorXd near = fit_from(structure, terms, few, packed(structure, start)).theta;
    const OutputErrorFit fit = fit_from(structure, terms, record, near);
    best = any ? better(best, fit) : fit;
    any = true;
  }
  return past_kinks(best, terms, record);
}

Eigen::MatrixXd sensitivity(const OutputErrorFit& fit, const NuisanceTerms& terms, const PreparedRecord& record) {
  const Eigen::Index others = fit.theta.size();
  Eigen::MatrixXd j(record.times.size(), others + fit.linear.size());
  const auto simulated = [&](Eigen::Index i, double step) -> Eigen::VectorXd {
    Eigen::VectorXd theta = fit.theta;
    theta[i] += step;
    return regressors(fit.structure, unpacked(fit.structure, theta), terms, record) * fit.linear;
  };
  for (Eigen::Index i = 0; i < others; ++i) {
    const bool is_delay = shape(fit.structure).responds && i + 1 == others;
    const double step = is_delay ? 0.25 * record.period : 1e-4;
    j.col(i) = (simulated(i, step) - simulated(i, -step)) / (2.0 * step);
  }
  j.rightCols(fit.linear.size()) = regressors(fit.structure, unpacked(fit.structure, fit.theta), terms, record);
  return j;
}

}  // namespace sim
