// A table of states and the events that lead from one to the other, as a standard prints it, and the shortest ways through it.
#pragma once

#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

class StateTable {
 public:
  using Pair = std::pair<std::string, std::string>;   // state, event

  void add(const std::string& from, const std::string& event, const std::string& to) { next_[{from, event}] = to; }

  // Where an event leads; a pair that the table does not hold leaves the state as it is.
  std::string after(const std::string& from, const std::string& event) const {
    const auto found = next_.find({from, event});
    return found == next_.end() ? from : found->second;
  }
  bool holds(const std::string& from, const std::string& event) const { return next_.contains({from, event}); }
  const std::map<Pair, std::string>& rows() const { return next_; }

  // Events that lead from the state in which all begins to each state that can be reached, by as few events as can be.
  std::map<std::string, std::vector<std::string>> ways(const std::string& begin) const {
    std::map<std::string, std::vector<std::string>> ways{{begin, {}}};
    std::vector<std::string> queue{begin};
    for (std::size_t i = 0; i < queue.size(); ++i) {
      const std::string from = queue[i];
      for (const auto& [pair, to] : next_) {
        if (pair.first != from || ways.contains(to)) continue;
        ways[to] = ways[from];
        ways[to].push_back(pair.second);
        queue.push_back(to);
      }
    }
    return ways;
  }

  std::set<std::string> events() const {
    std::set<std::string> events;
    for (const auto& [pair, to] : next_) events.insert(pair.second);
    return events;
  }

 private:
  std::map<Pair, std::string> next_;
};
