// SPDX-License-Identifier: MIT
#include "tests/support/far_scene.h"

namespace espalier::test {

namespace {
// Moved along by every commit, and gone in the end.
constexpr const char* scratch = "made";
} // namespace

FarScene::FarScene(int commits, int topics)
{
    BulkHistory bulk;
    std::vector<std::pair<std::string, int>> refs; // marks
    const auto commit = [&](const std::vector<int>& parents, const Files& files, const std::string& message) {
        return bulk.commit(scratch, parents, files, message);
    };
    Files first{{"shared", "0\n"}, {"other", "0\n"}};
    for (int folder = 0; folder < 20; ++folder)
        first["src/" + std::to_string(folder) + "/file"] = "0\n";
    std::vector<int> main{commit({}, first, "Begin")};
    const int steps = commits / 5 * 3; // two of five commits come in with merges
    for (int k = 1; k <= steps; ++k) {
        const std::string text = std::to_string(k) + "\n";
        if (k % 3 == 0) {
            const int low = commit({main[std::size_t(std::max(0, k - 7))]}, {}, "Part one of " + text);
            const int high = commit({low}, {}, "Part two of " + text);
            main.push_back(commit({main.back(), high}, {}, "Merge " + text));
        } else {
            Files files;
            if (k % 100 == 1)
                files["shared"] = text;
            else if (k % 10 == 0)
                files["src/" + std::to_string(k / 10 % 20) + "/file"] = text;
            main.push_back(commit({main.back()}, files, "Step " + text));
        }
        if (k % 4000 == 2000) {
            // A release that was made beside the main line, with a fix.
            int made = main.back();
            for (int fix = 0; fix < 12; ++fix, ++tagOnly)
                made = commit({made}, {{"other", text + std::to_string(fix)}}, "Fix " + text);
            refs.emplace_back("refs/tags/v0." + std::to_string(k / 4000), made);
        }
        if (k % 1000 == 0)
            refs.emplace_back("refs/tags/at-" + std::to_string(k), main.back());
    }
    const auto below = [&](int distance) {
        return main[main.size() - 1 - std::min(main.size() - 1, std::size_t(distance))];
    };
    refs.emplace_back(mainLine, main.back());
    refs.emplace_back("refs/heads/main", below(steps / 100));
    refs.emplace_back("refs/remotes/fork/main", below(steps / 100));
    int line = below(steps / 2);
    for (int k = 0; k < 40; ++k)
        line = commit({line}, {{"other", std::to_string(k)}}, "Kept alive");
    refs.emplace_back(release, line);
    for (int number = 0; number < topics; ++number) {
        int tip = below(steps * (topics - number) / (topics + 1));
        for (int k = 0; k < 1 + number % 4; ++k) {
            tip = commit({tip}, {{"shared", "topic " + std::to_string(number) + "\n"}, {"mine", std::to_string(k)}},
                         "Topic " + std::to_string(number));
            if (k == 0 && number % 3 == 0)
                refs.emplace_back("refs/remotes/fork/topic/" + std::to_string(number), tip);
        }
        refs.emplace_back(topic(number), tip);
    }
    repo.git({"config", "user.name", "Mira Sol"});
    repo.git({"config", "user.email", "mira@example.org"});
    const std::vector<std::string> ids = bulk.import(repo);
    QByteArray orders = "delete refs/heads/" + QByteArray(scratch) + "\n";
    for (const auto& [name, mark] : refs)
        orders += "create " + QByteArray::fromStdString(name) + ' ' +
                  QByteArray::fromStdString(ids[std::size_t(mark)]) + '\n';
    repo.git({"update-ref", "--stdin"}, orders);
    repo.git({"pack-refs", "--all"});
    repo.git({"commit-graph", "write", "--reachable"});
    repo.git({"symbolic-ref", "HEAD", QString::fromStdString(topic(0))});
    repo.git({"read-tree", "HEAD"});
    repo.git({"checkout-index", "--all"});
    for (const char* remote : {"upstream", "fork"})
        repo.git({"remote", "add", remote, QStringLiteral("../%1").arg(QLatin1String(remote))});
    repo.git({"symbolic-ref", "refs/remotes/upstream/HEAD", mainLine});
}

} // namespace espalier::test
