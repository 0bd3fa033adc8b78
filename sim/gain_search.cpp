#include "sim/gain_search.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <vector>

#include <nlopt.hpp>

namespace sim {

namespace {

// Logarithms of gain, integral time, ratio of derivative to integral time; then the set-point weight itself.
PidLaw law_of(const std::vector<double>& at, const PidLaw& start, const SearchWish& wish) {
  IsaGains gains{std::copysign(std::exp(at[0]), start.gains.proportional), 0.0, 0.0};
  PidLaw law;
  law.setpoint_weight = at.back();
  if (wish.kind != PidKind::p) gains.integral_s = std::exp(at[1]);
  if (wish.kind == PidKind::pid) gains.derivative_s = std::exp(at[2]) * gains.integral_s;
  law.gains = parallel(gains);
  law.filter_s = gains.derivative_s / wish.filter_ratio;
  return law;
}

std::vector<double> place_of(const PidLaw& law, const SearchWish& wish) {
  const IsaGains gains = isa(law.gains).value();
  std::vector<double> at{std::log(std::abs(gains.gain))};
  if (wish.kind != PidKind::p) at.push_back(std::log(gains.integral_s));
  if (wish.kind == PidKind::pid) at.push_back(std::log(std::clamp(gains.derivative_s / gains.integral_s, 0.02, 0.25)));
  at.push_back(std::clamp(law.setpoint_weight, 0.0, 1.0));
  return at;
}

class Search {
 public:
  Search(const std::function<LoopJudgement(const PidLaw&)>& judged, const PidLaw& start, const SearchWish& wish)
      : judged_(judged), start_(start), wish_(wish) {
    const LoopJudgement first = judged(start);
    if (!first.margins.stable || !first.load.settled || !first.setpoint.settled)
      throw std::domain_error("the search must start from a stable loop");
    load_unit_ = first.load.absolute_error;
    setpoint_unit_ = first.setpoint.absolute_error;
  }

  double cost(const LoopJudgement& judgement) const {
    if (!judgement.margins.stable || !judgement.load.settled || !judgement.setpoint.settled) return unstable;
    return wish_.load_weight * judgement.load.absolute_error / load_unit_ +
           (1.0 - wish_.load_weight) * judgement.setpoint.absolute_error / setpoint_unit_;
  }

  // Each above 0 where its limit is broken, by the limit.
  std::vector<double> excesses(const LoopJudgement& judgement) const {
    if (!judgement.margins.stable) return {10.0, 0.0, 0.0};
    return {std::min(10.0, judgement.margins.sensitivity_peak / wish_.sensitivity_max - 1.0),
            wish_.travel_max > 0.0 ? std::min(10.0, judgement.setpoint.travel / wish_.travel_max - 1.0) : -1.0,
            wish_.noise_gain_max > 0.0 ? std::min(10.0, judgement.noise_gain / wish_.noise_gain_max - 1.0) : -1.0};
  }

  const LoopJudgement& at(const std::vector<double>& place) {
    if (place != place_) {
      place_ = place;
      last_ = judged_(law_of(place, start_, wish_));
      ++evaluations_;
      keep_if_best();
    }
    return last_;
  }

  int evaluations() const { return evaluations_; }
  bool found() const { return !best_place_.empty(); }
  const std::vector<double>& best_place() const { return best_place_; }
  double best_cost() const { return best_cost_; }
  const std::vector<double>& best_excesses() const { return best_excesses_; }

 private:
  static constexpr double unstable = 100.0;
  static constexpr double allowance = 1e-4;  // of a limit: what the optimiser's own tolerance leaves

  void keep_if_best() {
    const std::vector<double> over = excesses(last_);
    if (std::any_of(over.begin(), over.end(), [](double one) { return one > allowance; })) return;
    const double now = cost(last_);
    if (now >= unstable || (found() && now >= best_cost_)) return;
    best_cost_ = now;
    best_place_ = place_;
    best_excesses_ = over;
  }

  const std::function<LoopJudgement(const PidLaw&)>& judged_;
  PidLaw start_;
  SearchWish wish_;
  double load_unit_ = 1.0, setpoint_unit_ = 1.0, best_cost_ = std::numeric_limits<double>::infinity();
  std::vector<double> place_, best_place_, best_excesses_;
  LoopJudgement last_;
  int evaluations_ = 0;
};

// What NLopt calls, with the search and the number of a limit behind its pointer.
struct Limit {
  Search* search;
  std::size_t number;
};

double cost_at(const std::vector<double>& place, std::vector<double>&, void* search) {
  Search& self = *static_cast<Search*>(search);
  return self.cost(self.at(place));
}

double excess_at(const std::vector<double>& place, std::vector<double>&, void* limit) {
  const Limit& self = *static_cast<const Limit*>(limit);
  return self.search->excesses(self.search->at(place))[self.number];
}

std::string bound_by(const std::vector<double>& excesses) {
  constexpr const char* limits[] = {"Ms", "the output's travel", "noise"};
  std::string words;
  for (std::size_t i = 0; i < excesses.size(); ++i)
    if (excesses[i] > -0.005) words += (words.empty() ? "" : " and ") + std::string(limits[i]);
  return words.empty() ? "nothing but the cost itself" : words;
}

}  // namespace

SearchResult search_gains(const std::function<LoopJudgement(const PidLaw&)>& judged, const PidLaw& start, const SearchWish& wish) {
  Search search(judged, start, wish);
  std::vector<double> place = place_of(start, wish);
  std::vector<double> low = place, high = place;
  for (std::size_t i = 0; i + 1 < place.size(); ++i) {
    low[i] = place[i] - std::log(100.0);
    high[i] = place[i] + std::log(100.0);
  }
  if (wish.kind == PidKind::pid) {
    low[2] = std::log(0.02);
    high[2] = std::log(0.25);  // beyond it the zeros are no longer real, and the gains no longer robust
  }
  low.back() = 0.0;
  high.back() = 1.0;
  nlopt::opt optimiser(nlopt::LN_COBYLA, static_cast<unsigned>(place.size()));
  optimiser.set_lower_bounds(low);
  optimiser.set_upper_bounds(high);
  optimiser.set_min_objective(cost_at, &search);
  std::array<Limit, 3> limits{{{&search, 0}, {&search, 1}, {&search, 2}}};
  for (Limit& limit : limits) optimiser.add_inequality_constraint(excess_at, &limit, 1e-5);
  optimiser.set_initial_step(0.3);
  optimiser.set_xtol_abs(1e-4);
  optimiser.set_maxeval(wish.evaluations_max);
  double cost = 0.0;
  optimiser.optimize(place, cost);
  if (!search.found()) throw std::domain_error("no gains within the limits were found");
  return {law_of(search.best_place(), start, wish), search.best_cost(), search.evaluations(), bound_by(search.best_excesses())};
}

}  // namespace sim
