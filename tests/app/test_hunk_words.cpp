// SPDX-License-Identifier: MIT
// The settle page names the commits that changed the lines of the hunk it shows, and none that changed others.
#include "app/dryrun/dry_run_page.h"
#include "app/settle/settle_page.h"
#include "app/support/page.h"
#include "tests/support/replay_window.h"

#include <QtTest>

using namespace espalier;
using test::TempRepository;

namespace {

constexpr int patience = 30000;

std::string numbered(const std::map<int, std::string>& changed)
{
    std::string text;
    for (int i = 1; i <= 60; ++i)
        text += (changed.contains(i) ? changed.at(i) : std::to_string(i)) + "\n";
    return text;
}

QString briefOf(const std::string& id) { return QString::fromStdString(Oid::parse(id)->brief()); }

} // namespace

class TestHunkWords : public QObject {
    Q_OBJECT

  private Q_SLOTS:
    void namesWhoChangedTheLines()
    {
        TempRepository repo;
        const auto base = repo.commitFiles({{"f", numbered({})}}, "Base", {}, "main");
        const auto earlier = repo.commitFiles({{"f", numbered({{5, "mine"}})}}, "Mine first", {base}, "topic/x");
        const auto mine = repo.commitFiles({{"f", numbered({{5, "mine again"}})}}, "Mine", {earlier}, "topic/x");
        const auto one = repo.commitFiles({{"f", numbered({{5, "N"}})}}, "Changes the line", {base}, "main");
        const auto other = repo.commitFiles({{"f", numbered({{5, "N"}, {40, "N"}})}}, "Changes others", {one}, "main");
        const auto two =
            repo.commitFiles({{"f", numbered({{5, "M"}, {40, "N"}})}}, "Changes it again", {other}, "main");
        // git has the same of line 5: both, without the one between.
        const QString below = QString::fromStdString(base);
        QCOMPARE(repo.git({"log", "--format=%H", "-s", "-L5,5:f", below + "..main"}), two + "\n" + one);
        repo.git({"config", "user.name", "Mira Sol"});
        repo.git({"config", "user.email", "mira@example.org"});
        repo.git({"symbolic-ref", "HEAD", "refs/heads/topic/x"});
        repo.git({"reset", "--hard", "--quiet"});

        const auto window = test::openReplay(repo, "topic/x", "main");
        QVERIFY(window);
        Q_EMIT window->dryRunPage()->settleRequested();
        const auto words = [&] {
            QStringList all;
            for (const PlainLabel* label : window->settlePage()->findChildren<PlainLabel*>())
                if (label->isVisible())
                    all << label->fullText() << label->toolTip();
            return all.join(u'\n');
        };
        QTRY_VERIFY2_WITH_TIMEOUT(words().contains(briefOf(one)), qPrintable(words()), patience);
        QVERIFY2(words().contains(briefOf(two)), qPrintable(words()));
        QVERIFY2(!words().contains(briefOf(other)), qPrintable(words()));
        QVERIFY2(words().contains(briefOf(earlier)), qPrintable(words()));
    }
};

QTEST_MAIN(TestHunkWords)
#include "test_hunk_words.moc"
