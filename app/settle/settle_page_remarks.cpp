// SPDX-License-Identifier: MIT
//
// What looks wrong in files that are settled: a line that says what and where, goes there, and takes the answer that it is meant
// so. The flow knows it all; until it is answered or mended the replay is not applied.
#include "app/settle/settle_page_private.h"

#include "app/settle/conflict_editor.h"
#include "app/settle/hunk_list.h"
#include "app/settle/text_pane.h"
#include "app/support/text.h"

#include <QPushButton>

#include <algorithm>

namespace espalier {

namespace {

struct OneRemark {
    const FileRemarks* file;
    const Remark* remark;
};

std::vector<OneRemark> allOf(const std::vector<FileRemarks>& files)
{
    std::vector<OneRemark> all;
    for (const FileRemarks& file : files)
        for (const Remark& remark : file.remarks)
            all.push_back({&file, &remark});
    return all;
}

bool isQuestionOf(const OneConflict& one, const SettlementKey& key)
{
    return one.text.key.commit == key.commit &&
           (one.text.key == key || std::ranges::contains(one.text.together, key.path));
}

} // namespace

std::size_t SettlePage::Private::remarkCount() const { return flow ? allOf(flow->remarks()).size() : 0; }

void SettlePage::Private::showRemarks()
{
    for (std::size_t i = 0; i < shown->files.size(); ++i) {
        std::vector<Remark> ofFile;
        for (const FileRemarks& of : flow->remarks())
            if (isQuestionOf(shown->files[i], of.key))
                ofFile.insert(ofFile.end(), of.remarks.begin(), of.remarks.end());
        list->setRemarks(int(i), ofFile);
    }
    const std::vector<OneRemark> all = allOf(flow->remarks());
    if (all.empty()) {
        remark = 0;
        wrong->clear();
        return;
    }
    remark = std::min(remark, all.size() - 1);
    const OneRemark& one = all[remark];
    QString words = tr("Before this is applied: %1 (line %2 of %3).")
                        .arg(toText(one.remark->words), QString::number(one.remark->line + 1), toText(one.file->path));
    if (all.size() > 1)
        words += tr(" One of %1.").arg(all.size());
    if (wrong->isVisible() && wrong->line() == words)
        return; // its buttons keep the keyboard
    const bool hadFocus = wrong->isAncestorOf(page->focusWidget());
    wrong->say(NoticeBar::Warning, words);
    QPushButton* go = wrong->offer(tr("Look at i&t"));
    QPushButton* leave = wrong->offer(tr("&It is meant so"));
    go->setObjectName(QStringLiteral("lookAtRemark"));
    leave->setObjectName(QStringLiteral("leaveRemark"));
    go->setAccessibleDescription(words);
    leave->setAccessibleDescription(words);
    QObject::connect(go, &QPushButton::clicked, page, [this] { goToRemark(remark); });
    QObject::connect(leave, &QPushButton::clicked, page, [this] { answerRemark(); });
    if (hadFocus)
        go->setFocus(Qt::OtherFocusReason);
}

void SettlePage::Private::showLine(int settledLine)
{
    editor->showLine(ConflictEditor::Pane::Settled, settledLine);
    editor->pane(ConflictEditor::Pane::Settled)->setFocus(Qt::OtherFocusReason);
}

void SettlePage::Private::goToRemark(std::size_t index)
{
    const std::vector<OneRemark> all = allOf(flow->remarks());
    if (all.empty())
        return;
    remark = index % all.size();
    const OneRemark one = all[remark];
    const auto here = std::ranges::find_if(
        shown->files, [&](const OneConflict& conflict) { return isQuestionOf(conflict, one.file->key); });
    const DryRunPtr run = flow->run();
    if (here == shown->files.end() || !run || !shown->standsFor(*run)) {
        line = one.remark->line;
        goElsewhere(one.file->commit, one.file->key, -1);
        return;
    }
    const int at = int(here - shown->files.begin());
    if (file != at)
        showPlace({at, 1});
    showLine(one.remark->line);
    showRemarks();
}

// By a row of the list: the place of the file's remark among all.
void SettlePage::Private::goToRemarkOf(int ofFile, int index)
{
    const std::vector<OneRemark> all = allOf(flow->remarks());
    for (std::size_t i = 0; i < all.size(); ++i)
        if (isQuestionOf(shown->files[std::size_t(ofFile)], all[i].file->key) && index-- == 0) {
            const bool listHadIt = list->hasFocus();
            goToRemark(i);
            if (listHadIt)
                list->setFocus(Qt::OtherFocusReason); // who walks the list goes on walking it
            return;
        }
}

void SettlePage::Private::answerRemark()
{
    const std::vector<OneRemark> all = allOf(flow->remarks());
    if (remark >= all.size())
        return;
    const SettlementKey key = all[remark].file->key;
    const Remark answered = *all[remark].remark;
    flow->leaveAsItIs(key, answered);
}

} // namespace espalier
