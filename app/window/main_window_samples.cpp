// SPDX-License-Identifier: MIT
//
// The window's start page and the samples that are kept for it.
#include "app/support/text.h"
#include "app/support/work.h"
#include "app/window/dialogs.h"
#include "app/window/main_window.h"
#include "app/window/start_page.h"
#include "core/samples/kept.h"

#include <QDir>
#include <QShortcut>
#include <QStandardPaths>

namespace espalier {

namespace {

QString samplesFolder()
{
    return QStandardPaths::writableLocation(QStandardPaths::AppLocalDataLocation) + QStringLiteral("/samples");
}

std::filesystem::path samplesRoot() { return toBytes(samplesFolder()); }

QString shortFolder(const QString& folder)
{
    const QString home = QDir::homePath();
    return home.size() > 1 && folder.startsWith(home + QLatin1Char('/')) ? QLatin1Char('~') + folder.mid(home.size())
                                                                         : folder;
}

} // namespace

void MainWindow::wireStart()
{
    connect(m_start, &StartPage::openRequested, this, &MainWindow::askOpen);
    connect(m_start, &StartPage::cloneRequested, this, &MainWindow::askClone);
    connect(m_start, &StartPage::walkthroughRequested, this, &MainWindow::showWalkthrough);
    connect(m_start, &StartPage::backRequested, this, &MainWindow::showWorkbench);
    connect(m_start, &StartPage::pathChosen, this, &MainWindow::openRepository);
    connect(m_start, &StartPage::sampleChosen, this, &MainWindow::openSample);
    connect(m_start, &StartPage::removeSampleRequested, this, &MainWindow::askRemoveSample);
    auto* back = new QShortcut(Qt::Key_Escape, m_start, nullptr, nullptr, Qt::WidgetWithChildrenShortcut);
    connect(back, &QShortcut::activated, this, &MainWindow::showWorkbench);
    findKeptSamples();
}

void MainWindow::showStart()
{
    m_start->setOpened(m_session->isOpen() ? toText(m_session->snapshot()->name) : QString());
    showPage(m_start);
    findKeptSamples();
}

void MainWindow::findKeptSamples()
{
    startWork<std::vector<std::string>>(
        this, tr("Looking for samples"),
        [root = samplesRoot()](const Progress&) -> Result<std::vector<std::string>> {
            removeUnfinishedSamples(root);
            return keptSamples(root);
        },
        [this](const Result<std::vector<std::string>>& found) {
            QStringList names;
            for (const std::string& name : *found)
                names << QString::fromStdString(name);
            m_start->setKept(names, shortFolder(samplesFolder()));
        },
        WorkPriority::Background);
}

void MainWindow::openSample(const QString& name)
{
    const auto job = [name = toBytes(name), root = samplesRoot()](const Progress& progress) {
        // Another copy, made where a folder was in the way, has the name of that folder.
        const auto kept = keptSamples(root);
        if (std::ranges::find(kept, name) != kept.end())
            return Result<Sample>(Sample{{}, {}, root / name / "clone"});
        return openKeptSample(name, root, progress);
    };
    startWork<Sample>(this, tr("Building the sample"), job, [this](Result<Sample> sample) {
        if (sample)
            openRepository(QString::fromStdString(sample->clone.string()));
        else
            m_session->failed(toText(sample.error().line()));
        findKeptSamples();
    });
}

void MainWindow::askRemoveSample(const QString& name)
{
    const QString folder = samplesFolder() + QLatin1Char('/') + name;
    if (m_session->isOpen() && (m_session->path() + QLatin1Char('/')).startsWith(folder + QLatin1Char('/'))) {
        m_notice->say(NoticeBar::Warning,
                      tr("The sample %1 is open in this window. Open another repository, then remove it.").arg(name));
        return;
    }
    if (!dialogs::confirm(
            this, tr("Remove a sample"),
            tr("Remove the sample %1 with everything that was done in it? Its folder %2 is deleted for good.")
                .arg(name, shortFolder(folder)),
            tr("Remove")))
        return;
    startWork<bool>(
        this, tr("Removing the sample"),
        [name = toBytes(name), root = samplesRoot()](const Progress&) -> Result<bool> {
            return removeKeptSample(name, root).transform([] { return true; });
        },
        [this, name, folder](const Result<bool>& done) {
            if (done) {
                m_notice->say(NoticeBar::Good, tr("The sample %1 is removed.").arg(name));
                forget(folder + QStringLiteral("/clone"));
            } else {
                m_notice->say(NoticeBar::Trouble, toText(done.error().line()));
            }
            findKeptSamples();
        });
}

} // namespace espalier
