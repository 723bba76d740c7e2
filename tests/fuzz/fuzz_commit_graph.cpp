// SPDX-License-Identifier: MIT
//
// The commit-graph reader against arbitrary bytes (libFuzzer): it must refuse or give a graph that can be walked. The
// checksum is mended first, for otherwise nothing behind it would ever be reached. The first byte says where a second
// layer begins.
#include "core/git/sha1.h"
#include "core/history/commit_graph.h"

#include <cstdlib>

using namespace espalier;

namespace {

std::string mended(std::string bytes)
{
    if (bytes.size() < 20)
        return bytes;
    bytes.resize(bytes.size() - 20);
    Sha1 sum;
    sum.add(bytes);
    const Oid id = sum.finish();
    return bytes.append(reinterpret_cast<const char*>(id.bytes.data()), 20);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size)
{
    if (size == 0)
        return 0;
    const std::string_view all(reinterpret_cast<const char*>(data) + 1, size - 1);
    const std::size_t cut = all.size() * data[0] / 255;
    std::vector<std::string> layers{mended(std::string(all.substr(0, cut)))};
    if (cut < all.size())
        layers.push_back(mended(std::string(all.substr(cut))));
    const auto graph = CommitGraph::fromBytes({layers.begin(), layers.end()}, {});
    if (!graph)
        return 0;
    std::vector<std::uint32_t> parents;
    for (std::uint32_t i = 0; i < graph->size(); ++i) {
        parents.clear();
        graph->parentsAt(i, parents);
        for (const std::uint32_t parent : parents)
            if (parent >= graph->size())
                std::abort();
        (void)graph->timeAt(i);
        (void)graph->find(graph->idAt(i));
    }
    return 0;
}
