// SPDX-License-Identifier: MIT
//
// git's commit-graph file, or a chain of them, read directly. Format: git's own documentation, gitformat-commit-graph(5)
// (chunks OIDF, OIDL, CDAT, EDGE and BASE are used; GDA2 and GDO2, the corrected dates of generation version 2, are
// only checked for their size, the table orders commits itself). Positions number the commits of the lowest layer
// first, sorted by id within a layer.
//
//     Result<std::optional<CommitGraph>> graph = CommitGraph::open({repository.commonDir() / "objects"});
//     if (graph && *graph)
//         for (std::uint32_t i = 0; i < (*graph)->size(); ++i) …
//
// A file is trusted only as a whole: its checksum, its sizes, the order of ids, the parents' positions and the rise of the
// generation numbers are all checked when it is opened, and anything odd makes open() fail with Broken. The checksum is the
// larger part of the cost of opening (all of it, as bench_history's openCommitGraph measured it: 6 ms for 160,629 commits,
// 54 ms for a million) and what makes a turned bit in a parent or a date impossible to believe. A file that was written
// wrong, checksum and all, is believed as git believes it.
#pragma once

#include "core/git/error.h"
#include "core/git/mapped_file.h"
#include "core/git/oid.h"

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string_view>
#include <vector>

namespace espalier {

class CommitGraph {
  public:
    // The graph of the first of these object folders that has one (the repository's own, then its alternates). Nothing
    // when none has. Errors: Broken, with what is wrong; Unsupported for a version or hash that is not known.
    static Result<std::optional<CommitGraph>> open(const std::vector<std::filesystem::path>& objectFolders);
    // The layers' bytes, lowest first; they must outlive the graph. `expected` gives the names (checksums) that a chain
    // file lists for them; empty for a single file.
    static Result<CommitGraph> fromBytes(const std::vector<std::string_view>& layers, const std::vector<Oid>& expected);

    std::uint32_t size() const { return m_size; }
    std::size_t layerCount() const { return m_layers.size(); }
    Oid idAt(std::uint32_t position) const;
    // Committer's time in seconds since 1970, as far as the format's 34 bits go.
    std::int64_t timeAt(std::uint32_t position) const;
    Oid treeAt(std::uint32_t position) const;
    // Adds the parents' positions to `parents`.
    void parentsAt(std::uint32_t position, std::vector<std::uint32_t>& parents) const;
    // Nothing when the commit is not in the graph.
    std::optional<std::uint32_t> find(const Oid& id) const;

  private:
    struct Layer {
        const unsigned char* fanout = nullptr;
        const unsigned char* ids = nullptr;
        const unsigned char* data = nullptr;
        const unsigned char* edges = nullptr;
        std::uint32_t edgeCount = 0;
        std::uint32_t first = 0; // position of its first commit
        std::uint32_t count = 0;
    };
    const Layer& layerOf(std::uint32_t position) const;
    Result<void> addLayer(std::string_view bytes, const std::vector<Oid>& below);
    Result<void> checkLayer(const Layer& layer) const;

    std::vector<MappedFile> m_files;
    std::vector<Layer> m_layers;
    std::uint32_t m_size = 0;
};

} // namespace espalier
