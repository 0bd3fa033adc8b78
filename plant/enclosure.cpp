#include "plant/enclosure.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <stdexcept>
#include <utility>

namespace plant {

SquareMatrix nested_view_factors(std::span<const double> inner_m2, std::span<const double> outer_m2) {
  const std::size_t inner = inner_m2.size(), outer = outer_m2.size();
  const double inner_sum = std::accumulate(inner_m2.begin(), inner_m2.end(), 0.0);
  const double outer_sum = std::accumulate(outer_m2.begin(), outer_m2.end(), 0.0);
  if (!(outer_sum >= inner_sum)) throw std::invalid_argument("the surfaces around must be larger than the bodies inside them");
  SquareMatrix view(inner + outer);
  for (std::size_t j = 0; j < outer; ++j) {
    const double share = outer_m2[j] / outer_sum;
    for (std::size_t i = 0; i < inner; ++i) {
      view(i, inner + j) = share;
      view(inner + j, i) = inner_m2[i] / outer_sum;
    }
    for (std::size_t k = 0; k < outer; ++k) view(inner + k, inner + j) = (1.0 - inner_sum / outer_sum) * share;
  }
  return view;
}

namespace {

void check(std::span<const double> area_m2, const SquareMatrix& view, std::span<const double> emissivity) {
  const std::size_t n = area_m2.size();
  if (view.size != n || emissivity.size() != n) throw std::invalid_argument("enclosure: sizes differ");
  for (std::size_t i = 0; i < n; ++i) {
    if (!(area_m2[i] > 0.0)) throw std::invalid_argument("enclosure: an area must be positive");
    if (!(emissivity[i] > 0.0 && emissivity[i] <= 1.0)) throw std::invalid_argument("enclosure: emissivity must lie within 0 and 1");
    double sum = 0.0;
    for (std::size_t j = 0; j < n; ++j) {
      sum += view(i, j);
      const double broken = std::abs(area_m2[i] * view(i, j) - area_m2[j] * view(j, i));
      if (broken > 1e-6 * std::max(area_m2[i], area_m2[j])) throw std::invalid_argument("enclosure: reciprocity is broken");
    }
    if (std::abs(sum - 1.0) > 1e-6) throw std::invalid_argument("enclosure: view factors of a surface must sum to 1");
  }
}

// Solves a x = b for all columns of b in place, with partial pivoting.
void solve(SquareMatrix& a, SquareMatrix& b) {
  const std::size_t n = a.size;
  for (std::size_t p = 0; p < n; ++p) {
    std::size_t best = p;
    for (std::size_t row = p + 1; row < n; ++row) {
      if (std::abs(a(row, p)) > std::abs(a(best, p))) best = row;
    }
    for (std::size_t column = 0; column < n; ++column) {
      std::swap(a(p, column), a(best, column));
      std::swap(b(p, column), b(best, column));
    }
    for (std::size_t row = 0; row < n; ++row) {
      if (row == p) continue;
      const double factor = a(row, p) / a(p, p);
      for (std::size_t column = 0; column < n; ++column) {
        a(row, column) -= factor * a(p, column);
        b(row, column) -= factor * b(p, column);
      }
    }
  }
  for (std::size_t row = 0; row < n; ++row) {
    for (std::size_t column = 0; column < n; ++column) b(row, column) /= a(row, row);
  }
}

}  // namespace

SquareMatrix exchange_areas(std::span<const double> area_m2, const SquareMatrix& view, std::span<const double> emissivity) {
  check(area_m2, view, emissivity);
  const std::size_t n = area_m2.size();
  // Radiosity J = eps E + (1 - eps) F J; what a surface loses is A (J - F J), which is linear in the emissive powers E.
  SquareMatrix reflect(n), radiosity(n), exchange(n);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) reflect(i, j) = (i == j ? 1.0 : 0.0) - (1.0 - emissivity[i]) * view(i, j);
    radiosity(i, i) = emissivity[i];
  }
  solve(reflect, radiosity);
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j) {
      double received = 0.0;
      for (std::size_t k = 0; k < n; ++k) received += view(i, k) * radiosity(k, j);
      if (i != j) exchange(i, j) = area_m2[i] * (received - radiosity(i, j));
    }
  }
  for (std::size_t i = 0; i < n; ++i) {              // symmetric up to rounding: make it exactly so
    for (std::size_t j = 0; j < i; ++j) exchange(i, j) = exchange(j, i) = 0.5 * (exchange(i, j) + exchange(j, i));
  }
  return exchange;
}

}  // namespace plant
