// SPDX-License-Identifier: MIT
#include "tests/support/whole_job.h"

#include "app/dryrun/dry_run_page.h"
#include "app/logbook/logbook_page.h"
#include "app/overwrite/overwrite_page.h"
#include "app/session/replay_flow.h"
#include "app/settle/settle_page.h"
#include "app/support/text.h"

#include <QAbstractButton>
#include <QAbstractItemView>
#include <QTest>

namespace espalier::test {

namespace {

std::size_t undecided(const DryRun& run)
{
    std::size_t count = 0;
    for (const auto& commit : run.commits)
        for (const Conflict& conflict : commit.conflicts)
            count += conflict.undecided;
    return count;
}

} // namespace

bool waitFor(const std::function<bool()>& done, int milliseconds) { return QTest::qWaitFor(done, milliseconds); }

QAbstractButton* findButton(QWidget* in, const QString& nameOrText)
{
    for (QAbstractButton* button : in->findChildren<QAbstractButton*>())
        if (button->isVisible() && button->isEnabled() &&
            (button->objectName() == nameOrText || button->text().remove(QLatin1Char('&')) == nameOrText))
            return button;
    return nullptr;
}

bool clickButton(QWidget* in, const QString& nameOrText)
{
    QAbstractButton* button = findButton(in, nameOrText);
    if (!button)
        return false;
    QTest::mouseClick(button, Qt::LeftButton);
    return true;
}

QString rowText(const QAbstractItemView* view, int row)
{
    QStringList texts;
    for (int column = 0; column < view->model()->columnCount(); ++column)
        texts << view->model()->index(row, column).data().toString();
    return texts.join(QLatin1Char(' '));
}

void WholeJob::run(const Look& tell)
{
    // A user acts on what has been painted; the offscreen platform paints only when it is asked to.
    const auto look = [&](const QString& step) {
        QCoreApplication::processEvents();
        m_window.grab();
        tell(step);
    };
    const auto step = [&](const char* name, bool done) {
        if (!done && m_problem.isEmpty())
            m_problem =
                QStringLiteral("%1; the window says: %2").arg(QString::fromLatin1(name), m_window.notice()->line());
        if (done)
            look(QString::fromLatin1(name));
        return done;
    };
    const auto dryRunShown = [&] {
        return m_window.flow()->run() && !m_window.flow()->isBusy() && m_window.dryRunPage()->isVisible();
    };
    const auto offered = [&] {
        return findButton(m_window.notice(), QStringLiteral("Check overwrite and push…")) &&
               !m_window.session()->isLoading() && m_window.session()->drift();
    };
    const auto checked = [&] {
        return m_window.currentPage() == m_window.overwritePage() &&
               findButton(m_window.overwritePage(), QStringLiteral("push"));
    };
    if (step("open", open() && chooseTopic()) && step("dry-run", askForDryRun(look) && waitFor(dryRunShown)) &&
        step("ready", settle(look)) && step("applied", askToApply() && waitFor(offered)) &&
        step("overwrite-check", askForCheck() && waitFor(checked)) && step("pushed", push()))
        step("restored", restore(look));
}

bool WholeJob::open()
{
    bool forecast = false;
    const auto seen = QObject::connect(m_window.session(), &Session::forecastsDone, [&] { forecast = true; });
    m_window.openRepository(m_path);
    const bool done = waitFor([&] { return forecast && m_window.currentPage() == m_window.workbench(); });
    QObject::disconnect(seen);
    return done;
}

bool WholeJob::settle(const Look& look)
{
    ReplayFlow* flow = m_window.flow();
    SettlePage* page = m_window.settlePage();
    const auto open = [&] { return undecided(*flow->run()); };
    const std::size_t before = open();
    if (!openSettlePage() || !waitFor([&] {
            return m_window.currentPage() == page && findButton(page, QStringLiteral("nextUndecided")) &&
                   findButton(page, QStringLiteral("your-commit"));
        }))
        return false;
    look(QStringLiteral("settle"));
    while (open() > 0) {
        const std::size_t last = open();
        if (!settleHunk(m_hunks) || !waitFor([&] { return !flow->isBusy() && open() < last; }))
            return false;
        ++m_hunks;
        if (open() > 0 && !goOn())
            return false;
    }
    if (!waitFor([&] { return findButton(page, QStringLiteral("Back to the dry run")) != nullptr; }))
        return false;
    look(QStringLiteral("settled"));
    return std::size_t(m_hunks) == before && goOn() && waitFor([&] {
               return m_window.currentPage() == m_window.workbench() && !flow->isBusy() && flow->run()->clean;
           });
}

bool WholeJob::untilSaid(const std::function<bool()>& act)
{
    bool said = false;
    const auto heard = QObject::connect(m_window.session(), &Session::said, [&] { said = true; });
    const bool done =
        act() && waitFor([&] { return said; }) && waitFor([&] { return !m_window.session()->isLoading(); });
    QObject::disconnect(heard);
    return done;
}

bool WholeJob::push()
{
    const auto* page = m_window.overwritePage()->findChild<NoticeBar*>();
    return untilSaid([&] { return askToPush(); }) && page && page->line().startsWith(QStringLiteral("Done"));
}

QAbstractItemView* WholeJob::logbookEntries() const
{
    return m_window.logbookPage()->findChild<QAbstractItemView*>(QStringLiteral("entries"));
}

bool WholeJob::restore(const Look& look)
{
    const auto entries = [&] { return logbookEntries()->model()->rowCount(); };
    if (!openLogbook() || !waitFor([&] { return m_window.currentPage() == m_window.logbookPage() && entries() >= 2; }))
        return false;
    look(QStringLiteral("logbook"));
    // The push first, then the replay below it; each is a new entry.
    for (const char* word : {"push", "eplay"}) {
        const int before = entries();
        if (!untilSaid([&] { return takeBack(QString::fromLatin1(word)); }) ||
            !waitFor([&] { return entries() > before; }))
            return false;
    }
    return true;
}

} // namespace espalier::test
