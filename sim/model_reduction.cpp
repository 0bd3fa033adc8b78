#include "sim/model_reduction.h"

#include <algorithm>
#include <stdexcept>

#include <Eigen/Eigenvalues>
#include <Eigen/SVD>

namespace sim {

using Eigen::Index;
using Eigen::MatrixXcd;
using Eigen::MatrixXd;
using Eigen::VectorXcd;

namespace {

// Of A P + P A' + B B' = 0, in the modes: each element stands alone.
MatrixXd gramian(const VectorXcd& poles, const MatrixXcd& to_states, const MatrixXcd& inputs) {
  const Index n = poles.size();
  MatrixXcd modal = inputs * inputs.adjoint();
  for (Index i = 0; i < n; ++i)
    for (Index k = 0; k < n; ++k) modal(i, k) /= -(poles(i) + std::conj(poles(k)));
  return (to_states * modal * to_states.adjoint()).real();
}

// P = L L', rounding's negative eigenvalues left out.
MatrixXd root(const MatrixXd& symmetric) {
  const Eigen::SelfAdjointEigenSolver<MatrixXd> solver(0.5 * (symmetric + symmetric.transpose()));
  return solver.eigenvectors() * solver.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal();
}

}  // namespace

ReducedSystem balanced(const StateSpace& system, double tolerance) {
  if (system.states() == 0) return {system, {}, 0.0};
  const Eigen::EigenSolver<MatrixXd> solver(system.a);
  const VectorXcd poles = solver.eigenvalues();
  if (poles.real().maxCoeff() >= 0.0) throw std::domain_error("a system that does not settle cannot be balanced");
  const MatrixXcd vectors = solver.eigenvectors();
  const Eigen::FullPivLU<MatrixXcd> factors(vectors);
  if (!factors.isInvertible()) throw std::domain_error("modes that cannot be told apart");
  const MatrixXcd inverse = factors.inverse();
  const MatrixXd reach = root(gramian(poles, vectors, inverse * system.b));
  const MatrixXd sight = root(gramian(poles.conjugate(), inverse.adjoint(), (system.c * vectors).adjoint()));
  const Eigen::BDCSVD<MatrixXd> singular(sight.transpose() * reach, Eigen::ComputeThinU | Eigen::ComputeThinV);
  ReducedSystem result;
  result.hankel = singular.singularValues();
  Index kept = 1;
  while (kept < result.hankel.size() && result.hankel(kept) > tolerance * result.hankel(0)) ++kept;
  result.bound = 2.0 * result.hankel.tail(result.hankel.size() - kept).sum();
  const MatrixXd scale = result.hankel.head(kept).cwiseSqrt().cwiseInverse().asDiagonal();
  const MatrixXd into = scale * singular.matrixU().leftCols(kept).transpose() * sight.transpose(),
                 out = reach * singular.matrixV().leftCols(kept) * scale;
  result.system = {into * system.a * out, into * system.b, system.c * out, system.d};
  return result;
}

}  // namespace sim
