// SPDX-License-Identifier: MIT
//
// The graph and the commit panel as a user meets them: rows, keyboard, drags, folds, focus, search, and what a screen
// reader hears. With ESPALIER_PICTURES=FOLDER the pictures are kept for looking at.
#include "app/history/commit_panel.h"
#include "app/history/diff_view.h"
#include "app/history/filter_bar.h"
#include "app/history/graph_drag.h"
#include "app/history/graph_header.h"
#include "app/history/graph_list.h"
#include "app/history/graph_view.h"
#include "app/history/marked_scroll_bar.h"
#include "app/history/version_pairs.h"
#include "app/history/words.h"
#include "app/support/theme.h"
#include "core/samples/samples.h"
#include "tests/support/synthetic_history.h"

#include <QAbstractItemModelTester>
#include <QAccessible>
#include <QMimeData>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QScrollBar>
#include <QTreeWidget>
#include <QWindow>
#include <QtTest>

using namespace espalier;

namespace {

constexpr int longWait = 20000;

struct Opened {
    SnapshotPtr snapshot;
    LanesPtr lanes;
};

Opened openAt(const std::string& path)
{
    const Repository repository = Repository::open(path).value();
    Opened opened;
    opened.snapshot = takeSnapshot(repository).value();
    opened.lanes = layOut(opened.snapshot).value();
    return opened;
}

void keepPicture(QWidget& widget, const QString& name)
{
    const QString folder = qEnvironmentVariable("ESPALIER_PICTURES");
    if (folder.isEmpty())
        return;
    for (const qreal scale : {1.0, 1.25, 2.0}) {
        QImage image((QSizeF(widget.size()) * scale).toSize(), QImage::Format_RGB32);
        image.setDevicePixelRatio(scale);
        widget.render(&image);
        QVERIFY(image.save(QStringLiteral("%1/%2-%3.png").arg(folder, name).arg(int(scale * 100))));
    }
}

} // namespace

class TestGraphView : public QObject {
    Q_OBJECT
  private Q_SLOTS:
    void initTestCase();
    void init();
    void modelKeepsItsPromises();
    void rowsAreRead();
    void keyboardMoves();
    void dragSourcesSayWhatTheyCarry();
    void pickingANewBase();
    void dropReplays();
    void foldAndGoTo();
    void focusShowsTheDivergence();
    void searchFindsAndMarks();
    void columnsAreWidenedAndKept();
    void firstRowsAreForLooking();
    void selectionOutlivesASnapshot();
    void ghostRowsPushNothingAside();
    void spokenRows();
    void panelShowsACommit();
    void panelCompares();
    void pictures();

  private:
    GraphList* list() const { return m_view->findChild<GraphList*>(); }
    QTemporaryDir m_folder;
    std::string m_clone;
    Opened m_opened;
    std::unique_ptr<GraphView> m_view;
};

void TestGraphView::initTestCase()
{
    const auto sample = buildSample("same-lines", m_folder.filePath(QStringLiteral("sample")).toStdString());
    QVERIFY2(sample, sample ? "" : sample.error().line().c_str());
    m_clone = m_folder.filePath(QStringLiteral("sample/clone")).toStdString();
    m_opened = openAt(m_clone);
    QVERIFY(m_opened.snapshot->history.size() > 8);
}

void TestGraphView::init()
{
    theme::apply(*qApp, theme::Scheme::Light);
    m_view = std::make_unique<GraphView>();
    m_view->resize(1000, 640);
    m_view->setSnapshot(m_opened.snapshot, m_opened.lanes);
    m_view->show();
    QVERIFY(QTest::qWaitForWindowExposed(m_view.get()));
    QTRY_VERIFY_WITH_TIMEOUT(list()->model()->summary(0) && list()->model()->isIdle(), longWait);
}

void TestGraphView::modelKeepsItsPromises()
{
    HistoryModel model;
    const QAbstractItemModelTester tester(&model, QAbstractItemModelTester::FailureReportingMode::QtTest);
    model.set(m_opened.snapshot, m_opened.lanes);
    QCOMPARE(model.rowCount(), int(m_opened.snapshot->history.size()));
    model.want(0, 5);
    QTRY_VERIFY_WITH_TIMEOUT(model.summary(0), longWait);
    model.set(nullptr, nullptr);
    QCOMPARE(model.rowCount(), 0);
}

void TestGraphView::rowsAreRead()
{
    const Repository repository = Repository::open(m_clone).value();
    ObjectStore store(repository);
    for (int row = 0; row < 5; ++row) {
        QTRY_VERIFY_WITH_TIMEOUT(list()->model()->summary(row), longWait);
        const Commit commit = readCommit(store, m_opened.snapshot->history.id(Row(row))).value();
        const RowSummary* shown = list()->model()->summary(row);
        QCOMPARE(shown->subject.toStdString(), commit.subject());
        QCOMPARE(shown->author.toStdString(), commit.author.name);
    }
}

void TestGraphView::keyboardMoves()
{
    QSignalSpy moved(m_view.get(), &GraphView::currentChanged);
    list()->setCurrent(0);
    QTest::keyClick(list(), Qt::Key_Down);
    QCOMPARE(m_view->currentRow(), Row(1));
    QTest::keyClick(list(), Qt::Key_End);
    QCOMPARE(m_view->currentRow(), m_opened.snapshot->history.size() - 1);
    QTest::keyClick(list(), Qt::Key_Home);
    QCOMPARE(m_view->currentRow(), Row(0));
    QTest::keyClick(list(), Qt::Key_Right);
    QCOMPARE(m_view->currentRow(), m_opened.snapshot->history.parents(0)[0]);
    QTest::keyClick(list(), Qt::Key_Home);
    QTest::keyClick(list(), Qt::Key_Down, Qt::ShiftModifier);
    QTest::keyClick(list(), Qt::Key_Down, Qt::ShiftModifier);
    QCOMPARE(m_view->selectedRows(), (std::vector<Row>{0, 1, 2}));
    const Row main = m_opened.snapshot->mainLineRef()->row;
    list()->setCurrent(int(main));
    QTest::keyClick(list(), Qt::Key_Down, Qt::ControlModifier);
    QCOMPARE(m_opened.lanes->position(m_view->currentRow()).band, Place::Upstream);
    QVERIFY(moved.count() > 5);
}

void TestGraphView::dragSourcesSayWhatTheyCarry()
{
    const Snapshot& snapshot = *m_opened.snapshot;
    for (std::size_t at = 0; at < snapshot.refs.size(); ++at) {
        const auto source = dragOfRef(snapshot, int(at));
        QCOMPARE(source.has_value(), snapshot.refs[at].kind == RefKind::Branch);
        if (source) {
            QCOMPARE(source->branch, snapshot.refs[at].name);
            QCOMPARE(source->tip, snapshot.refs[at].tip);
            QVERIFY(!mayDrop(snapshot, *source, source->tip));
        }
    }
    const Row tip = snapshot.history.find(snapshot.worktree.headTip);
    const Row parent = snapshot.history.parents(tip)[0];
    const auto range = dragOfRows(snapshot, {tip, parent});
    QVERIFY(range.has_value());
    QVERIFY(!range->wholeBranch);
    QCOMPARE(range->below, snapshot.history.id(snapshot.history.parents(parent)[0]));
    QVERIFY(!mayDrop(snapshot, *range, snapshot.history.id(parent)));
    QVERIFY(!mayDrop(snapshot, *range, range->below));
    // Rows that are not one line cannot be carried together.
    const Row main = snapshot.mainLineRef()->row;
    QVERIFY(main < tip && !snapshot.history.isAncestor(tip, main));
    QVERIFY(!dragOfRows(snapshot, {main, tip}).has_value());
}

void TestGraphView::pickingANewBase()
{
    const Snapshot& snapshot = *m_opened.snapshot;
    QSignalSpy asked(m_view.get(), &GraphView::replayRequested);
    const Row tip = snapshot.history.find(snapshot.worktree.headTip);
    const auto source = dragOfRows(snapshot, {tip});
    m_view->beginReplayOnto(*source);
    QTest::keyClick(list(), Qt::Key_Escape);
    QVERIFY(!list()->isPicking());
    QCOMPARE(asked.count(), 0);
    m_view->beginReplayOnto(*source);
    const Row main = snapshot.mainLineRef()->row;
    QTest::keyClick(list(), Qt::Key_Home);
    for (Row row = 0; row < main; ++row)
        QTest::keyClick(list(), Qt::Key_Down);
    QTest::keyClick(list(), Qt::Key_Return);
    QCOMPARE(asked.count(), 1);
    QCOMPARE(asked[0][0].value<DragSource>().tip, snapshot.worktree.headTip);
    QCOMPARE(asked[0][1].value<DropTarget>().commit, snapshot.history.id(main));
}

void TestGraphView::dropReplays()
{
    const Snapshot& snapshot = *m_opened.snapshot;
    QSignalSpy asked(m_view.get(), &GraphView::replayRequested);
    const Row main = snapshot.mainLineRef()->row;
    const auto source = dragOfRows(snapshot, {snapshot.history.find(snapshot.worktree.headTip)});
    const auto data = encodeDrag(*source);
    list()->ensureVisible(int(main));
    const QPoint at = list()->rectOf(int(main)).center();
    QDragEnterEvent enter(at, Qt::MoveAction, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list()->viewport(), &enter);
    QVERIFY(enter.isAccepted());
    QDragMoveEvent move(at, Qt::MoveAction, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list()->viewport(), &move);
    QVERIFY(move.isAccepted());
    keepPicture(*m_view, QStringLiteral("drag"));
    QDropEvent drop(at, Qt::MoveAction, data.get(), Qt::LeftButton, Qt::NoModifier);
    QCoreApplication::sendEvent(list()->viewport(), &drop);
    QTRY_COMPARE_WITH_TIMEOUT(asked.count(), 1, longWait);
    QCOMPARE(asked[0][1].value<DropTarget>().commit, snapshot.history.id(main));
}

void TestGraphView::foldAndGoTo()
{
    m_view->setFolded(true);
    QTRY_VERIFY_WITH_TIMEOUT(list()->model()->rowCount() < int(m_opened.snapshot->history.size()), longWait);
    keepPicture(*m_view, QStringLiteral("folded"));
    Row hidden = noRow;
    for (Row row = 0; row < m_opened.snapshot->history.size(); ++row)
        if (list()->model()->lanes()->displayed(*list()->model()->lanes()->displayRowOf(row)).row != row)
            hidden = row;
    QVERIFY(hidden != noRow);
    m_view->goTo(hidden);
    QTRY_COMPARE_WITH_TIMEOUT(m_view->currentRow(), hidden, longWait);
    m_view->setFolded(false);
    QTRY_COMPARE_WITH_TIMEOUT(list()->model()->rowCount(), int(m_opened.snapshot->history.size()), longWait);
    QCOMPARE(m_view->currentRow(), hidden);
}

void TestGraphView::focusShowsTheDivergence()
{
    const Snapshot& snapshot = *m_opened.snapshot;
    const Row tip = snapshot.history.find(snapshot.worktree.headTip);
    m_view->focusOn(tip);
    const auto rows = focusOn(snapshot, tip).rows;
    QTRY_COMPARE_WITH_TIMEOUT(list()->model()->rowCount(), int(rows.size()), longWait);
    QVERIFY(rows.size() < snapshot.history.size());
    for (Row base : snapshot.history.mergeBases(tip, snapshot.mainLineRef()->row))
        QVERIFY(std::ranges::binary_search(rows, base));
    keepPicture(*m_view, QStringLiteral("focused"));
    m_view->focusOn(noRow);
    QTRY_COMPARE_WITH_TIMEOUT(list()->model()->rowCount(), int(snapshot.history.size()), longWait);
}

void TestGraphView::searchFindsAndMarks()
{
    const Repository repository = Repository::open(m_clone).value();
    ObjectStore store(repository);
    std::vector<int> expected;
    for (Row row = 0; row < m_opened.snapshot->history.size(); ++row)
        if (QString::fromStdString(readCommit(store, m_opened.snapshot->history.id(row))->message)
                .contains(QLatin1String("height"), Qt::CaseInsensitive))
            expected.push_back(int(row));
    QVERIFY(!expected.empty() && expected.size() < m_opened.snapshot->history.size());
    m_view->findChild<FilterBar*>()->setText(QStringLiteral("HEIGHT"));
    QTRY_VERIFY_WITH_TIMEOUT(!list()->matches().empty(), longWait);
    QCOMPARE(list()->matches(), expected);
    m_view->findNext();
    QVERIFY(std::ranges::binary_search(expected, int(m_view->currentRow())));
    keepPicture(*m_view, QStringLiteral("searched"));

    // Seen in the scroll bar, where a low list has one.
    const QSize before = m_view->size();
    m_view->resize(before.width(), 260);
    auto* bar = static_cast<MarkedScrollBar*>(list()->verticalScrollBar());
    QTRY_VERIFY_WITH_TIMEOUT(bar->isVisible(), longWait);
    const QImage seen = bar->grab().toImage();
    QVERIFY(!bar->marks().empty());
    for (const auto& [y, count] : bar->marks())
        QCOMPARE(
            seen.pixelColor(int((bar->width() - 2) * seen.devicePixelRatio()), int(y * seen.devicePixelRatio())).rgb(),
            theme::warning(bar->palette()).rgb());
    m_view->resize(before);

    m_view->findChild<FilterBar*>()->setText(QStringLiteral("no commit says this"));
    QTRY_COMPARE_WITH_TIMEOUT(m_view->findChild<FilterBar*>()->result(), GraphView::tr("Nothing found"), longWait);
    m_view->findChild<FilterBar*>()->setText(QString());
    QTRY_VERIFY_WITH_TIMEOUT(m_view->findChild<FilterBar*>()->result().isEmpty(), longWait);
    QVERIFY(list()->matches().empty());
}

void TestGraphView::columnsAreWidenedAndKept()
{
    auto* header = m_view->findChild<GraphHeader*>();
    const QByteArray before = m_view->saveState();
    const Columns usual = list()->columns();
    QVERIFY(usual.authorWidth > 0 && usual.dateWidth > 0);
    const int gap = list()->geometryOfGraph().gap();

    const QPoint edge(usual.author - gap / 2, header->height() / 2);
    QTest::mousePress(header, Qt::LeftButton, {}, edge);
    QTest::mouseMove(header, edge - QPoint(30, 0));
    QTest::mouseRelease(header, Qt::LeftButton, {}, edge - QPoint(30, 0));
    QCOMPARE(list()->columns().authorWidth, usual.authorWidth + 30);
    QCOMPARE(list()->columns().subjectWidth, usual.subjectWidth - 30);
    QTest::mouseDClick(header, Qt::LeftButton, {}, edge - QPoint(30, 0));
    QCOMPARE(list()->columns().authorWidth, usual.authorWidth);

    // By keyboard: the second edge is the authors', the third the dates'.
    header->setFocus(Qt::TabFocusReason);
    QTest::keyClick(header, Qt::Key_Right);
    QTest::keyClick(header, Qt::Key_Right);
    QTest::keyClick(header, Qt::Key_Left, Qt::ShiftModifier);
    QCOMPARE(list()->columns().dateWidth, usual.dateWidth + 2 * gap);
    const QByteArray widened = m_view->saveState();
    QTest::keyClick(header, Qt::Key_Backspace);
    QCOMPARE(list()->columns().dateWidth, usual.dateWidth);

    // Another repository's state, and this one's again.
    m_view->restoreState(widened);
    QCOMPARE(list()->columns().dateWidth, usual.dateWidth + 2 * gap);
    m_view->restoreState({});
    QCOMPARE(list()->columns().dateWidth, usual.dateWidth + 2 * gap);
    m_view->restoreState(QByteArray("not a state of ours"));
    m_view->restoreState(before);
    QCOMPARE(list()->columns().dateWidth, usual.dateWidth);
}

void TestGraphView::firstRowsAreForLooking()
{
    GraphView view;
    view.resize(1000, 600);
    view.show();
    auto* rows = view.findChild<GraphList*>();
    const Row tip = m_opened.snapshot->history.find(m_opened.snapshot->worktree.headTip);
    const auto click = [&] {
        // To the window, as a pointer's click comes; a widget that lets it through does not get it.
        const QPoint at = rows->viewport()->mapTo(&view, rows->rectOf(int(tip)).center());
        QTest::mouseClick(view.windowHandle(), Qt::LeftButton, {}, at);
    };
    view.showFirstRows(m_opened.snapshot, m_opened.lanes);
    QCOMPARE(rows->model()->rowCount(), int(m_opened.lanes->rowCount()));
    QVERIFY(QTest::qWaitForWindowExposed(&view));
    click();
    QCOMPARE(view.currentRow(), noRow);
    QVERIFY(!view.findChild<FilterBar*>()->isEnabled());
    view.setSnapshot(m_opened.snapshot, m_opened.lanes);
    click();
    QCOMPARE(view.currentRow(), tip);
    QVERIFY(view.findChild<FilterBar*>()->isEnabled());
    // Too late, they change nothing.
    view.showFirstRows(m_opened.snapshot, m_opened.lanes);
    QCOMPARE(view.currentRow(), tip);
}

void TestGraphView::selectionOutlivesASnapshot()
{
    list()->setCurrent(3);
    const Oid id = m_opened.snapshot->history.id(3);
    const Opened again = openAt(m_clone);
    m_view->setSnapshot(again.snapshot, again.lanes);
    QCOMPARE(again.snapshot->history.id(m_view->currentRow()), id);
    QCOMPARE(m_view->selectedRows(), (std::vector<Row>{3}));
}

void TestGraphView::ghostRowsPushNothingAside()
{
    ReplayGhost ghost;
    const Row main = m_opened.snapshot->mainLineRef()->row;
    ghost.onto = m_opened.snapshot->history.id(main);
    ghost.label = QStringLiteral("topic/metric-heights");
    ghost.commits = {
        {m_opened.snapshot->history.id(1), QStringLiteral("Convert stored feet to metres"), Outcome::Conflict},
        {m_opened.snapshot->history.id(0), QStringLiteral("Label the axis in metres"), Outcome::Clean}};
    const int before = list()->rectOf(int(main)).top();
    list()->setCurrent(int(main));
    m_view->setGhost(ghost);
    QCOMPARE(list()->rectOf(int(main)).top() - before, 2 * list()->geometryOfGraph().rowHeight());
    const auto rows = list()->visibleRows();
    QCOMPARE(std::ranges::count_if(rows, [](const ViewRow& row) { return row.ghost >= 0; }), std::ptrdiff_t(2));
    QCOMPARE(list()->displayAt(list()->rectOf(int(main)).center()), int(main));
    QCOMPARE(m_view->currentRow(), main);
    keepPicture(*m_view, QStringLiteral("ghost"));
    m_view->setGhost({});
    QCOMPARE(list()->rectOf(int(main)).top(), before);
}

void TestGraphView::spokenRows()
{
    QAccessible::setActive(true);
    QAccessibleInterface* all = QAccessible::queryAccessibleInterface(list());
    QVERIFY(all);
    QCOMPARE(all->role(), QAccessible::List);
    QCOMPARE(all->childCount(), int(m_opened.snapshot->history.size()));
    const Row head = m_opened.snapshot->history.find(m_opened.snapshot->worktree.headTip);
    list()->setCurrent(int(head));
    QTRY_VERIFY_WITH_TIMEOUT(list()->model()->summary(int(head)), longWait);
    const QString spoken = all->child(int(head))->text(QAccessible::Name);
    QVERIFY(spoken.contains(list()->model()->summary(int(head))->subject));
    QVERIFY(spoken.contains(list()->model()->summary(int(head))->author));
    QVERIFY(spoken.contains(QLatin1String("checked out")));
    QVERIFY(spoken.endsWith(presenceText(m_opened.snapshot->placesOf(head))));
    QVERIFY(all->child(int(head))->state().focusable);
}

void TestGraphView::panelShowsACommit()
{
    CommitPanel panel;
    panel.resize(1000, 420);
    panel.show();
    panel.setSnapshot(m_opened.snapshot);
    QSignalSpy loaded(&panel, &CommitPanel::loaded);
    const Row head = m_opened.snapshot->history.find(m_opened.snapshot->worktree.headTip);
    panel.showRow(head);
    QVERIFY(loaded.wait(longWait));
    const auto* files = panel.findChild<QTreeWidget*>();
    QVERIFY(files->topLevelItemCount() > 0);
    const auto editors = panel.findChildren<QPlainTextEdit*>();
    QVERIFY(std::ranges::any_of(editors, [](const QPlainTextEdit* each) { return each->blockCount() > 2; }));
    QCoreApplication::processEvents();
    QCoreApplication::processEvents();
    keepPicture(panel, QStringLiteral("panel"));
    // A parent's button leads to the parent.
    QSignalSpy wanted(&panel, &CommitPanel::commitRequested);
    const Oid parent = m_opened.snapshot->history.id(m_opened.snapshot->history.parents(head)[0]);
    for (QPushButton* button : panel.findChildren<QPushButton*>())
        if (button->text().toStdString() == parent.brief())
            button->click();
    QCOMPARE(wanted.count(), 1);
    QCOMPARE(wanted[0][0].value<Oid>(), parent);
}

void TestGraphView::panelCompares()
{
    CommitPanel panel;
    panel.setSnapshot(m_opened.snapshot);
    QSignalSpy loaded(&panel, &CommitPanel::loaded);
    const Oid newest = m_opened.snapshot->mainLineRef()->tip;
    const Oid oldest = m_opened.snapshot->history.id(m_opened.snapshot->history.size() - 1);
    panel.compare(oldest, newest);
    QVERIFY(loaded.wait(longWait));
    auto* list = panel.findChild<QTreeWidget*>();
    QVERIFY(list->topLevelItemCount() > 0);

    // As versions of a branch: the topic's commits are new, and each shows all that it does.
    const Row topic = m_opened.snapshot->history.find(m_opened.snapshot->worktree.headTip);
    const auto own = m_opened.snapshot->history.onlyIn(topic, m_opened.snapshot->mainLineRef()->row);
    panel.compareVersions(newest, m_opened.snapshot->history.id(topic));
    QVERIFY(loaded.wait(longWait));
    QCOMPARE(list->topLevelItemCount(), int(own.size()));
    for (int at = 0; at < list->topLevelItemCount(); ++at)
        QCOMPARE(list->topLevelItem(at)->text(1), VersionPairs::tr("new"));
    const auto* lines = panel.findChild<DiffView*>();
    const QString before = lines->toPlainText();
    QVERIFY(lines->blockCount() > 2);
    list->setCurrentItem(list->topLevelItem(list->topLevelItemCount() - 1));
    QVERIFY(loaded.wait(longWait));
    QVERIFY(lines->toPlainText() != before);
}

void TestGraphView::pictures()
{
    if (qEnvironmentVariable("ESPALIER_PICTURES").isEmpty())
        QSKIP("only with ESPALIER_PICTURES");
    list()->setCurrent(2);
    keepPicture(*m_view, QStringLiteral("rest-light"));
    theme::apply(*qApp, theme::Scheme::Dark);
    QCoreApplication::processEvents();
    keepPicture(*m_view, QStringLiteral("rest-dark"));
    const QByteArray shape = qgetenv("ESPALIER_SHAPE");
    if (shape.isEmpty())
        return;
    theme::apply(*qApp, theme::Scheme::Light);
    const Opened big = openAt(shape.toStdString());
    m_view->setSnapshot(big.snapshot, big.lanes);
    m_view->resize(1200, 800);
    const auto keep = [&](const QString& name) {
        QTest::qWait(900);
        keepPicture(*m_view, name);
    };
    keep(QStringLiteral("shape-top"));
    list()->verticalScrollBar()->setValue(list()->verticalScrollBar()->maximum() / 3);
    keep(QStringLiteral("shape-third"));
    m_view->setFolded(true);
    list()->verticalScrollBar()->setValue(list()->verticalScrollBar()->maximum() / 8);
    keep(QStringLiteral("shape-folded"));
}

QTEST_MAIN(TestGraphView)
#include "test_graph_view.moc"
