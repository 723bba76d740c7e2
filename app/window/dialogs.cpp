// SPDX-License-Identifier: MIT
#include "app/window/dialogs.h"

#include "app/support/drop_words.h"
#include "app/support/hand_over.h"
#include "app/support/text.h"
#include "app/support/theme.h"
#include "app/window/folder_question.h"
#include "core/history/branch_names.h"
#include "core/lanes/gather.h"
#include "core/refs/ref_name.h"

#include <QCheckBox>
#include <QComboBox>
#include <QDialog>
#include <QDialogButtonBox>
#include <QDir>
#include <QFileDialog>
#include <QFormLayout>
#include <QKeyEvent>
#include <QLineEdit>
#include <QListWidget>
#include <QPointer>
#include <QPushButton>
#include <QVBoxLayout>

#include <future>
#include <mutex>
#include <set>

namespace espalier::dialogs {

namespace {

// What every dialog here has: a sentence, room for fields, a line about what is wrong, the buttons.
class Question : public QDialog {
  public:
    Question(QWidget* parent, const QString& title, const QString& sentence, const QString& act) : QDialog(parent)
    {
        setWindowTitle(title);
        setMinimumWidth(theme::gap(this) * 72);
        auto* column = new QVBoxLayout(this);
        column->setSpacing(theme::gap(this) * 3 / 2);
        column->setContentsMargins(theme::gap(this) * 2, theme::gap(this) * 2, theme::gap(this) * 2,
                                   theme::gap(this) * 2);
        m_sentence = new PlainLabel(sentence, this);
        m_sentence->setWrapped(true);
        m_sentence->setVisible(!sentence.isEmpty());
        m_form = new QFormLayout;
        m_form->setFieldGrowthPolicy(QFormLayout::AllNonFixedFieldsGrow);
        m_form->setVerticalSpacing(theme::gap(this));
        m_form->setHorizontalSpacing(theme::gap(this) * 2);
        m_wrong = new PlainLabel(this);
        m_wrong->setWrapped(true);
        theme::keepColour(m_wrong, QPalette::WindowText, theme::warning);
        m_buttons = new QDialogButtonBox(QDialogButtonBox::Ok | QDialogButtonBox::Cancel, this);
        m_buttons->button(QDialogButtonBox::Ok)->setText(act);
        column->addWidget(m_sentence);
        column->addLayout(m_form, 1);
        column->addWidget(m_wrong);
        column->addWidget(m_buttons);
        connect(m_buttons, &QDialogButtonBox::accepted, this, &QDialog::accept);
        connect(m_buttons, &QDialogButtonBox::rejected, this, &QDialog::reject);
    }

    QFormLayout* form() { return m_form; }
    // Enter is no answer to a question that must be read first.
    void cancelByDefault()
    {
        m_buttons->button(QDialogButtonBox::Ok)->setAutoDefault(false);
        m_buttons->button(QDialogButtonBox::Cancel)->setDefault(true);
        m_buttons->button(QDialogButtonBox::Cancel)->setFocus();
    }
    // An empty `wrong` lets the user go on; `silent` is no answer yet, but nothing to complain of.
    void judge(const QString& wrong, bool silent = false)
    {
        m_wrong->setText(wrong);
        m_buttons->button(QDialogButtonBox::Ok)->setEnabled(wrong.isEmpty() && !silent);
    }

  private:
    PlainLabel* m_sentence;
    QFormLayout* m_form;
    PlainLabel* m_wrong;
    QDialogButtonBox* m_buttons;
};

// A field whose arrows move through the list below it.
class FilterField : public QLineEdit {
  public:
    FilterField(QListWidget* list, QWidget* parent) : QLineEdit(parent), m_list(list) {}

  protected:
    void keyPressEvent(QKeyEvent* event) override
    {
        static constexpr std::array moves{Qt::Key_Up, Qt::Key_Down, Qt::Key_PageUp, Qt::Key_PageDown};
        if (std::ranges::find(moves, event->key()) != moves.end())
            QCoreApplication::sendEvent(m_list, event);
        else
            QLineEdit::keyPressEvent(event);
    }

  private:
    QListWidget* m_list;
};

// Branches and tags, narrowed while one types: names that begin so come before those that hold it somewhere. Four digits of an
// id find commits too.
class Picker {
  public:
    Picker(Question& dialog, const Snapshot& snapshot, std::string except)
        : m_dialog(dialog)
        , m_snapshot(snapshot)
        , m_except(std::move(except))
        , m_list(new QListWidget(&dialog))
        , m_filter(new FilterField(m_list, &dialog))
    {
        m_list->setAccessibleName(QObject::tr("Branches, tags and commits"));
        m_filter->setPlaceholderText(QObject::tr("Type a part of the name, or the beginning of an id"));
        m_filter->setAccessibleName(QObject::tr("Part of the name, or beginning of the id"));
        m_list->setUniformItemSizes(true);
        m_list->setMinimumHeight(theme::gap(&dialog) * 36);
        dialog.form()->addRow(m_filter);
        dialog.form()->addRow(m_list);
        constexpr std::size_t few = 12;
        if (const Ref* topic = m_except.empty() ? nullptr : m_snapshot.findRef(m_except); topic && topic->row != noRow)
            m_sensible = sensibleBases(m_snapshot, topic->row, few);
        QObject::connect(m_filter, &QLineEdit::textChanged, &dialog, [this] { fill(); });
        QObject::connect(m_list, &QListWidget::itemActivated, &dialog, &QDialog::accept);
        fill();
        m_filter->setFocus();
    }
    std::optional<DropTarget> exec()
    {
        const QListWidgetItem* item = m_dialog.exec() == QDialog::Accepted ? m_list->currentItem() : nullptr;
        if (!item)
            return {};
        if (const QVariant row = item->data(commitRole); row.isValid())
            return DropTarget{m_snapshot.history.id(row.toUInt()), {}, item->text()};
        const Ref& ref = m_snapshot.refs[std::size_t(item->data(refRole).toULongLong())];
        return DropTarget{ref.tip, ref.name, toText(ref.shortName)};
    }

  private:
    static constexpr int refRole = Qt::UserRole, commitRole = Qt::UserRole + 1;
    static constexpr int most = 1000, mostCommits = 8;

    void fill()
    {
        m_list->clear();
        const QString typed = m_filter->text().trimmed();
        // The likely answer first.
        if (m_snapshot.mainLine >= 0 &&
            toText(m_snapshot.mainLineRef()->shortName).contains(typed, Qt::CaseInsensitive))
            add(std::size_t(m_snapshot.mainLine));
        std::vector<std::size_t> within;
        // What the cards, the board and the gathered picture offer to the mouse stands first here.
        std::set<std::size_t> likely;
        for (const int at : m_sensible)
            if (at != m_snapshot.mainLine &&
                toText(m_snapshot.refs[std::size_t(at)].shortName).contains(typed, Qt::CaseInsensitive)) {
                likely.insert(std::size_t(at));
                add(std::size_t(at));
            }
        for (std::size_t i = 0; i < m_snapshot.refs.size() && m_list->count() < most; ++i) {
            if (int(i) == m_snapshot.mainLine || likely.contains(i) || m_snapshot.refs[i].kind == RefKind::Other)
                continue;
            const QString name = toText(m_snapshot.refs[i].shortName);
            if (name.startsWith(typed, Qt::CaseInsensitive))
                add(i);
            else if (name.contains(typed, Qt::CaseInsensitive))
                within.push_back(i);
        }
        const std::string digits = toBytes(typed).substr(0, 40);
        if (digits.size() >= 4)
            for (const Row row : m_snapshot.history.findPrefix(digits, mostCommits)) {
                auto* item = new QListWidgetItem(
                    QObject::tr("commit %1")
                        .arg(QString::fromStdString(m_snapshot.history.id(row).hex().substr(0, 12))),
                    m_list);
                item->setData(commitRole, row);
            }
        for (const std::size_t i : within)
            add(i);
        int first = 0;
        while (first + 1 < m_list->count() && !(m_list->item(first)->flags() & Qt::ItemIsEnabled))
            ++first;
        m_list->setCurrentRow(first);
        m_dialog.judge(m_list->count() == 0
                           ? QObject::tr("No branch or tag has this in its name, and no commit's id begins so.")
                           : QString());
    }
    void add(std::size_t i)
    {
        const Ref& ref = m_snapshot.refs[i];
        if (ref.name == m_except || ref.tip.isZero() || m_list->count() >= most)
            return;
        const QString name = toText(ref.shortName);
        auto* item = new QListWidgetItem(
            int(i) == m_snapshot.mainLine ? QObject::tr("%1 (the main line)").arg(name) : name, m_list);
        item->setData(refRole, qulonglong(i));
        if (const Ref* topic = m_except.empty() ? nullptr : m_snapshot.findRef(m_except)) {
            const DropAnswer answer = answerDrop(m_snapshot, {m_except, {}, topic->tip, true, toText(topic->shortName)},
                                                 {ref.tip, ref.name, name});
            item->setToolTip(toToolTip(answer.words));
            item->setData(Qt::AccessibleDescriptionRole, answer.words);
            if (!answer.allowed) {
                item->setText(QObject::tr("%1 (%2)").arg(name, answer.words));
                item->setFlags(item->flags() & ~Qt::ItemIsEnabled);
            }
        }
    }

    Question& m_dialog;
    const Snapshot& m_snapshot;
    std::string m_except;
    std::vector<int> m_sensible; // asked once: it walks the history
    QListWidget* m_list;
    FilterField* m_filter;
};

QString branchProblem(const std::string& name, const Snapshot& snapshot)
{
    const BranchNameVerdict verdict = judgeBranchName(snapshot, name);
    switch (verdict.kind) {
    case BranchNameVerdict::Malformed:
        return QObject::tr("git does not accept this as the name of a branch.");
    case BranchNameVerdict::Taken:
        return QObject::tr("There is a branch of this name already.");
    case BranchNameVerdict::Nested:
        return QObject::tr("A branch cannot stand below another one: %1 exists.").arg(toText(verdict.other));
    case BranchNameVerdict::Free:
        break;
    }
    return {};
}

} // namespace

std::optional<BranchAnswer> askBranchName(QWidget* parent, const QString& title, const QString& sentence,
                                          const QString& proposed, const Snapshot& snapshot, bool offerCheckOut)
{
    Question dialog(parent, title, sentence, title.endsWith(QChar(0x2026)) ? title.chopped(1) : title);
    auto* name = new QLineEdit(proposed, &dialog);
    auto* box = new QCheckBox(QObject::tr("&Check it out"), &dialog);
    dialog.form()->addRow(QObject::tr("&Name"), name);
    box->setVisible(offerCheckOut && !snapshot.worktree.bare);
    if (offerCheckOut && !snapshot.worktree.bare)
        dialog.form()->addRow(QString(), box);
    const auto judge = [&] {
        const std::string typed = toBytes(name->text());
        const bool untouched = typed.empty() || name->text() == proposed;
        const QString wrong = branchProblem(typed, snapshot);
        dialog.judge(untouched ? QString() : wrong, untouched && !wrong.isEmpty());
    };
    QObject::connect(name, &QLineEdit::textChanged, &dialog, judge);
    judge();
    name->selectAll();
    name->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return BranchAnswer{toBytes(name->text()), box->isChecked() && offerCheckOut};
}

std::optional<RemoteAnswer> askUpstream(QWidget* parent, const Snapshot& snapshot)
{
    Question dialog(parent, QObject::tr("Add upstream"),
                    QObject::tr("The repository that you contribute to. It is added as a remote and fetched."),
                    QObject::tr("Add"));
    auto* name = new QLineEdit(QStringLiteral("upstream"), &dialog);
    auto* url = new QLineEdit(&dialog);
    dialog.form()->addRow(QObject::tr("&Address or folder"), url);
    dialog.form()->addRow(QObject::tr("&Name of the remote"), name);
    const auto judge = [&] {
        const std::string typed = toBytes(name->text());
        QString wrong;
        if (!isBranchName(typed))
            wrong = QObject::tr("git does not accept this as the name of a remote.");
        for (const Remote& remote : snapshot.remotes)
            if (remote.name == typed)
                wrong = QObject::tr("There is a remote of this name already.");
        dialog.judge(wrong, url->text().trimmed().isEmpty());
    };
    QObject::connect(name, &QLineEdit::textChanged, &dialog, judge);
    QObject::connect(url, &QLineEdit::textChanged, &dialog, judge);
    judge();
    url->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return RemoteAnswer{toBytes(name->text()), toBytes(url->text().trimmed())};
}

std::optional<RolesAnswer> askRoles(QWidget* parent, const Snapshot& snapshot)
{
    Question dialog(parent, QObject::tr("Which remote is which"),
                    QObject::tr("Upstream is what you contribute to; the fork is your public copy, where you push. The "
                                "choice is kept in the repository's own configuration."),
                    QObject::tr("Keep"));
    auto* upstream = new QComboBox(&dialog);
    auto* fork = new QComboBox(&dialog);
    for (const auto& [combo, chosen] : {std::pair{upstream, &snapshot.roles.upstream}, {fork, &snapshot.roles.fork}}) {
        for (std::size_t i = 0; i < snapshot.remotes.size(); ++i) {
            const Remote& remote = snapshot.remotes[i];
            combo->addItem(toText(remote.name + "   " + withoutSecret(remote.url)), int(i));
            if (remote.name == *chosen)
                combo->setCurrentIndex(int(i));
        }
    }
    dialog.form()->addRow(QObject::tr("&Upstream"), upstream);
    dialog.form()->addRow(QObject::tr("&Fork"), fork);
    dialog.judge(QString(), snapshot.remotes.empty());
    upstream->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return RolesAnswer{snapshot.remotes[std::size_t(upstream->currentData().toInt())].name,
                       snapshot.remotes[std::size_t(fork->currentData().toInt())].name};
}

std::optional<DropTarget> chooseBase(QWidget* parent, const QString& title, const Snapshot& snapshot,
                                     const std::string& except)
{
    Question dialog(parent, title,
                    QObject::tr("%1 what is chosen here. A dry run comes first: nothing is changed yet.").arg(title),
                    QObject::tr("Dry run"));
    Picker picker(dialog, snapshot, except);
    return picker.exec();
}

std::optional<Oid> chooseCommit(QWidget* parent, const QString& title, const QString& act, const Snapshot& snapshot)
{
    Question dialog(parent, title, QString(), act);
    Picker picker(dialog, snapshot, {});
    const auto picked = picker.exec();
    return picked ? std::optional(picked->commit) : std::nullopt;
}

bool confirm(QWidget* parent, const QString& title, const QString& sentence, const QString& act)
{
    Question dialog(parent, title, sentence, act);
    return dialog.exec() == QDialog::Accepted;
}

std::optional<CloneAnswer> askClone(QWidget* parent)
{
    Question dialog(parent, QObject::tr("Clone"),
                    QObject::tr("Makes a clone of your fork, or of any repository, in a new folder."),
                    QObject::tr("Clone"));
    auto* url = new QLineEdit(&dialog);
    auto* folder = new QLineEdit(&dialog);
    auto* browse = new QPushButton(QObject::tr("&Browse…"), &dialog);
    auto* row = new QHBoxLayout;
    row->addWidget(folder, 1);
    row->addWidget(browse);
    dialog.form()->addRow(QObject::tr("&Address or folder"), url);
    auto* into = new QLabel(QObject::tr("&Into the new folder"), &dialog);
    into->setBuddy(folder);
    browse->setAutoDefault(false);
    dialog.form()->addRow(into, row);
    bool typed = false;
    FolderQuestion question;
    const auto judge = [&] {
        const bool isMissing = url->text().trimmed().isEmpty() || folder->text().trimmed().isEmpty();
        dialog.judge(QString(), true);
        question.ask(folder->text().trimmed(), [&, isMissing](bool isTaken) {
            dialog.judge(isTaken ? QObject::tr("This folder is not empty.") : QString(), isMissing);
        });
    };
    QObject::connect(url, &QLineEdit::textChanged, &dialog, [&](const QString& text) {
        QString last = text.trimmed();
        while (last.endsWith(QLatin1Char('/')))
            last.chop(1);
        last = last.section(QLatin1Char('/'), -1).section(QLatin1Char(':'), -1);
        if (last.endsWith(QStringLiteral(".git")))
            last.chop(4);
        if (!typed && !last.isEmpty())
            folder->setText(QDir::home().filePath(last));
        judge();
    });
    QObject::connect(folder, &QLineEdit::textEdited, &dialog, [&] { typed = true; });
    QObject::connect(folder, &QLineEdit::textChanged, &dialog, judge);
    QObject::connect(browse, &QPushButton::clicked, &dialog, [&] {
        const QString chosen = QFileDialog::getExistingDirectory(&dialog, QObject::tr("Folder of the new clone"));
        if (!chosen.isEmpty()) {
            typed = true;
            folder->setText(chosen);
        }
    });
    judge();
    url->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return CloneAnswer{url->text().trimmed(), folder->text().trimmed()};
}

namespace {

std::optional<Login> askLogin(QWidget* parent, const std::string& url, const std::string& user)
{
    Question dialog(
        parent, QObject::tr("Log in"),
        QObject::tr("%1 asks who you are. What you type is kept in memory only.").arg(toText(withoutSecret(url))),
        QObject::tr("Log in"));
    auto* name = new QLineEdit(toText(user), &dialog);
    auto* secret = new QLineEdit(&dialog);
    secret->setEchoMode(QLineEdit::Password);
    dialog.form()->addRow(QObject::tr("&Name"), name);
    dialog.form()->addRow(QObject::tr("&Password or token"), secret);
    (user.empty() ? name : secret)->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return Login{toBytes(name->text()), toBytes(secret->text())};
}

bool vouchFor(QWidget* parent, const QString& sentence)
{
    Question dialog(parent, QObject::tr("Unknown host"), sentence, QObject::tr("It is the same"));
    dialog.cancelByDefault();
    return dialog.exec() == QDialog::Accepted;
}

std::optional<std::string> answerSsh(QWidget* parent, const SshQuestion& question)
{
    QString words = toLines(std::string_view(question.words).substr(0, 4000)).trimmed();
    if (question.kind == SshQuestion::Kind::HostKey) {
        // The last line asks for the word "yes", which is a button here.
        const qsizetype last = words.lastIndexOf(QLatin1Char('\n'));
        words = words.left(last < 0 ? words.size() : last) + QStringLiteral("\n\n") +
                QObject::tr(
                    "Go on only if the fingerprint is the one that the host's owner publishes. ssh then remembers it.");
        return vouchFor(parent, words) ? std::optional<std::string>("yes") : std::nullopt;
    }
    if (question.kind == SshQuestion::Kind::Consent)
        return confirm(parent, QObject::tr("ssh asks"), words, QObject::tr("Allow")) ? std::optional<std::string>("yes")
                                                                                     : std::nullopt;
    Question dialog(parent, QObject::tr("ssh asks"), words, QObject::tr("Go on"));
    auto* secret = new QLineEdit(&dialog);
    secret->setEchoMode(QLineEdit::Password);
    dialog.form()->addRow(QObject::tr("&Passphrase or password"), secret);
    secret->setFocus();
    if (dialog.exec() != QDialog::Accepted)
        return {};
    return toBytes(secret->text());
}

// Runs `ask` on the GUI thread and waits for it; `no` when the window has gone.
template <typename T> T askOnGui(const QPointer<QWidget>& parent, T no, std::function<T(QWidget*)> ask)
{
    QCoreApplication* application = QCoreApplication::instance();
    if (!application || QCoreApplication::closingDown())
        return no;
    if (QThread::currentThread() == application->thread())
        return parent ? ask(parent) : no;
    auto told = std::make_shared<std::promise<T>>();
    std::future<T> answer = told->get_future();
    callOnGuiThread(
        [parent, no, ask = std::move(ask), told = std::move(told)] { told->set_value(parent ? ask(parent) : no); });
    try {
        return answer.get();
    } catch (const std::future_error&) { // the application ended: the call was dropped, the promise with it
        return no;
    }
}

} // namespace

Access accessFor(QWidget* parent)
{
    const QPointer<QWidget> window(parent);
    Access access;
    access.askLogin = [window](const std::string& url, const std::string& user) {
        return askOnGui<std::optional<Login>>(window, {}, [&](QWidget* at) { return askLogin(at, url, user); });
    };
    // One question a certificate as long as the program runs, and nothing of it on the disk.
    struct Accepted {
        std::mutex mutex;
        std::set<std::pair<std::string, std::string>> hosts;
    };
    static const auto accepted = std::make_shared<Accepted>();
    access.trustHost = [window](const std::string& host, const std::string& fingerprint) {
        const std::lock_guard one(accepted->mutex);
        if (accepted->hosts.contains({host, fingerprint}))
            return true;
        const bool yes = askOnGui<bool>(window, false, [&](QWidget* at) {
            return vouchFor(
                at,
                QObject::tr("Nothing on this computer vouches for %1. Go on only if the fingerprint is the one that "
                            "its owner publishes: %2")
                    .arg(toText(host), toText(fingerprint)));
        });
        if (yes)
            accepted->hosts.emplace(host, fingerprint);
        return yes;
    };
    access.askSsh = [window](const SshQuestion& question) {
        return askOnGui<std::optional<std::string>>(window, {}, [&](QWidget* at) { return answerSsh(at, question); });
    };
    access.sshCarrier = toBytes(QCoreApplication::applicationFilePath());
    return access;
}

} // namespace espalier::dialogs
