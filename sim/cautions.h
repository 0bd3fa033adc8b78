// What the program says wherever somebody might take a simulation for a furnace: one text, used by the command line, the
// report and every verb that can reach hardware.
#pragma once

#include <array>
#include <string_view>

namespace sim {

inline constexpr std::string_view short_caution =
    "Heat, pressure, vacuum, electricity and asphyxiating or flammable gas kill. A simulation proves logic, not a furnace.";

inline constexpr std::array<std::string_view, 5> cautions = {
    "Heat, pressure, vacuum, electricity and asphyxiating or flammable gas kill.",
    "A simulation proves logic, not a furnace: what passes here has been shown to be right against a model, and only as far as the model "
    "goes.",
    "Independent over-temperature and over-pressure protection, gas detection and ventilation stay, whatever the controller does. "
    "Argon and nitrogen displace air without any warning to the senses.",
    "Commission with the loads disconnected or independently protected and with somebody attending.",
    "Local codes and licensed practice decide what may be built, connected and run."};

}  // namespace sim
