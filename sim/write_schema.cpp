// Writes configs/schema anew from the field tables: the target `schema`.
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

#include "sim/schema.h"

namespace {

bool write(const std::filesystem::path& file, const std::string& text) {
  std::ofstream stream(file, std::ios::binary);
  stream << text;
  stream.close();
  if (!stream) std::fprintf(stderr, "cannot write %s\n", file.c_str());
  return static_cast<bool>(stream);
}

}  // namespace

int main(int count, char** arguments) {
  if (count != 2) {
    std::fprintf(stderr, "usage: write_schema FOLDER\n");
    return 2;
  }
  const std::filesystem::path folder = arguments[1];
  bool good = write(folder / "README.md", sim::fields_markdown());
  for (const std::string& kind : sim::schema_kinds()) good = write(folder / (kind + ".schema.json"), sim::json_schema(kind)) && good;
  return good ? 0 : 3;
}
