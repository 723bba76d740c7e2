// SPDX-License-Identifier: MIT
#include "core/history/commit_graph.h"

#include "core/git/big_endian.h"
#include "core/git/sha1.h"
#include "core/git/sorted_ids.h"

#include <algorithm>
#include <cstring>
#include <map>

namespace espalier {

namespace {

constexpr std::size_t idSize = 20;
constexpr std::size_t dataSize = idSize + 16;
constexpr std::size_t fanoutSize = 256 * 4;
constexpr std::uint32_t noParent = 0x70000000;
constexpr std::uint32_t listFlag = 0x80000000; // the second parent is an index into EDGE; in EDGE: the last of a list

std::unexpected<Error> damaged(std::string what)
{
    return fail(ErrorKind::Broken, "The commit-graph file is damaged: " + std::move(what), {},
                "Write it anew with git commit-graph write --reachable");
}

using Chunks = std::map<std::string, std::string_view>;

// The table of contents: the chunks' names and extents, each end being the next one's start.
Result<Chunks> readChunks(std::string_view bytes, std::size_t count)
{
    const auto data = reinterpret_cast<const unsigned char*>(bytes.data());
    const std::size_t tableEnd = 8 + (count + 1) * 12;
    if (bytes.size() < tableEnd + idSize)
        return damaged("it is cut short");
    const std::size_t end = bytes.size() - idSize;
    Chunks chunks;
    for (std::size_t i = 0; i < count; ++i) {
        const unsigned char* entry = data + 8 + i * 12;
        const std::uint64_t from = longWord(entry + 4);
        const std::uint64_t to = longWord(entry + 16);
        if (from < tableEnd || to < from || to > end)
            return damaged("a part lies outside of it");
        if (!chunks.emplace(std::string(reinterpret_cast<const char*>(entry), 4), bytes.substr(from, to - from)).second)
            return damaged("a part is there twice");
    }
    if (word(data + 8 + count * 12) != 0)
        return damaged("its table of contents has no end");
    return chunks;
}

std::string_view chunk(const Chunks& chunks, const char* name)
{
    const auto found = chunks.find(name);
    return found == chunks.end() ? std::string_view() : found->second;
}

const unsigned char* start(std::string_view bytes) { return reinterpret_cast<const unsigned char*>(bytes.data()); }

// Where a layer of that name lies, in the first folder that has it.
Result<MappedFile> openLayer(const std::vector<std::filesystem::path>& folders, const Oid& name)
{
    for (const auto& folder : folders) {
        auto file = MappedFile::open(folder / "info/commit-graphs" / ("graph-" + name.hex() + ".graph"));
        if (file || file.error().kind != ErrorKind::NotFound)
            return file;
    }
    return damaged("a layer of the chain is missing");
}

Result<std::vector<Oid>> readChainFile(std::string_view text)
{
    std::vector<Oid> names;
    while (!text.empty()) {
        const std::size_t end = text.find('\n');
        const auto id = Oid::parse(text.substr(0, end));
        if (!id)
            return damaged("the chain file has a line that is not an id");
        names.push_back(*id);
        text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    }
    return names;
}

} // namespace

Result<std::optional<CommitGraph>> CommitGraph::open(const std::vector<std::filesystem::path>& objectFolders)
{
    for (const auto& folder : objectFolders) {
        std::vector<MappedFile> files;
        std::vector<Oid> names;
        auto single = MappedFile::open(folder / "info/commit-graph");
        if (single) {
            files.push_back(std::move(*single));
        } else {
            if (single.error().kind != ErrorKind::NotFound)
                return std::unexpected(single.error());
            auto chain = MappedFile::open(folder / "info/commit-graphs/commit-graph-chain");
            if (!chain) {
                if (chain.error().kind != ErrorKind::NotFound)
                    return std::unexpected(chain.error());
                continue;
            }
            auto read = readChainFile(chain->bytes());
            if (!read)
                return std::unexpected(read.error());
            names = std::move(*read);
            for (const Oid& name : names) {
                auto layer = openLayer(objectFolders, name);
                if (!layer)
                    return std::unexpected(layer.error());
                files.push_back(std::move(*layer));
            }
        }
        std::vector<std::string_view> layers;
        for (const MappedFile& file : files)
            layers.push_back(file.bytes());
        auto graph = fromBytes(layers, names);
        if (!graph)
            return std::unexpected(graph.error());
        graph->m_files = std::move(files);
        return std::optional(std::move(*graph));
    }
    return std::nullopt;
}

Result<CommitGraph> CommitGraph::fromBytes(const std::vector<std::string_view>& layers,
                                           const std::vector<Oid>& expected)
{
    CommitGraph graph;
    std::vector<Oid> below;
    for (std::size_t i = 0; i < layers.size(); ++i) {
        if (auto added = graph.addLayer(layers[i], below); !added)
            return std::unexpected(added.error());
        const Oid name = Oid::fromRaw(layers[i].data() + layers[i].size() - idSize);
        if (!expected.empty() && (i >= expected.size() || name != expected[i]))
            return damaged("a layer is not the one that the chain names");
        below.push_back(name);
    }
    return graph;
}

Result<void> CommitGraph::addLayer(std::string_view bytes, const std::vector<Oid>& below)
{
    if (bytes.size() < 8 + 12 + idSize || bytes.substr(0, 4) != "CGPH")
        return damaged("it does not begin as one");
    const auto header = start(bytes);
    if (header[4] != 1 || header[5] != 1)
        return fail(ErrorKind::Unsupported, "The commit-graph file has a version that is not known");
    auto chunks = readChunks(bytes, header[6]);
    if (!chunks)
        return std::unexpected(chunks.error());

    Sha1 sum;
    sum.add(bytes.substr(0, bytes.size() - idSize));
    if (sum.finish() != Oid::fromRaw(bytes.data() + bytes.size() - idSize))
        return damaged("its checksum does not fit");

    const std::string_view fanout = chunk(*chunks, "OIDF"), ids = chunk(*chunks, "OIDL"), data = chunk(*chunks, "CDAT");
    const std::string_view edges = chunk(*chunks, "EDGE"), base = chunk(*chunks, "BASE");
    if (fanout.size() != fanoutSize)
        return damaged("its fan-out table has the wrong size");
    Layer layer;
    layer.fanout = start(fanout);
    layer.ids = start(ids);
    layer.data = start(data);
    layer.edges = start(edges);
    layer.first = m_size;
    layer.count = word(layer.fanout + fanoutSize - 4);
    layer.edgeCount = std::uint32_t(edges.size() / 4);
    if (ids.size() != std::size_t(layer.count) * idSize || data.size() != std::size_t(layer.count) * dataSize)
        return damaged("its tables differ in length");
    if (layer.count >= noParent - m_size || edges.size() / 4 >= listFlag)
        return damaged("it claims more commits than the format allows");
    if (const auto dates = chunk(*chunks, "GDA2"); !dates.empty() && dates.size() != std::size_t(layer.count) * 4)
        return damaged("its generation numbers differ in length from its ids");
    // The header counts the layers below, and BASE names them.
    if (header[7] != below.size() || base.size() != below.size() * idSize ||
        (!below.empty() && std::memcmp(base.data(), below.data(), base.size()) != 0))
        return damaged("it stands on other layers than those below it");

    m_layers.push_back(layer);
    m_size += layer.count;
    return checkLayer(m_layers.back());
}

Result<void> CommitGraph::checkLayer(const Layer& layer) const
{
    for (int i = 0; i < 255; ++i)
        if (word(layer.fanout + 4 * i) > word(layer.fanout + 4 * i + 4))
            return damaged("its fan-out table falls");
    for (std::uint32_t i = 0; i < layer.count; ++i) {
        const unsigned char* id = layer.ids + i * idSize;
        if (i > 0 && std::memcmp(id - idSize, id, idSize) >= 0)
            return damaged("its ids are not in order");
        if (i >= word(layer.fanout + 4 * id[0]) || (id[0] > 0 && i < word(layer.fanout + 4 * (id[0] - 1))))
            return damaged("its fan-out table does not fit its ids");
    }
    // A parent's topological level (the upper 30 bits behind the parents) is below its child's; zero means "not computed".
    const auto levelAt = [&](std::uint32_t position) {
        const Layer& in = layerOf(position);
        return word(in.data + std::size_t(position - in.first) * dataSize + idSize + 8) >> 2;
    };
    const std::uint32_t limit = layer.first + layer.count;
    std::size_t listed = 0; // lists are disjoint, so a file that shares them is not git's (and could cost a square)
    for (std::uint32_t i = 0; i < layer.count; ++i) {
        const unsigned char* entry = layer.data + std::size_t(i) * dataSize + idSize;
        const std::uint32_t level = word(entry + 8) >> 2;
        const auto fits = [&](std::uint32_t parent) {
            return parent < limit && (level == 0 || levelAt(parent) < level || level == 0x3FFFFFFF);
        };
        const std::uint32_t one = word(entry), two = word(entry + 4);
        if (one != noParent && !fits(one))
            return damaged("a commit's parent makes no sense");
        if ((two & listFlag) == 0) {
            if (two != noParent && (one == noParent || !fits(two)))
                return damaged("a commit's second parent makes no sense");
            continue;
        }
        for (std::uint32_t at = two & ~listFlag;; ++at) {
            if (at >= layer.edgeCount || ++listed > layer.edgeCount ||
                !fits(word(layer.edges + std::size_t(at) * 4) & ~listFlag))
                return damaged("a merge's list of parents makes no sense");
            if (word(layer.edges + std::size_t(at) * 4) & listFlag)
                break;
        }
    }
    return {};
}

const CommitGraph::Layer& CommitGraph::layerOf(std::uint32_t position) const
{
    std::size_t i = m_layers.size() - 1;
    while (m_layers[i].first > position)
        --i;
    return m_layers[i];
}

Oid CommitGraph::idAt(std::uint32_t position) const
{
    const Layer& layer = layerOf(position);
    return Oid::fromRaw(layer.ids + std::size_t(position - layer.first) * idSize);
}

std::int64_t CommitGraph::timeAt(std::uint32_t position) const
{
    const Layer& layer = layerOf(position);
    const unsigned char* entry = layer.data + std::size_t(position - layer.first) * dataSize + idSize + 8;
    return std::int64_t(std::uint64_t(word(entry) & 3) << 32 | word(entry + 4));
}

Oid CommitGraph::treeAt(std::uint32_t position) const
{
    const Layer& layer = layerOf(position);
    return Oid::fromRaw(layer.data + std::size_t(position - layer.first) * dataSize);
}

void CommitGraph::parentsAt(std::uint32_t position, std::vector<std::uint32_t>& parents) const
{
    const Layer& layer = layerOf(position);
    const unsigned char* entry = layer.data + std::size_t(position - layer.first) * dataSize + idSize;
    const std::uint32_t one = word(entry), two = word(entry + 4);
    if (one == noParent)
        return;
    parents.push_back(one);
    if ((two & listFlag) == 0) {
        if (two != noParent)
            parents.push_back(two);
        return;
    }
    for (std::uint32_t at = two & ~listFlag;; ++at) {
        const std::uint32_t parent = word(layer.edges + std::size_t(at) * 4);
        parents.push_back(parent & ~listFlag);
        if (parent & listFlag)
            return;
    }
}

std::optional<std::uint32_t> CommitGraph::find(const Oid& id) const
{
    for (std::size_t i = m_layers.size(); i-- > 0;) {
        const Layer& layer = m_layers[i];
        if (const auto at = findSorted(layer.fanout, layer.ids, id))
            return layer.first + *at;
    }
    return std::nullopt;
}

} // namespace espalier
