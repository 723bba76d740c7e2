// SPDX-License-Identifier: MIT
//
// What the overwrite check's page is made of. Private to app/overwrite.
#pragma once

#include "app/overwrite/base_strip.h"
#include "app/overwrite/check_detail.h"
#include "app/overwrite/overwrite_page.h"
#include "app/overwrite/pair_picture.h"
#include "app/support/page.h"
#include "app/support/work.h"

#include <QPointer>

class QCheckBox;
class QPushButton;
class QSplitter;
class QVBoxLayout;

namespace espalier {

// What is found out about a branch once its check is shown.
struct Surroundings {
    std::optional<BranchDifference> difference;
    QString why; // it is not known and will not be
    std::vector<StandsOn> standing;
    bool standingKnown = false;
};

struct OverwritePage::Private {
    OverwritePage* page;
    Session* session;
    std::vector<OverwriteCheck> checks; // one at least; the branch that was asked about first
    std::vector<std::vector<CheckRow>> rows;
    std::vector<Surroundings> around; // both beside the checks
    std::vector<QCheckBox*> chosen;   // beside the checks, where there are several; null: nothing to push
    std::vector<QPointer<Work>> works;
    int shown = 0; // counts what was shown: an answer to what stood here before is dropped
    PageHead* head = nullptr;
    NoticeBar* notice = nullptr;
    FittingArea* above = nullptr; // what is to be read and ticked first
    QVBoxLayout* body = nullptr;
    QWidget* bodyWidget = nullptr;
    QSplitter* splitter = nullptr;
    PlainLabel* summary = nullptr;
    PairPicture* picture = nullptr;
    BaseStrip* bases = nullptr;
    CheckDetail* detail = nullptr;
    QCheckBox* understood = nullptr;
    QPushButton* push = nullptr;
    QPushButton* again = nullptr;
    QPushButton* close = nullptr;
    bool onHeading = false; // a branch's, not a commit, was chosen in the picture
    bool done = false;
    bool refused = false; // by the remote: the check is old now

    const OverwriteCheck& check() const { return checks.front(); }
    bool isSeveral() const { return checks.size() > 1; }
    bool isChosen(std::size_t number) const
    {
        return !checks[number].upToDate && (!isSeveral() || (chosen[number] && chosen[number]->isChecked()));
    }
    // What would be pushed now.
    std::vector<const OverwriteCheck*> wanted() const
    {
        std::vector<const OverwriteCheck*> found;
        for (std::size_t i = 0; i < checks.size(); ++i)
            if (isChosen(i))
                found.push_back(&checks[i]);
        return found;
    }
    std::vector<CheckedCommit> foreign() const
    {
        std::vector<CheckedCommit> all;
        for (const OverwriteCheck* check : wanted())
            all.insert(all.end(), check->foreign.begin(), check->foreign.end());
        return all;
    }

    void build();
    void buildPicture();
    void buildActions(QVBoxLayout* column);
    void fill();
    void addChoice(std::size_t number);
    void addLoss(const OverwriteCheck& check);
    void fillPicture();
    void lookAround();
    void lookAtBranch(std::size_t number);
    void lookForOthers();
    void showChosen(int branch, int row);
    void showSurroundings();
    void arrange();
    void checkAgain();
    void askForPush();
    void update();
    void updateButton();
    void updateSentence();
};

} // namespace espalier
