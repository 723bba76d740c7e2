// SPDX-License-Identifier: MIT
//
// Settings for jemalloc, which reads them from this symbol. Linked only where it is.

// A batch touches tens of megabytes within tenths of a second; small pages cost a sixth of that in page faults.
extern "C" {
extern const char* malloc_conf;
const char* malloc_conf = "thp:always";
}
