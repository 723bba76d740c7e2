// SPDX-License-Identifier: MIT
#include "tests/pictures/repository_pictures.h"

#include "app/drift/drift_board.h"
#include "app/history/commit_panel.h"
#include "app/history/filter_bar.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/window/main_window.h"
#include "tests/pictures/pictures.h"

#include <QDragEnterEvent>
#include <QScrollBar>
#include <QtTest>

#include <cstdio>

namespace espalier::pictures {

namespace {

// The branch with the most commits of its own among those that a screen can hold.
const Ref* telling(const Session& session)
{
    const Ref* found = nullptr;
    std::uint32_t most = 0;
    for (const BranchDrift& branch : session.drift()->branches)
        if (branch.ahead > most && branch.ahead <= 12 && branch.behind > 0 && branch.behind < 400) {
            most = branch.ahead;
            found = &session.snapshot()->refs[std::size_t(branch.ref)];
        }
    return found;
}

class Views {
  public:
    Views(MainWindow& window, Pictures& pictures)
        : m_window(window)
        , m_pictures(pictures)
        , m_bar(*window.graph()->findChild<FilterBar*>())
        , m_list(*window.graph()->findChild<GraphList*>())
    {
    }
    // The window's model answers a change of what is shown with a reset, and a search with its result.
    void afterReset(const std::function<void()>& change, const QString& what)
    {
        QSignalSpy reset(m_list.model(), &QAbstractItemModel::modelReset);
        change();
        waitFor([&] { return reset.count() > 0; }, what);
    }
    void filtered(const QString& text, const QString& name)
    {
        QSignalSpy asked(&m_bar, &FilterBar::queryChanged);
        m_bar.setText(text);
        waitFor([&] { return asked.count() > 0; }, QStringLiteral("the filter"));
        waitFor([&] { return !m_bar.result().isEmpty() && m_bar.result() != GraphView::tr("Searching\u2026"); },
                QStringLiteral("the search"));
        m_list.verticalScrollBar()->setValue(0);
        m_window.graph()->findNext();
        m_pictures.take(name);
    }
    void at(double part, const QString& name)
    {
        QScrollBar* bar = m_list.verticalScrollBar();
        bar->setValue(int(bar->maximum() * part));
        QTest::qWait(700); // the bands settle on what is in view
        m_pictures.take(name);
    }
    FilterBar& bar() { return m_bar; }

  private:
    MainWindow& m_window;
    Pictures& m_pictures;
    FilterBar& m_bar;
    GraphList& m_list;
};

void takeFilters(Views& views, const Snapshot& snapshot, const QString& file)
{
    views.filtered(QStringLiteral("77"), QStringLiteral("text"));
    views.filtered(QStringLiteral("person:mira"), QStringLiteral("person"));
    views.filtered(QStringLiteral("path:%1").arg(file), QStringLiteral("path"));
    const QDate middle = QDateTime::fromSecsSinceEpoch(snapshot.history.time(snapshot.history.size() / 2)).date();
    views.filtered(QStringLiteral("since:%1 until:%2")
                       .arg(middle.toString(Qt::ISODate), middle.addMonths(2).toString(Qt::ISODate)),
                   QStringLiteral("dates"));
    views.filtered(QStringLiteral("in:fork person:ada"), QStringLiteral("place"));
    views.afterReset(
        [&] {
            views.bar().setOnlyMatches(true);
            Q_EMIT views.bar().onlyMatchesChanged(true);
        },
        QStringLiteral("the matches only"));
    views.at(0, QStringLiteral("matches-only"));
    views.afterReset([&] { views.bar().setText(QString()); }, QStringLiteral("everything again"));
}

// A branch of which the fork holds another version.
void takeVersions(MainWindow& window, Pictures& pictures)
{
    const Snapshot& snapshot = *window.session()->snapshot();
    for (const BranchDrift& branch : window.session()->drift()->branches) {
        const Ref& own = snapshot.refs[std::size_t(branch.ref)];
        const Ref* fork =
            own.kind == RefKind::Branch && branch.ref != snapshot.mainLine ? snapshot.forkCopy(own.branch) : nullptr;
        if (!fork || fork->row == own.row || branch.ahead == 0)
            continue;
        QSignalSpy loaded(window.commitPanel(), &CommitPanel::loaded);
        window.commitPanel()->compareVersions(fork->tip, own.tip);
        waitFor([&] { return loaded.count() > 0; }, QStringLiteral("the versions"));
        pictures.take(QStringLiteral("versions"));
        return;
    }
}

} // namespace

void takeRepositoryPictures(const QString& repository, const QString& folder, const QString& file,
                            const QString& suffix)
{
    MainWindow window;
    window.resize(1500, 950);
    window.show();
    Pictures pictures(window, folder, suffix);
    // How long the window did not answer, as a timer sees it that should fire at once; taking a picture does not count.
    QElapsedTimer clock, sinceTick;
    qint64 longest = 0;
    int taken = 0;
    QTimer tick;
    QObject::connect(&tick, &QTimer::timeout, &window, [&] {
        const qint64 waited = sinceTick.restart();
        if (std::exchange(taken, pictures.count()) == pictures.count())
            longest = std::max(longest, waited);
    });
    sinceTick.start();
    tick.start(0);
    clock.start();
    window.openRepository(repository);
    // What is seen of a large history before it is read; a small one has none of it.
    const auto* list = window.graph()->findChild<GraphList*>();
    waitFor([&] { return list->model()->rowCount() > 0; }, QStringLiteral("the first rows"));
    std::printf("first rows after %lld ms\n", static_cast<long long>(clock.elapsed()));
    if (window.session()->snapshot() == nullptr)
        pictures.take(QStringLiteral("first-rows"));
    waitFor([&] { return window.session()->snapshot() != nullptr; }, QStringLiteral("the picture"));
    std::printf("picture after %lld ms\n", static_cast<long long>(clock.elapsed()));
    waitFor([&] { return window.session()->drift() != nullptr; }, QStringLiteral("the drift"));
    std::printf("drift after %lld ms\n", static_cast<long long>(clock.elapsed()));
    std::printf("longest wait %lld ms\n", static_cast<long long>(std::exchange(longest, 0)));
    GraphView& graph = *window.graph();
    Views views(window, pictures);
    graph.goTo(0);
    pictures.take(QStringLiteral("at-rest"));
    for (const double part : {0.02, 0.3, 0.7})
        views.at(part, QStringLiteral("at-rest-%1").arg(int(part * 100)));
    if (const Ref* branch = telling(*window.session())) {
        views.afterReset([&] { graph.focusOn(branch->row); }, QStringLiteral("the focus"));
        pictures.take(QStringLiteral("focused"));
        views.afterReset([&] { graph.setFolded(true); }, QStringLiteral("the folded focus"));
        views.at(0, QStringLiteral("focused-folded"));
        views.afterReset([&] { graph.setFolded(false); }, QStringLiteral("the unfolded focus"));
        views.afterReset([&] { graph.focusOn(noRow); }, QStringLiteral("the whole"));
    }
    takeVersions(window, pictures);
    views.afterReset([&] { graph.setFolded(true); }, QStringLiteral("the folds"));
    for (const double part : {0.0, 0.1, 0.5})
        views.at(part, QStringLiteral("folded-%1").arg(int(part * 100)));
    views.afterReset([&] { graph.setFolded(false); }, QStringLiteral("the whole"));
    takeFilters(views, *window.session()->snapshot(), file);
    std::printf("longest wait %lld ms\n", static_cast<long long>(longest));
}

void takeGatheredPictures(const QString& repository, const QString& folder, const QString& branch,
                          const QString& suffix)
{
    for (const QSize size : {QSize(1500, 950), QSize(980, 640)}) {
        MainWindow window;
        window.resize(size);
        window.show();
        Pictures pictures(window, folder, suffix + (size.width() > 1000 ? QString() : QStringLiteral("-small")));
        QSignalSpy forecast(window.session(), &Session::forecastsDone);
        window.openRepository(repository);
        waitFor([&] { return forecast.count() > 0 && window.session()->localChanges(); },
                QStringLiteral("the forecast"));
        GraphView& graph = *window.graph();
        auto* list = graph.findChild<GraphList*>();
        const auto rest = [&] {
            QTest::qWait(800); // what is found meanwhile, subjects, bands that settle
            waitFor([&] { return list->model()->isIdle(); }, QStringLiteral("the subjects"));
        };
        rest();
        pictures.take(QStringLiteral("first-look"));
        if (list->hasLocalRow()) {
            list->chooseLocalRow();
            rest();
            pictures.take(QStringLiteral("local-changes"));
        }
        const Ref* topic = window.session()->snapshot()->findRef(("refs/heads/" + branch).toStdString());
        if (!topic)
            return;
        const DragSource source{topic->name, {}, topic->tip, true, branch};
        // The first look at a clone with few branches fits the screen: nothing gathers there.
        graph.setFolded(false);
        rest();
        Q_EMIT window.driftBoard()->dragBegan(source);
        waitFor([&] { return graph.isGathered(); }, QStringLiteral("the gathered picture"));
        rest();
        pictures.take(QStringLiteral("gathered"));
        const Row main = window.session()->snapshot()->mainLineRef()->row;
        const auto data = encodeDrag(source);
        const QPoint at = list->rectOf(int(*list->model()->lanes()->displayRowOf(main))).center();
        QDragEnterEvent enter(at, Qt::LinkAction | Qt::MoveAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(list->viewport(), &enter);
        QDragMoveEvent move(at, Qt::LinkAction | Qt::MoveAction, data.get(), Qt::LeftButton, {});
        QCoreApplication::sendEvent(list->viewport(), &move);
        QTest::qWait(300);
        pictures.take(QStringLiteral("gathered-hover"));
        QDragLeaveEvent leave;
        QCoreApplication::sendEvent(list->viewport(), &leave);
        Q_EMIT window.driftBoard()->dragEnded(false);
        graph.focusOn(topic->row);
        rest();
        pictures.take(QStringLiteral("focus"));
        graph.focusOn(noRow);
        rest();
        pictures.take(QStringLiteral("everything"));
    }
}

} // namespace espalier::pictures
