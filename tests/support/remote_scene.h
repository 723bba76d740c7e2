// SPDX-License-Identifier: MIT
//
// upstream.git, fork.git and a clone with both as remotes, made by git. topic/x has two commits, is on the fork too, and
// its new version stands in the clone as refs/heads/topic/x after replayTopic().
#pragma once

#include "tests/support/temp_repository.h"

namespace espalier::test {

class RemoteScene {
  public:
    enum Reach { Path, FileUrl, Ssh };
    // Ssh goes through a script in the place of ssh that runs the command it gets on this machine.
    explicit RemoteScene(Reach reach = Path);

    TempRepository repo; // the clone
    QString upstream, fork;
    std::string base, main;
    std::vector<std::string> topic, replayed;

    // Rewrites topic/x on top of the main line in the clone.
    void replayTopic();
    // A commit by somebody else on the fork's topic/x; its id.
    std::string strangerPushes();
    std::string forkAt(const QString& ref) const; // empty when not there
    std::string gitIn(const QString& folder, const QStringList& arguments) const;
    void writeScript(const QString& path, const QByteArray& text) const;
    void checkSound() const;
};

} // namespace espalier::test
