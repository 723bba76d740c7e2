// SPDX-License-Identifier: MIT
//
// Three texts out of one input, split at bytes 0xFF. Whatever they are: the pieces cover the result without a gap, and the
// segments are the hunks and what is between them.
#include "core/merge/text_merge.h"

#include <cstdlib>

using namespace espalier;

namespace {

void check(bool holds)
{
    if (!holds)
        std::abort();
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    const std::string_view input(reinterpret_cast<const char*>(data), size);
    const std::size_t first = std::min(input.find('\xff'), input.size());
    const std::size_t second = std::min(input.find('\xff', std::min(first + 1, input.size())), input.size());
    const std::string_view o = input.substr(0, first);
    const std::string_view a = input.substr(std::min(first + 1, size), second - std::min(first + 1, second));
    const std::string_view b = input.substr(std::min(second + 1, size));
    for (const DiffAlgorithm algorithm : {DiffAlgorithm::Histogram, DiffAlgorithm::Myers}) {
        TextMergeOptions options;
        options.algorithm = algorithm;
        options.markerSize = 0;
        const TextMerge merge = mergeTexts(o, a, b, options);
        if (merge.binary)
            continue;
        int line = 0;
        for (const TextPiece& piece : merge.pieces) {
            check(piece.result.first == line);
            line = piece.result.end();
        }
        check(line == countLines(merge.bytes));
        const auto segments = segmentsOf(merge, o, a, b);
        check(segments.size() == 2 * merge.hunks.size() + 1);
        if (o == a)
            check(merge.clean() && merge.bytes == b);
        if (o == b)
            check(merge.clean() && merge.bytes == a);
        const std::vector<LineRange> held{{0, 1}, {3, 2}};
        (void)heldTouched(merge, held);
        for (const LineRange& range : heldInResult(merge, held))
            check(range.first >= 0 && range.end() <= line + 1);
    }
    return 0;
}
