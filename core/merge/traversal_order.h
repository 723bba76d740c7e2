// SPDX-License-Identifier: MIT
//
// The order in which git comes upon the names of three trees when it goes through them side by side (its traverse_trees, in
// tree-walk.c): that of one tree, except that a folder "t" is taken before "t-2" as soon as one of the trees has come to "t".
// Among equals, the first one met becomes the rename. Private to core/merge.
#pragma once

#include "core/git/objects.h"

#include <array>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

namespace espalier {

class TraversalOrder {
  public:
    // The trees of base, new base and commit; zero for none. The store outlives it.
    TraversalOrder(ObjectStore& store, const std::array<Oid, 3>& trees) : m_store(store), m_trees(trees) {}

    // Brings files, which are in order of the bytes of their paths, into git's order. Folders whose names keep their order are
    // passed over: mostly all. Trees that cannot be read leave the order of the bytes: whoever needs what is in them says so.
    void sort(std::vector<std::uint32_t>& files, const std::function<std::string_view(std::uint32_t file)>& pathOf);

  private:
    using Ranks = std::unordered_map<std::string, std::size_t>;
    bool before(std::string_view a, std::string_view b);
    const Ranks& ranksIn(std::string_view folder);

    ObjectStore& m_store;
    std::array<Oid, 3> m_trees;
    std::unordered_map<std::string, Ranks> m_folders;
};

// The names in three trees, of one folder, in that order. Errors: as reading trees.
Result<std::vector<std::string>> namesInOrder(ObjectStore& store, const std::array<Oid, 3>& trees);

} // namespace espalier
