#include "sim/background.h"

#include <utility>

#include <sched.h>

namespace sim {

namespace {

// Where the program may run, as of its beginning.
struct Processors {
  cpu_set_t set{};
  bool known = sched_getaffinity(0, sizeof set, &set) == 0;
};
const Processors processors{};

}  // namespace

Background::Background() : thread_([this] { run(); }) {}

Background::~Background() {
  {
    const std::lock_guard lock(mutex_);
    ends_ = true;
    waiting_.clear();
  }
  came_.notify_one();
  thread_.join();
}

void Background::run() {
  // A thread may run where its maker may: the one processor, perhaps, that a bench shares with a core in another process (lockstep.h).
  if (processors.known) sched_setaffinity(0, sizeof processors.set, &processors.set);
  std::unique_lock lock(mutex_);
  while (true) {
    came_.wait(lock, [this] { return ends_ || !waiting_.empty(); });
    if (waiting_.empty()) return;
    const std::function<void()> work = std::move(waiting_.front());
    waiting_.pop_front();
    std::exception_ptr thrown;
    if (!thrown_) {
      lock.unlock();
      try {
        work();
      } catch (...) {
        thrown = std::current_exception();
      }
      lock.lock();
    }
    if (thrown) thrown_ = thrown;
    --undone_;
    done_.notify_one();
  }
}

void Background::wait_until_undone(std::unique_lock<std::mutex>& lock, std::size_t most) {
  done_.wait(lock, [&] { return undone_ <= most; });
  if (thrown_) std::rethrow_exception(thrown_);
}

void Background::post(std::function<void()> work) {
  std::unique_lock lock(mutex_);
  waiting_.push_back(std::move(work));
  ++undone_;
  came_.notify_one();
  wait_until_undone(lock, undone_max);
}

void Background::drain() {
  std::unique_lock lock(mutex_);
  wait_until_undone(lock, 0);
}

}  // namespace sim
