// SPDX-License-Identifier: MIT
//
// The settle page's widgets and what it does with them. Private to settle_page.cpp and settle_page_layout.cpp.
#pragma once

#include "app/settle/settle_page.h"
#include "core/conflicts/commit_conflicts.h"
#include "core/conflicts/hunk_commits.h"
#include "core/conflicts/replay_outline.h"
#include "core/propose/replay_proposals.h"

#include <QPointer>

#include <map>
#include <set>

class QAction;
class QCheckBox;
class QLineEdit;
class QPushButton;
class QTimer;

namespace espalier {

class BeforeBoth;
class CheckDrawer;
class CommitDrawer;
class FindBar;
class ConflictEditor;
class FormBar;
class HunkList;
class NoticeBar;
class OfferBar;
class PlainLabel;
class TextPane;
class WholePathView;
struct ProposalSource; // see settle_page_offers.cpp

struct SettlePage::Private {
    SettlePage* page;
    Session* session;
    QPointer<ReplayFlow> flow; // null while all of the window goes
    // What was read of a commit; a worker may be looking at it.
    std::shared_ptr<const CommitConflicts> shown = std::make_shared<const CommitConflicts>();
    std::set<Oid> forgotten;                     // what is not to be offered any more
    std::map<int, std::vector<HunkCommits>> who; // by file of `shown`; asked for when it is first looked at
    std::set<int> asked;
    std::map<int, std::vector<std::vector<std::string>>> notes; // by file and hunk: what explains them (elsewhere.h)
    std::shared_ptr<ProposalSource> source;
    std::vector<FileOffers> proposals;                  // by file of `shown`; empty until they are found
    std::map<std::pair<int, int>, HunkDecision> looked; // what was offered where the user has been, by file and hunk
    bool proposing = false, askAgain = false;           // a worker looks for proposals; for older decisions
    unsigned reading = 0; // counts what was taken into `shown`: answers about an older one are dropped
    int file = -1;
    int waitingEdit = -1;                 // piece of the file's edit that the user looks at; -1: they look at a hunk
    std::optional<SettlementKey> staysAt; // the file to be shown when a commit has been read
    int staysHunk = -1;                   // of it; -1: the first that is undecided
    std::optional<std::size_t> wanted;    // the commit to be read once what is being read has come
    std::vector<CommitOutline> outline;   // of the newest run
    std::size_t remark = 0;               // of the flow's, counted through: the one that the line is about
    bool walked = false;                  // to a remark already
    std::optional<int> line;              // to be shown in the file of staysAt
    QPointer<TextPane> typedIn;           // has the keyboard again once its file has come back
    bool goesOn = false;                  // to what is undecided next, once the dry run has come
    bool loading = false;
    bool troubled = false; // the notice says what failed; it stays until the user goes on

    PlainLabel* title = nullptr;
    PlainLabel* where = nullptr;
    NoticeBar* notice = nullptr;
    NoticeBar* wrong = nullptr; // what looks wrong in a settled file, and the two answers
    HunkList* list = nullptr;
    QLineEdit* search = nullptr;
    QCheckBox* undecidedOnly = nullptr;
    QTimer* wait = nullptr; // until a row of another commit counts as chosen
    ConflictEditor* editor = nullptr;
    FindBar* findBar = nullptr;
    QList<QAction*> textActions;
    PlainLabel* explanation = nullptr;
    std::vector<QPushButton*> choices;
    OfferBar* offers = nullptr;
    FormBar* forms = nullptr;
    PlainLabel* mining = nullptr; // says that proposals are still to come
    QPushButton* undo = nullptr;
    QPushButton* redo = nullptr;
    QPushButton* previous = nullptr;
    QPushButton* next = nullptr;
    QPushButton* back = nullptr;
    BeforeBoth* drawer = nullptr;
    CommitDrawer* commits = nullptr;
    CheckDrawer* check = nullptr;
    QWidget* drawers = nullptr;    // all of them
    PlainLabel* besides = nullptr; // what a side did elsewhere that explains the hunk
    bool drawerWasOpen = true;     // before another one was opened
    bool switching = false;        // one opens, the others close
    QCheckBox* around = nullptr;
    QCheckBox* wrap = nullptr;
    WholePathView* wholePath = nullptr;

    void build();
    QWidget* buildHead();
    QWidget* buildDecisions();
    void buildTextActions();
    void enableTextActions();
    void wrapLines(bool wrapped);
    void holdEditor(bool away);
    void splitHunk();
    void joinHunk();
    void settleInParts(std::optional<FileSettlement> settled, int goesTo, const QString& otherwise);
    QWidget* buildDrawers(QWidget* parent);
    void drawerToggled(const QWidget* which, bool open);
    void showDrawers(bool ofText);
    void showCheck();
    void load(std::size_t commit);
    void take(CommitConflicts read);
    void followRun();
    void showPlace(const ConflictPlace& place);
    void showHunk();
    void askWho();
    void showWho();
    void askElsewhere();
    void askChange(const Oid& id);
    void showState();
    void listReplay();
    void sayWhatHoldsNoLonger(const std::vector<CommitOutline>& before);
    void goElsewhere(std::size_t commit, const SettlementKey& key, int hunk);
    QWidget* buildList(QWidget* parent);
    void decide(Choice choice);
    void settleForm(const FileForm& form);
    void offerAgain();
    const HunkOffer* offerFor(int ofFile, int ofHunk) const;
    void askProposals();
    void takeProposals(std::vector<FileOffers> found);
    std::vector<std::optional<HunkDecision>> offeredIn(int ofFile) const;
    void showOffers();
    void takeOffer();
    void takeAllOffers();
    void forgetOffer();
    void rememberNew(int of, const FileSettlement& before, const FileSettlement& after);
    void revert(bool forward);
    void goUndecided(bool forward);
    FileSettlement settlementOf(std::size_t index) const { return shown->settlement(index, flow->settlements()); }
    int hunk() const;
    ConflictPlace place() const;
    void offerWaiting();
    std::size_t remarkCount() const;
    void showRemarks();
    void showLine(int settledLine);
    void goToRemark(std::size_t index);
    void goToRemarkOf(int ofFile, int index);
    void answerRemark();
};

} // namespace espalier
