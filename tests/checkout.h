// Where the checkout and its build stand: in one object file, so that the others compile to the same in every checkout.
#pragma once

extern const char* const source_folder;   // absolute, without a slash at its end
extern const char* const build_folder;    // the same
