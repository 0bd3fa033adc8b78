// A shared library that claims another ABI, for the endpoint to refuse.
#include <cstdint>

extern "C" std::uint32_t saggar_core_abi();
extern "C" std::uint32_t saggar_core_abi() { return 999; }
