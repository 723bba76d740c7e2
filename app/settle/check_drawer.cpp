// SPDX-License-Identifier: MIT
#include "app/settle/check_drawer.h"

#include "app/support/hand_over.h"
#include "app/support/theme.h"
#include "app/support/work.h"
#include "core/git/text.h"
#include "core/keep/temporary_checkout.h"

#include <QCryptographicHash>
#include <QEvent>
#include <QHBoxLayout>
#include <QLineEdit>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QScrollBar>
#include <QSettings>
#include <QToolButton>

#include <mutex>

namespace espalier {

namespace {

constexpr int mostLines = 20'000;                         // of output that are shown, the last ones
constexpr std::size_t mostWaiting = std::size_t(1) << 18; // bytes of it on their way to the window

// Settings' keys cannot hold every path.
QString groupOf(const QString& path)
{
    return QStringLiteral("checks/") +
           QString::fromLatin1(QCryptographicHash::hash(path.toUtf8(), QCryptographicHash::Sha1).toHex());
}

// Where the last character of the bytes begins, if it is not all there yet; else their end.
std::size_t wholeCharacters(std::string_view bytes)
{
    for (std::size_t back = 1; back <= std::min<std::size_t>(3, bytes.size()); ++back) {
        const auto byte = static_cast<unsigned char>(bytes[bytes.size() - back]);
        if ((byte & 0xC0) == 0x80)
            continue;
        const std::size_t length = byte >= 0xF0 ? 4 : byte >= 0xE0 ? 3 : byte >= 0xC0 ? 2 : 1;
        return length > back ? bytes.size() - back : bytes.size();
    }
    return bytes.size();
}

} // namespace

QString checkCommand(const QString& path)
{
    return QSettings().value(groupOf(path) + QStringLiteral("/command")).toString();
}

void setCheckCommand(const QString& path, const QString& command)
{
    QSettings settings;
    if (command.isEmpty()) {
        settings.remove(groupOf(path));
        return;
    }
    settings.setValue(groupOf(path) + QStringLiteral("/path"), path);
    settings.setValue(groupOf(path) + QStringLiteral("/command"), command);
}

// What the worker hears, until the window takes it. A command that writes faster than that loses what is in between: the end
// is what tells most.
struct CheckDrawer::Heard {
    std::mutex mutex;
    std::string bytes;
    bool told = false, cut = false;

    // Whether the window is to be told that there is something.
    bool add(std::string_view more)
    {
        const std::scoped_lock only(mutex);
        bytes += more;
        if (bytes.size() > mostWaiting) {
            bytes.erase(0, bytes.size() - mostWaiting / 2);
            bytes.erase(0, std::min(bytes.find('\n') + 1, bytes.size()));
            cut = true;
        }
        return !std::exchange(told, true);
    }
    // All but half a character, unless it was the last.
    std::string take(bool all)
    {
        const std::scoped_lock only(mutex);
        told = false;
        const std::size_t end = all ? bytes.size() : wholeCharacters(bytes);
        std::string taken = (std::exchange(cut, false) ? "\n…\n" : "") + bytes.substr(0, end);
        bytes.erase(0, end);
        return taken;
    }
};

CheckDrawer::CheckDrawer(QWidget* parent)
    : QWidget(parent)
    , m_handle(new QToolButton(this))
    , m_command(new QLineEdit(this))
    , m_run(new QPushButton(this))
    , m_state(new PlainLabel(this))
    , m_output(new QPlainTextEdit(this))
{
    const int space = theme::gap(this);
    m_handle->setObjectName(QStringLiteral("checkHandle"));
    m_handle->setText(tr("Check"));
    m_handle->setCheckable(true);
    m_handle->setArrowType(Qt::RightArrow);
    m_handle->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
    m_handle->setAutoRaise(true);
    m_handle->setProperty("plain", true);
    m_handle->setToolTip(tr("Alt+0: builds or tests what the settled commit will hold, in a temporary folder"));
    auto* column = new QVBoxLayout(this);
    column->setContentsMargins(0, 0, 0, 0);
    column->setSpacing(space / 2);
    auto* row = new QHBoxLayout;
    row->setSpacing(space);
    m_command->setObjectName(QStringLiteral("checkCommand"));
    m_command->setPlaceholderText(tr("A command that builds or tests, as you would type it in a terminal"));
    m_command->setAccessibleName(tr("Command of the check"));
    m_command->setToolTip(tr("Kept in your own settings for this repository; nothing out of the repository is run"));
    m_run->setObjectName(QStringLiteral("runCheck"));
    row->addWidget(m_command, 1);
    row->addWidget(m_run);
    column->addLayout(row);
    m_state->setObjectName(QStringLiteral("checkState"));
    m_state->setWrapped(true);
    column->addWidget(m_state);
    m_output->setObjectName(QStringLiteral("checkOutput"));
    m_output->setReadOnly(true);
    m_output->setTextInteractionFlags(Qt::TextSelectableByMouse | Qt::TextSelectableByKeyboard);
    m_output->setTabChangesFocus(true);
    m_output->setUndoRedoEnabled(false);
    m_output->setLineWrapMode(QPlainTextEdit::NoWrap);
    m_output->setFrameShape(QFrame::NoFrame);
    m_output->setMaximumBlockCount(mostLines);
    m_output->setAccessibleName(tr("Output of the check"));
    column->addWidget(m_output, 1);
    // As the drawer of the commits has it.
    setMinimumHeight(fontMetrics().height() * 5);
    setMaximumHeight(fontMetrics().height() * 11);
    dress();
    hide();
    connect(m_handle, &QToolButton::toggled, this, [this](bool open) {
        setVisible(open);
        m_handle->setArrowType(open ? Qt::DownArrow : Qt::RightArrow);
        Q_EMIT opened(open);
    });
    connect(m_command, &QLineEdit::textChanged, this, [this] { refresh(); });
    connect(m_command, &QLineEdit::returnPressed, this, [this] { start(); });
    connect(m_run, &QPushButton::clicked, this, [this] { isRunning() ? stop() : start(); });
    refresh();
}

// A work whose receiver goes is stopped.
CheckDrawer::~CheckDrawer() = default;

void CheckDrawer::dress() { m_output->setFont(theme::monospace()); }

void CheckDrawer::changeEvent(QEvent* event)
{
    QWidget::changeEvent(event);
    if (event->type() == QEvent::ApplicationFontChange)
        dress();
}

bool CheckDrawer::isOpen() const { return m_handle->isChecked(); }
bool CheckDrawer::isRunning() const { return m_work != nullptr; }

void CheckDrawer::setOpen(bool open)
{
    m_handle->setChecked(open);
    if (open)
        m_command->setFocus(Qt::OtherFocusReason);
}

void CheckDrawer::setRepository(const QString& path)
{
    if (path == m_path)
        return;
    if (m_work)
        m_work->cancel();
    m_work = nullptr;
    m_heard.reset(); // what is still heard is of the other one
    m_path = path;
    m_checked = {};
    m_output->clear();
    m_command->setText(checkCommand(path));
    refresh();
}

void CheckDrawer::setCommit(const CommitToCheck& commit)
{
    m_commit = commit;
    refresh();
}

void CheckDrawer::start()
{
    const QString command = m_command->text().trimmed();
    if (isRunning() || command.isEmpty() || m_commit.tree.isZero())
        return;
    setCheckCommand(m_path, command);
    m_output->clear();
    m_checked = m_commit.tree;
    m_checkedSubject = m_commit.subject;
    m_ending.clear();
    m_heard = std::make_shared<Heard>();
    const auto tell = [self = QPointer<CheckDrawer>(this), heard = m_heard](std::string_view bytes) {
        if (heard->add(bytes))
            callOnGuiThread([self, heard] {
                if (self && self->m_heard == heard)
                    self->take();
            });
    };
    m_work = startWork<CheckEnded>(
        this, tr("Check"),
        [request = CheckRequest{toBytes(m_path), m_commit.objects, m_commit.tree, toBytes(command)},
         tell](const Progress& progress) { return runCheck(request, tell, progress); },
        [this, heard = m_heard](const Result<CheckEnded>& done) {
            if (m_heard != heard)
                return; // of another repository
            take();
            m_work = nullptr;
            if (!done) {
                ended(done.error().kind == ErrorKind::Cancelled
                          ? tr("Stopped before its end; it says nothing about the commit.")
                          : tr("It could not be run to its end: %1").arg(toText(done.error().line())),
                      false);
                return;
            }
            const int code = done->exitCode;
            constexpr int signals = 128, mostSignals = 192; // as a shell counts
            QString words = code == 0 ? tr("It ended well (status 0).")
                            : code > signals && code < mostSignals
                                ? tr("It failed (status %1, as of signal %2).").arg(code).arg(code - signals)
                                : tr("It failed (status %1).").arg(code);
            if (!done->left.empty())
                words += tr(" Its folder cannot be removed: %1.").arg(toText(done->left.string()));
            ended(words, code == 0);
        });
    connect(m_work, &Work::progressed, this, [this] { refresh(); });
    refresh();
}

void CheckDrawer::stop()
{
    if (m_work)
        m_work->cancel();
    refresh();
}

void CheckDrawer::ended(const QString& words, bool well)
{
    append(m_heard->take(true)); // half a character may be left
    m_ending = words;
    m_well = well;
    refresh();
}

void CheckDrawer::take() { append(m_heard->take(false)); }

void CheckDrawer::append(const std::string& bytes)
{
    if (bytes.empty())
        return;
    // A line that is written over again and again is shown each time.
    std::string lines;
    for (std::size_t i = 0; i < bytes.size(); ++i)
        if (bytes[i] != '\r')
            lines += bytes[i];
        else if (i + 1 == bytes.size() || bytes[i + 1] != '\n')
            lines += '\n';
    // Who has scrolled up is reading there.
    QScrollBar* bar = m_output->verticalScrollBar();
    const bool atEnd = bar->value() == bar->maximum();
    QTextCursor end(m_output->document());
    end.movePosition(QTextCursor::End);
    end.insertText(toLines(lines));
    if (atEnd)
        bar->setValue(bar->maximum());
}

void CheckDrawer::refresh()
{
    const bool running = isRunning(), stopping = running && m_work->isCancelled();
    m_run->setText(running ? tr("Stop") : tr("Run"));
    m_run->setAccessibleName(running ? tr("Stop the check") : tr("Run the check"));
    m_run->setEnabled(running ? !stopping : !m_commit.tree.isZero() && !m_command->text().trimmed().isEmpty());
    m_command->setReadOnly(running);
    QString words;
    bool good = false, bad = false;
    if (running) {
        words = stopping
                    ? tr("Being stopped…")
                    : tr("%1 on “%2”…").arg(m_work->step().isEmpty() ? tr("Begun") : m_work->step(), m_checkedSubject);
    } else if (!m_checked.isZero()) {
        words = tr("“%1”: %2").arg(m_checkedSubject, m_ending);
        // Of a tree that is no more it is only what was.
        const bool still = m_checked == m_commit.tree;
        if (!still)
            words += tr(" What is shown now was not checked.");
        good = m_well && still;
        bad = !m_well;
    } else {
        words = m_commit.isGone          ? tr("Nothing is left of this commit that could be checked.")
                : m_commit.tree.isZero() ? tr("A command can be run on this commit once all is decided up to it.")
                                         : tr("Not checked yet.");
    }
    m_state->setText(words);
    theme::keepColour(m_state, QPalette::WindowText, good ? theme::success : bad ? theme::warning : theme::quiet);
}

} // namespace espalier
