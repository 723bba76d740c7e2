// SPDX-License-Identifier: MIT
//
// A byte a row, zero at first, that costs only what is touched: fresh pages from the system are zero already.
#pragma once

#include "core/history/history.h"

#include <cstdlib>
#include <memory>
#include <new>

namespace espalier {

class RowFlags {
  public:
    explicit RowFlags(Row size) : m_bytes(static_cast<std::uint8_t*>(std::calloc(std::size_t(size) + 1, 1)))
    {
        if (!m_bytes)
            throw std::bad_alloc();
    }
    std::uint8_t& operator[](Row row) { return m_bytes.get()[row]; }

  private:
    struct Free {
        void operator()(std::uint8_t* p) const { std::free(p); }
    };
    std::unique_ptr<std::uint8_t, Free> m_bytes;
};

} // namespace espalier
