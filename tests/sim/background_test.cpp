// Work done beside the thread that hands it over: in order, never more of it undone than said, and what goes wrong comes back.
#include "sim/background.h"

#include <atomic>
#include <stdexcept>
#include <thread>
#include <vector>

#include <gtest/gtest.h>
#include <sched.h>

namespace {

TEST(Background, PiecesAreDoneInTheirOrderOnOneOtherThread) {
  sim::Background background;
  std::vector<int> done;
  std::thread::id where;
  for (int i = 0; i < 1000; ++i)
    background.post([&, i] {
      if (i == 0) where = std::this_thread::get_id();
      if (where == std::this_thread::get_id()) done.push_back(i);
    });
  background.drain();
  ASSERT_EQ(done.size(), 1000u);
  for (int i = 0; i < 1000; ++i) EXPECT_EQ(done[static_cast<std::size_t>(i)], i);
  EXPECT_NE(where, std::this_thread::get_id());
}

// A bench that shares one processor with a core in another process has its judging and writing done elsewhere.
TEST(Background, RunsWhereverTheProgramMightWhereverItsMakerIs) {
  cpu_set_t before, one, there;
  ASSERT_EQ(sched_getaffinity(0, sizeof before, &before), 0);
  CPU_ZERO(&one);
  CPU_SET(static_cast<std::size_t>(sched_getcpu()), &one);
  ASSERT_EQ(sched_setaffinity(0, sizeof one, &one), 0);
  CPU_ZERO(&there);
  {
    sim::Background background;
    background.post([&there] { sched_getaffinity(0, sizeof there, &there); });
    background.drain();
  }
  ASSERT_EQ(sched_setaffinity(0, sizeof before, &before), 0);
  EXPECT_TRUE(CPU_EQUAL(&there, &before));
}

// One buffer more than that, used in turn, is enough.
TEST(Background, PostReturnsOnlyWhileFewAreUndone) {
  std::atomic<std::size_t> done{0};   // outlives what counts it
  sim::Background background;
  for (std::size_t posted = 1; posted <= 200; ++posted) {
    background.post([&done] {
      std::this_thread::yield();
      ++done;
    });
    EXPECT_LE(posted - done.load(), sim::Background::undone_max);
  }
}

TEST(Background, WhatAPieceThrowsComesOutAndNothingAfterItIsDone) {
  bool later = false;
  sim::Background background;
  background.post([] { throw std::runtime_error("the disk is full"); });
  EXPECT_THROW(background.drain(), std::runtime_error);
  EXPECT_THROW(background.post([&later] { later = true; }), std::runtime_error);
  EXPECT_THROW(background.drain(), std::runtime_error);
  EXPECT_FALSE(later);
}

TEST(Background, NothingIsDoneOnceItHasEnded) {
  std::atomic<int> done{0};
  {
    sim::Background background;
    for (int i = 0; i < 50; ++i) background.post([&done] { ++done; });
  }
  const int at_the_end = done;
  EXPECT_GE(at_the_end, 50 - static_cast<int>(sim::Background::undone_max));
  std::this_thread::yield();
  EXPECT_EQ(done, at_the_end);
}

}  // namespace
