// SPDX-License-Identifier: MIT
//
// A command of the user's, a build or a test, run on what a settled commit will hold. It is written here and kept in the user's
// own settings for this repository; nothing out of the repository is ever run, and nothing unasked. Private to app/settle.
//
//     drawer->setRepository(session->path());
//     drawer->setCommit({run->objects, *commit.newTree, subject});
#pragma once

#include "app/support/text.h"
#include "core/git/objects.h"

#include <QPointer>

class QLineEdit;
class QPlainTextEdit;
class QPushButton;
class QToolButton;

namespace espalier {

class Work;

// What can be checked; a zero tree where nothing can be yet.
struct CommitToCheck {
    std::shared_ptr<const NewObjects> objects;
    Oid tree;
    QString subject;
    bool isGone = false; // nothing is left of the commit
};

// What the user wrote for the repository at this path; empty where nothing was.
QString checkCommand(const QString& path);
void setCheckCommand(const QString& path, const QString& command);

class CheckDrawer : public QWidget {
    Q_OBJECT
  public:
    explicit CheckDrawer(QWidget* parent);
    ~CheckDrawer() override;

    // What opens and closes it; stands wherever the page puts it.
    QToolButton* handle() const { return m_handle; }
    bool isOpen() const;
    // Open, it has the keyboard.
    void setOpen(bool open);
    // Another one stops what runs.
    void setRepository(const QString& path);
    void setCommit(const CommitToCheck& commit);
    bool isRunning() const;

  Q_SIGNALS:
    void opened(bool open);

  protected:
    void changeEvent(QEvent* event) override;

  private:
    struct Heard;
    void start();
    void stop();
    void ended(const QString& words, bool well);
    void take();
    void append(const std::string& bytes);
    void refresh();
    void dress();

    QString m_path;
    CommitToCheck m_commit; // to be checked next
    Oid m_checked;          // the tree that m_ending is about; zero before the first
    QString m_checkedSubject;
    QString m_ending;
    bool m_well = false;
    QPointer<Work> m_work;
    std::shared_ptr<Heard> m_heard;
    QToolButton* m_handle;
    QLineEdit* m_command;
    QPushButton* m_run;
    PlainLabel* m_state;
    QPlainTextEdit* m_output;
};

} // namespace espalier
