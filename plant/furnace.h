// A furnace as its file describes it, in SI: what the loader fills and Model is built from. (Owned by the plant; see model.h
// for what the solver makes of it.)
#pragma once
