// SPDX-License-Identifier: MIT
#include "app/walkthrough/walkthrough_scene.h"

#include "app/support/text.h"

#include <QObject>

namespace espalier {

namespace {

// More would not fit; the story is the same.
constexpr std::size_t mostShown = 4;

QString letter(int index) { return QString(QChar(u'A' + index)); }

// The commits that every step begins with: the trunk, and the topic where it stood.
struct Stage {
    std::vector<SceneCommit> commits;
    int base = 0, onto = 0, oldTip = 0;
};

Stage stageOf(const SceneStory& story, bool upstreamMoved)
{
    Stage stage;
    auto& commits = stage.commits;
    commits.push_back({QString(), QString(), Place::Upstream, 0, -1});
    commits.push_back({story.base, QString(), Place::Upstream, 1, 0});
    stage.base = 1;
    stage.onto = 1;
    if (upstreamMoved) {
        for (int i = 0; i < story.upstreamCommits; ++i)
            commits.push_back({i + 1 == story.upstreamCommits ? story.onto : QString(), QString(), Place::Upstream,
                               2 + i, int(commits.size()) - 1});
        stage.onto = int(commits.size()) - 1;
    }
    commits[std::size_t(stage.onto)].label = QObject::tr("main line");
    int parent = stage.base;
    for (std::size_t i = 0; i < story.oldIds.size(); ++i) {
        commits.push_back({story.oldIds[i], QString(), Place::Fork, 2 + int(i), parent});
        parent = int(commits.size()) - 1;
    }
    stage.oldTip = parent;
    return stage;
}

void addNew(Stage& stage, const SceneStory& story, std::size_t count)
{
    int parent = stage.onto;
    const int column = stage.commits[std::size_t(stage.onto)].column + 1;
    for (std::size_t i = 0; i < count; ++i) {
        stage.commits.push_back({story.newIds[i], QString(), Place::Clone, column + int(i), parent, false, true});
        parent = int(stage.commits.size()) - 1;
    }
}

} // namespace

SceneStory exampleStory()
{
    SceneStory story;
    story.topic = QObject::tr("your topic");
    story.base = QStringLiteral("M1");
    story.onto = QStringLiteral("M3");
    for (int i = 0; i < 3; ++i) {
        story.oldIds.push_back(letter(i));
        story.newIds.push_back(letter(i) + u'′');
    }
    return story;
}

SceneStory storyOf(const DryRun& run)
{
    SceneStory story;
    story.topic = toText(run.plan.label);
    story.base = toText(run.plan.mergeBase.brief());
    story.onto = toText(run.plan.onto.brief());
    for (const ReplayedCommit& commit : run.commits) {
        if (story.oldIds.size() == mostShown)
            break;
        story.oldIds.push_back(toText(commit.id.brief()));
        if (commit.outcome != Outcome::Landed && commit.outcome != Outcome::Empty)
            story.newIds.push_back(commit.newId ? toText(commit.newId->brief()) : story.oldIds.back() + u'′');
    }
    return story;
}

std::vector<Scene> scenesOf(const SceneStory& story)
{
    const auto tr = [](const char* text) { return QObject::tr(text); };
    std::vector<Scene> scenes;
    Stage stage = stageOf(story, false);
    stage.commits[std::size_t(stage.oldTip)].label = story.topic;
    scenes.push_back(
        {tr("A topic branch is a few commits on a base"),
         tr("You began %1 at commit %2 of the main line and made commits on top. Each commit names its parent, "
            "the commit below it; the branch is only a name for the newest one.")
             .arg(story.topic, story.base),
         stage.commits});
    stage = stageOf(story, true);
    stage.commits[std::size_t(stage.oldTip)].label = story.topic;
    scenes.push_back(
        {tr("The upstream moves on"),
         tr("Others' work lands on the main line. Your branch still stands on its old base: it is ahead by its "
            "own commits and behind by the new ones. That is drift, and it is nobody's fault."),
         stage.commits});
    stage.commits[std::size_t(stage.onto)].wanted = true;
    scenes.push_back(
        {tr("A replay needs a new base"),
         tr("A maintainer asks you to update the branch. The commits are to stand on %1 instead. Nothing has "
            "changed yet: the dry run computes the outcome in memory only.")
             .arg(story.onto),
         stage.commits});
    addNew(stage, story, std::min<std::size_t>(1, story.newIds.size()));
    scenes.push_back(
        {tr("The first commit is carried over"),
         tr("What the commit changed against its parent is changed on the new base in the same way. The result is "
            "a new commit: same author, same message, but another parent, and so another ID."),
         stage.commits});
    stage = stageOf(story, true);
    stage.commits[std::size_t(stage.oldTip)].label = story.topic;
    addNew(stage, story, story.newIds.size());
    scenes.push_back(
        {tr("Then the others, one after another"),
         tr("Every commit above gets a new ID too, because its parent has one. Where both sides changed the same "
            "lines, the program cannot know what is meant: that is a conflict, and you settle it."),
         stage.commits});
    for (SceneCommit& commit : stage.commits) {
        commit.label = commit.place == Place::Upstream ? commit.label : QString();
        commit.fresh = false;
    }
    stage.commits[std::size_t(stage.oldTip)].label = tr("fork's copy");
    if (!story.newIds.empty())
        stage.commits.back().label = story.topic;
    scenes.push_back(
        {tr("Apply moves the name, and keeps the old tip"),
         tr("In your clone the branch now names the newest new commit. The old commits are still there: the logbook "
            "keeps a ref to them, so the whole replay can be taken back. The fork knows nothing of it yet and "
            "has the old ones."),
         stage.commits});
    scenes.push_back(
        {tr("Why a plain push is refused"),
         tr("The fork still has the old commits. A plain push may only add on top of what is there, and your new "
            "commits do not stand on the old ones. The refusal protects whatever is on the fork."),
         stage.commits});
    scenes.push_back(
        {tr("The overwrite check"),
         tr("Before the fork's branch is replaced, look at what goes: each old commit should have a new version. A "
            "commit that is not yours, pushed there by somebody else, would be lost. The check says so loudest."),
         stage.commits});
    for (SceneCommit& commit : stage.commits) {
        commit.faded = commit.place == Place::Fork;
        if (commit.place == Place::Fork)
            commit.label.clear();
    }
    scenes.push_back(
        {tr("A forced update with a lease"),
         tr("The update goes through only while the fork stands exactly where you saw it. If somebody pushed in "
            "between, it is refused and you check again. Follow the project's own rules on rewriting branches, "
            "and ask before you rewrite what others build on."),
         stage.commits});
    return scenes;
}

} // namespace espalier
