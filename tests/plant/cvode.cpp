#include "tests/plant/cvode.h"

#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sunlinsol/sunlinsol_band.h>
#include <sunlinsol/sunlinsol_dense.h>
#include <sunlinsol/sunlinsol_spgmr.h>
#include <sunmatrix/sunmatrix_band.h>
#include <sunmatrix/sunmatrix_dense.h>

#include <algorithm>
#include <stdexcept>
#include <string>

namespace plant_test {

namespace {

void demand(int flag, const char* what) {
  if (flag < 0) throw std::runtime_error(std::string("CVODE: ") + what + " ended with " + std::to_string(flag));
}

}  // namespace

struct Cvode::Impl {
  Rate rate;
  std::size_t size = 0;
  double relative = 0.0;
  Newton newton = Newton::direct;
  sunindextype half_band = 0;
  SUNContext context = nullptr;
  N_Vector y = nullptr, absolute = nullptr;
  SUNMatrix matrix = nullptr;
  SUNLinearSolver solver = nullptr;
  void* memory = nullptr;

  static int call(double t, N_Vector y, N_Vector rate, void* self) {
    Impl& impl = *static_cast<Impl*>(self);
    impl.rate(t, {N_VGetArrayPointer(y), impl.size}, {N_VGetArrayPointer(rate), impl.size});
    return 0;
  }

  void start(double t) {
    demand(CVodeInit(memory, call, t, y), "init");
    demand(CVodeSVtolerances(memory, relative, absolute), "tolerances");
    demand(CVodeSetUserData(memory, this), "user data");
    demand(CVodeSetMaxNumSteps(memory, 5'000'000), "steps");
    choose_solver(static_cast<sunindextype>(size));
    demand(CVodeSetLinearSolver(memory, solver, matrix), "linear solver");
    started = true;
  }

  void choose_solver(sunindextype n) {
    if (newton == Newton::direct) {
      matrix = SUNDenseMatrix(n, n, context);
      solver = SUNLinSol_Dense(y, matrix, context);
    } else if (newton == Newton::banded) {
      matrix = SUNBandMatrix(n, half_band, half_band, context);
      solver = SUNLinSol_Band(y, matrix, context);
    } else {
      solver = SUNLinSol_SPGMR(y, SUN_PREC_NONE, 30, context);
    }
  }

  bool started = false;
};

Cvode::Cvode(Rate rate, std::span<const double> absolute, double relative, Newton newton, int half_band) : impl_(new Impl) {
  impl_->rate = std::move(rate);
  impl_->size = absolute.size();
  impl_->relative = relative;
  impl_->newton = newton;
  impl_->half_band = half_band;
  demand(SUNContext_Create(nullptr, &impl_->context), "context");
  impl_->y = N_VNew_Serial(static_cast<sunindextype>(absolute.size()), impl_->context);
  impl_->absolute = N_VNew_Serial(static_cast<sunindextype>(absolute.size()), impl_->context);
  std::copy(absolute.begin(), absolute.end(), N_VGetArrayPointer(impl_->absolute));
  impl_->memory = CVodeCreate(CV_BDF, impl_->context);
}

Cvode::~Cvode() {
  CVodeFree(&impl_->memory);
  if (impl_->solver != nullptr) SUNLinSolFree(impl_->solver);
  if (impl_->matrix != nullptr) SUNMatDestroy(impl_->matrix);
  N_VDestroy(impl_->absolute);
  N_VDestroy(impl_->y);
  SUNContext_Free(&impl_->context);
  delete impl_;
}

void Cvode::restart(double t, std::span<const double> y) {
  std::copy(y.begin(), y.end(), N_VGetArrayPointer(impl_->y));
  if (impl_->started)
    demand(CVodeReInit(impl_->memory, t, impl_->y), "restart");
  else
    impl_->start(t);
}

void Cvode::advance(double to, std::span<double> y) {
  double reached = 0.0;
  demand(CVodeSetStopTime(impl_->memory, to), "stop time");
  demand(CVode(impl_->memory, to, impl_->y, &reached, CV_NORMAL), "a step");
  const double* values = N_VGetArrayPointer(impl_->y);
  std::copy(values, values + impl_->size, y.begin());
}

long Cvode::steps() const {
  long steps = 0;
  CVodeGetNumSteps(impl_->memory, &steps);
  return steps;
}

}  // namespace plant_test
