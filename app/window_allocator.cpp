// SPDX-License-Identifier: MIT
//
// Settings for jemalloc in the window, which reads them from this symbol. Linked only where it is.

// A window stays open beside all else that a person has open: what a forecast has used goes back within a second, and its
// few threads share one store: a tenth less memory, no slower.
extern "C" {
extern const char* malloc_conf;
const char* malloc_conf = "narenas:1,dirty_decay_ms:1000,muzzy_decay_ms:0";
}
