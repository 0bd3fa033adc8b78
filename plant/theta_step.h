// One linearly implicit step of C dy/dt = f(y), linearised at a reference: with y counted from there,
//   (1 - theta h D) change = h (rate + D y),  D = df/dy / C, rate = f / C at the reference,
// worked out as change = M (y / theta + h rate) - y / theta, M the inverse of that matrix, so that one product does. theta = 0.5 is
// of second order at the reference itself, theta above it damps what is faster than a step by (1 - theta) / theta.
//
// Matrices are kept column by column: matrix[j][i] stands in row i.
#pragma once

#include <array>
#include <cstddef>

namespace plant {

template <std::size_t Size>
using StepValues = std::array<double, Size>;
template <std::size_t Size>
using StepMatrix = std::array<StepValues<Size>, Size>;

// Inverse by Gauss and Jordan without pivoting, for matrices that diagonally dominate. Rows of a are columns of the matrix, and
// come out as columns of its inverse: transposition and inversion commute.
template <std::size_t Size>
void invert(StepMatrix<Size>& a) {
  for (std::size_t p = 0; p < Size; ++p) {
    const double scale = 1.0 / a[p][p];
    a[p][p] = 1.0;
    StepValues<Size> pivot;
    for (std::size_t column = 0; column < Size; ++column) pivot[column] = a[p][column] * scale;
    for (std::size_t row = 0; row < Size; ++row) {
      const double factor = a[row][p];
      if (row == p || factor == 0.0) continue;
      a[row][p] = 0.0;
      for (std::size_t column = 0; column < Size; ++column) a[row][column] -= factor * pivot[column];
    }
    a[p] = pivot;
  }
}

// M from gain[j][i], what f of i gains per unit of j, and the capacities C.
template <std::size_t Size>
void find_step_inverse(const StepMatrix<Size>& gain, const StepValues<Size>& capacity, double theta, double h,
                       StepMatrix<Size>& inverse) {
  for (std::size_t j = 0; j < Size; ++j) {
    for (std::size_t i = 0; i < Size; ++i) inverse[j][i] = (i == j ? 1.0 : 0.0) - theta * h * gain[j][i] / capacity[i];
  }
  invert(inverse);
}

// What M is to be multiplied with, and what the product is to be added to; `source` is added to f.
template <std::size_t Size>
void find_step_drive(const StepValues<Size>& y, const StepValues<Size>& reference, const StepValues<Size>& rate,
                     const StepValues<Size>& source, const StepValues<Size>& capacity, double theta, double h,
                     StepValues<Size>& drive, StepValues<Size>& change) {
  for (std::size_t i = 0; i < Size; ++i) {
    const double moved = (y[i] - reference[i]) * (1.0 / theta);
    drive[i] = moved + h * (rate[i] + source[i] / capacity[i]);
    change[i] = -moved;
  }
}

// change += M drive
template <std::size_t Size>
void multiply(const StepMatrix<Size>& inverse, const StepValues<Size>& drive, StepValues<Size>& change) {
  for (std::size_t j = 0; j < Size; ++j) {
    for (std::size_t i = 0; i < Size; ++i) change[i] += inverse[j][i] * drive[j];
  }
}

}  // namespace plant
