// SPDX-License-Identifier: MIT
//
// The attributes that decide how a path is merged (gitattributes: merge, binary, conflict-marker-size), read from the
// `.gitattributes` files of a tree. Private to core/merge.
#pragma once

#include "core/git/objects.h"

#include <deque>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace espalier {

enum class MergeAttribute : std::uint8_t { Text, Union, Binary };

struct PathAttributes {
    MergeAttribute driver = MergeAttribute::Text;
    int markerSize = 7;
};

class MergeAttributes {
  public:
    // Errors: Broken. A tree without such files costs one look at it, once.
    Result<PathAttributes> of(ObjectStore& store, const Oid& tree, const std::string& path);

  private:
    struct Rule {
        std::string pattern;
        bool anchored = false; // holds a slash: matched against the whole path below its folder
        std::vector<std::string> settings;
    };
    using Rules = std::shared_ptr<const std::vector<Rule>>;
    Result<Rules> rulesOf(ObjectStore& store, const Oid& blob);
    static bool matches(const Rule& rule, const std::string& below);

    std::map<Oid, Rules> m_rules; // by blob
};

} // namespace espalier
