// SPDX-License-Identifier: MIT
//
// Tree objects as views over their bytes: no copy an entry.
//
//     for (const TreeEntry& entry : parseTree(object.view()).value()) …
#pragma once

#include "core/git/objects.h"

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace espalier {

// The five modes that git writes.
enum class FileMode : std::uint32_t {
    None = 0,
    Tree = 0040000,
    File = 0100644,
    Executable = 0100755,
    Symlink = 0120000,
    Submodule = 0160000,
};

inline bool isRegularFile(FileMode mode) { return mode == FileMode::File || mode == FileMode::Executable; }

// What stands at a path: a file, symlink or submodule, or a folder with its tree; mode None: nothing.
struct PathEntry {
    FileMode mode = FileMode::None;
    Oid id;
    bool exists() const { return mode != FileMode::None; }
    bool isTree() const { return mode == FileMode::Tree; }
    friend bool operator==(const PathEntry&, const PathEntry&) = default;
};

// Folders within folders that a walk goes down; deeper ones are made by no checkout, and a crafted tree must not exhaust the
// stack.
inline constexpr int deepestFolder = 2048;

// One line of a tree.
struct TreeEntry {
    std::string_view name; // points into the tree's bytes
    FileMode mode = FileMode::None;
    Oid id;
    bool isTree() const { return mode == FileMode::Tree; }
    PathEntry entry() const { return {mode, id}; }
};

// Errors: Broken when the bytes are not a tree. Old group-writable modes are read as 0100644.
Result<std::vector<TreeEntry>> parseTree(std::string_view bytes);

// Goes through a tree's bytes entry by entry, without making a list of them.
//
//     for (TreeCursor at(object.view()); !at.atEnd(); at.next()) use(at.entry());
//     if (at.damaged()) …                  // also at the end
class TreeCursor {
  public:
    TreeCursor() = default;
    explicit TreeCursor(std::string_view bytes) : m_begin(bytes.data()), m_end(bytes.data() + bytes.size()) { parse(); }
    bool atEnd() const { return m_begin == m_end; }
    bool damaged() const { return m_damaged; }
    const TreeEntry& entry() const { return m_entry; }
    void next()
    {
        m_begin = m_next;
        parse();
    }
    // The first entry at or behind this one that does not come before such a name; true when it is that very one.
    bool seek(std::string_view name, bool isTree);
    // The same for an entry of any kind; the cursor ends there, or at the end when there is none. False for an empty name.
    bool find(std::string_view name);
    // Moves both on to where they differ, at least not beyond it.
    static void skipEqual(TreeCursor& a, TreeCursor& b);
    // The bytes from the entry on.
    const char* position() const { return m_begin; }

  private:
    void parse();

    const char* m_begin = nullptr;
    const char* m_next = nullptr; // behind the entry
    const char* m_end = nullptr;
    TreeEntry m_entry;
    bool m_damaged = false;
};

// A tree's bytes out of a store; none for zero and for the empty tree, which no repository needs to have. Errors: Broken.
Result<Object> openTree(ObjectStore& store, const Oid& id);
// The errors of damaged trees and of those that are nested beyond deepestFolder.
std::unexpected<Error> damagedTree(const Oid& id);
std::unexpected<Error> nestedTooDeeply(std::string_view path);

// git's order of names within a tree: a directory compares as if its name ended in '/'.
int compareTreeNames(std::string_view a, bool aIsTree, std::string_view b, bool bIsTree);

// The bytes of a tree; entries must be in git's order.
std::string formatTree(const std::vector<TreeEntry>& entries);
// One more entry behind the bytes of others.
void appendEntry(std::string& bytes, const TreeEntry& entry);

} // namespace espalier
