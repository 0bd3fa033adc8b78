// Snapshots give back what was put, and name what does not fit.
#include <gtest/gtest.h>

#include "sim/snapshot.h"

namespace {

TEST(Snapshot, gives_back_what_was_put_in_order) {
  sim::SnapshotWriter writer;
  writer.tag("part");
  writer.put(3.5);
  writer.put(std::vector<int>{1, 2, 3});
  writer.put("words");
  sim::SnapshotReader reader(writer.bytes());
  double number = 0.0;
  std::vector<int> list;
  reader.tag("part");
  reader.get(number);
  reader.get(list);
  EXPECT_EQ(number, 3.5);
  EXPECT_EQ(list, (std::vector<int>{1, 2, 3}));
  EXPECT_EQ(reader.get_text(), "words");
  EXPECT_TRUE(reader.at_end());
}

TEST(Snapshot, names_the_part_that_stands_where_another_should) {
  sim::SnapshotWriter writer;
  writer.tag("plant");
  sim::SnapshotReader reader(writer.bytes());
  try {
    reader.tag("line");
    FAIL() << "the wrong part was taken";
  } catch (const sim::SnapshotError& error) {
    EXPECT_NE(std::string(error.what()).find("`plant`"), std::string::npos) << error.what();
    EXPECT_NE(std::string(error.what()).find("`line`"), std::string::npos) << error.what();
  }
}

TEST(Snapshot, refuses_bytes_that_are_cut_short) {
  sim::SnapshotWriter writer;
  writer.put(std::vector<double>{1.0, 2.0});
  for (std::size_t size = 0; size < writer.bytes().size(); ++size) {
    sim::SnapshotReader reader(writer.bytes().first(size));
    std::vector<double> list;
    EXPECT_THROW(reader.get(list), sim::SnapshotError) << size << " bytes";
  }
}

}  // namespace
