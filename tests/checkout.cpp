#include "tests/checkout.h"

const char* const source_folder = SAGGAR_SOURCE_DIR;
const char* const build_folder = SAGGAR_BINARY_DIR;
