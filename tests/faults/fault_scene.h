// SPDX-License-Identifier: MIT
//
// An upstream, a fork and a clone with local changes, and what is to be done with them: every operation that writes. A round
// does one of them with a fault, lets the next command recover, and looks whether anything is lost, half done or in the way.
//
//     FaultScene scene(folder, operationNamed("replay"));
//     for (unsigned at = 1; at <= scene.calls(); ++at)
//         for (const std::string& wrong : scene.round({.at = at, .kind = "kill"}))
//             …
#pragma once

#include "tests/faults/fault_run.h"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace espalier::test {

struct Operation {
    std::string name;
    std::vector<std::string> words; // the command; "driver" as the first word: that of fault_driver
    std::string prepare = {};       // a shell's commands, run in the clone before
    bool pushes = false;            // the fork changes too, after the clone, each wholly
    bool rewrites = false;          // notes and the post-rewrite hook follow
    bool quiet = false;             // changes neither branches nor files: only what is its own
    bool apart = false;             // several entries or branches of the fork, each whole, not all together
    bool inParts = false;           // what stays of it after its first part is another command's
    bool records = false;           // how it was settled is recorded for git, where it can be
};
const std::vector<Operation>& operations();
const Operation& operationNamed(const std::string& name);

// What may be old or new, but nothing between.
struct SceneState {
    std::string clone;                            // branches, HEAD, index, worktree, settings of branches
    std::string fork;                             // its branches
    std::map<std::string, std::string> followers; // tracking refs and tags, each by itself
    std::string notes, own;                       // what follows a rewrite; what the program keeps for itself
};

class FaultScene {
  public:
    // Builds it below `root` (made, emptied), does the operation once without a fault, and remembers both states.
    FaultScene(std::filesystem::path root, const Operation& operation);
    ~FaultScene();
    FaultScene(const FaultScene&) = delete;

    unsigned calls() const { return m_calls; } // of the operation without a fault
    std::string callNamed(unsigned at) const;  // "rename .git/x .git/y"
    std::vector<std::string> callLog() const { return m_log; }

    // What is wrong afterwards, a line each.
    std::vector<std::string> round(const Fault& fault);
    // The same with a second fault, in the recovery.
    std::vector<std::string> round(const Fault& fault, const Fault& second);
    // Stopped at `fault`, the same command is given again, without a recovery of its own: then all is as it was to be.
    std::vector<std::string> again(const Fault& fault);
    // Calls of the recovery in the last round.
    unsigned recoveryCalls() const { return m_recoveryCalls; }
    // Another program runs to its end before call `at`: nothing of either may be lost, whatever this one then says.
    std::vector<std::string> beside(unsigned at, const std::string& command);
    // On a disk with `room` bytes left. `disk` holds the scene's root and nothing else, see SmallDisk.
    std::vector<std::string> withRoom(class SmallDisk& disk, std::size_t room);

    std::filesystem::path place() const { return m_root / "scene"; }
    std::filesystem::path clone() const { return place() / "clone"; }
    void reset();
    Ran perform(const Fault& fault);
    Ran recover(const Fault& fault = {});
    SceneState state() const;

  private:
    std::vector<std::string> judge(const Ran& ran, const Fault& fault);
    std::vector<std::string> judgeRest(const SceneState& now, const std::string& said);
    std::vector<std::string> judgeNew(const SceneState& now) const;
    std::vector<std::string> settle(std::string& said);
    std::vector<std::string> judgeDone(const Ran& ran, const Fault& fault);
    std::vector<std::string> argv() const;
    std::filesystem::path m_root;
    Operation m_operation;
    SceneState m_old, m_new;
    std::vector<std::string> m_argv, m_tips, m_log;
    std::string m_entry;
    unsigned m_calls = 0, m_recoveryCalls = 0;
};

// What another program may do meanwhile; by name, for beside().
const std::map<std::string, std::string>& secondPrograms();

// A disk of its own in memory, whose size can be set; only root can have one.
class SmallDisk {
  public:
    explicit SmallDisk(std::filesystem::path folder);
    ~SmallDisk();
    SmallDisk(const SmallDisk&) = delete;
    bool isThere() const { return m_reason.empty(); }
    std::string reason() const { return m_reason; } // why it is not
    std::filesystem::path folder() const { return m_folder; }
    // Leaves `room` bytes beside what is on it; nothing: plenty.
    void setRoom(std::optional<std::size_t> room);

  private:
    std::filesystem::path m_folder;
    std::string m_reason;
};

// A rounds' checks, for whoever makes scenes of its own. Each gives a line for what is wrong.
std::vector<std::string> soundness(const std::filesystem::path& place);
std::vector<std::string> leftovers(const std::filesystem::path& place);
// Entries of the logbook without the refs that keep what they speak of, such refs without their entry, logs without their ref.
std::vector<std::string> unkept(const std::filesystem::path& place);
std::vector<std::string> lostTips(const std::filesystem::path& place, const std::vector<std::string>& tips);
std::vector<std::string> allTips(const std::filesystem::path& place);
void buildBase(const std::filesystem::path& place);

} // namespace espalier::test
