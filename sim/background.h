// Work done in order on a thread of its own, beside the one that hands it over: what is kept of a run while the run goes on. Nothing
// comes back from it but what it throws, so that what is computed doesn't depend on how the threads run.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <exception>
#include <functional>
#include <mutex>
#include <thread>

namespace sim {

class Background {
 public:
  // Of the pieces handed over at most so many are not done when post() returns: with as many buffers and one more, used in turn, the
  // next is free.
  static constexpr std::size_t undone_max = 2;

  Background();
  ~Background();                                   // what has not been begun is dropped
  Background(const Background&) = delete;
  Background& operator=(const Background&) = delete;

  // Both rethrow what a piece has thrown; what was handed over after that piece isn't done.
  void post(std::function<void()> work);
  void drain();                                    // everything handed over is done

 private:
  void run();
  void wait_until_undone(std::unique_lock<std::mutex>& lock, std::size_t most);

  std::mutex mutex_;
  std::condition_variable came_, done_;
  std::deque<std::function<void()>> waiting_;
  std::size_t undone_ = 0;                         // waiting, and the one being done
  std::exception_ptr thrown_;
  bool ends_ = false;
  std::thread thread_;                             // last: it uses the others
};

}  // namespace sim
