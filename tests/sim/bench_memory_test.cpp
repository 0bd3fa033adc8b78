// What one bench holds of the heap, scenario, controller and furnace included: counted by this program's own operator new.
#include <cstdlib>
#include <memory>
#include <new>

#include <malloc.h>

#include <gtest/gtest.h>

#include "sim/bench.h"
#include "sim/endpoint.h"
#include "tests/sim/short_run.h"

namespace {

thread_local long long held_bytes = 0;

void* take(std::size_t bytes) {
  void* const at = std::malloc(bytes);
  if (at == nullptr) throw std::bad_alloc();
  held_bytes += static_cast<long long>(malloc_usable_size(at));
  return at;
}

void give(void* at) {
  if (at == nullptr) return;
  held_bytes -= static_cast<long long>(malloc_usable_size(at));
  std::free(at);
}

}  // namespace

void* operator new(std::size_t bytes) { return take(bytes); }
void* operator new[](std::size_t bytes) { return take(bytes); }
void operator delete(void* at) noexcept { give(at); }
void operator delete[](void* at) noexcept { give(at); }
void operator delete(void* at, std::size_t) noexcept { give(at); }
void operator delete[](void* at, std::size_t) noexcept { give(at); }

namespace {

// Budget of the design: 256 kB for one bench. A first one makes the tables that all of them share.
TEST(BenchMemory, OfOneBenchStaysWithinItsBudget) {
  const sim::Scenario scenario = sim_test::short_run(60.0);
  sim::Bench first(scenario, sim_test::endpoint("host"));
  ASSERT_TRUE(first.advance());
  const long long before = held_bytes;
  sim::Bench bench(scenario, sim_test::endpoint("host"));
  while (bench.advance()) {}
  const long long of_one = held_bytes - before;
  RecordProperty("bytes", std::to_string(of_one));
  EXPECT_GT(of_one, 50'000) << "a bench holds a core's state and a furnace's: the count is not to be trusted";
  EXPECT_LE(of_one, 256'000) << of_one;
}

}  // namespace
